"""Sound levels over days: only from a device that a meter was read for.

A direct line hears no room, and an uncalibrated microphone no level: then there is no
number, and words why.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import select

from assessor import care
from assessor.errors import HistoryError
from assessor.history.models import CalibrationRow, Device, Player
from assessor.history.practice import Practice, merged
from assessor.history.store import Store
from assessor.history.takes import Take, named

Span = tuple[datetime, datetime]


@dataclass(frozen=True)
class Calibration:
    """A meter reading.

    Attributes
    ----------
    measured_at : datetime
    meter_dba : float
        What the meter showed, A-weighted, where the ears are.
    a_level_dbfs : float
        A-weighted equivalent level of the take made at that time.
    """

    measured_at: datetime
    meter_dba: float
    a_level_dbfs: float

    @property
    def offset_db(self) -> float:
        """What turns dBFS of this device into dBA at the ears."""
        return self.meter_dba - self.a_level_dbfs


@dataclass(frozen=True)
class Exposure:
    """One stretch of time with its sound, or without.

    Attributes
    ----------
    began : datetime
    minutes : float
    level_dba : float or None
        None where it is not known.
    why : str
        Why it is not known; else empty.
    """

    began: datetime
    minutes: float
    level_dba: float | None
    why: str = ""


@dataclass(frozen=True)
class Ears:
    """What is known of every device, by name."""

    lines: frozenset[str]
    calibrations: dict[str, tuple[Calibration, ...]]

    def level_dba(self, take: Take) -> tuple[float | None, str]:
        """Level at the ears during a take, or None and why.

        The latest calibration made no later than the take counts: an input that was
        turned afterwards needs a new one.
        """
        if not take.device:
            return None, "no device was named when the take was kept"
        if take.device in self.lines:
            return None, f"{take.device} is a direct line: it hears no room"
        calibrations = self.calibrations.get(take.device, ())
        before = [c for c in calibrations if c.measured_at <= take.recorded_at]
        if not before:
            return None, f"{take.device} had not been calibrated with a meter by then"
        if take.a_level_dbfs is None:
            return None, "the level of the take was not measured when it was kept"
        return take.a_level_dbfs + before[-1].offset_db, ""


def ears_of(store: Store) -> Ears:
    """Everything known of devices."""
    with store.reading() as session:
        lines = session.scalars(select(Device.name).where(Device.line))
        found: dict[str, tuple[Calibration, ...]] = {}
        query = (
            select(CalibrationRow, Device.name)
            .join(Device)
            .order_by(CalibrationRow.measured_at)
        )
        for row, name in session.execute(query):
            one = Calibration(row.measured_at, row.meter_dba, row.a_level_dbfs)
            found[name] = (*found.get(name, ()), one)
        return Ears(frozenset(lines), found)


def calibrate(store: Store, device: str, reading: Calibration) -> None:
    """Keep a meter reading for a device; one of the same moment is replaced.

    Raises
    ------
    HistoryError
        When the device is a direct line.
    """
    with store.writing() as session:
        row = named(session, Device, device)
        if row.line:
            message = (
                f"{device} is a direct line, which hears no room: a level at the ears "
                "cannot be known from it; record with a microphone where your ears are"
            )
            raise HistoryError(message)
        known = session.scalar(
            select(CalibrationRow).where(
                CalibrationRow.device_id == row.id,
                CalibrationRow.measured_at == reading.measured_at,
            )
        )
        known = known or CalibrationRow(
            device_id=row.id, measured_at=reading.measured_at
        )
        known.meter_dba, known.a_level_dbfs = reading.meter_dba, reading.a_level_dbfs
        session.add(known)


def set_line(store: Store, device: str, *, line: bool) -> None:
    """Say whether a device is a direct line."""
    with store.writing() as session:
        named(session, Device, device).line = line


def set_child(store: Store, player: str, *, child: bool) -> None:
    """Say whether a player is a child."""
    with store.writing() as session:
        named(session, Player, player).child = child


def is_child(store: Store, player: str) -> bool:
    """Whether a player is a child, as was said last."""
    with store.reading() as session:
        query = select(Player.child).where(Player.name == player)
        return bool(session.scalar(query))


def exposures_of(
    ears: Ears, practice: Sequence[Practice], takes: Sequence[Take]
) -> list[Exposure]:
    """Every stretch of playing with its level, in order of time; no moment twice.

    Where several speak of one moment, the meter reading of the log stands before the
    level of a take, and both before time without a level.
    """
    ranked: list[tuple[int, Span, float | None, str]] = []
    for one in practice:
        span = one.started_at, one.ended_at or one.started_at
        if one.level_dba is None:
            ranked.append((3, span, None, "logged without a meter reading"))
        else:
            ranked.append((0, span, one.level_dba, ""))
    for take in takes:
        span = take.recorded_at, take.recorded_at + timedelta(seconds=take.duration_s)
        level_dba, why = ears.level_dba(take)
        ranked.append((2 if level_dba is None else 1, span, level_dba, why))
    found: list[Exposure] = []
    covered: list[Span] = []
    for _, span, level_dba, why in sorted(ranked, key=lambda one: one[:2]):
        for start, end in _outside(span, covered):
            minutes = (end - start).total_seconds() / 60
            found.append(Exposure(start, minutes, level_dba, why))
        covered = merged([*covered, span])
    return sorted(found, key=lambda exposure: exposure.began)


def _outside(span: Span, covered: Sequence[Span]) -> Iterator[Span]:
    """What of a span lies in none of some others, which are in order and apart."""
    start, end = span
    for low, high in covered:
        if low < end and start < high:
            if start < low:
                yield start, low
            start = high
    if start < end:
        yield start, end


@dataclass(frozen=True)
class Dose:
    """Sound dose of some time.

    Attributes
    ----------
    percent : float
        Of the allowance, 100 = full.
    known_minutes, unknown_minutes : float
        With and without a level.
    left_minutes : float or None
        To a full dose at the latest known level; None where none is known.
    latest_dba : float or None
    why : tuple of str
        Why levels are not known, each reason once.
    """

    percent: float
    known_minutes: float
    unknown_minutes: float
    left_minutes: float | None
    latest_dba: float | None
    why: tuple[str, ...]


def dose_of(exposures: Iterable[Exposure], allowance: care.Allowance) -> Dose:
    """Dose of exposures by one allowance; no number where no level is known."""
    known, unknown, why, latest_dba = [], 0.0, [], None
    for exposure in exposures:
        if exposure.level_dba is None:
            unknown += exposure.minutes
            why.append(exposure.why)
        else:
            latest_dba = exposure.level_dba
            known.append((exposure.level_dba, exposure.minutes))
    percent = allowance.dose_percent(known)
    left = None
    if latest_dba is not None:
        rest = max(1 - percent / 100, 0.0)
        left = rest * allowance.allowed_minutes(latest_dba)
    return Dose(
        percent=percent,
        known_minutes=sum(minutes for _, minutes in known),
        unknown_minutes=unknown,
        left_minutes=left,
        latest_dba=latest_dba,
        why=tuple(dict.fromkeys(why)),
    )
