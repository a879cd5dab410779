"""Whether what begins at a moment is one note, or several at once.

Of the energy that is there after an onset and was not before, the partials of the note
that was heard hold nearly all: 0.92 at the median of a take of single notes of the
bench, and 0.83 at least, in rooms and noise too; bent and slid phrases in rooms go
down to 0.75.  Two strings a fifth apart and chords made by hand have 0.72 and 0.76.
Octaves share their partials and cannot be told.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from assessor.contour import IntArray
from assessor.frames import BIN_HZ, BINS, COMPRESSION, FRAME_HOP_S
from assessor.spectrum import Spectrum
from assessor.transcription.joining import Joined
from assessor.tuning import FloatArray, midi_to_hz

LEAST_MEDIAN_SHARE = 0.74  # of a take of single notes
DOUBTFUL_SHARE = 0.5  # of one note
AFTER_S, BEFORE_FRAMES = (0.035, 0.15), (5, 2)
NEXT_S = 0.02  # kept clear of the next note
LOWEST_HZ, HIGHEST_HZ = 70.0, 2500.0
NEAR_HZ, NEAR_SHARE = 22.0, 0.02  # of a partial: half a window's main lobe


def own_share(notes: Sequence[Joined], spectrum: Spectrum) -> FloatArray:
    """Share of the new energy that each note's partials hold, shape=(n,), 0 to 1."""
    ends_s = [note.first.time_s for note in notes[1:]] + [np.inf]
    return np.array(
        [
            _share(spectrum, note.first.time_s, note.first.midi_number, end_s)
            for note, end_s in zip(notes, ends_s, strict=True)
        ]
    )


def _share(spectrum: Spectrum, time_s: float, midi_number: int, end_s: float) -> float:
    """Share of one note."""
    gained = _gained(spectrum, time_s, end_s)
    at_hz = np.arange(BINS) * BIN_HZ
    f0_hz = midi_to_hz(midi_number + spectrum.tuning_cents / 100)
    order = np.maximum(np.round(at_hz / f0_hz), 1)
    away_hz = np.abs(at_hz - order * f0_hz)
    heard = (at_hz > LOWEST_HZ) & (at_hz < HIGHEST_HZ)
    own = heard & (away_hz < np.maximum(NEAR_HZ, NEAR_SHARE * at_hz))
    return float(gained[own].sum() / max(gained[heard].sum(), 1e-12))


def _gained(spectrum: Spectrum, time_s: float, end_s: float) -> FloatArray:
    """Energy in each bin that was not there before, shape=(BINS,)."""
    low = int((time_s + AFTER_S[0]) / FRAME_HOP_S)
    high = int(min(end_s - NEXT_S, time_s + AFTER_S[1]) / FRAME_HOP_S)
    last = len(spectrum.frames) - 1
    after = np.clip(np.arange(low, max(high, low + 1)), 0, last)
    now = int(time_s / FRAME_HOP_S)
    first, end = (max(now - frames, 0) for frames in BEFORE_FRAMES)
    before = np.arange(first, max(end, first + 1))
    grown = _mean(spectrum, after) - _mean(spectrum, before)
    return np.maximum(grown, 0.0) ** 2


def _mean(spectrum: Spectrum, frame: IntArray) -> FloatArray:
    """Mean magnitude of some frames, shape=(BINS,)."""
    magnitude = spectrum.frames[frame] ** (1 / COMPRESSION)
    return np.asarray(magnitude.mean(axis=0), float)
