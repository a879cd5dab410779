"""Pictures of weeks: a reading day by day, and where in the lick trouble sits."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from math import ceil, floor, log10

from assessor.figures.picture import Picture, Table, canvas
from assessor.figures.svg import element, path, words
from assessor.figures.tab import FONTS, TabPicture, systems
from assessor.lick.notation import Lick

WIDTH_PT, HEIGHT_PT = 250.0, 146.0
LEFT, RIGHT, TOP, FOOT = 38.0, 12.0, 36.0, 22.0
TEXT_PT, HEAD_PT = 9.5, 10.5
PERCENT = frozenset({"%", "of 100", "in 100"})
MOST_WHISKERS = 60  # points; more of them would hide each other
ROW_PT, GAP_PT = 11.0, 14.0
LARGEST_PT = 8.0  # a square for a note that always goes wrong
WEEK_PT = 34.0  # room for the week's date in front of a row


@dataclass(frozen=True)
class Days:
    """One reading over days, ready to be drawn.

    Attributes
    ----------
    name, unit, said : str
        What it is, and what may be said of it.
    days : tuple of date
        At least one.
    values, uncertainties : tuple of float
    comparable : tuple of bool
        False is drawn hollow.
    limit : float or None
        What is allowed, or the goal.
    limit_said : str
        The same in words.
    line : (first, last) or None
        Ends of the trend over the comparable days.
    """

    name: str
    unit: str
    said: str
    days: tuple[date, ...]
    values: tuple[float, ...]
    uncertainties: tuple[float, ...]
    comparable: tuple[bool, ...]
    limit: float | None
    limit_said: str
    line: tuple[float, float] | None


def days_picture(drawn: Days) -> str:
    """A point for each day with its uncertainty, the limit dashed, the trend a line."""
    low, high = _range(drawn)
    first, last = drawn.days[0], drawn.days[-1]
    span = max((last - first).days, 1)

    def x(day: date) -> float:
        return LEFT + 6 + (day - first).days / span * (WIDTH_PT - LEFT - RIGHT - 12)

    def y(value: float) -> float:
        share = (high - value) / (high - low)
        return TOP + share * (HEIGHT_PT - TOP - FOOT)

    end, foot = WIDTH_PT - RIGHT, HEIGHT_PT - FOOT
    quiet = {"class_": "quiet"}
    parts = [
        words(f"{drawn.name}, {drawn.unit}", 2, 11, HEAD_PT, class_="strong"),
        words(drawn.said, 2, 23, TEXT_PT, **quiet),
        path("M_,_ H_", LEFT, foot, end, class_="zero"),
        words(f"{first}", LEFT, HEIGHT_PT - 6, TEXT_PT, **quiet),
    ]
    if last != first:
        style = {"text_anchor": "end", "class_": "quiet"}
        parts.append(words(f"{last}", end, HEIGHT_PT - 6, TEXT_PT, **style))
    for value in (low, high):
        style = {"text_anchor": "end", "class_": "quiet"}
        parts.append(words(f"{value:.3g}", LEFT - 4, y(value) + 3, TEXT_PT, **style))
    if drawn.limit is not None and low <= drawn.limit <= high:
        at = y(drawn.limit)
        parts.append(path("M_,_ H_", LEFT, at, end, class_="target"))
        below = at + 9 if at < TOP + 9 else at - 3
        style = {"text_anchor": "end", "class_": "quiet clear"}
        parts.append(words(drawn.limit_said, end, below, 8.5, **style))
    for k, day in enumerate(drawn.days):
        value, known = drawn.values[k], drawn.uncertainties[k]
        if known and len(drawn.days) <= MOST_WHISKERS:
            ends = y(min(value + known, high)), y(max(value - known, low))
            parts.append(path("M_,_ V_", x(day), *ends, class_="grid"))
        look = {"class_": "quiet"} if drawn.comparable[k] else {"class_": "open"}
        parts.append(element("circle", cx=x(day), cy=y(value), r=2.4, **look))
    if drawn.line is not None:
        known_days = [
            d for d, ok in zip(drawn.days, drawn.comparable, strict=True) if ok
        ]
        begin, finish = (y(min(max(value, low), high)) for value in drawn.line)
        place = x(known_days[0]), begin, x(known_days[-1]), finish
        parts.append(path("M_,_ L_,_", *place, class_="curve"))
    body = element("g", *parts, font_family=FONTS)
    return canvas([body], WIDTH_PT, HEIGHT_PT, f"{drawn.name}: {drawn.said}")


def _range(drawn: Days) -> tuple[float, float]:
    """Round ends of the axis: from nought where that is near, and never the same."""
    values = [*drawn.values, *(drawn.line or ())]
    if drawn.limit is not None:
        values.append(drawn.limit)
    low, high = min(values), max(values)
    if 0 < low < high - low or low == high:
        low = min(0.0, low)
    step = _step((high - low) or abs(high) or 1.0)
    low, high = step * floor(low / step), step * ceil(high / step)
    # no share is more than all
    high = min(high, 100.0) if drawn.unit in PERCENT else high
    return low, (high if high > low else low + step)


def _step(span: float) -> float:
    """A round fraction of a span: 1, 2 or 5 times a power of ten, a fifth to a half.

    >>> _step(33.6), _step(0.9), _step(2000.0)
    (10.0, 0.2, 1000.0)
    """
    power = 10 ** floor(log10(span / 2))
    return float(max(n * power for n in (1, 2, 5) if n * power <= span / 2))


def heat_picture(
    lick: Lick,
    weeks: Sequence[date],
    shares: Sequence[Sequence[float | None]],
    width: float,
) -> Picture:
    """A row for each week under the tab, a square for each note that went wrong.

    Parameters
    ----------
    lick : Lick
    weeks : sequence of date
    shares : shape=(weeks, notes)
        How often something was wrong there, 0 to 1; None = not played.
    width : float
        Of the picture in points; more bars fit a wider one.
    """
    parts, y = [], 0.0
    for tab in systems(lick, width - WEEK_PT):
        top = y + tab.height + 8
        move = f"translate({WEEK_PT} {y:.1f})"
        parts.append(element("g", tab.svg, transform=move))
        rows = [*_rows(tab, weeks, shares)]
        parts.append(element("g", *rows, transform=f"translate(0 {top:.1f})"))
        y = top + ROW_PT * len(weeks) + GAP_PT
    title = f"{lick.title}: where things went wrong, week by week"
    svg = canvas([element("g", *parts, font_family=FONTS)], width + 2, y, title)
    head = ("Week of", *(str(k + 1) for k in range(len(lick))))
    rows_of_table = tuple(
        (f"{week}", *("" if s is None else f"{100 * s:.0f} %" for s in row))
        for week, row in zip(weeks, shares, strict=True)
    )
    return Picture(svg, title, Table(head, rows_of_table))


def _rows(
    tab: TabPicture, weeks: Sequence[date], shares: Sequence[Sequence[float | None]]
) -> Iterator[str]:
    for number, week in enumerate(weeks):
        y = ROW_PT * (number + 0.5)
        yield words(f"{week:%m-%d}", 0, y + 3, TEXT_PT, class_="quiet")
        for index in tab.notes:
            share, x = shares[number][index], WEEK_PT + tab.x_of_note(index)
            if share is None:
                continue
            side = LARGEST_PT * share**0.5
            if not share:
                yield element("circle", cx=x, cy=y, r=0.8, class_="quiet")
                continue
            box = {"width": side, "height": side}
            yield element("rect", x=x - side / 2, y=y - side / 2, **box)
