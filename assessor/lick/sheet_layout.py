"""Where the signs of a lick stand on the page: columns, systems, lines of text.

Knows widths and wrapping only; what the signs mean is `sheet_writing`'s part.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from assessor.tuning import Tuning, note_name


@dataclass(frozen=True)
class System:
    """One row of music as it is printed.

    Attributes
    ----------
    lines : tuple of str
        The rhythm row on top, then the pick strokes where these notes have any,
        the tab lines from the highest string down, and the fretting fingers
        where these notes have any; no line is longer than the width asked for,
        except where a single note needs more.
    columns : dict of int to int
        For each note that starts in this system, its index in the lick and the
        0-based text column where its fret number starts, in every line.
    """

    lines: tuple[str, ...]
    columns: dict[int, int]


@dataclass(frozen=True)
class Slot:
    """What stands in one column: a value, with or without a note under it."""

    rhythm: str
    beats: Fraction = Fraction(0)
    index: int | None = None
    string: int = 0
    prefix: str = ""
    body: str = ""
    stroke: str = ""
    finger: str = ""

    @property
    def width(self) -> int:
        """Columns from this slot to the next, seen from this slot alone."""
        by_length = ((Fraction(1, 2), 3), (Fraction(1), 4), (Fraction(2), 6))
        even = next((w for limit, w in by_length if self.beats < limit), 8)
        return max(even, len(self.rhythm) + 1, len(self.body) + 1)


Bar = tuple[Slot, ...]


def line_names(tuning: Tuning) -> tuple[str, ...]:
    """Names the tab lines start with, highest string first, equally wide.

    The highest string's name is written small where a lower string has the same,
    as the trade writes the high e of the standard tuning.

    >>> from assessor.tuning import STANDARD
    >>> line_names(STANDARD)
    ('e', 'B', 'G', 'D', 'A', 'E')
    """
    names = [note_name(midi_number % 12)[:-2] for midi_number in tuning.open_midi]
    if names[0] in names[1:]:
        names[0] = names[0].lower()
    width = max(len(name) for name in names)
    return tuple(name.ljust(width) for name in names)


def wrap(bars: Sequence[Bar], room: int) -> Iterator[tuple[list[Bar], bool]]:
    """Bars of each system, and whether its last bar ends there."""
    system: list[Bar] = []
    for bar in bars:
        if system and _width([*system, bar]) > room:
            yield system, True
            system = []
        rest = bar
        while _width([rest]) > room and len(rest) > 1:
            fitting = _fitting(rest, room)
            yield [rest[:fitting]], False
            rest = rest[fitting:]
        system.append(rest)
    yield system, True


def _fitting(bar: Bar, room: int) -> int:
    """How many slots of a bar that is too long go into this system, at least 1."""
    fitting = 1
    while _width([bar[: fitting + 1]]) <= room:
        fitting += 1
    # A tempo change stays with the value it stands before.
    return fitting - 1 if fitting > 1 and not bar[fitting - 1].beats else fitting


def _places(bars: Sequence[Bar]) -> Iterator[tuple[list[int], int]]:
    """Column of each slot of each bar, and of the bar line that ends it.

    Columns count from the one right of a system's first bar line.
    """
    at = 0
    for bar in bars:
        columns: list[int] = []
        last: Slot | None = None
        for slot in bar:
            if last is None:
                at += 1 + len(slot.prefix)
            else:
                # `h`, `p` and single slides may touch the note before them.
                gap = 0 if len(slot.prefix) == 1 else 1
                at += max(last.width, len(last.body) + len(slot.prefix) + gap)
            columns.append(at)
            last = slot
        at += last.width if last is not None else 1
        yield columns, at
        at += 1


def _width(bars: Sequence[Bar]) -> int:
    """Columns a system takes right of its first bar line."""
    return max(end for _, end in _places(bars)) + 1


def draw(
    names: Sequence[str],
    bars: Sequence[Bar],
    *,
    closed: bool,
) -> System:
    """Put the slots of one system into lines of text."""
    width = _width(bars)
    rhythm, strokes, fingers = ([" "] * width for _ in range(3))
    tab = [["-"] * width for _ in names]
    columns: dict[int, int] = {}
    for bar, (starts, end) in zip(bars, _places(bars), strict=True):
        for slot, start in zip(bar, starts, strict=True):
            _put(rhythm, start, slot.rhythm)
            _put(strokes, start, slot.stroke)
            _put(fingers, start, slot.finger)
            if slot.index is not None:
                columns[slot.index] = len(names[0]) + 1 + start
                _put(tab[slot.string - 1], start - len(slot.prefix), slot.prefix)
                _put(tab[slot.string - 1], start, slot.body)
        if bar is not bars[-1] or closed:
            for line in tab:
                line[end] = "|"
    margin = " " * (len(names[0]) + 1)
    rows = [(margin + "".join(row)).rstrip() for row in (rhythm, strokes, fingers)]
    named = zip(names, tab, strict=True)
    lines = [rows[0], rows[1], *(f"{name}|{''.join(line)}" for name, line in named)]
    lines.append(rows[2])
    return System(tuple(line for line in lines if line), columns)


def _put(line: list[str], column: int, text: str) -> None:
    """Write `text` into a line from `column` on."""
    line[column : column + len(text)] = text
