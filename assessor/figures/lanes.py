"""Deviation and loudness of each note, lined up under a system of tab."""

from __future__ import annotations

from collections.abc import Iterator

from assessor.figures.beats import Scene
from assessor.figures.picture import signed, tone, triangle
from assessor.figures.svg import element, path, words
from assessor.figures.tab import TabPicture
from assessor.measures.timing import NoteTiming
from assessor.measures.tolerance import Judgement
from assessor.pitch import PlayedNote, SoundedBy

TEXT_SIZE, AXIS_SIZE = 8.0, 7.5
LEAST_MS, MOST_MS = 30.0, 200.0  # to each side of the middle line
BAND_PT = 7.0  # half the width of a note's tolerance
MARK_PT = 2.6
LOUDEST_ROOM_DB, QUIETEST_DB = 1.0, 30.0


class TimeLane:
    """How early or late each note came: late is up."""

    height = 58.0

    def __init__(self, scene: Scene, tab: TabPicture) -> None:
        self.tab = tab
        every = scene.found.timing.notes
        self.notes = [note for note in every if note.index in tab.notes]
        # one scale for all systems of the pass
        far = max((abs(n.deviation.value) for n in every), default=0.0)
        self.span_ms = min(max(1.25 * far, LEAST_MS), MOST_MS)

    def y(self, deviation_ms: float) -> float:
        """Place of a deviation, clipped to the lane."""
        share = max(-1.0, min(1.0, deviation_ms / self.span_ms))
        return self.height / 2 * (1 - share * 0.82)

    def draw(self) -> list[str]:
        """Pieces of SVG, from the lane's upper edge down."""
        axis = {"text_anchor": "end"}
        top, foot = self.y(self.span_ms) + 3, self.y(-self.span_ms) + 1
        return [
            *(self._band(note) for note in self.notes),
            path("M20,_ H_", self.y(0), self.tab.width, class_="zero"),
            words("late", 17, top, AXIS_SIZE, class_="high", **axis),
            words("0 ms", 17, self.y(0) + 2.4, AXIS_SIZE, class_="quiet", **axis),
            words("early", 17, foot, AXIS_SIZE, class_="low", **axis),
            *(part for note in self.notes for part in self._note(note)),
        ]

    def _band(self, note: NoteTiming) -> str:
        """What is allowed."""
        limit = note.deviation.limit
        if limit is None:
            return ""
        top = self.y(limit.value)
        return element(
            "rect",
            x=self.tab.x_of_note(note.index) - BAND_PT,
            y=top,
            width=2 * BAND_PT,
            height=self.y(-limit.value) - top,
            class_="band",
        )

    def _note(self, note: NoteTiming) -> Iterator[str]:
        """A stem from the middle line to a mark, whose shape says which side."""
        reading, x = note.deviation, self.tab.x_of_note(note.index)
        y, kind = self.y(reading.value), tone(reading)
        yield path("M_,_ V_", x, self.y(0), y, class_=f"stem {kind}")
        if kind == "quiet":
            if reading.judgement == Judgement.UNSURE:
                style = {"text_anchor": "middle", "class_": "quiet"}
                yield words("?", x, y + (-2 if reading.value > 0 else 8), 7.5, **style)
            yield element("circle", cx=x, cy=y, r=1.9, class_="quiet")
            return
        late = kind == "high"
        yield triangle(x, y, "right" if late else "left", MARK_PT, class_=kind)
        text_y = y - 4.5 if late else y + 9.5
        style = {"text_anchor": "middle", "class_": kind}
        yield words(signed(reading.value), x, text_y, TEXT_SIZE, **style)


class LevelLane:
    """How loud each note was: bars for picked notes, pins for slurred ones."""

    height = 40.0

    def __init__(self, scene: Scene, tab: TabPicture) -> None:
        self.tab = tab
        performed = scene.found.performed.notes
        levels = [
            n.played.level_db
            for n in performed
            if n.played is not None and n.played.level_db > -200
        ]
        self.loudest = max(levels, default=0.0)
        quietest = max(min(levels, default=-12.0), self.loudest - QUIETEST_DB)
        self.floor = min(quietest, self.loudest - 6) - 3
        self.notes = [
            (k, played)
            for k in tab.notes
            if (played := performed[k].played) is not None
        ]
        legato = scene.found.legato
        self.unasked = {*legato.picked_instead, *legato.slurred_instead}

    def y(self, level_db: float) -> float:
        """Place of a level, clipped to the lane."""
        top = self.loudest + LOUDEST_ROOM_DB
        share = (min(max(level_db, self.floor), top) - self.floor) / (top - self.floor)
        return self.height - 1 - share * (self.height - 4)

    def draw(self) -> list[str]:
        """Pieces of SVG, from the lane's upper edge down."""
        axis = {"text_anchor": "end", "class_": "quiet"}
        bottom = self.y(self.floor)
        steps = [self.loudest, self.loudest - 6]
        lines = [
            part
            for level_db in steps
            for part in (
                path("M20,_ H_", self.y(level_db), self.tab.width, class_="grid"),
                words(
                    signed(level_db - self.loudest),
                    17,
                    self.y(level_db) + 2.4,
                    AXIS_SIZE,
                    **axis,
                ),
            )
        ]
        return [
            *lines,
            words("dB", 17, bottom, AXIS_SIZE, **axis),
            path("M20,_ H_", bottom, self.tab.width, class_="zero"),
            *(part for k, played in self.notes for part in self._note(k, played)),
        ]

    def _note(self, index: int, played: PlayedNote) -> Iterator[str]:
        """One bar or pin; a word where it was sounded otherwise than written."""
        x, y = self.tab.x_of_note(index), self.y(played.level_db)
        bottom = self.y(self.floor)
        if played.sounded_by == SoundedBy.SLURRED:
            yield path("M_,_ V_", x, bottom, y, class_="stem")
            yield element("circle", cx=x, cy=y, r=2.2)
        else:
            size = {"width": 5.0, "height": bottom - y}
            yield element("rect", x=x - 2.5, y=y, **size)
        if index in self.unasked:
            style = {"text_anchor": "middle", "class_": "strong"}
            word = f"{played.sounded_by}?"
            yield words(word, x, self.height + 7, 7.0, **style)
