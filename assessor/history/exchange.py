"""A store as JSON lines, and back: to move house, to keep, to look at elsewhere.

The first line says what the file is; each other line is one row with its ``kind``.
Rows name what they belong to, so that lines of several stores may be brought together.
Importing what is there already changes nothing.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from assessor.errors import HistoryError
from assessor.history.models import (
    CalibrationRow,
    Device,
    LickRow,
    Player,
    ResultRow,
    SessionRow,
    TakeRow,
)
from assessor.history.store import Store
from assessor.history.summary import Json, summary_of
from assessor.history.takes import named, pack, unpack

FORMAT = "assessor-history"
VERSION = 1

LICK_FIELDS = ("digest", "title", "tempo_bpm", "notes", "file", "sheet")
# not where a copy lies: forgetting deletes copies, and a file from elsewhere could
# name anything
TAKE_FIELDS = ("recorded_at", "kept_at", "file", "a_level_dbfs")
SESSION_FIELDS = ("started_at", "ended_at", "what", "felt", "strain", "level_dba")
CALIBRATION_FIELDS = ("measured_at", "meter_dba", "a_level_dbfs")
MOMENTS = {"recorded_at", "kept_at", "started_at", "ended_at", "measured_at"}


def export_lines(store: Store) -> Iterator[str]:
    """Every row of a store, a line each, without line breaks.

    The order depends on what is in the store alone, not on how it came there.
    """
    with store.reading() as session:
        yield _line({"format": FORMAT, "version": VERSION})
        for player in session.scalars(select(Player).order_by(Player.name)):
            yield _line({"kind": "player", "name": player.name, "child": player.child})
        for device in session.scalars(select(Device).order_by(Device.name)):
            yield _line({"kind": "device", "name": device.name, "line": device.line})
        for lick in session.scalars(select(LickRow).order_by(LickRow.digest)):
            yield _line({"kind": "lick", **_fields(lick, LICK_FIELDS)})
        yield from _belonging(session)
        yield from _takes(session)


def _belonging(session: Session) -> Iterator[str]:
    """Calibrations and practice sessions."""
    calibrations = (
        select(CalibrationRow, Device.name)
        .join(Device)
        .order_by(Device.name, CalibrationRow.measured_at)
    )
    for row, device in session.execute(calibrations):
        value = {"kind": "calibration", "device": device}
        yield _line(value | _fields(row, CALIBRATION_FIELDS))
    sessions = (
        select(SessionRow, Player.name)
        .join(Player)
        .order_by(SessionRow.started_at, Player.name)
    )
    for practice, player in session.execute(sessions):
        value = {"kind": "session", "player": player}
        yield _line(value | _fields(practice, SESSION_FIELDS))


def _takes(session: Session) -> Iterator[str]:
    takes = (
        select(TakeRow, Player.name, LickRow.digest, Device.name, ResultRow.body)
        .join(Player, TakeRow.player_id == Player.id)
        .join(LickRow, TakeRow.lick_id == LickRow.id)
        .join(ResultRow, ResultRow.take_id == TakeRow.id)
        .outerjoin(Device, TakeRow.device_id == Device.id)
        .order_by(TakeRow.recorded_at, TakeRow.digest, LickRow.digest, Player.name)
        .execution_options(yield_per=200)
    )
    for take, player, lick, device, body in session.execute(takes):
        value = {"kind": "take", "player": player, "lick": lick, "device": device}
        yield _line(value | _fields(take, TAKE_FIELDS) | {"result": unpack(body)})


def _fields(row: object, names: Iterable[str]) -> Json:
    found = {name: getattr(row, name) for name in names}
    for name in MOMENTS & set(found):
        found[name] = found[name] and found[name].isoformat()
    return found


def _line(value: Json) -> str:
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"))


def import_lines(store: Store, lines: Iterable[str]) -> dict[str, int]:
    """Put exported rows into a store, all in one transaction.

    Parameters
    ----------
    store : Store
    lines : iterable of str

    Returns
    -------
    dict of str to int
        How many rows of each kind were new.

    Raises
    ------
    HistoryError
        When a line is not what `export_lines` writes, with its number; then nothing
        was imported.
    """
    counts = dict.fromkeys(_READERS, 0)
    with store.writing() as session:
        number = 0
        for number, line in enumerate(lines, 1):
            try:
                value = json.loads(line)
                if number == 1:
                    _check_head(value)
                else:
                    counts[value["kind"]] += _READERS[value["kind"]](session, value)
            except (ValueError, KeyError, TypeError, AttributeError) as problem:
                message = (
                    f"line {number} is no row of an exported history "
                    f"({type(problem).__name__}: {problem}); nothing was imported"
                )
                raise HistoryError(message) from problem
        if not number:
            message = "the file is empty; nothing was imported"
            raise HistoryError(message)
    return counts


def _check_head(value: Json) -> None:
    if value["format"] != FORMAT:
        message = f"the format is {value['format']!r}, not {FORMAT!r}"
        raise ValueError(message)
    if value["version"] > VERSION:
        message = f"its version is {value['version']}, the newest known is {VERSION}"
        raise ValueError(message)


def _read_player(session: Session, value: Json) -> bool:
    before = session.scalar(select(Player.id).where(Player.name == value["name"]))
    player = named(session, Player, value["name"])
    player.child = player.child or bool(value["child"])
    return before is None


def _read_device(session: Session, value: Json) -> bool:
    before = session.scalar(select(Device.id).where(Device.name == value["name"]))
    device = named(session, Device, value["name"])
    device.line = device.line or bool(value["line"])
    return before is None


def _read_lick(session: Session, value: Json) -> bool:
    query = select(LickRow.id).where(LickRow.digest == value["digest"])
    if session.scalar(query) is not None:
        return False
    session.add(LickRow(**{name: value[name] for name in LICK_FIELDS}))
    session.flush()
    return True


def _read_calibration(session: Session, value: Json) -> bool:
    fields = _read_fields(value, CALIBRATION_FIELDS)
    device = named(session, Device, value["device"])
    query = select(CalibrationRow.id).where(
        CalibrationRow.device_id == device.id,
        CalibrationRow.measured_at == fields["measured_at"],
    )
    if session.scalar(query) is not None:
        return False
    session.add(CalibrationRow(device_id=device.id, **fields))
    return True


def _read_session(session: Session, value: Json) -> bool:
    fields = _read_fields(value, SESSION_FIELDS)
    player = named(session, Player, value["player"])
    query = select(SessionRow.id).where(
        SessionRow.player_id == player.id,
        SessionRow.started_at == fields["started_at"],
    )
    if session.scalar(query) is not None:
        return False
    session.add(SessionRow(player_id=player.id, **fields))
    return True


def _read_take(session: Session, value: Json) -> bool:
    result = value["result"]
    player = named(session, Player, value["player"])
    lick_id = session.scalar(select(LickRow.id).where(LickRow.digest == value["lick"]))
    if lick_id is None:
        message = f"its lick {value['lick']!r} stands on no line before it"
        raise ValueError(message)
    digest = result["recording"]["sha256"]
    query = select(TakeRow.id).where(
        TakeRow.player_id == player.id,
        TakeRow.lick_id == lick_id,
        TakeRow.digest == digest,
    )
    if session.scalar(query) is not None:
        return False
    device = named(session, Device, value["device"]) if value["device"] else None
    row = TakeRow(
        player_id=player.id,
        lick_id=lick_id,
        device_id=device.id if device else None,
        digest=digest,
        duration_s=result["recording"]["duration_s"],
        tool_version=result["tool_version"],
        summary=summary_of(result).to_json(),
        **_read_fields(value, TAKE_FIELDS),
    )
    session.add(row)
    session.flush()
    session.add(ResultRow(take_id=row.id, body=pack(result)))
    return True


def _read_fields(value: Json, names: Iterable[str]) -> dict[str, Any]:
    fields = {name: value[name] for name in names}
    for name in MOMENTS & set(fields):
        if fields[name] is not None:
            fields[name] = datetime.fromisoformat(fields[name])
            if fields[name].tzinfo is None:
                message = f"{name} {value[name]!r} has no offset from UTC"
                raise ValueError(message)
    return fields


_READERS = {
    "player": _read_player,
    "device": _read_device,
    "lick": _read_lick,
    "calibration": _read_calibration,
    "session": _read_session,
    "take": _read_take,
}
