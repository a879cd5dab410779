"""Progress over days and weeks as lines of text."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from statistics import median
from typing import TYPE_CHECKING

from assessor.history.drills import DrillProgress
from assessor.history.progress import (
    FEWEST_DAYS,
    Change,
    Heat,
    LickProgress,
    Series,
    Verdict,
)
from assessor.words import plural

if TYPE_CHECKING:
    from assessor.lick.notation import Lick

LABEL = 18
MOST_CAUSES = 6
MOST_WEEKS = 8
MOST_PLACES = 4  # of the parent of a drill
WEEK_LABEL = 8
TOO_FEW = f"from {FEWEST_DAYS} days of takes on a trend can be told"
ONLY_DRILLS = "No take of the lick itself, only of its drills."
OTHER_TEMPO = 0.05  # a step of the metronome; slower is easier
SOURCES = (
    "A day is the median of its takes. Better or worse is said where the days have a "
    "trend (Mann-Kendall, p below .05, adjusted for the number of rows by Benjamini "
    "and Hochberg) and the change along the line (Theil-Sen slope, its 95 % interval "
    "by Gilbert's rule) is larger than the smallest detectable change (1.96 x sqrt 2 x "
    "standard error of measurement)."
)


def overview(found: Sequence[LickProgress], width: int = 80) -> str:
    """One paragraph for each lick.

    Parameters
    ----------
    found : sequence of LickProgress
    width : int
        Columns.
    """
    lines = []
    for one in found:
        lines += [one.title, f"  {_facts(one)}", f"  {tempo_line(one)}"]
        told = [f"{row.name} {verdict_words(row)}" for row in _changed(one)]
        said = "; ".join(told) or "no change that is more than chance"
        if all(row.verdict is Verdict.TOO_FEW for row in one.series):
            said = TOO_FEW
        lines += [*textwrap.wrap(f"  {said}", width, subsequent_indent="  "), ""]
    lines += textwrap.wrap(SOURCES, width)
    return "\n".join(lines) + "\n"


def _changed(one: LickProgress) -> list[Series]:
    sure = (Verdict.BETTER, Verdict.WORSE)
    return [row for row in (*one.series, *one.causes) if row.verdict in sure]


def in_full(
    one: LickProgress,
    lick: Lick | None,
    width: int = 80,
    drills: Sequence[DrillProgress] = (),
) -> str:
    """Everything told about one lick.

    Parameters
    ----------
    one : LickProgress
    lick : Lick or None
        To draw the tab over the heat; None where it is not known.
    width : int
        Columns.
    drills : sequence of DrillProgress
        Of the lick.
    """
    lines = [one.title, _facts(one), "", tempo_line(one), ""]
    lines += [row_line(row) for row in one.series]
    if one.causes:
        lines += ["", "Faults in a hundred notes"]
        lines += [row_line(row) for row in one.causes[:MOST_CAUSES]]
    lines += ["", *_heat(one.heat, lick, width), ""]
    lines += _drills(drills, width)
    for text in (*notices(one), SOURCES):
        lines += textwrap.wrap(text, width)
    return "\n".join(lines) + "\n"


def drills_alone(title: str, drills: Sequence[DrillProgress], width: int = 80) -> str:
    """Everything told about a lick of which only drills were played.

    Parameters
    ----------
    title : str
        Of the lick.
    drills : sequence of DrillProgress
    width : int
        Columns.
    """
    return "\n".join([title, ONLY_DRILLS, "", *_drills(drills, width)])


def _drills(drills: Sequence[DrillProgress], width: int) -> Iterator[str]:
    """Each drill in a paragraph, in the notes of its parent."""
    if not drills:
        return
    yield "Drills of it"
    for drill in drills:
        text = f"{drill.form}: {'. '.join(drill_words(drill))}"
        yield from textwrap.wrap(
            text, width, initial_indent="  ", subsequent_indent="    "
        )
    yield ""


def drill_words(drill: DrillProgress) -> list[str]:
    """When a drill was played, how fast, and which notes of its parent go wrong."""
    faulty = [place for place, count in drill.faulty.items() if count]
    faulty.sort(key=lambda k: (-drill.faulty[k] / drill.reached[k], k))
    places = [
        f"{k + 1} ({drill.faulty[k]} of {plural(drill.reached[k], 'time')})"
        for k in faulty[:MOST_PLACES]
    ]
    if len(faulty) > MOST_PLACES:
        places.append(f"{len(faulty) - MOST_PLACES} more")
    said = ", ".join(places)
    wrong = f"Something went wrong at note {said}." if said else "No note went wrong."
    tempo = tempo_line(drill.found).removesuffix(".")
    return [_facts(drill.found), tempo, wrong]


def _facts(one: LickProgress) -> str:
    first, last = one.series[0].points[0].day, one.series[0].points[-1].day
    takes, days = plural(len(one.takes), "take"), plural(one.days, "day")
    span = f"{first}" if first == last else f"{first} to {last}"
    return f"{takes} on {days}, {span}"


def tempo_line(one: LickProgress) -> str:
    """How far the tempo has come."""
    if one.reached_bpm is None:
        return (
            f"No whole pass inside the tolerance yet; {one.goal_bpm:.0f} bpm is asked."
        )
    return (
        f"Whole passes inside the tolerance up to {one.reached_bpm:.0f} of "
        f"{one.goal_bpm:.0f} bpm."
    )


def row_line(row: Series) -> str:
    """One reading: where it is, where it came from, what may be said."""
    last = row.points[-1]
    hollow = "*" if not last.comparable else ""
    if row.change is None:
        return f"{row.name:{LABEL}}{_number(last.value)} {row.unit}{hollow}"
    if row.verdict is Verdict.NOTHING:
        text = f"{_number(last.value)} {row.unit}"
        return f"{row.name:{LABEL}}{text:<18}  {verdict_words(row)}"
    text = f"{_number(row.change.first)} to {_number(row.change.last)} {row.unit}"
    return f"{row.name:{LABEL}}{text:<18}  {verdict_words(row)}"


def verdict_words(row: Series) -> str:
    """What may be said of a row, with its reasons."""
    if row.change is None:
        return TOO_FEW
    if row.verdict is Verdict.NOTHING:
        least = _number(row.change.detectable)
        return f"no sure change (one of {least} {row.unit} could be told)"
    return f"{row.verdict}: {_a_week(row.change)}"


def _a_week(change: Change) -> str:
    slope = change.slope
    p = f"{change.p:.3f}".lstrip("0") if change.p >= 0.001 else "< .001"
    interval = f"{_signed(slope.low)} to {_signed(slope.high)}"
    return f"{_signed(slope.value)} a week ({interval}), p {p}"


def _number(value: float) -> str:
    """Number to the digits a player can use.

    >>> _number(83.3), _number(4.26), _number(0.0)
    ('83', '4.3', '0')
    """
    text = f"{value:.0f}" if abs(value) >= 10 else f"{value:.1f}"
    return "0" if float(text) == 0 else text


def _signed(value: float) -> str:
    text = (
        _number(abs(value)) if abs(value) >= 0.1 or not value else f"{abs(value):.2f}"
    )
    return f"{'-' if value < 0 else '+'}{text}"


def _heat(heat: Heat, lick: Lick | None, width: int) -> Iterator[str]:
    """Rows of tenths under the tab, one for each of the last weeks."""
    weeks = range(max(len(heat.weeks) - MOST_WEEKS, 0), len(heat.weeks))
    yield "Where something went wrong: in how many of ten passes, week by week"
    if lick is None:
        for week in weeks:
            row = "".join(_tenths(heat, week, k) for k in range(len(heat.reached[0])))
            yield f"{heat.weeks[week]:%m-%d}   {row}"
    else:
        from assessor.lick import sheet  # only where a tab is drawn

        for system in sheet.tab_systems(lick, width - WEEK_LABEL):
            yield ""
            yield from (" " * WEEK_LABEL + line for line in system.lines)
            for week in weeks:
                signs = [" "] * (max(system.columns.values(), default=0) + 1)
                for index, column in system.columns.items():
                    signs[column] = _tenths(heat, week, index)
                yield f"{heat.weeks[week]:%m-%d}".ljust(WEEK_LABEL) + "".join(signs)
    yield ""
    yield ". never  1 to 9 so many of ten passes  X every time"


def _tenths(heat: Heat, week: int, note: int) -> str:
    """Sign of one note in one week; blank where it was not played."""
    share = heat.share(week, note)
    if share is None:
        return " "
    if share == 0:
        return "."
    return "X" if share == 1 else str(min(max(round(10 * share), 1), 9))


def notices(one: LickProgress) -> list[str]:
    """What to know before believing it."""
    return [
        *_too_few_notice(one),
        *_unlike_notices(one),
        *_tempo_notice(one.tempos_bpm),
    ]


def _too_few_notice(one: LickProgress) -> list[str]:
    """Say why there is no word on any change yet."""
    if any(row.verdict is not Verdict.TOO_FEW for row in one.series):
        return []
    return [
        f"This is where you stand. A change can be told from {FEWEST_DAYS} days with "
        "takes on: on four, even a perfect row is chance once in twelve times."
    ]


def _unlike_notices(one: LickProgress) -> list[str]:
    """Say which takes are not put into one row with the others."""
    said = []
    if len(one.versions) > 1:
        said.append(
            f"Takes were heard by versions {', '.join(one.versions)} of the program: "
            "trends are told from those of the newest alone (* and hollow points are "
            "of others). Make them comparable with: assessor history again"
        )
    names = {take.summary.tolerance for take in one.takes}
    if len(names) > 1:
        said.append(
            f"Takes were judged by different tolerances ({', '.join(sorted(names))}): "
            "the trends of mark, tempo and faults are told from those of the latest."
        )
    if len({take.summary.to_click for take in one.takes}) > 1:
        as_latest = "with" if one.takes[-1].summary.to_click else "without"
        said.append(
            "Some takes were played to a click, some not, and their times are not "
            f"alike: trends in time are told from those {as_latest} one, as the latest "
            "(* and hollow points are the others)."
        )
    if said:
        said.append("Where something went wrong is counted over all takes alike.")
    return said


def _tempo_notice(tempos_bpm: Sequence[float]) -> list[str]:
    """Say that takes of different tempos stand in one row, and which way that pulls."""
    low, high = min(tempos_bpm), max(tempos_bpm)
    if high <= (1 + OTHER_TEMPO) * low:
        return []
    half = len(tempos_bpm) // 2
    before, after = median(tempos_bpm[:half]), median(tempos_bpm[-half:])
    way = "Every row holds slow and fast takes."
    if after > (1 + OTHER_TEMPO) * before:
        way = "The later takes are the faster ones: what is worse may come of that."
    elif before > (1 + OTHER_TEMPO) * after:
        way = "The later takes are the slower ones: what is better may come of that."
    return [
        f"Takes were played at {low:.0f} to {high:.0f} bpm; slower is easier. {way}"
    ]
