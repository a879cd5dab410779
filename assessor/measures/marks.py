"""The overall mark: shares inside tolerance, weighed and added.

    mark = sum(weight x inside / judged) / sum(weight) x 100

over the parts that hold at least one judged item: notes 45, time 25, bends 15,
legato 10, pitch of plain notes 5.  The weights are our own choice: a lick is first of
all its notes, then their time; the plain notes of a fretted guitar are nearly always in
tune.  What is unsure is neither inside nor judged, so it never counts.

Items: every written note and every extra one (notes); every onset (time); the size of
every bend, the start of every pre-bend, the end of every release (bends); the interval
before every slurred note (legato); every plain note (pitch).  Whether a slur was picked
instead is told, but counts in no mark: it is not heard surely enough.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from assessor.measures.accuracy import Accuracy
from assessor.measures.bends import Bends
from assessor.measures.legato import Legato
from assessor.measures.timing import Timing
from assessor.measures.tolerance import Judgement, Reading


class Area(StrEnum):
    """What a part of the mark speaks of."""

    NOTES = "notes"
    TIME = "time"
    BENDS = "bends"
    LEGATO = "legato"
    PITCH = "pitch"


WEIGHTS = {
    Area.NOTES: 45,
    Area.TIME: 25,
    Area.BENDS: 15,
    Area.LEGATO: 10,
    Area.PITCH: 5,
}


@dataclass(frozen=True)
class Part:
    """One part of the mark.

    Attributes
    ----------
    area : Area
    weight : int
    inside, judged : int
        Items inside tolerance, and all that were judged (>= 1).
    """

    area: Area
    weight: int
    inside: int
    judged: int


@dataclass(frozen=True)
class Mark:
    """The overall mark of one pass.

    Attributes
    ----------
    parts : tuple of Part
        Only those with something to judge.
    """

    parts: tuple[Part, ...]

    @property
    def value(self) -> float | None:
        """Return 0 to 100; None when nothing could be judged."""
        total = sum(part.weight for part in self.parts)
        if not total:
            return None
        return 100 / total * sum(p.weight * p.inside / p.judged for p in self.parts)

    def cost(self, area: Area, faults: int) -> float:
        """Points that so many faults in one part cost."""
        total = sum(part.weight for part in self.parts)
        costs = [p.weight / p.judged for p in self.parts if p.area == area]
        return 100 / total * sum(costs) * faults if total else 0.0

    @property
    def formula(self) -> str:
        """The mark's arithmetic with its numbers.

        >>> Mark((Part(Area.NOTES, 45, 9, 10), Part(Area.TIME, 25, 4, 10))).formula
        '(45 x 9/10 notes + 25 x 4/10 time) / 70 x 100'
        """
        terms = [f"{p.weight} x {p.inside}/{p.judged} {p.area}" for p in self.parts]
        total = sum(part.weight for part in self.parts)
        return f"({' + '.join(terms)}) / {total} x 100" if terms else ""


def measure(accuracy: Accuracy, timing: Timing, bends: Bends, legato: Legato) -> Mark:
    """Overall mark of one pass from its four measures."""
    items = {
        Area.TIME: (note.deviation.judgement for note in timing.notes),
        Area.BENDS: (
            reading.judgement
            for note in bends.bent
            for reading in (note.reached, note.start, note.end)
            if reading is not None
        ),
        Area.LEGATO: (note.interval.judgement for note in legato.notes),
        Area.PITCH: (note.intonation.judgement for note in bends.plain),
    }
    counts = {Area.NOTES: (len(accuracy.right), accuracy.judged)}
    counts |= {area: _count(judgements) for area, judgements in items.items()}
    parts = [
        Part(area, WEIGHTS[area], inside, judged)
        for area, (inside, judged) in counts.items()
        if judged
    ]
    return Mark(tuple(parts))


def _count(judgements: Iterable[Judgement]) -> tuple[int, int]:
    """How many are inside, and how many are judged at all."""
    found = list(judgements)
    inside = found.count(Judgement.INSIDE)
    return inside, inside + found.count(Judgement.OUTSIDE)


def outside(reading: Reading | None) -> bool:
    """Say whether a reading lies outside its limit for sure."""
    return reading is not None and reading.judgement == Judgement.OUTSIDE
