"""What changes over days, computed from kept takes alone.

Each take speaks with its best pass, the one `assessor check` reports; a day with the
median of its takes (of faults, their share in all of its notes), so that a day of many
takes weighs no more than one of few.  Above
`MOST_POINTS` days weeks take their place.  A trend is looked for in takes like the
newest only: of its version of the program, because another may measure differently;
where the reading depends on them, of its tolerance, and to a click or not, as it was.

A change is told only where the row of days has a trend (Mann-Kendall, two-sided), the
interval of its Theil-Sen slope does not hold zero, and the change along that line is
larger than the smallest detectable change.  A dozen rows are looked at, so their p are
adjusted: of the changes that are told at 5 %, one in twenty is chance on average
(Benjamini-Hochberg).  From fewer than five days of takes nothing is claimed: on four
even a perfect row is chance once in twelve times.

Known limit: slow practice is easier than fast, and takes at different tempos are put
into one row; `LickProgress.tempos_bpm` is there to say so.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta, tzinfo
from enum import StrEnum
from functools import cached_property
from itertools import chain
from statistics import median
from typing import NamedTuple

import numpy as np

from assessor.history import clock
from assessor.history.alike import Alike
from assessor.history.summary import READINGS, KeptReading
from assessor.history.takes import Take
from assessor.trend import (
    MannKendall,
    Slope,
    adjusted,
    mann_kendall,
    smallest_detectable_change,
    theil_sen,
)

FEWEST_DAYS = 5
MOST_POINTS = 120
WEEK_DAYS = 7
SURE_P = 0.05

MORE_IS_BETTER = frozenset({"mark", "right notes", "tempo reached"})
# What does not depend on whether a take was played to a click
TIMELESS = frozenset({"right notes", "bends", "plain pitch", "slur level"})

# Takes by day, or by the Monday of their week, in order
Bins = dict[date, list[Take]]


class Verdict(StrEnum):
    """What may be said about a row."""

    TOO_FEW = "too few days to tell"
    NOTHING = "no change that is more than chance"
    BETTER = "better"
    WORSE = "worse"


class Point(NamedTuple):
    """One day, or week, of one reading.

    Attributes
    ----------
    day : date
        The day, or the Monday of the week.
    value, uncertainty : float
        Medians of the takes; the uncertainty is that of one take.
    takes : int
    comparable : bool
        False when a take was heard by another version, judged by another tolerance, or
        played to a click when the newest was not.
    """

    day: date
    value: float
    uncertainty: float
    takes: int
    comparable: bool


@dataclass(frozen=True)
class Change:
    """What the comparable points of a row say.

    Attributes
    ----------
    slope : Slope
        A week.
    test : MannKendall
    p : float
        That of the test, adjusted for the number of rows that are looked at.
    change : float
        Along the line from the first day to the last.
    detectable : float
        Smallest change that is more than scatter.
    first, last : float
        Ends of the line, not below 0, where no reading can be.
    """

    slope: Slope
    test: MannKendall
    p: float
    change: float
    detectable: float
    first: float
    last: float


@dataclass(frozen=True)
class Series:
    """One reading over time.

    Attributes
    ----------
    name, unit : str
    points : tuple of Point
        In order, at least one.
    limit : float or None
        What is allowed, in the newest take.
    change : Change or None
        None with fewer than five comparable points.
    verdict : Verdict
    """

    name: str
    unit: str
    points: tuple[Point, ...]
    limit: float | None
    change: Change | None
    verdict: Verdict


@dataclass(frozen=True)
class Heat:
    """Where in the lick trouble sits, week by week.

    Attributes
    ----------
    weeks : tuple of date
        Their Mondays; weeks without takes are left out.
    faulty, reached : shape=(weeks, notes), int
        Passes in which something was wrong at a note, of those in which it was judged.
    """

    weeks: tuple[date, ...]
    faulty: tuple[tuple[int, ...], ...]
    reached: tuple[tuple[int, ...], ...]

    def share(self, week: int, note: int) -> float | None:
        """Share of passes with something wrong at a note; None when not played."""
        reached = self.reached[week][note]
        return self.faulty[week][note] / reached if reached else None


@dataclass(frozen=True)
class LickProgress:
    """Everything told about one lick.

    Attributes
    ----------
    lick, title : str
        Digest and title.
    goal_bpm : float
        The written tempo.
    takes : tuple of Take
        In order of time.
    on : tuple of date
        Day of each take.
    reached_bpm : float or None
        Fastest whole pass with every headline inside its tolerance.
    tempos_bpm : tuple of float
        That of the best pass of each take.
    series : tuple of Series
        Mark, tempo reached, readings.
    causes : tuple of Series
        Faults by cause in a hundred notes, commonest first.
    versions : tuple of str
        Of the program, oldest first.
    """

    lick: str
    title: str
    goal_bpm: float
    takes: tuple[Take, ...]
    on: tuple[date, ...]
    reached_bpm: float | None
    tempos_bpm: tuple[float, ...]
    series: tuple[Series, ...]
    causes: tuple[Series, ...]
    versions: tuple[str, ...]

    @property
    def days(self) -> int:
        """Number of days with takes."""
        return len(set(self.on))

    @cached_property
    def heat(self) -> Heat:
        """Where trouble sits; only counted when it is asked for."""
        return _heat(self.takes, self.on)


def progress_of(
    takes: Iterable[Take], zone: tzinfo | None = None
) -> tuple[LickProgress, ...]:
    """Progress in every lick there are takes of, the latest played first."""
    by_lick: dict[str, list[Take]] = {}
    for take in takes:
        by_lick.setdefault(take.lick, []).append(take)
    found = [_lick(one, zone) for one in by_lick.values()]
    found.sort(key=lambda one: one.takes[-1].recorded_at, reverse=True)
    return tuple(found)


def _lick(takes: list[Take], zone: tzinfo | None) -> LickProgress:
    takes.sort(key=lambda take: take.recorded_at)
    newest = takes[-1]
    days = [clock.local_day(take.recorded_at, zone) for take in takes]
    reached = [bpm for take in takes if (bpm := _tempo_reached(take)) is not None]
    bins = _binned(takes, days)
    alike = Alike(takes)
    rows = [*_all_series(bins, alike, newest.summary.written_bpm)]
    causes = [*_cause_series(bins, alike)]
    judged = _judged([*rows, *causes])
    return LickProgress(
        lick=newest.lick,
        title=newest.title,
        goal_bpm=newest.summary.written_bpm,
        takes=tuple(takes),
        on=tuple(days),
        reached_bpm=max(reached, default=None),
        tempos_bpm=tuple(take.summary.best_pass.tempo_bpm for take in takes),
        series=judged[: len(rows)],
        causes=judged[len(rows) :],
        versions=tuple(dict.fromkeys(take.tool_version for take in takes)),
    )


def _tempo_reached(take: Take) -> float | None:
    inside = [p.tempo_bpm for p in take.summary.passes if p.complete and p.inside]
    return max(inside, default=None)


def _binned(takes: Sequence[Take], days: Sequence[date]) -> Bins:
    """Takes by day, or by the Monday of their week where there are many days."""
    by_week = len(set(days)) > MOST_POINTS
    bins: Bins = {}
    for take, day in zip(takes, days, strict=True):
        start = day - timedelta(days=day.weekday()) if by_week else day
        bins.setdefault(start, []).append(take)
    return bins


def _all_series(bins: Bins, alike: Alike, goal_bpm: float) -> Iterator[Series]:
    rows: dict[str, list[Point]] = {"mark": [], "tempo reached": []}
    known_names = {name for t in chain(*bins.values()) for name in t.summary.readings}
    names = [name for name in READINGS if name in known_names]
    for day, takes in bins.items():
        judged, ok = alike.among(takes, by_tolerance=True, by_click=True)
        marks = [take.summary.best_pass.mark for take in judged]
        reached = [_tempo_reached(take) for take in judged]
        for name, values in (("mark", marks), ("tempo reached", reached)):
            known = [value for value in values if value is not None]
            if known:
                rows[name].append(Point(day, median(known), 0.0, len(known), ok))
        for name, point in _readings(day, takes, alike, names):
            rows.setdefault(name, []).append(point)
    units: dict[str, tuple[str, float | None]] = {}
    units |= {"mark": ("of 100", None), "tempo reached": ("bpm", goal_bpm)}
    for name, row in rows.items():
        if row:
            unit, limit = units.get(name) or _unit_and_limit(name, bins)
            yield _series(name, unit, row, limit)


def _readings(
    day: date, takes: list[Take], alike: Alike, names: Sequence[str]
) -> Iterator[tuple[str, Point]]:
    """One point for each reading of a day."""
    by_name = {
        True: alike.among(takes),
        False: alike.among(takes, by_click=True),
    }
    for name in names:
        ours, ok = by_name[name in TIMELESS]
        readings = [kept for take in ours if (kept := take.summary.readings.get(name))]
        if readings:
            yield name, _point(day, name, readings, ok=ok)


def _point(day: date, name: str, readings: list[KeptReading], *, ok: bool) -> Point:
    """The middle of some readings of one name."""
    if name in MORE_IS_BETTER:
        values = [kept.value for kept in readings]
    else:
        values = [abs(kept.value - kept.target) for kept in readings]
    known = median([kept.uncertainty for kept in readings])
    return Point(day, median(values), known, len(values), ok)


def _unit_and_limit(name: str, bins: Bins) -> tuple[str, float | None]:
    """Unit of a reading, and what is allowed in the latest take that has it."""
    takes = [take for day in reversed(bins) for take in reversed(bins[day])]
    kept = next(t.summary.readings[name] for t in takes if name in t.summary.readings)
    if name in MORE_IS_BETTER and kept.limit is not None:
        return kept.unit, kept.target - kept.limit
    return kept.unit, kept.limit


def _cause_series(bins: Bins, alike: Alike) -> Iterator[Series]:
    """Faults of each cause in a hundred notes, commonest first."""
    counted: list[tuple[date, dict[str, int], int, bool]] = []
    total: dict[str, int] = {}
    for day, takes in bins.items():
        judged, ok = alike.among(takes, by_tolerance=True, by_click=True)
        counts: dict[str, int] = {}
        for take in judged:
            for cause, count in take.summary.causes.items():
                counts[cause] = counts.get(cause, 0) + count
        notes = sum(sum(take.summary.reached) for take in judged)
        if notes:
            counted.append((day, counts, notes, ok))
        for cause, count in counts.items():
            total[cause] = total.get(cause, 0) + count
    for cause in sorted(total, key=lambda cause: -total[cause]):
        row = [
            Point(day, 100 * counts.get(cause, 0) / notes, 0.0, len(bins[day]), ok)
            for day, counts, notes, ok in counted
        ]
        yield _series(cause, "in 100", row, None)


def _series(name: str, unit: str, row: list[Point], limit: float | None) -> Series:
    change = _change([point for point in row if point.comparable])
    return Series(name, unit, tuple(row), limit, change, Verdict.TOO_FEW)


def _judged(rows: Sequence[Series]) -> tuple[Series, ...]:
    """Rows with what may be said of each, given how many are looked at."""
    known = [row.change.test.p for row in rows if row.change is not None]
    p = iter(adjusted(np.array(known)))
    judged = []
    for row in rows:
        change = row.change and replace(row.change, p=float(next(p)))
        verdict = _verdict(row.name, change)
        judged.append(replace(row, change=change, verdict=verdict))
    return tuple(judged)


def _change(points: Sequence[Point]) -> Change | None:
    if len(points) < FEWEST_DAYS:
        return None
    first = points[0].day
    weeks = np.array([(point.day - first).days / WEEK_DAYS for point in points])
    values = np.array([point.value for point in points])
    slope, test = theil_sen(weeks, values), mann_kendall(values)
    return Change(
        slope=slope,
        test=test,
        p=test.p,
        change=slope.value * float(weeks[-1]),
        detectable=smallest_detectable_change(
            values, np.array([point.uncertainty for point in points])
        ),
        first=max(slope.intercept, 0.0),
        last=max(slope.intercept + slope.value * float(weeks[-1]), 0.0),
    )


def _verdict(name: str, change: Change | None) -> Verdict:
    if change is None:
        return Verdict.TOO_FEW
    flat = change.slope.low <= 0 <= change.slope.high
    small = abs(change.change) <= change.detectable
    if change.p >= SURE_P or flat or small:
        return Verdict.NOTHING
    more = change.change > 0
    return Verdict.BETTER if more == (name in MORE_IS_BETTER) else Verdict.WORSE


def _heat(takes: Sequence[Take], days: Sequence[date]) -> Heat:
    """Counts by week; takes of one lick all have its notes."""
    by_week: dict[date, list[Take]] = {}
    for take, day in zip(takes, days, strict=True):
        by_week.setdefault(day - timedelta(days=day.weekday()), []).append(take)
    faulty = [
        np.sum([take.summary.faulty for take in one], axis=0).tolist()
        for one in by_week.values()
    ]
    reached = [
        np.sum([take.summary.reached for take in one], axis=0).tolist()
        for one in by_week.values()
    ]
    return Heat(tuple(by_week), tuple(map(tuple, faulty)), tuple(map(tuple, reached)))
