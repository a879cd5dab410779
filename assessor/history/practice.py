"""The practice log: how long, what, how it felt; with or without a recording."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta, tzinfo

from sqlalchemy import select

from assessor.errors import HistoryError
from assessor.history import clock
from assessor.history.models import Player, SessionRow
from assessor.history.store import Store
from assessor.history.takes import Selection, Take, named

# Nobody practises that long in one go: a session that was never stopped
LONGEST = timedelta(hours=12)


@dataclass(frozen=True)
class Practice:
    """One stretch of practice.

    Attributes
    ----------
    player : str
    started_at : datetime
    ended_at : datetime or None
        None while it goes on.
    what, felt : str
        In the player's words.
    strain : int or None
        0 (none) to 10; None = not said.
    level_dba : float or None
        Meter reading where the ears are.
    """

    player: str
    started_at: datetime
    ended_at: datetime | None = None
    what: str = ""
    felt: str = ""
    strain: int | None = None
    level_dba: float | None = None

    @property
    def minutes(self) -> float:
        """Length; 0 while it goes on."""
        if self.ended_at is None:
            return 0.0
        return (self.ended_at - self.started_at).total_seconds() / 60


def log(store: Store, practice: Practice) -> None:
    """Write down practice, begun or done.

    Raises
    ------
    HistoryError
        When it ends before it begins, takes longer than twelve hours, or overlaps
        what is written down already.
    """
    _check(practice)
    began, ended = practice.started_at, practice.ended_at or practice.started_at
    with store.writing() as session:
        player = named(session, Player, practice.player)
        mine = select(SessionRow).where(SessionRow.player_id == player.id)
        for row in session.scalars(mine):
            after = began >= (row.ended_at or row.started_at)
            apart = (after and began != row.started_at) or ended <= row.started_at
            if not apart:
                message = (
                    "at that time practice is written down already, from "
                    f"{clock.local(row.started_at):%Y-%m-%d %H:%M} on; say with --at "
                    "when this began"
                )
                raise HistoryError(message)
        row = SessionRow(player_id=player.id)
        _fill(row, practice)
        session.add(row)


def _check(practice: Practice) -> None:
    """Refuse times that cannot be."""
    if practice.ended_at is None:
        return
    if practice.ended_at <= practice.started_at:
        message = "practice ends after it begins; check the times and the clock"
        raise HistoryError(message)
    if practice.ended_at - practice.started_at > LONGEST:
        message = (
            f"that would be {practice.minutes / 60:.0f} hours without an end, and more "
            "than 12 are not believed; say with --minutes how long it was"
        )
        raise HistoryError(message)


def running(store: Store, player: str) -> Practice | None:
    """Practice that was started and not stopped."""
    mine = practice_of(store, Selection(player=player))
    return next((one for one in mine if one.ended_at is None), None)


def stop(store: Store, practice: Practice) -> None:
    """Write down the end of practice that was started.

    Raises
    ------
    HistoryError
        When it was not started, or as for `log`.
    """
    _check(practice)
    with store.writing() as session:
        player = named(session, Player, practice.player)
        row = session.scalar(
            select(SessionRow).where(
                SessionRow.player_id == player.id,
                SessionRow.started_at == practice.started_at,
            )
        )
        if row is None:
            message = "no practice was started; begin with assessor practice start"
            raise HistoryError(message)
        _fill(row, practice)


def _fill(row: SessionRow, practice: Practice) -> None:
    row.started_at, row.ended_at = practice.started_at, practice.ended_at
    row.what, row.felt = practice.what, practice.felt
    row.strain, row.level_dba = practice.strain, practice.level_dba


def practice_of(store: Store, selection: Selection) -> list[Practice]:
    """Practice of a player and a time, in order of time."""
    query = (
        select(SessionRow, Player.name)
        .join(Player)
        .order_by(SessionRow.started_at, SessionRow.id)
    )
    if selection.player is not None:
        query = query.where(Player.name == selection.player)
    if selection.since is not None:
        query = query.where(SessionRow.started_at >= selection.since)
    if selection.until is not None:
        query = query.where(SessionRow.started_at < selection.until)
    with store.reading() as session:
        return [
            Practice(
                name,
                row.started_at,
                row.ended_at,
                row.what,
                row.felt,
                row.strain,
                row.level_dba,
            )
            for row, name in session.execute(query)
        ]


def daily_minutes(
    practice: Iterable[Practice], takes: Iterable[Take], zone: tzinfo | None = None
) -> dict[date, float]:
    """Minutes of each calendar day of the player's clock.

    A take made during logged practice is part of it; what lasts past midnight is
    counted on both days.
    """
    spans = [(one.started_at, one.ended_at) for one in practice if one.ended_at]
    spans += [
        (take.recorded_at, take.recorded_at + timedelta(seconds=take.duration_s))
        for take in takes
    ]
    found: dict[date, float] = {}
    for start, end in merged(spans):
        while start < end:
            day = clock.local_day(start, zone)
            midnight = clock.day_start(day + timedelta(days=1), zone)
            part = min(end, midnight) - start
            found[day] = found.get(day, 0.0) + part.total_seconds() / 60
            start = min(end, midnight)
    return found


def merged(
    spans: Iterable[tuple[datetime, datetime]],
) -> list[tuple[datetime, datetime]]:
    """Spans of time in order, overlapping ones made one."""
    found: list[tuple[datetime, datetime]] = []
    for start, end in sorted(spans):
        if found and start <= found[-1][1]:
            found[-1] = found[-1][0], max(found[-1][1], end)
        else:
            found.append((start, end))
    return found
