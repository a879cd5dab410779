"""One system of tab as a picture.

From the top down: the five-line staff where it is asked for, changes of tempo, strokes,
what rings on, bends with vibrato, the strings, fretting fingers, and, where there is no
staff, the rhythm as small notes with their stems down, tuplets.  Rows that a system has
no need of take no room.

Known limits: a bar wider than the page is drawn closer, not broken.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from assessor.figures import signs
from assessor.figures.layout import LABEL_PT, Line, along_staff, lines_of
from assessor.figures.staff import Staff, engraved
from assessor.figures.stems import draw_rhythm
from assessor.figures.svg import element, path, words
from assessor.lick.notation import Articulation, BendKind, Lick, LickNote, SlideEdge
from assessor.tuning import note_name

STRING_PT = 9.5
FRET_SIZE = 10.0
SMALL_SIZE = 7.5
BEND_ROW_PT, RING_ROW_PT, STROKE_ROW_PT, TEMPO_ROW_PT = 17.0, 11.0, 10.0, 14.0
WAVE_ROW_PT = 5.0
TOP_PT = 13.0  # bar numbers and slurs on the first string
FINGER_ROW_PT = 10.0
RHYTHM_GAP_PT = 12.5  # from the last string to the heads
TUPLET_ROW_PT = 10.0
STAFF_GAP_PT = 4.0  # from the staff's lowest sign to the rows over the tab
RELEASE_SHARE = 0.62  # of the note, where the arrow down ends
BEND_RUN_PT = 13.0  # how far an arrow leans to the right

_RELEASED = (BendKind.BEND_RELEASE, BendKind.PREBEND_RELEASE)
_HELD_UP = (BendKind.PREBEND, BendKind.PREBEND_RELEASE)


@dataclass(frozen=True)
class TabPicture:
    """One system of tab, and where everything stands in it.

    Lengths are in points (1/72 inch) from the picture's upper left corner.

    Attributes
    ----------
    svg : str
        A ``<g>`` element in the current colour; what covers the strings behind a number
        has the class ``paper``.
    width, height : float
    first_string_y : float
        Where the highest string is drawn.
    notes : range
        Indices of the lick's notes that start here.
    """

    svg: str
    width: float
    height: float
    first_string_y: float
    notes: range
    _lick: Lick
    _line: Line

    @property
    def beats(self) -> tuple[Fraction, Fraction]:
        """First and last beat, at the bar lines."""
        return self._line.start, self._line.end

    @property
    def bar_lines(self) -> tuple[float, ...]:
        """Place of each bar's start, and of the end."""
        return self._line.bar_lines

    def x_of_beat(self, beat: Fraction | float) -> float:
        """Place of a beat, clipped to the system; between notes in proportion."""
        return self._line.x(beat)

    def x_of_note(self, index: int) -> float:
        """Middle of a note's fret number.

        Raises
        ------
        ValueError
            When the note starts in another system.
        """
        if index not in self.notes:
            message = f"note {index} is not in this system, which holds {self.notes}"
            raise ValueError(message)
        return self._line.x(self._lick.notes[index].onset_beats)

    def y_of_string(self, string: int) -> float:
        """Place of a string's line; 1 is the highest."""
        return self.first_string_y + (string - 1) * STRING_PT


def systems(lick: Lick, width: float, *, staff: bool = False) -> tuple[TabPicture, ...]:
    """Draw a lick as systems of tab.

    Parameters
    ----------
    lick : Lick
    width : float
        Of the paper between its margins, in points.
    staff : bool
        With the five-line staff over each system, instead of the rhythm under it.

    Returns
    -------
    tuple of TabPicture
        From the top of the page down.

    Raises
    ------
    ModuleNotFoundError
        When a staff is asked for and verovio is not installed.
    """
    lines = lines_of(lick, width)
    pictures = []
    for line in lines:
        last, over = line is lines[-1], None
        if staff:
            room, first = line.width - LABEL_PT, line is lines[0]
            over = engraved(lick, line.bars, room, first=first, last=last)
            line = along_staff(line, over)
        pictures.append(_System(lick, line, last, over).picture())
    return tuple(pictures)


class _System:
    """A system while it is drawn: its rows, and how to reach them."""

    def __init__(self, lick: Lick, line: Line, last: bool, staff: Staff | None) -> None:
        self.lick, self.line, self.last, self.staff = lick, line, last, staff
        inside = [
            i
            for i, n in enumerate(lick.notes)
            if line.start <= n.onset_beats < line.end
        ]
        first = inside[0] if inside else 0
        self.range = range(first, first + len(inside))
        self.notes = [(i, lick.notes[i]) for i in inside]
        self.values = [v for bar in line.bars for v in bar.values]
        self._rows()

    def _rows(self) -> None:
        """Heights of the rows, those that are needed."""
        notes = [n for _, n in self.notes]
        self.changes = [
            c
            for c in self.lick.tempo_changes
            if self.line.start <= c.beat < self.line.end
        ]
        y = 0.0 if self.staff is None else self.staff.height + STAFF_GAP_PT
        y += TEMPO_ROW_PT * bool(self.changes)
        self.tempo_y = y - 4
        y += STROKE_ROW_PT * any(n.stroke for n in notes)
        self.stroke_y = y - 1
        y += RING_ROW_PT * any(n.let_ring for n in notes)
        self.ring_y = y - 2
        bends = any(n.bend for n in notes)
        y += BEND_ROW_PT * bends
        y += WAVE_ROW_PT * (not bends and any(n.vibrato for n in notes))
        y += TOP_PT
        self.top = y
        self.bend_y = y - 17
        self.bottom = y + (self.lick.tuning.strings - 1) * STRING_PT
        fingers = any(n.finger is not None for n in notes)
        self.finger_y = self.bottom + FINGER_ROW_PT + 1
        self.head_y = self.bottom + RHYTHM_GAP_PT + FINGER_ROW_PT * fingers
        self.foot_y = self.head_y + signs.STEM_PT
        bracketed = any(v.tuplet for v in self.values)
        self.height = self.foot_y + TUPLET_ROW_PT * bracketed + 3
        if self.staff is not None:
            self.height = self.bottom + FINGER_ROW_PT * fingers + 4

    def picture(self) -> TabPicture:
        """Draw everything."""
        parts = [
            *self._strings(),
            *self._bar_lines(),
            *self._rhythm(),
            *self._changes(),
            *self._slurs(),
            *(part for i, note in self.notes for part in self._note(i, note)),
            *self._held_over(),
            *self._ringing(),
        ]
        style = {"fill": "currentColor", "font_family": FONTS}
        svg = element("g", *parts, **style)
        return TabPicture(
            svg,
            self.line.width,
            self.height,
            self.top,
            self.range,
            self.lick,
            self.line,
        )

    def y(self, string: int) -> float:
        """Place of a string."""
        return self.top + (string - 1) * STRING_PT

    def _rhythm(self) -> Iterator[str]:
        """Staff over the tab, joined to it, or the rhythm under it."""
        if self.staff is None:
            yield from draw_rhythm(self.lick, self.line, self.head_y, self.foot_y)
            return
        yield element("g", self.staff.svg, transform=f"translate({LABEL_PT:g} 0)")
        ends = self.staff.top, self.bottom
        line = {"stroke": "currentColor"}
        yield path("M_,_ V_", LABEL_PT, *ends, stroke_width=0.7, **line)

    # ------------------------------------------------------------- the strings

    def _strings(self) -> Iterator[str]:
        """Lines, their names, the time signature, the number of the first bar."""
        left, right = self.line.bar_lines[0], self.line.width
        for string, midi_number in enumerate(self.lick.tuning.open_midi, 1):
            y = self.y(string)
            yield path(
                "M_,_ H_", left, y, right, stroke_width=0.5, stroke="currentColor"
            )
            name = note_name(midi_number).rstrip("-0123456789")
            yield words(name, left - 5, y + 2.6, SMALL_SIZE, text_anchor="end")
        if self.line.meter_x is not None:
            middle = (self.top + self.bottom) / 2
            meter = self.lick.meter
            for text, y in ((meter.count, middle - 2), (meter.unit, middle + 14)):
                style = {"text_anchor": "middle", "font_weight": "bold"}
                yield words(str(text), self.line.meter_x, y, 17, **style)

    def _bar_lines(self) -> Iterator[str]:
        """Bar lines with their numbers; a thin and a thick one end the lick."""
        line = {"stroke": "currentColor"}
        for x in self.line.bar_lines[:-1]:
            yield path("M_,_ V_", x, self.top, self.bottom, stroke_width=0.7, **line)
        for bar, x in zip(self.line.bars, self.line.bar_lines, strict=False):
            if bar.number > 0:
                yield words(str(bar.number), x + 1, self.top - 4, 6.5)
        end = self.line.width
        if not self.last:
            yield path("M_,_ V_", end, self.top, self.bottom, stroke_width=0.7, **line)
            return
        yield path("M_,_ V_", end - 4, self.top, self.bottom, stroke_width=0.7, **line)
        d = "M_,_ V_"
        yield path(
            d, end - 1.1, self.top - 0.25, self.bottom + 0.25, stroke_width=2.2, **line
        )

    def _changes(self) -> Iterator[str]:
        """Changes of tempo."""
        for change in self.changes:
            yield signs.tempo(
                self.line.x(change.beat) - 4, self.tempo_y, change.tempo_bpm, 8.5
            )

    # --------------------------------------------------------------- the notes

    def _note(self, index: int, note: LickNote) -> Iterator[str]:
        """One note: its number, and what is done with it."""
        x, y = self.line.x(note.onset_beats), self.y(note.string)
        half = 3.5
        if note.articulation is Articulation.DEAD:
            yield signs.dead(x, y)
        else:
            yield signs.fret(str(note.fret), x, y, FRET_SIZE)
            half = signs.half_width(str(note.fret), FRET_SIZE)
        if note.bend is not None:
            yield from self._bend(note, x, half)
        if note.vibrato:
            yield self._wave(note, x, half)
        yield from self._edges(note, x, half)
        if note.stroke is not None:
            yield signs.stroke(note.stroke, x, self.stroke_y)
        if note.finger is not None:
            text = "T" if note.finger == 0 else str(note.finger)
            yield words(text, x, self.finger_y, SMALL_SIZE, text_anchor="middle")

    def _end_x(self, note: LickNote) -> float:
        """Where a note ends in this system."""
        return self.line.end_x(min(note.end_beats, self.line.end))

    def _top_x(self, note: LickNote, x: float, half: float) -> float:
        """Where a bend has arrived at its height."""
        assert note.bend is not None
        if note.bend.kind in _HELD_UP:
            return x
        return x + half + min(BEND_RUN_PT, 0.45 * (self._end_x(note) - x))

    def _down_x(self, note: LickNote, x: float, half: float) -> float:
        """Where a bend has been let down."""
        down_x = x + RELEASE_SHARE * (self._end_x(note) - x)
        return max(down_x, self._top_x(note, x, half) + 9)

    def _bend(self, note: LickNote, x: float, half: float) -> Iterator[str]:
        """Arrows of a bend, with its size."""
        assert note.bend is not None
        y, top = self.y(note.string), self.bend_y
        top_x = self._top_x(note, x, half)
        if note.bend.kind in _HELD_UP:
            yield signs.bend_before(x, y - 0.45 * FRET_SIZE, top)
        else:
            yield signs.bend_up(x + half + 1, y, top_x, top)
        name = signs.bend_name(note.bend.target_cents)
        yield words(name, top_x, top - 2.5, SMALL_SIZE, text_anchor="middle")
        if note.bend.kind in _RELEASED:
            down_x = self._down_x(note, x, half)
            yield signs.bend_down(top_x, top, down_x, y - 0.45 * FRET_SIZE)
            yield signs.fret(f"({note.fret})", down_x, y, 0.85 * FRET_SIZE)

    def _wave(self, note: LickNote, x: float, half: float) -> str:
        """Vibrato: over the strings, or on from where a bend has arrived."""
        end = self._end_x(note) - 6
        if note.bend is not None and note.bend.kind not in _RELEASED:
            return signs.wave(self._top_x(note, x, half) + 5, end, self.bend_y + 2)
        if note.bend is not None:
            x = self._down_x(note, x, half) + 2 * half + 4
        return signs.wave(x - half, end, self.top - 12)

    def _edges(self, note: LickNote, x: float, half: float) -> Iterator[str]:
        """Slides from and to nowhere."""
        y = self.y(note.string)
        if note.slide_in is not None:
            rise = 3.2 if note.slide_in is SlideEdge.FROM_BELOW else -3.2
            # under a staff, a bar line may stand close
            bar_line = max(place for place in self.line.bar_lines if place < x)
            start = max(x - half - 9, bar_line + 1.5)
            yield signs.slide(start, y + rise, x - half - 1.5, y - rise)
        if note.slide_out is not None:
            rise = 3.2 if note.slide_out is SlideEdge.UP else -3.2
            yield signs.slide(x + half + 1.5, y + rise, x + half + 9, y - rise)

    def _held_over(self) -> Iterator[str]:
        """Number in brackets where a note is held on from the system before."""
        first = self.values[0]
        if first.index is not None and not first.starts:
            note = self.lick.notes[first.index]
            x, y = self.line.x(first.beat), self.y(note.string)
            if note.articulation is not Articulation.DEAD:
                yield signs.fret(f"({note.fret})", x, y, 0.85 * FRET_SIZE)

    # -------------------------------------------------- from one note to another

    def _slurs(self) -> Iterator[str]:
        """Arcs of hammer-ons, pull-offs and slides, also into and out of here."""
        last = self.range.stop
        for index in range(max(self.range.start, 0), min(last + 1, len(self.lick))):
            note = self.lick.notes[index]
            if note.slurred:
                yield from self._slur(index, note)

    def _slur(self, index: int, note: LickNote) -> Iterator[str]:
        """One arc; half of it where its other end is in another system."""
        before = self.lick.notes[index - 1] if index else None
        joined = (
            before is not None
            and before.string == note.string
            and before.end_beats == note.onset_beats
        )
        here = index in self.range
        if not here and not joined:
            return
        y = self.y(note.string)
        to_x = self.line.x(note.onset_beats) if here else self.line.width - 3
        x = to_x - 13
        if joined and before is not None and index - 1 in self.range:
            x = self.line.x(before.onset_beats)
        elif joined:
            x = self.line.places[0] - 12
        yield signs.arc(x + 1, to_x - 1, y - 4.6, 2.6)
        if note.articulation is Articulation.SLIDE and before is not None:
            rise = 3 if note.fret > before.fret else -3
            half = 3.2 * max(len(str(note.fret)), 1)
            yield signs.slide(x + half + 1.5, y + rise, to_x - half - 1, y - rise)
        elif here:
            name = "h" if note.articulation is Articulation.HAMMER_ON else "p"
            yield signs.letter(name, (x + to_x) / 2, y - 8.6, 7.5)

    def _ringing(self) -> Iterator[str]:
        """Runs of notes that ring on, with a dashed line to their end."""
        run: list[LickNote] = []
        for _, note in [*self.notes, (-1, None)]:
            if note is not None and note.let_ring:
                run.append(note)
            elif run:
                x = self.line.x(run[0].onset_beats) - 3
                yield words("let ring", x, self.ring_y, SMALL_SIZE, font_style="italic")
                end = self._end_x(run[-1]) - 4
                yield signs.dashes(x + 29, end, self.ring_y - 2.5)
                run = []


# Fonts that most systems have, all with the same plain look; drawn in the reader's own.
FONTS = "'Liberation Sans', Arial, Helvetica, 'DejaVu Sans', sans-serif"
