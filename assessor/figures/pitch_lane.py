"""The pitch curve over the wanted pitches, lined up under a system of tab."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from assessor.alignment import Verdict
from assessor.figures.beats import Scene
from assessor.figures.picture import tone
from assessor.figures.svg import element, path, words
from assessor.figures.tab import TabPicture
from assessor.lick.notation import Articulation, BendKind, LickNote
from assessor.measures.tolerance import Reading
from assessor.pitch import PlayedNote
from assessor.tuning import FloatArray, note_name

BoolArray = npt.NDArray[np.bool_]

SEMITONE_PT, LEAST_PT, MOST_PT = 5.2, 58.0, 132.0
ROOM_ABOVE, ROOM_BELOW = 2.6, 1.6  # semitones; words stand above
TEXT_SIZE, AXIS_SIZE = 8.5, 7.5
LABEL_APART_PT = 7.5
LETTER_PT = 4.6  # mean width of a letter of a label
JUMP = 1.5  # semitones from frame to frame that no line joins
# Written bends say how far, not when: share of the note, share of the size.
SHAPES = {
    BendKind.BEND: ((0, 0), (0.3, 1), (1, 1)),
    BendKind.BEND_RELEASE: ((0, 0), (0.25, 1), (0.55, 1), (0.8, 0), (1, 0)),
    BendKind.PREBEND: ((0, 1), (1, 1)),
    BendKind.PREBEND_RELEASE: ((0, 1), (0.45, 1), (0.75, 0), (1, 0)),
}


class PitchLane:
    """Draws one lane; `height` is known before it is drawn."""

    def __init__(self, scene: Scene, tab: TabPicture) -> None:
        self.scene, self.tab = scene, tab
        self.first, self.last = (float(beat) for beat in tab.beats)
        self.extras = [
            played
            for played in scene.found.performed.extras
            if self.first <= float(scene.line.beat(played.onset_s)) < self.last
        ]
        pitches = list(self._pitches())
        self.low = min(pitches, default=60) - ROOM_BELOW
        self.high = max(pitches, default=60) + ROOM_ABOVE
        natural = SEMITONE_PT * (self.high - self.low)
        self.height = min(max(natural, LEAST_PT), MOST_PT)
        wrong = scene.found.accuracy.wrong
        self.wrong = {note.index: note.midi_number for note in wrong}

    def _pitches(self) -> Iterator[float]:
        """Everything that must find room."""
        notes = self.scene.found.performed.notes
        for index in self.tab.notes:
            written = self.scene.lick.notes[index]
            yield written.midi_number
            if written.bend is not None:
                yield written.midi_number + written.bend.target_cents / 100
            played = notes[index].played
            if played is not None:
                yield self.scene.fretted(played)
        yield from (self.scene.fretted(played) for played in self.extras)

    def draw(self) -> list[str]:
        """Pieces of SVG, from the lane's upper edge down."""
        parts = [*self._grid()]
        for index in self.tab.notes:
            parts += self._wanted(index)
        for index in self.tab.notes:
            parts += self._played(index)
        for played in self.extras:
            parts += self._extra(played)
        return parts

    def y(self, midi: float) -> float:
        """Place of a pitch."""
        share = (self.high - midi) / (self.high - self.low)
        return share * self.height

    def _grid(self) -> Iterator[str]:
        """A line and a name for every pitch the lick asks for here."""
        wanted = {self.scene.lick.notes[k].midi_number for k in self.tab.notes}
        last_y = np.inf
        for midi_number in sorted(wanted):
            y = self.y(midi_number)
            yield path("M20,_ H_", y, self.tab.width, class_="grid")
            if last_y - y >= LABEL_APART_PT:
                name = note_name(midi_number)
                style = {"text_anchor": "end", "class_": "quiet"}
                yield words(name, 17, y + 2.6, AXIS_SIZE, **style)
                last_y = y

    def _span(self, note: LickNote) -> tuple[float, float]:
        """Left and right end of a written note in this system."""
        x = self.tab.x_of_beat(note.onset_beats)
        return x, max(self.tab.x_of_beat(note.end_beats) - 1.5, x + 2)

    def _wanted(self, index: int) -> Iterator[str]:
        """Where the pitch should be: half a semitone to each side."""
        note = self.scene.lick.notes[index]
        if note.articulation is Articulation.DEAD:
            return
        x, end = self._span(note)
        thick = max(self.y(0) - self.y(0.9), 3.0)
        missed = self.scene.found.performed.notes[index].verdict == Verdict.MISSED
        if note.bend is not None and not missed:
            size = note.bend.target_cents / 100
            points = [
                (x + share * (end - x), self.y(note.midi_number + size * up))
                for share, up in SHAPES[note.bend.kind]
            ]
            d = "M" + " L".join(f"{px:.1f},{py:.1f}" for px, py in points)
            yield element("path", d=d, class_="shape", stroke_width=thick)
            return
        yield element(
            "rect",
            x=x,
            y=self.y(note.midi_number) - thick / 2,
            width=end - x,
            height=thick,
            rx=1.2,
            class_="missed" if missed else "wanted",
        )
        if missed:
            y = self.y(note.midi_number) - thick / 2 - 2
            yield self._label("missed", x, y)

    def _played(self, index: int) -> Iterator[str]:
        """What sounded for a written note, and what was wrong with it."""
        note = self.scene.found.performed.notes[index]
        played = note.played
        if played is None:
            return
        reading = self._reading(index)
        kind = tone(reading)
        outside = kind in ("low", "high")
        yield from self._curve(played, f"curve {kind}" if outside else "curve")
        x = self._x(played.onset_s)
        written = self.scene.lick.notes[index]
        if index in self.wrong:
            name = f"× {note_name(self.wrong[index])}"
            y = self.y(self.scene.fretted(played)) - 4
            yield self._label(name, x, y, "strong")
        elif note.verdict == Verdict.UNSURE:
            y = self.y(self.scene.fretted(played)) - 4
            yield self._label("?", x, y, "quiet")
        elif outside and reading is not None:
            sign = "↑" if kind == "high" else "↓"
            bend = written.bend.target_cents / 100 if written.bend else 0
            y = self.y(written.midi_number + bend) - 5
            text = f"{sign} {abs(reading.deviation):.0f} c"
            yield self._label(text, x, y, kind)

    def _label(self, text: str, x: float, y: float, kind: str = "") -> str:
        """A word beside a note, kept inside the picture and clear of lines."""
        style = {"class_": f"clear {kind}".strip()}
        if x + LETTER_PT * len(text) > self.tab.width:
            x, style["text_anchor"] = self.tab.width, "end"
        return words(text, x, y, TEXT_SIZE, **style)

    def _reading(self, index: int) -> Reading | None:
        """The reading a note's pitch is judged by."""
        bends = self.scene.found.bends
        for plain in bends.plain:
            if plain.index == index:
                return plain.intonation
        for bent in bends.bent:
            if bent.index == index:
                parts = [bent.reached, bent.start, bent.end]
                off = [r for r in parts if tone(r) != "quiet"]
                return off[0] if off else bent.reached
        return None

    def _extra(self, played: PlayedNote) -> Iterator[str]:
        """A note nobody asked for: dashed."""
        x, end = self._x(played.onset_s), self._x(played.offset_s)
        thick = max(self.y(0) - self.y(0.9), 3.0)
        y = self.y(self.scene.fretted(played))
        yield element(
            "rect",
            x=x,
            y=y - thick / 2,
            width=max(end - x, 3),
            height=thick,
            rx=1.2,
            class_="extra",
        )
        yield from self._curve(played, "curve")
        yield self._label("extra", x, y - thick / 2 - 2)

    def _x(self, time_s: float) -> float:
        return self.tab.x_of_beat(float(self.scene.line.beat(time_s)))

    def _curve(self, played: PlayedNote, kind: str) -> Iterator[str]:
        """The contour, broken where nothing voiced sounds; its onset is a dot."""
        midi = self.scene.midi(played)
        beats = self.scene.line.beat(played.contour.times_s)
        here = (beats >= self.first) & (beats <= self.last)
        here &= np.isfinite(midi) & (midi > self.low) & (midi < self.high)
        if here.sum() < 2:  # too short to have a contour: a stroke at its pitch
            x, y = self._x(played.onset_s), self.y(self.scene.fretted(played))
            end = max(self._x(played.offset_s) - 1, x + 2)
            yield path("M_,_ H_", x, y, end, class_=kind)
            return
        yield element("path", d=self._line(beats, midi, here), class_=kind)
        start = float(midi[np.flatnonzero(here)[0]])
        yield element(
            "circle",
            cx=self._x(played.onset_s),
            cy=self.y(start),
            r=1.5,
            class_=kind.removeprefix("curve").strip() or "onset",
        )

    def _line(self, beats: FloatArray, midi: FloatArray, here: BoolArray) -> str:
        """Path through the frames that are here."""
        pieces, before = [], -2
        for k in np.flatnonzero(here):
            joined = before == k - 1 and abs(midi[k] - midi[before]) < JUMP
            x, y = self.tab.x_of_beat(float(beats[k])), self.y(float(midi[k]))
            pieces.append(f"{'L' if joined else 'M'}{x:.1f},{y:.1f}")
            before = int(k)
        return "".join(pieces)
