"""Slurred notes and bends that left no event: the pitch goes, nothing else happens.

Every note that was heard is followed to the next one.  Where its pitch leaves for
another fret and stays there, a finger has come down or off, or has bent or slid.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from assessor.contour import track
from assessor.frames import FRAME_HOP_S
from assessor.spectrum import Spectrum
from assessor.transcription.hearing import HeardNote
from assessor.tuning import FloatArray, hz_to_midi

REACH_SEMITONES = 5  # what a hand spans on one string (common practice)
LEAD_S, TRAIL_S = 0.03, 0.02  # where the window sees other notes too
FIRST_GLIDE_FRAMES, GLIDE_FRAMES = 6, 15  # as long as a bend takes
GLIDES = (2, 3)  # semitones
BACK = 0.1  # semitones a glide may go back in a frame
STAY_FRAMES = 6  # on each side of the jump
JUMP_FRAMES = 3  # it takes, as far as the 46 ms window shows
NEAR = 0.25  # semitones from a fret
CALM = 0.3  # semitones a held pitch may wander
KEPT = 0.35  # of the strength before the jump
SEEN = 0.7  # probability of such a note: that of the pitch is not in doubt
HEARD_NOTES = 3  # before it, whose strings may ring on


def with_hidden(
    notes: Sequence[HeardNote], spectrum: Spectrum
) -> tuple[HeardNote, ...]:
    """Notes with those put in between that only the pitch tells of."""
    out: list[HeardNote] = []
    for k, note in enumerate(notes):
        out.append(note)
        end_s = notes[k + 1].time_s if k + 1 < len(notes) else spectrum.duration_s
        while (found := _jump_in(out, end_s, spectrum)) is not None:
            out.append(found)
    return tuple(out)


def _jump_in(
    heard: Sequence[HeardNote], end_s: float, spectrum: Spectrum
) -> HeardNote | None:
    """First jump of the last note's pitch before `end_s`; None when it stays."""
    note = heard[-1]
    low = int(np.ceil((note.time_s + LEAD_S) / FRAME_HOP_S))
    high = min(int((end_s - TRAIL_S) / FRAME_HOP_S), len(spectrum.frames))
    if high - low < 2 * STAY_FRAMES:
        return None
    frame = np.arange(low, high)
    f0_hz, strength = track(
        spectrum,
        frame,
        np.full(len(frame), float(note.midi_number)),
        np.tile([-REACH_SEMITONES - 0.5, REACH_SEMITONES + 0.5], (len(frame), 1)),
    )
    away = hz_to_midi(f0_hz) - spectrum.tuning_cents / 100 - note.midi_number
    ringing = {n.midi_number for n in heard[-1 - HEARD_NOTES : -1]}
    for took in (JUMP_FRAMES, *range(FIRST_GLIDE_FRAMES, GLIDE_FRAMES + 1, 3)):
        for k in range(STAY_FRAMES, len(frame) - STAY_FRAMES - took + 1):
            step = _step_at(away, strength, k, took)
            if not step or note.midi_number + step in ringing:
                continue
            if took > JUMP_FRAMES and not _is_glide(away[k - 1 : k + took + 1], step):
                continue
            time_s = float(low + k + took / 2) * FRAME_HOP_S
            return HeardNote(
                time_s,
                note.midi_number + step,
                is_step=True,
                soft=True,
                probability=SEEN,
            )
    return None


def _is_glide(away: FloatArray, step: int) -> bool:
    """Say whether a pitch goes one way, further than it would be heard to anyway."""
    return abs(step) in GLIDES and float((np.diff(away) * np.sign(step)).min()) > -BACK


def _step_at(away: FloatArray, strength: FloatArray, k: int, took: int) -> int:
    """Semitones between the pitch held before frame k and that `took` frames later."""
    before = slice(k - STAY_FRAMES, k)
    after = slice(k + took, k + took + STAY_FRAMES)
    if strength[before].min() <= 0 or strength[after].min() <= 0:
        return 0
    calm = max(np.ptp(away[before]), np.ptp(away[after])) < CALM
    here, there = float(np.median(away[before])), float(np.median(away[after]))
    kept = np.median(strength[after]) > KEPT * np.median(strength[before])
    step = round(there - here)
    on_fret = max(abs(here), abs(there - step)) < NEAR
    return step if calm and kept and on_fret and step else 0
