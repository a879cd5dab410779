"""Readings of a drill, brought home to the notes of the lick it is made of.

A drill plays some notes of its parent over and over; one note of the parent then has
several readings, which are summed up here.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from statistics import median

from assessor.assessment import PassAssessment
from assessor.lick.notation import Lick, Parent
from assessor.lick.parentage import runs
from assessor.measures.focus import Cause


@dataclass(frozen=True)
class HomeNote:
    """What one pass of a drill says of one note of the parent.

    Attributes
    ----------
    index : int
        0-based place in the parent.
    indices : tuple of int
        The notes of the drill that are this note.
    right, wrong, missed, unsure : int
        How many of them.
    deviation_ms, intonation_cents : float or None
        Medians of their onset deviations, + late, and of their pitch where they are
        plain, + sharp; None where there is none.
    causes : mapping of Cause to int
        Faults found on them, most frequent first.
    """

    index: int
    indices: tuple[int, ...]
    right: int
    wrong: int
    missed: int
    unsure: int
    deviation_ms: float | None
    intonation_cents: float | None
    causes: Mapping[Cause, int]


def come_home(parent: Parent, found: PassAssessment) -> tuple[HomeNote, ...]:
    """Readings of a pass of a drill by note of its parent.

    Parameters
    ----------
    parent : Parent
        Of the lick that was assessed.
    found : PassAssessment

    Returns
    -------
    tuple of HomeNote
        Each note of the parent that the drill plays, in the parent's order.
    """
    notes = found.accuracy
    wrong = {each.index for each in notes.wrong}
    deviations = {each.index: each.deviation.value for each in found.timing.notes}
    cents = {each.index: each.intonation.value for each in found.bends.plain}
    homes = []
    for index in sorted(set(parent.notes)):
        here = tuple(k for k, place in enumerate(parent.notes) if place == index)
        causes = Counter(f.cause for f in found.faults if f.index in here)
        homes.append(
            HomeNote(
                index=index,
                indices=here,
                right=len({*here} & {*notes.right}),
                wrong=len({*here} & wrong),
                missed=len({*here} & {*notes.missed}),
                unsure=len({*here} & {*notes.unsure}),
                deviation_ms=_middle(deviations, here),
                intonation_cents=_middle(cents, here),
                causes=dict(causes.most_common()),
            )
        )
    return tuple(homes)


def _middle(values: Mapping[int, float], indices: tuple[int, ...]) -> float | None:
    """Median of the values there are."""
    found = [values[k] for k in indices if k in values]
    return median(found) if found else None


def at_home(lick: Lick, index: int) -> str:
    """Which note of the parent a note is, in words; empty when the lick is no drill.

    >>> from fractions import Fraction
    >>> from assessor.lick.notation import LickNote, Meter
    >>> from assessor.tuning import STANDARD
    >>> notes = (LickNote(Fraction(0), Fraction(1), 69, 1, 5),)
    >>> parent = Parent("A", "", "", (6,))
    >>> at_home(Lick("B", 90, Meter(), STANDARD, notes, parent=parent), 0)
    ' (note 7 of the parent)'
    """
    if lick.parent is None:
        return ""
    return f" (note {lick.parent.notes[index] + 1} of the parent)"


def run_starts(parent: Parent) -> dict[int, int]:
    """Notes of a drill where a run of the parent's notes starts, and with which note.

    >>> run_starts(Parent("A", "", "", (4, 5, 4, 5, 6)))
    {0: 4, 2: 4}
    """
    starts, at = {}, 0
    for first, last in runs(parent.notes):
        starts[at] = first
        at += last - first + 1
    return starts
