"""What changes over days, computed from kept takes alone.

Each take speaks with its best pass, the one `assessor check` reports; a day with the
median of its takes, so that a day of many takes weighs no more than one of few.  Above
`MOST_POINTS` days weeks take their place.  A trend is looked for in takes of one
version of the program only, that of the newest, because another version may measure
differently; readings that depend on the tolerance, in takes of the newest one's.

A change is told only where the row of days has a trend (Mann-Kendall, two-sided, 5 %),
the interval of its Theil-Sen slope does not hold zero, and the change along that line
is larger than the smallest detectable change;
from fewer than four days of takes nothing is claimed.  On four days even the best row
has p = .083, so that the first claim can come on the fifth.

Known limits: a dozen rows are looked at, so one of them may speak by chance; slow
practice is easier than fast, and readings at different tempos are put into one row; the
tempo is a row of its own beside them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta, tzinfo
from enum import StrEnum
from functools import partial

import numpy as np

from assessor.history import clock
from assessor.history.takes import Take
from assessor.trend import (
    FEWEST,
    MannKendall,
    Slope,
    mann_kendall,
    smallest_detectable_change,
    theil_sen,
)

MOST_POINTS = 120
WEEK_DAYS = 7
SURE_P = 0.05

MORE_IS_BETTER = frozenset({"mark", "right notes", "tempo reached"})
BY_TOLERANCE = frozenset({"mark", "tempo reached"})


class Verdict(StrEnum):
    """What may be said about a row."""

    TOO_FEW = "too few days to tell"
    NOTHING = "no change that is more than chance"
    BETTER = "better"
    WORSE = "worse"


@dataclass(frozen=True)
class Point:
    """One day, or week, of one reading.

    Attributes
    ----------
    day : date
        The day, or the Monday of the week.
    value, uncertainty : float
        Medians of the takes; the uncertainty is that of one take.
    takes : int
    comparable : bool
        False when a take was heard by another version, or judged by another tolerance,
        than the newest.
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
    change : float
        Along the line from the first day to the last.
    detectable : float
        Smallest change that is more than scatter.
    first, last : float
        Ends of the line, not below 0, where no reading can be.
    """

    slope: Slope
    test: MannKendall
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
        None with fewer than four comparable points.
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
    days : int
        With takes.
    reached_bpm : float or None
        Fastest whole pass with every headline inside its tolerance.
    series : tuple of Series
        Mark, tempo reached, readings.
    causes : tuple of Series
        Faults by cause in a hundred notes, commonest first.
    heat : Heat
    versions : tuple of str
        Of the program, oldest first.
    """

    lick: str
    title: str
    goal_bpm: float
    takes: tuple[Take, ...]
    days: int
    reached_bpm: float | None
    series: tuple[Series, ...]
    causes: tuple[Series, ...]
    heat: Heat
    versions: tuple[str, ...]


# One value of a take for a row: value, uncertainty, unit, limit
Value = tuple[float, float, str, float | None]


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
    return LickProgress(
        lick=newest.lick,
        title=newest.title,
        goal_bpm=newest.summary.written_bpm,
        takes=tuple(takes),
        days=len(set(days)),
        reached_bpm=max(reached, default=None),
        series=tuple(_all_series(takes, days)),
        causes=tuple(_cause_series(takes, days)),
        heat=_heat(takes, days),
        versions=tuple(dict.fromkeys(take.tool_version for take in takes)),
    )


def _tempo_reached(take: Take) -> float | None:
    inside = [p.tempo_bpm for p in take.summary.passes if p.complete and p.inside]
    return max(inside, default=None)


def _all_series(takes: list[Take], days: list[date]) -> Iterable[Series]:
    names = dict.fromkeys(name for take in takes for name in take.summary.readings)
    yield from _series("mark", takes, days, _mark)
    yield from _series("tempo reached", takes, days, _reached)
    for name in names:
        yield from _series(name, takes, days, partial(_reading, name))


def _mark(take: Take) -> Value | None:
    mark = take.summary.best_pass.mark
    return None if mark is None else (mark, 0.0, "of 100", None)


def _reached(take: Take) -> Value | None:
    tempo = _tempo_reached(take)
    goal = take.summary.written_bpm
    return None if tempo is None else (tempo, 0.0, "bpm", goal)


def _reading(name: str, take: Take) -> Value | None:
    """Distance from what was asked; of right notes, their share."""
    kept = take.summary.readings.get(name)
    if kept is None:
        return None
    if name in MORE_IS_BETTER:
        allowed = None if kept.limit is None else kept.target - kept.limit
        return kept.value, kept.uncertainty, kept.unit, allowed
    return abs(kept.value - kept.target), kept.uncertainty, kept.unit, kept.limit


def _cause_series(takes: list[Take], days: list[date]) -> Iterable[Series]:
    """Faults of each cause in a hundred notes, commonest first."""
    counts: dict[str, int] = {}
    for take in takes:
        for cause, count in take.summary.causes.items():
            counts[cause] = counts.get(cause, 0) + count

    for cause in sorted(counts, key=lambda cause: -counts[cause]):
        yield from _series(
            cause, takes, days, partial(_per_hundred, cause), by_rule=True
        )


def _per_hundred(cause: str, take: Take) -> Value | None:
    reached = sum(take.summary.reached)
    if not reached:
        return None
    return 100 * take.summary.causes.get(cause, 0) / reached, 0.0, "in 100", None


def _series(
    name: str,
    takes: Sequence[Take],
    days: Sequence[date],
    value_of: Callable[[Take], Value | None],
    *,
    by_rule: bool = False,
) -> Iterable[Series]:
    """One row; none when no take has a value."""
    values = [value_of(take) for take in takes]
    if all(value is None for value in values):
        return
    by_rule = by_rule or name in BY_TOLERANCE
    newest = _heard_by(takes[-1], by_rule)
    by_week = len(set(days)) > MOST_POINTS
    points: dict[date, list[tuple[Value, bool]]] = {}
    unit, limit = "", None
    for take, day, value in zip(takes, days, values, strict=True):
        if value is None:
            continue
        unit, limit = value[2], value[3]
        if by_week:
            day -= timedelta(days=day.weekday())
        same = _heard_by(take, by_rule) == newest
        points.setdefault(day, []).append((value, same))
    row = tuple(_point(day, found) for day, found in sorted(points.items()))
    change = _change([point for point in row if point.comparable])
    yield Series(name, unit, row, limit, change, _verdict(name, change))


def _heard_by(take: Take, by_rule: bool) -> tuple[str, str]:
    tolerance = str(take.settings["tolerance"]["name"]) if by_rule else ""
    return take.tool_version, tolerance


def _point(day: date, found: list[tuple[Value, bool]]) -> Point:
    """Median of a day, of its comparable takes where there are some."""
    comparable = [value for value, same in found if same]
    values = comparable or [value for value, _ in found]
    return Point(
        day=day,
        value=float(np.median([value[0] for value in values])),
        uncertainty=float(np.median([value[1] for value in values])),
        takes=len(values),
        comparable=bool(comparable),
    )


def _change(points: Sequence[Point]) -> Change | None:
    if len(points) < FEWEST:
        return None
    first = points[0].day
    weeks = np.array([(point.day - first).days / WEEK_DAYS for point in points])
    values = np.array([point.value for point in points])
    slope = theil_sen(weeks, values)
    return Change(
        slope=slope,
        test=mann_kendall(values),
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
    if change.test.p >= SURE_P or flat or small:
        return Verdict.NOTHING
    more = change.change > 0
    return Verdict.BETTER if more == (name in MORE_IS_BETTER) else Verdict.WORSE


def _heat(takes: Sequence[Take], days: Sequence[date]) -> Heat:
    """Counts by week; takes of one lick all have its notes."""
    faulty: dict[date, np.ndarray] = {}
    reached: dict[date, np.ndarray] = {}
    for take, day in zip(takes, days, strict=True):
        week = day - timedelta(days=day.weekday())
        wrong = np.array(take.summary.faulty)
        faulty[week] = faulty.get(week, np.zeros_like(wrong)) + wrong
        judged = np.array(take.summary.reached)
        reached[week] = reached.get(week, np.zeros_like(judged)) + judged
    weeks = tuple(sorted(faulty))
    return Heat(
        weeks,
        tuple(tuple(faulty[week].tolist()) for week in weeks),
        tuple(tuple(reached[week].tolist()) for week in weeks),
    )
