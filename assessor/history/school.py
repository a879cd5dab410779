"""Accounts, sessions and assignments of a school's server, beside its takes.

Passwords are kept as the hashes that come in, sessions as hashes of what a browser
holds.  The tables are made when a school's server first opens a store.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import ForeignKey, MetaData, delete, select
from sqlalchemy.orm import DeclarativeBase, Mapped, Session, mapped_column

from assessor.errors import HistoryError
from assessor.history.models import NAMES, Utc
from assessor.history.store import Store, in_words


class SchoolBase(DeclarativeBase):
    """What the tables of a school share."""

    metadata = MetaData(naming_convention=NAMES)
    type_annotation_map = {datetime: Utc}  # noqa: RUF012  SQLAlchemy's own way


class AccountRow(SchoolBase):
    """Who may sign in; a closed account stays, so that nobody gets its name."""

    __tablename__ = "school_account"
    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(unique=True)
    teacher: Mapped[bool]
    password_hash: Mapped[str]
    closed: Mapped[bool] = mapped_column(default=False)


class SignedInRow(SchoolBase):
    """One browser that is signed in."""

    __tablename__ = "school_session"
    hash: Mapped[str] = mapped_column(primary_key=True)
    account_id: Mapped[int] = mapped_column(
        ForeignKey("school_account.id", ondelete="CASCADE")
    )
    until: Mapped[datetime]


class AssignmentRow(SchoolBase):
    """What is to be played, by everybody."""

    __tablename__ = "school_assignment"
    id: Mapped[int] = mapped_column(primary_key=True)
    lick: Mapped[str]
    title: Mapped[str]
    tempo_bpm: Mapped[float]
    due: Mapped[datetime | None]
    given_at: Mapped[datetime]
    ended: Mapped[bool] = mapped_column(default=False)


@dataclass(frozen=True)
class Account:
    """Who may sign in."""

    name: str
    teacher: bool
    password_hash: str
    closed: bool


@dataclass(frozen=True)
class Assignment:
    """What is to be played.

    Attributes
    ----------
    assignment_id : int
    lick : str
        Its name in the server's catalogue.
    title : str
    tempo_bpm : float
    due : datetime or None
    given_at : datetime
    """

    assignment_id: int
    lick: str
    title: str
    tempo_bpm: float
    due: datetime | None
    given_at: datetime


def prepare(store: Store) -> None:
    """Make the tables where they are not there."""
    with in_words(store.place):
        SchoolBase.metadata.create_all(store.engine)


# -------------------------------------------------------------------- accounts


def add_account(
    store: Store, name: str, password_hash: str, *, teacher: bool = False
) -> None:
    """Let somebody sign in.

    Raises
    ------
    HistoryError
        When there is, or was, an account of that name.
    """
    with store.writing() as session:
        if _row(session, name) is not None:
            message = f"there is an account {name!r} already, or was; take another name"
            raise HistoryError(message)
        session.add(AccountRow(name=name, teacher=teacher, password_hash=password_hash))


def account_of(store: Store, name: str) -> Account | None:
    """Account of a name; None when there is none, or it is closed."""
    with store.reading() as session:
        row = _row(session, name)
        return None if row is None or row.closed else _account(row)


def accounts_of(store: Store) -> list[Account]:
    """Everybody who may sign in, by name."""
    query = select(AccountRow).where(~AccountRow.closed).order_by(AccountRow.name)
    with store.reading() as session:
        return [_account(row) for row in session.scalars(query)]


def set_password(store: Store, name: str, password_hash: str) -> None:
    """Give an account another password; every browser is signed out."""
    with store.writing() as session:
        row = _known(session, name)
        row.password_hash = password_hash
        session.execute(delete(SignedInRow).where(SignedInRow.account_id == row.id))


def close_account(store: Store, name: str) -> None:
    """Let somebody sign in no more; takes stay until they are forgotten."""
    with store.writing() as session:
        row = _known(session, name)
        row.closed = True
        session.execute(delete(SignedInRow).where(SignedInRow.account_id == row.id))


def forget_account(store: Store, name: str) -> bool:
    """Delete an account as if it had never been; False when there is none."""
    with store.writing() as session:
        row = _row(session, name)
        if row is None:
            return False
        session.execute(delete(SignedInRow).where(SignedInRow.account_id == row.id))
        session.delete(row)
        return True


def _row(session: Session, name: str) -> AccountRow | None:
    return session.scalar(select(AccountRow).where(AccountRow.name == name))


def _known(session: Session, name: str) -> AccountRow:
    row = _row(session, name)
    if row is None or row.closed:
        message = f"there is no account {name!r}"
        raise HistoryError(message)
    return row


def _account(row: AccountRow) -> Account:
    return Account(row.name, row.teacher, row.password_hash, row.closed)


# -------------------------------------------------------------------- sessions


def sign_in(store: Store, name: str, hashed: str, until: datetime) -> None:
    """Remember a browser, by the hash of what it holds."""
    with store.writing() as session:
        account = _known(session, name)
        session.add(SignedInRow(hash=hashed, account_id=account.id, until=until))


def signed_in(store: Store, hashed: str, now: datetime) -> Account | None:
    """Whose browser it is; None when it is nobody's any more."""
    with store.reading() as session:
        row = session.get(SignedInRow, hashed)
        if row is None or row.until <= now:
            return None
        account = session.get(AccountRow, row.account_id)
        return None if account is None or account.closed else _account(account)


def sign_out(store: Store, hashed: str, now: datetime) -> None:
    """Forget a browser, and those whose time is over."""
    with store.writing() as session:
        over = (SignedInRow.hash == hashed) | (SignedInRow.until <= now)
        session.execute(delete(SignedInRow).where(over))


# ----------------------------------------------------------------- assignments


def assign(store: Store, what: Assignment) -> None:
    """Give everybody something to play; its number is made here."""
    with store.writing() as session:
        session.add(
            AssignmentRow(
                lick=what.lick,
                title=what.title,
                tempo_bpm=what.tempo_bpm,
                due=what.due,
                given_at=what.given_at,
            )
        )


def assignments_of(store: Store) -> list[Assignment]:
    """What is to be played now, the newest first."""
    query = (
        select(AssignmentRow)
        .where(~AssignmentRow.ended)
        .order_by(AssignmentRow.given_at.desc(), AssignmentRow.id.desc())
    )
    with store.reading() as session:
        return [
            Assignment(
                row.id, row.lick, row.title, row.tempo_bpm, row.due, row.given_at
            )
            for row in session.scalars(query)
        ]


def end_assignment(store: Store, assignment_id: int) -> None:
    """Ask for it no more."""
    with store.writing() as session:
        row = session.get(AssignmentRow, assignment_id)
        if row is not None:
            row.ended = True
