"""Exact times and contours of notes that no lick expects.

`assessor.pitch` reads the notes of a lick; here the lick is made of what was heard, a
second to the beat, with room for every note's pitch to move as far as it was heard to.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

import numpy as np

from assessor.alignment import Alignment, Match, Pass, Verdict
from assessor.lick.notation import (
    Articulation,
    Bend,
    BendKind,
    Lick,
    LickNote,
    Meter,
)
from assessor.pitch import PlayedNote, trace
from assessor.spectrum import Spectrum
from assessor.transcription.joining import Joined
from assessor.tuning import STANDARD

TICK = 10_000  # parts of a second that times are kept to
LAST_S = 2.0
APART_S = 0.01
SHAKEN_S = 0.25  # what sounds shorter is not looked at for vibrato


def played_notes(
    joined: Sequence[Joined], spectrum: Spectrum
) -> tuple[PlayedNote, ...]:
    """Trace every note.

    Parameters
    ----------
    joined : sequence of Joined, at least one
    spectrum : Spectrum

    Returns
    -------
    tuple of PlayedNote
        One for each; `midi_number` is the lowest pitch it was heard to move over.
    """
    tick = [round(note.first.time_s * TICK) for note in joined]
    ends = [*tick[1:], tick[-1] + round(LAST_S * TICK)]
    notes = [
        _expected(joined, k, Fraction(a - tick[0], TICK), Fraction(b - a, TICK))
        for k, (a, b) in enumerate(zip(tick, ends, strict=True))
    ]
    lick = Lick("", 60.0, Meter(), STANDARD, tuple(notes))
    matches = tuple(
        Match(k, Verdict.RIGHT, 1.0, n.first.time_s, w.midi_number, n.first.time_s,
              n.first.is_step)
        for k, (n, w) in enumerate(zip(joined, notes, strict=True))
    )  # fmt: skip
    span_s = (joined[0].first.time_s, joined[-1].first.time_s + LAST_S)
    found = Alignment(
        (Pass(matches, (), 1.0, True, span_s),), 0, spectrum.tuning_cents, 0
    )
    performed = trace(found, lick, spectrum).passes[0]
    return _one_after_another([n.played for n in performed.notes if n.played])


def _one_after_another(played: Sequence[PlayedNote]) -> tuple[PlayedNote, ...]:
    """Two notes that were timed by one attack begin a moment apart."""
    out: list[PlayedNote] = []
    for note in played:
        first_s = out[-1].onset_s + APART_S if out else -np.inf
        if note.onset_s < first_s:
            offset_s = max(note.offset_s, first_s)
            note = replace(note, onset_s=first_s, offset_s=offset_s)
        out.append(note)
    return tuple(out)


def _expected(
    joined: Sequence[Joined], k: int, onset: Fraction, lasting: Fraction
) -> LickNote:
    """Note as far as it is known, for the ear to look closely at."""
    note = joined[k]
    base = min(note.pitches)
    articulation = Articulation.PICK
    if note.slid_into:
        articulation = Articulation.SLIDE
    elif k and note.first.is_step:
        up = note.first.midi_number > joined[k - 1].pitches[-1]
        articulation = Articulation.HAMMER_ON if up else Articulation.PULL_OFF
    bend = None
    if note.moving:
        rise = max(max(note.pitches) - base, 1)
        bend = Bend(BendKind.BEND, min(100.0 * rise, 500.0))
    shaken = bend is None and lasting > SHAKEN_S
    return LickNote(onset, lasting, base, 1, 0, articulation, bend, vibrato=shaken)
