"""Close-ups of bends and vibrato: what was asked, the peak, and where it settled."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from assessor.figures.beats import Scene
from assessor.figures.picture import (
    Gallery,
    Table,
    canvas,
    followed,
    signed,
    told,
    tone,
)
from assessor.figures.svg import element, path, words
from assessor.figures.tab import FONTS
from assessor.lick.notation import LickNote
from assessor.measures.bends import BentNote, VibratoNote
from assessor.measures.focus import say_place
from assessor.measures.tolerance import Reading
from assessor.pitch import PlayedNote

WIDTH_PT, HEIGHT_PT = 250.0, 150.0
LEFT, RIGHT, TOP, FOOT = 34.0, 68.0, 32.0, 16.0
TEXT_SIZE, HEAD_SIZE = 9.5, 10.5
LEAST_CENTS = 60.0  # of the height of a close-up
ROOM_CENTS = 35.0
APART_PT = 10.0  # words at the right edge
HEAD = (
    "Place", "Asked, cents", "Reached off, cents", "Peak, cents", "Settled, cents",
    "Start, cents", "End, cents", "Rise, ms", "Hold, ms", "Release, ms",
    "Vibrato, Hz", "Vibrato, cents either way",
)  # fmt: skip


@dataclass(frozen=True)
class _Note:
    """One bent or shaken note with what was measured on it."""

    written: LickNote
    played: PlayedNote
    bent: BentNote | None
    shaken: VibratoNote | None


def closeups(scene: Scene) -> Gallery:
    """Every bend and vibrato of a pass that could be measured."""
    bends = {note.index: note for note in scene.found.bends.bent}
    shaken = {note.index: note for note in scene.found.bends.vibrato}
    svgs, rows = [], []
    for index in sorted({*bends, *shaken}):
        played = scene.found.performed.notes[index].played
        if played is None:
            continue
        written = scene.lick.notes[index]
        note = _Note(written, played, bends.get(index), shaken.get(index))
        place = say_place(scene.lick, index)
        svgs.append(_Panel(scene, note).draw(place))
        rows.append(_row(place, note))
    return Gallery(tuple(svgs), "Bends and vibrato", Table(HEAD, tuple(rows)))


class _Panel:
    """One close-up: cents above the fret against seconds since the onset."""

    def __init__(self, scene: Scene, note: _Note) -> None:
        self.scene, self.note = scene, note
        base = 100 * note.written.midi_number
        self.cents = 100 * scene.midi(note.played) - base
        self.since_s = note.played.contour.times_s - note.played.onset_s
        bend = note.written.bend
        self.asked = bend.target_cents if bend is not None else 0.0
        drawn = [0.0, self.asked]
        near = self.cents[np.isfinite(self.cents) & (np.abs(self.cents) < 700)]
        drawn += [float(near.min()), float(near.max())] if near.size else []
        self.low, self.high = min(drawn) - ROOM_CENTS, max(drawn) + ROOM_CENTS
        room = LEAST_CENTS - (self.high - self.low)
        self.low, self.high = self.low - max(room, 0) / 2, self.high + max(room, 0) / 2
        self.length_s = max(note.played.offset_s - note.played.onset_s, 0.1)

    def x(self, since_s: float) -> float:
        """Place of a time since the onset."""
        return LEFT + since_s / self.length_s * (WIDTH_PT - LEFT - RIGHT)

    def y(self, cents: float) -> float:
        """Place of a pitch."""
        share = (self.high - cents) / (self.high - self.low)
        return TOP + share * (HEIGHT_PT - TOP - FOOT)

    def draw(self, place: str) -> str:
        """Draw the whole close-up."""
        line, kind = self._sentence()
        title = f"{place}: {line}"
        parts = [
            words(place, 2, 10, HEAD_SIZE, class_="strong"),
            words(line, 2, 22, TEXT_SIZE, class_=kind),
            *self._asked(),
            *self._seconds(),
            self._curve(kind),
            *self._levels(),
        ]
        moved = followed(parts, self._places(), TOP, HEIGHT_PT - FOOT)
        body = element("g", moved, font_family=FONTS)
        return canvas([body], WIDTH_PT, HEIGHT_PT, title)

    def _places(self) -> Iterator[tuple[float, float]]:
        """Where the moving line stands, at both ends and where a note was due."""
        start_s, line = self.note.played.onset_s, self.scene.line
        ends_s = (start_s, start_s + self.length_s)
        due_s = [t for t in line.times_s if ends_s[0] < t < ends_s[1]]
        for time_s in (ends_s[0], *due_s, ends_s[1]):
            yield float(line.along(time_s)), self.x(float(time_s) - start_s)

    def _asked(self) -> Iterator[str]:
        """The fret, the size asked for, and what is allowed around it."""
        end, bent = WIDTH_PT - RIGHT, self.note.bent
        limit = bent.reached.limit if bent is not None else None
        if limit is not None:
            top = self.y(self.asked + limit.value)
            height = self.y(self.asked - limit.value) - top
            box = {"width": end - LEFT, "height": height}
            yield element("rect", x=LEFT, y=top, class_="band", **box)
        axis = {"text_anchor": "end", "class_": "quiet"}
        yield path("M_,_ H_", LEFT, self.y(0), end, class_="grid")
        yield words("fret", LEFT - 4, self.y(0) + 2.8, TEXT_SIZE, **axis)
        if self.asked:
            y = self.y(self.asked)
            yield path("M_,_ H_", LEFT, y, end, class_="target")
            yield words(f"{self.asked:.0f} c", LEFT - 4, y + 2.8, TEXT_SIZE, **axis)

    def _seconds(self) -> Iterator[str]:
        """Time below."""
        y, end = HEIGHT_PT - FOOT, WIDTH_PT - RIGHT
        yield path("M_,_ H_", LEFT, y, end, class_="zero")
        style = {"class_": "quiet"}
        yield words("0", LEFT, y + 10, TEXT_SIZE, **style)
        text = f"{self.length_s:.2f} s"
        yield words(text, end, y + 10, TEXT_SIZE, text_anchor="end", **style)

    def _curve(self, kind: str) -> str:
        """The contour, broken where nothing voiced sounds."""
        here = np.isfinite(self.cents) & (self.cents > self.low)
        here &= self.cents < self.high
        pieces, before = [], -2
        for k in np.flatnonzero(here):
            x, y = self.x(float(self.since_s[k])), self.y(float(self.cents[k]))
            pieces.append(f"{'L' if before == k - 1 else 'M'}{x:.1f},{y:.1f}")
            before = int(k)
        return element("path", d="".join(pieces) or "M0,0", class_=f"curve {kind}")

    def _levels(self) -> Iterator[str]:
        """Peak and settled pitch, marked at the right edge with their uncertainty."""
        bent = self.note.bent
        if bent is None:
            return
        x = WIDTH_PT - RIGHT + 4
        marks = [("peak", bent.peak), ("settled", bent.settled)]
        found = [(name, r) for name, r in marks if r is not None]
        apart = len(found) == 2 and abs(
            self.y(found[0][1].value) - self.y(found[1][1].value)
        )
        for k, (name, reading) in enumerate(found):
            y = self.y(reading.value)
            shift = (0 if apart >= APART_PT else APART_PT / 2) if len(found) == 2 else 0
            text_y = y + 2.8 + (shift if k else -shift)
            if k == 0 and len(found) == 2 and found[1][1].value > reading.value:
                text_y = y + 2.8 + shift
            yield path("M_,_ h5", x - 5, y, class_="stem")
            yield words(f"{name} {reading.value:.0f}", x + 3, text_y, TEXT_SIZE)

    def _sentence(self) -> tuple[str, str]:
        """What a player should know of it, and its tone."""
        pieces, kind = [], "quiet"
        for name, reading in _parts(self.note.bent):
            off = tone(reading)
            if off in ("low", "high"):
                arrow, word = ("↑", "sharp") if off == "high" else ("↓", "flat")
                pieces.append(f"{arrow} {name} {abs(reading.deviation):.0f} c {word}")
                kind = kind if kind != "quiet" else off
        if not pieces and self.note.bent is not None:
            reached = self.note.bent.reached
            pieces.append(f"{signed(reached.deviation)} c, {reached.judgement}")
        shaken = self.note.shaken
        if shaken is not None and (shaken.rate is None or shaken.depth is None):
            pieces.append("no vibrato heard")
        elif shaken is not None and shaken.rate and shaken.depth:
            swing = f"±{shaken.depth.value:.0f} c at {shaken.rate.value:.1f} Hz"
            pieces.append(f"vibrato {swing}")
        return ", ".join(pieces), kind


def _parts(bent: BentNote | None) -> Iterator[tuple[str, Reading]]:
    """Readings a bend is judged by."""
    if bent is None:
        return
    yield "bend", bent.reached
    yield "start", bent.start
    if bent.end is not None:
        yield "release", bent.end


def _row(place: str, note: _Note) -> tuple[str, ...]:
    """Numbers of one close-up."""
    bent, shaken = note.bent, note.shaken
    asked = note.written.bend
    cells = [place, f"{asked.target_cents:.0f}" if asked else ""]
    if bent is None:
        cells += [""] * 8
    else:
        cells.append(told(bent.reached))
        cells += [_value(r) for r in (bent.peak, bent.settled, bent.start, bent.end)]
        cells += [_value(r) for r in (bent.rise, bent.hold, bent.release)]
    cells.append(_value(shaken.rate if shaken else None, 1))
    cells.append(_value(shaken.depth if shaken else None))
    return tuple(cells)


def _value(reading: Reading | None, digits: int = 0) -> str:
    """Bare value; empty when there is none."""
    if reading is None:
        return ""
    return f"{round(reading.value, digits) + 0.0:.{digits}f}"
