"""Cut a lick into the parts it is practised in: its cells, bars where it has none."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import groupby

from assessor.lick.cells import find_cells
from assessor.lick.digest import digest_of
from assessor.lick.notation import (
    Articulation,
    Lick,
    LickNote,
    Parent,
    TempoChange,
)
from assessor.lick.places import say_place

FEWEST_NOTES = 3  # fewer are practised with what comes before them, or else after


@dataclass(frozen=True)
class Part:
    """Neighbouring notes of a lick.

    Attributes
    ----------
    first, last : int
        Indices of its notes, both in it.
    name : str
        Such as ``bar 2`` or ``cell at bar 1, beat 3``.
    """

    first: int
    last: int
    name: str


def bars_of_notes(lick: Lick) -> tuple[int, ...]:
    """Bar in which each note starts, from 1; 0 is the pickup."""
    bar_beats, pickup = lick.meter.bar_beats, lick.pickup_beats
    return tuple(int((n.onset_beats - pickup) // bar_beats) + 1 for n in lick.notes)


def parts_of(lick: Lick) -> tuple[Part, ...]:
    """Parts of a lick, in order; every note is in one.

    Each place where a cell comes is a part, the notes between are parts by bars.
    """
    bars = bars_of_notes(lick)
    in_cell = {
        index: occurrence.first
        for cell in find_cells(lick)
        for occurrence in cell.occurrences
        for index in range(occurrence.first, occurrence.first + cell.notes)
    }
    parts: list[Part] = []
    keys = [
        (in_cell.get(k), None if k in in_cell else bars[k]) for k in range(len(bars))
    ]
    for (cell, bar), group in groupby(range(len(bars)), key=lambda k: keys[k]):
        inside = [*group]
        first, last = inside[0], inside[-1]
        place = say_place(lick, first)
        name = f"{place} on" if cell is None else f"cell at {place}"
        if bar is not None and len(inside) == bars.count(bar):
            name = f"bar {bar}" if bar else "pickup"
        if parts and len(inside) < FEWEST_NOTES:
            parts[-1] = replace(parts[-1], last=last)
        else:
            parts.append(Part(first, last, name))
    if len(parts) > 1 and parts[0].last + 1 < FEWEST_NOTES:
        parts[:2] = [replace(parts[1], first=0)]
    return tuple(parts)


def cut(lick: Lick, part: Part) -> Lick:
    """One part of a lick as a lick of its own, at its place in the bar.

    The note after it belongs to it, too, cut to a beat: the way there is to be
    practised with it.  A first note that was slurred into is picked, as there is
    nothing to slur from.  The part knows the lick as its parent.
    """
    start = lick.notes[part.first].onset_beats
    notes = [_later(note, -start) for note in lick.notes[part.first : part.last + 1]]
    if part.last + 1 < len(lick):
        landing = _later(lick.notes[part.last + 1], -start)
        shorter = min(landing.duration_beats, Fraction(4, lick.meter.unit))
        notes.append(replace(landing, duration_beats=shorter))
    if notes[0].slurred:
        notes[0] = replace(notes[0], articulation=Articulation.PICK)
    before = [c.tempo_bpm for c in lick.tempo_changes if c.beat <= start]
    return replace(
        lick,
        title=f"{lick.title}, {part.name}",
        notes=tuple(notes),
        pickup_beats=(lick.pickup_beats - start) % lick.meter.bar_beats,
        tempo_bpm=before[-1] if before else lick.tempo_bpm,
        tempo_changes=tuple(
            TempoChange(change.beat - start, change.tempo_bpm)
            for change in lick.tempo_changes
            if start < change.beat < notes[-1].end_beats + start
        ),
        parent=Parent(
            lick.title,
            digest_of(lick),
            part.name,
            tuple(range(part.first, part.first + len(notes))),
        ),
    )


def _later(note: LickNote, beats: Fraction) -> LickNote:
    return replace(note, onset_beats=note.onset_beats + beats)
