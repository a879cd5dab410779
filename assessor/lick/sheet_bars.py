"""Bars of a lick sheet: every note value with the fret that stands under it."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from assessor.errors import LickError, UnsupportedNotation
from assessor.lick.sheet_header import Place, Source
from assessor.lick.sheet_signs import FINGER_SIGNS, STROKE_SIGNS
from assessor.lick.sheet_systems import Letter, Mark, SystemText
from assessor.lick.sheet_tab import Entry

# A fret so near to a value without one was probably meant for it.
NEAR_COLUMNS = 2


@dataclass(frozen=True)
class Item:
    """A value or rest; `entry` is the fret struck, None in a rest and after a tie."""

    mark: Mark
    entry: Entry | None
    tempo: Mark | None


@dataclass(frozen=True)
class BarText:
    """A bar as written.

    `opens` tells that a repeat starts here, `times` how often the part that ends
    here is played (1 = no repeat sign).
    """

    items: tuple[Item, ...]
    place: Place
    opens: bool
    times: int

    @property
    def beats(self) -> Fraction:
        """Length in quarter notes."""
        return sum((item.mark.beats for item in self.items), Fraction(0))

    @property
    def tied_on(self) -> bool:
        """Whether the last note is held into the next bar."""
        return bool(self.items) and self.items[-1].mark.tied


class BarReader:
    """Collects the bars of a sheet, system after system."""

    def __init__(self, source: Source) -> None:
        self._source = source
        self._bars: list[BarText] = []
        self._items: list[Item] = []
        self._opens = False
        self._times = 1
        self._tempo: Mark | None = None
        self._tie: Mark | None = None
        self._sounding: Entry | None = None

    def read(
        self, systems: Sequence[SystemText], entries: Sequence[Entry]
    ) -> list[BarText]:
        """Bars of the whole sheet.

        Raises
        ------
        LickError
            At a value without a fret, a fret without a value, a tie or a repeat
            sign or a letter that is out of place.
        UnsupportedNotation
            At two frets in one column.
        """
        for system in systems:
            frets = [e for e in entries if e.place.line in system.tab_lines]
            frets.sort(key=lambda e: e.place.column)
            self._annotate(system, frets)
            self._read_system(system, frets)
        if self._items:
            self._end_bar(self._items[0].mark.place)
        for waiting in (self._tie, self._tempo):
            if waiting is not None:
                raise self._error(waiting, "leads to no value; take it away")
        return self._bars

    def _error(self, mark: Mark, complaint: str) -> LickError:
        """Error at a sign of the rhythm row, named first."""
        return self._source.error(f"`{mark.text}` {complaint}", mark.place)

    def _read_system(self, system: SystemText, frets: list[Entry]) -> None:
        """Read the rhythm of one system, ending a bar at each of its bar lines."""
        edges = (system.opening, *system.bar_lines)
        used: set[Entry] = set()
        groups = self._marks_by_bar(system, edges)
        for number, marks in enumerate(groups):
            for mark in marks:
                self._take(mark, frets, used)
            if number + 1 < len(groups):
                self._end_bar(Place(system.tab_lines[0], edges[number]))
        for fret in frets:
            if fret not in used:
                message = (
                    f"fret {fret.fret} has no note value over it; write one in the "
                    "same column of the rhythm row"
                )
                raise self._source.error(message, fret.place)

    def _marks_by_bar(
        self, system: SystemText, edges: tuple[int, ...]
    ) -> list[list[Mark]]:
        """Signs of the rhythm row after each bar line of a system."""
        groups: list[list[Mark]] = [[] for _ in edges]
        for mark in system.marks:
            # A repeat sign belongs to the bar on its dotted side.
            column = mark.place.column + (mark.kind == "close")
            if mark.kind in ("open", "close") and column not in edges:
                message = "is over no bar line; write its | in the column of one"
                raise self._error(mark, message)
            number = bisect_left(edges, column + (mark.kind == "open")) - 1
            if mark.kind == "tempo":
                number = max(number, 0)  # there is room for it over the string names
            if number < 0:
                raise self._error(mark, "stands before the first bar line")
            if system.closed and number == len(edges) - 1:
                raise self._error(mark, "stands after the last bar line")
            groups[number].append(mark)
        return groups

    def _take(self, mark: Mark, frets: list[Entry], used: set[Entry]) -> None:
        """Add one sign of the rhythm row to the bar that is being read."""
        if mark.kind == "open":
            if self._items:
                raise self._error(mark, "stands inside a bar that runs on")
            self._opens = True
        elif mark.kind == "close":
            self._times = int(mark.number)
        elif mark.kind == "tempo":
            if self._tempo is not None:
                raise self._error(mark, "follows another tempo with no value between")
            self._tempo = mark
        else:
            under = [fret for fret in frets if fret.covers(mark.place)]
            if not under and mark.kind == "value" and self._tie is None:
                raise self._error(mark, _nothing_under(mark, frets))
            used.update(under)
            entry = self._struck(mark, under)
            self._items.append(Item(mark, entry, self._tempo))
            self._tempo = None
            self._tie = mark if mark.tied else None
            self._sounding = entry or self._sounding

    def _struck(self, mark: Mark, under: list[Entry]) -> Entry | None:
        """Fret struck at a value: None in a rest and for a tied value."""
        if self._tie is not None:
            self._check_continued(mark, under)
            return None
        if mark.kind == "rest":
            if under:
                message = f"is a rest, but fret {under[0].fret} stands under it"
                raise self._error(mark, message)
            return None
        if len(under) > 1:
            message = "two frets in one column; a lick is a line of single notes"
            raise self._source.error(message, under[1].place, UnsupportedNotation)
        if under[0].held:
            message = "a fret in ( ) is held, not struck; tie the value before it (_)"
            raise self._source.error(message, under[0].place)
        return under[0]

    def _check_continued(self, mark: Mark, under: list[Entry]) -> None:
        """Check a value that a tie leads into."""
        if mark.kind == "rest":
            raise self._error(mark, "is a rest, but the value before is tied to it")
        for fret in under:
            if not fret.held or self._sounding is None:
                message = (
                    f"fret {fret.fret} is struck, but the value before is tied to it; "
                    "take the _ away, or write the fret in ( )"
                )
                raise self._source.error(message, fret.place)
            if fret.string != self._sounding.string:
                message = "the fret in ( ) is on another string than the tied note"
                raise self._source.error(message, fret.place)

    def _end_bar(self, place: Place) -> None:
        """Close the bar that is being read."""
        if self._items:
            place = self._items[0].mark.place
        items = tuple(self._items)
        self._bars.append(BarText(items, place, self._opens, self._times))
        self._items, self._opens, self._times = [], False, 1

    def _annotate(self, system: SystemText, frets: list[Entry]) -> None:
        """Give the frets their pick strokes and fretting fingers."""
        for letter, fret in self._lettered(system.strokes, frets, STROKE_SIGNS):
            fret.stroke = STROKE_SIGNS[letter]
        for letter, fret in self._lettered(system.fingers, frets, FINGER_SIGNS):
            fret.finger = FINGER_SIGNS[letter]

    def _lettered(
        self, row: Sequence[Letter], frets: list[Entry], allowed: Collection[str]
    ) -> Iterator[tuple[str, Entry]]:
        """Letters of a stroke or finger row with the frets they belong to."""
        for letter in row:
            under = [e for e in frets if e.covers(letter.place) and not e.held]
            if letter.text not in allowed:
                message = f"found {letter.text!r}; allowed here are {' '.join(allowed)}"
                raise self._source.error(message, letter.place)
            if not under:
                message = f"`{letter.text}` is in the column of no fret"
                raise self._source.error(message, letter.place)
            yield letter.text, under[0]


def _nothing_under(mark: Mark, frets: Sequence[Entry]) -> str:
    """What to say at a value with no fret in its column."""
    complaint = "has no fret under it"
    column = mark.place.column
    near = min(frets, key=lambda e: abs(e.place.column - column), default=None)
    if near is not None and abs(near.place.column - column) <= NEAR_COLUMNS:
        return (
            f"{complaint}; fret {near.fret} is in column {near.place.column + 1}: "
            "write both in one column"
        )
    return (
        f"{complaint}; write the fret, a rest (r{mark.text}), or tie the value before"
    )
