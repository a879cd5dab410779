"""Where each note stands: bars wrapped into systems, beats turned into places.

Lengths are in points (1/72 inch).
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from assessor.figures.rhythm import Bar, Value, bars_of
from assessor.figures.staff import Staff
from assessor.lick.notation import BendKind, Lick, LickNote

LABEL_PT = 20.0  # string names before the first bar line
METER_PT = 18.0
BAR_LEAD_PT = 12.0  # from a bar line to the first note
BAR_TRAIL_PT = 4.0
# Room for a value: more for longer ones, but less than in proportion (common practice).
LEAST_PT, QUARTER_PT, GROWTH = 11.0, 22.0, 0.65
DIGIT_PT = 5.6
BEND_PT = {
    BendKind.BEND: 34.0,
    BendKind.BEND_RELEASE: 52.0,
    BendKind.PREBEND: 24.0,
    BendKind.PREBEND_RELEASE: 46.0,
}
EDGE_PT = 9.0  # a slide from or to nowhere
FULL_SHARE = 0.55  # a last system emptier than this is not drawn out to the full width
MOST_STRETCH = 1.25


@dataclass(frozen=True)
class Line:
    """One system before it is drawn.

    Attributes
    ----------
    bars : tuple of Bar
    beats, places : tuple
        Beat and x of every value, every bar line and the end, both rising.
    bar_lines : tuple of float
        x of each bar's start, and of the end.
    width : float
    meter_x : float or None
        Where the time signature stands, on the first system.
    """

    bars: tuple[Bar, ...]
    beats: tuple[Fraction, ...]
    places: tuple[float, ...]
    bar_lines: tuple[float, ...]
    width: float
    meter_x: float | None

    @property
    def start(self) -> Fraction:
        """Beat of the first bar line."""
        return self.bars[0].start

    @property
    def end(self) -> Fraction:
        """Beat of the last bar line."""
        return self.bars[-1].end

    def x(self, beat: Fraction | float) -> float:
        """Place of a beat, between values in proportion; clipped to the system."""
        if beat <= self.beats[0]:
            return self.places[0]
        if beat >= self.beats[-1]:
            return self.places[-1]
        k = bisect_right(self.beats, beat) - 1
        share = float((beat - self.beats[k]) / (self.beats[k + 1] - self.beats[k]))
        return self.places[k] + share * (self.places[k + 1] - self.places[k])

    def end_x(self, beat: Fraction) -> float:
        """Place where what ends at a beat ends: before a bar line that stands there."""
        for bar, x in zip(self.bars, self.bar_lines[1:], strict=True):
            if bar.end == beat:
                return x
        return self.x(beat)


def lines_of(lick: Lick, width: float) -> tuple[Line, ...]:
    """Wrap a lick into systems of a width, as evenly filled as can be."""
    bars = bars_of(lick)
    natural = [_bar_width(lick, bar) for bar in bars]
    lines, first = [], 0
    for last in _breaks(natural, width - LABEL_PT - METER_PT):
        lines.append(_line(lick, bars, slice(first, last), width))
        first = last
    return tuple(lines)


def along_staff(line: Line, staff: Staff) -> Line:
    """A line whose values and bar lines stand where the staff over it has them."""
    ends = [LABEL_PT + x for x in staff.bar_lines]
    return replace(
        line,
        places=(*(LABEL_PT + staff.places[beat] for beat in line.beats[:-1]), ends[-1]),
        bar_lines=(line.bar_lines[0], *ends),
        width=ends[-1],
        meter_x=None,
    )


def _breaks(natural: Sequence[float], room: float) -> list[int]:
    """Index past the last bar of each system: least sum of squared empty shares.

    A bar that is wider than the room has a system of its own, and is drawn closer.
    """
    best: list[tuple[float, int]] = [(0.0, 0)]
    for last in range(1, len(natural) + 1):
        ways = []
        for first in range(last):
            empty = 1 - sum(natural[first:last]) / room
            if empty >= 0 or first == last - 1:
                # one system more is dearer than any raggedness
                ways.append((best[first][0] + 1 + min(max(empty, 0) ** 2, 0.99), first))
        best.append(min(ways))
    ends, at = [], len(natural)
    while at:
        ends.append(at)
        at = best[at][1]
    return ends[::-1]


def _bar_width(lick: Lick, bar: Bar) -> float:
    """Width a bar would like to have."""
    values = sum(sum(_value_width(lick, v)) for v in bar.values)
    return BAR_LEAD_PT + values + BAR_TRAIL_PT


def _value_width(lick: Lick, value: Value) -> tuple[float, float]:
    """Room before and from a value."""
    even = LEAST_PT + QUARTER_PT * (float(value.beats) ** GROWTH)
    if value.index is None or not value.starts:
        return 0.0, even
    note = lick.notes[value.index]
    before = EDGE_PT if note.slide_in is not None else 0.0
    return before, max(even, _least_width(note))


def _least_width(note: LickNote) -> float:
    """Room that a note needs for what is written on it."""
    least = LEAST_PT + DIGIT_PT * (len(str(note.fret)) - 1)
    if note.bend is not None:
        least = BEND_PT[note.bend.kind] + (12.0 if note.vibrato else 0.0)
    return least + (EDGE_PT if note.slide_out is not None else 0.0)


def _line(lick: Lick, every: tuple[Bar, ...], part: slice, width: float) -> Line:
    """Place every value of one system, which holds a `part` of all bars."""
    bars, leading = every[part], part.start == 0
    left = LABEL_PT + METER_PT * leading
    natural = sum(_bar_width(lick, bar) for bar in bars)
    scale = (width - left) / natural
    if part.stop == len(every) and natural < FULL_SHARE * (width - left):
        scale = min(scale, MOST_STRETCH)
    beats: list[Fraction] = []
    places: list[float] = []
    bar_lines = [LABEL_PT]
    x = left
    for bar in bars:
        x += BAR_LEAD_PT * scale
        for value in bar.values:
            before, after = (part * scale for part in _value_width(lick, value))
            beats.append(value.beat)
            places.append(x + before)
            x += before + after
        x += BAR_TRAIL_PT * scale
        bar_lines.append(x)
    beats.append(bars[-1].end)
    places.append(x)
    meter_x = LABEL_PT + METER_PT * 0.62 if leading else None
    return Line(bars, tuple(beats), tuple(places), tuple(bar_lines), x, meter_x)
