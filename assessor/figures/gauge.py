"""A reading as a line: how far from what was asked, what is allowed, how sure."""

from __future__ import annotations

from dataclasses import dataclass

from assessor.figures.picture import canvas
from assessor.figures.svg import element, path, words
from assessor.figures.tab import FONTS
from assessor.measures.tolerance import Judgement, Reading

WIDTH_PT, HEIGHT_PT, LINE_Y = 220.0, 30.0, 8.0
LEFT, RIGHT = 4.0, 8.0
ROOM = 1.2
LIMIT_SHARE = 2.2  # the line is at least so many limits long
MARK_PT = 4.0
PAIR_PT, ROW_PT = 56.0, 18.0  # of two lines under each other


@dataclass(frozen=True)
class Known:
    """A distance from what was asked, how sure, and both in words."""

    distance: float
    uncertainty: float
    said: str


def gauge(reading: Reading, said: str) -> str:
    """Draw the distance of a judged reading from its target.

    Parameters
    ----------
    reading : Reading
        One that has a limit.
    said : str
        What is allowed, in words.
    """
    assert reading.limit is not None
    limit, off = reading.limit.value, abs(reading.deviation)
    known = reading.uncertainty
    far = max(LIMIT_SHARE * limit, ROOM * (off + known)) or 1.0

    def x(value: float) -> float:
        share = min(max(value, 0.0), far) / far
        return LEFT + share * (WIDTH_PT - LEFT - RIGHT)

    end = x(limit)
    anchor = "start" if end < WIDTH_PT / 2 else "end"
    box = {"width": max(end - LEFT, 0.5), "height": 10.0}
    parts = [
        element("rect", x=LEFT, y=LINE_Y - 5, class_="wanted", **box),
        path("M_,_ H_", LEFT, LINE_Y, WIDTH_PT - RIGHT, class_="zero"),
        path("M_,_ V_", end, LINE_Y - 6.5, LINE_Y + 6.5, class_="stem quiet"),
        words(said, end, HEIGHT_PT - 4, 11, text_anchor=anchor, class_="quiet"),
        path("M_,_ H_", x(off - known), LINE_Y, x(off + known), class_="whisker"),
        _mark(reading, x(off)),
    ]
    body = element("g", *parts, font_family=FONTS)
    title = f"{reading.judgement}, {said}"
    return canvas([body], WIDTH_PT, HEIGHT_PT, title)


def _mark(reading: Reading, x: float) -> str:
    """Round inside, square outside, hollow when it cannot be told."""
    if reading.judgement == Judgement.OUTSIDE:
        size = {"width": 2 * MARK_PT, "height": 2 * MARK_PT}
        return element("rect", x=x - MARK_PT, y=LINE_Y - MARK_PT, **size)
    look = "quiet" if reading.judgement == Judgement.INSIDE else "open"
    return element("circle", cx=x, cy=LINE_Y, r=MARK_PT, class_=look)


def pair(first: Known, second: Known, *, limit: float | None, said: str) -> str:
    """Draw two distances of one reading under each other, on one scale.

    Parameters
    ----------
    first, second : Known
    limit : float or None
        What is allowed; None where the reading is not judged.
    said : str
        The same in words.
    """
    ends = [one.distance + one.uncertainty for one in (first, second)]
    far = max(LIMIT_SHARE * (limit or 0.0), ROOM * max(ends)) or 1.0
    left = LEFT + 18.0

    def x(value: float) -> float:
        share = min(max(value, 0.0), far) / far
        return left + share * (WIDTH_PT - left - RIGHT)

    parts = []
    if limit is not None:
        box = {"width": max(x(limit) - left, 0.5), "height": ROW_PT + 12}
        parts.append(element("rect", x=left, y=LINE_Y - 6, class_="wanted", **box))
        anchor = "start" if x(limit) < WIDTH_PT / 2 else "end"
        style = {"text_anchor": anchor, "class_": "quiet"}
        parts.append(words(said, x(limit), LINE_Y + ROW_PT + 22, 11, **style))
    for letter, one, y in (("A", first, LINE_Y), ("B", second, LINE_Y + ROW_PT)):
        span = x(one.distance - one.uncertainty), x(one.distance + one.uncertainty)
        parts += [
            words(letter, LEFT, y + 4, 11, class_="strong"),
            path("M_,_ H_", left, y, WIDTH_PT - RIGHT, class_="zero"),
            path("M_,_ H_", span[0], y, span[1], class_="whisker"),
            element("circle", cx=x(one.distance), cy=y, r=MARK_PT),
        ]
    body = element("g", *parts, font_family=FONTS)
    title = f"A {first.said}, B {second.said}" + (f", {said}" if said else "")
    return canvas([body], WIDTH_PT, PAIR_PT, title)
