"""A reading as a line: how far from what was asked, what is allowed, how sure."""

from __future__ import annotations

from assessor.figures.picture import canvas
from assessor.figures.svg import element, path, words
from assessor.figures.tab import FONTS
from assessor.measures.tolerance import Judgement, Reading

WIDTH_PT, HEIGHT_PT, LINE_Y = 220.0, 30.0, 8.0
LEFT, RIGHT = 4.0, 8.0
ROOM = 1.2
LIMIT_SHARE = 2.2  # the line is at least so many limits long
MARK_PT = 4.0


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
