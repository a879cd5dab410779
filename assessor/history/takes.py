"""Put takes into the store and read them back."""

from __future__ import annotations

import json
import zlib
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import TYPE_CHECKING, Any, NamedTuple, TypeVar

from sqlalchemy import Select, Text, cast, func, select
from sqlalchemy.orm import Session

from assessor.errors import HistoryError
from assessor.history import clock
from assessor.history.models import Base, Device, LickRow, Player, ResultRow, TakeRow
from assessor.history.store import Store
from assessor.history.summary import Json, Summary, summaries_from, summary_of

if TYPE_CHECKING:
    from assessor.lick.notation import Lick

Named = TypeVar("Named", Player, Device)


@dataclass(frozen=True)
class ToKeep:
    """What is to be kept.

    Attributes
    ----------
    result : dict
        As `assessor.report.result` makes it.
    lick : Lick
        As written, before any other tempo was asked for.
    lick_file, take_file : str
        Where they lie; references, not copies.
    recorded_at : datetime
        When the take began; aware.
    player, device : str
        Empty = not named.
    a_level_dbfs : float or None
        A-weighted equivalent level of the take, re full scale.
    copy : str or None
        Where a copy of the take lies, if one was asked for.
    """

    result: Json
    lick: Lick
    lick_file: str
    take_file: str
    recorded_at: datetime
    player: str = ""
    device: str = ""
    a_level_dbfs: float | None = None
    copy: str | None = None


class How(StrEnum):
    """What became of a take that was to be kept."""

    NEW = "new"
    SAME = "same"  # there already, with this very result
    REPLACED = "replaced"  # there already; its result is now this one


@dataclass(frozen=True)
class Kept:
    """Answer of `keep`.

    Attributes
    ----------
    take_id : int
    how : How
    notices : tuple of str
        Sentences for the player.
    """

    take_id: int
    how: How
    notices: tuple[str, ...] = ()


@dataclass(frozen=True)
class Selection:
    """Which takes, or sessions, are meant; None = whatever it is.

    Attributes
    ----------
    player : str or None
    lick : str or None
        Digest of the lick.
    since, until : datetime or None
        Begun at or after the one, before the other.
    take_id : int or None
    """

    player: str | None = None
    lick: str | None = None
    since: datetime | None = None
    until: datetime | None = None
    take_id: int | None = None


EVERYTHING = Selection()


class Take(NamedTuple):
    """A take as it was kept, without its whole result."""

    take_id: int
    player: str
    lick: str
    title: str
    device: str
    digest: str
    recorded_at: datetime
    kept_at: datetime
    duration_s: float
    file: str
    copied_to: str | None
    tool_version: str
    a_level_dbfs: float | None
    summary: Summary


@dataclass(frozen=True)
class KeptLick:
    """A lick as it was last seen."""

    digest: str
    title: str
    tempo_bpm: float
    notes: int
    file: str
    sheet: str | None


def keep(store: Store, what: ToKeep, now: datetime) -> Kept:
    """Put a take into the store, in one transaction.

    The same sound held against the same lick by the same player is one take: kept
    again it is not counted twice, and a result of other settings, or of another
    version of the program, takes the place of the earlier one.

    Raises
    ------
    HistoryError
        When the database refuses; then nothing was kept.
    """
    body = pack(what.result)
    with store.writing() as session:
        latest = session.scalar(select(func.max(TakeRow.kept_at)))
        notice = clock.went_back(latest, now)
        player = named(session, Player, what.player)
        lick = lick_row(session, what.lick, what.lick_file)
        row = session.scalar(
            select(TakeRow).where(
                TakeRow.player_id == player.id,
                TakeRow.lick_id == lick.id,
                TakeRow.digest == what.result["recording"]["sha256"],
            )
        )
        device = named(session, Device, what.device) if what.device else None
        how = _how(session, row, what.result)
        if row is None:
            row = TakeRow(player_id=player.id, lick_id=lick.id)
            row.digest = what.result["recording"]["sha256"]
            row.recorded_at, row.kept_at = what.recorded_at, now
        if device is not None:  # kept again without naming it, it stays
            row.device_id, row.a_level_dbfs = device.id, what.a_level_dbfs
        row.file, row.copy = what.take_file, what.copy or row.copy
        _fill(session, row, what.result, body)
        return Kept(row.id, how, (notice,) if notice else ())


def replace_result(store: Store, take_id: int, result: Json) -> None:
    """Put another result of the same take in the place of the one there is."""
    with store.writing() as session:
        row = session.get(TakeRow, take_id)
        if row is None:
            message = f"there is no take {take_id}"
            raise HistoryError(message)
        _fill(session, row, result, pack(result))


def _how(session: Session, row: TakeRow | None, result: Json) -> How:
    if row is None:
        return How.NEW
    kept = session.get(ResultRow, row.id)
    same = kept is not None and unpack(kept.body) == json.loads(json.dumps(result))
    return How.SAME if same else How.REPLACED


def _fill(session: Session, row: TakeRow, result: Json, body: bytes) -> None:
    """Write everything that comes from the result."""
    row.duration_s = result["recording"]["duration_s"]
    row.tool_version = result["tool_version"]
    row.summary = summary_of(result).to_json()
    session.add(row)
    session.flush()
    session.merge(ResultRow(take_id=row.id, body=body))


def named(session: Session, table: type[Named], name: str) -> Named:
    """Row of that name, made when there is none."""
    row = session.scalar(select(table).where(table.name == name))
    if row is None:
        row = table(name=name)
        session.add(row)
        session.flush()
    return row


def lick_row(session: Session, lick: Lick, file: str) -> LickRow:
    """Row of a lick by its content, brought up to date."""
    # who only looks back needs no lick reader
    from assessor.history.licks import digest_of, sheet_of

    digest = digest_of(lick)
    row = session.scalar(select(LickRow).where(LickRow.digest == digest))
    if row is None:
        row = LickRow(digest=digest)
        session.add(row)
    row.title, row.tempo_bpm, row.notes = lick.title, lick.tempo_bpm, len(lick)
    row.file, row.sheet = file, sheet_of(lick)
    session.flush()
    return row


def takes_of(store: Store, selection: Selection = EVERYTHING) -> list[Take]:
    """Takes that are meant, in order of time."""
    take, tables = TakeRow.__table__, Base.metadata.tables
    player, lick, device = (tables[name] for name in ("player", "lick", "device"))
    # plain columns: mapped ones cost half as much again for ten thousand rows
    columns = (
        take.c.id,
        player.c.name,
        lick.c.digest,
        lick.c.title,
        func.coalesce(device.c.name, ""),
        *(take.c[name] for name in TAKE_COLUMNS),
        cast(take.c.summary, Text),
    )
    query = (
        select(*columns)
        .join(player, take.c.player_id == player.c.id)
        .join(lick, take.c.lick_id == lick.c.id)
        .outerjoin(device, take.c.device_id == device.c.id)
        .order_by(take.c.recorded_at, take.c.id)
    )
    with store.reading() as session:
        rows = session.connection().execute(meant(query, selection)).all()
    summaries = summaries_from(row[-1] for row in rows)
    found = []
    for row, summary in zip(rows, summaries, strict=True):
        fields: list[Any] = [*row[:-1], summary]
        found.append(Take(*fields))
    return found


TAKE_COLUMNS = (
    "digest",
    "recorded_at",
    "kept_at",
    "duration_s",
    "file",
    "copy",
    "tool_version",
    "a_level_dbfs",
)


def meant(query: Select[Any], selection: Selection) -> Select[Any]:
    """Narrow a query over takes, players and licks to what is meant."""
    if selection.player is not None:
        query = query.where(Player.name == selection.player)
    if selection.lick is not None:
        query = query.where(LickRow.digest == selection.lick)
    if selection.take_id is not None:
        query = query.where(TakeRow.id == selection.take_id)
    if selection.since is not None:
        query = query.where(TakeRow.recorded_at >= selection.since)
    if selection.until is not None:
        query = query.where(TakeRow.recorded_at < selection.until)
    return query


def result_of(store: Store, take_id: int) -> Json:
    """Whole result of a take.

    Raises
    ------
    HistoryError
        When there is no such take.
    """
    with store.reading() as session:
        row = session.get(ResultRow, take_id)
        if row is None:
            message = f"there is no take {take_id}; assessor history list shows them"
            raise HistoryError(message, str(store.place))
        return unpack(row.body)


def licks_of(store: Store) -> list[KeptLick]:
    """Every lick there is, by title."""
    query = select(LickRow).order_by(LickRow.title, LickRow.digest)
    with store.reading() as session:
        return [
            KeptLick(
                row.digest, row.title, row.tempo_bpm, row.notes, row.file, row.sheet
            )
            for row in session.scalars(query)
        ]


def pack(result: Json) -> bytes:
    """Result as compressed JSON."""
    text = json.dumps(result, ensure_ascii=False, separators=(",", ":"))
    return zlib.compress(text.encode(), 9)


def unpack(body: bytes) -> Json:
    """Read what `pack` wrote."""
    result: Json = json.loads(zlib.decompress(body))
    return result
