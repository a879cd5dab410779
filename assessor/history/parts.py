"""Cut a lick at its bar lines."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from assessor.lick.notation import Articulation, Lick, TempoChange


def bars_of_notes(lick: Lick) -> tuple[int, ...]:
    """Bar in which each note starts, from 1; 0 is the pickup."""
    bar_beats, pickup = lick.meter.bar_beats, lick.pickup_beats
    return tuple(int((n.onset_beats - pickup) // bar_beats) + 1 for n in lick.notes)


def bar_of(lick: Lick, bar: int) -> Lick:
    """One bar of a lick as a lick of its own.

    A note that rings over the bar line is cut there; a first note that was slurred
    into is picked, as there is nothing to slur from.

    Raises
    ------
    ValueError
        When no note starts in the bar.
    """
    inside = [k for k, at in enumerate(bars_of_notes(lick)) if at == bar]
    if not inside:
        message = f"no note starts in bar {bar}"
        raise ValueError(message)
    bar_beats = lick.meter.bar_beats
    start = lick.pickup_beats + (bar - 1) * bar_beats if bar else Fraction(0)
    end = start + bar_beats if bar else lick.pickup_beats
    notes = [
        replace(
            note,
            onset_beats=note.onset_beats - start,
            duration_beats=min(note.end_beats, end) - note.onset_beats,
        )
        for note in (lick.notes[k] for k in inside)
    ]
    if notes[0].slurred:
        notes[0] = replace(notes[0], articulation=Articulation.PICK)
    before = [c.tempo_bpm for c in lick.tempo_changes if c.beat <= start]
    return replace(
        lick,
        title=f"{lick.title}, {'bar ' + str(bar) if bar else 'pickup'}",
        notes=tuple(notes),
        pickup_beats=Fraction(0) if bar else lick.pickup_beats,
        tempo_bpm=before[-1] if before else lick.tempo_bpm,
        tempo_changes=tuple(
            TempoChange(change.beat - start, change.tempo_bpm)
            for change in lick.tempo_changes
            if start < change.beat < end
        ),
    )
