"""The pitch of a note against time.

A contour is the amplitude-weighted mean of the cents of partials 1 to 5, each from a
parabola through the logarithm of three magnitudes (Smith & Serra, ICMC 1987) around
a pitch that is already known: no octave can be lost here.  That pitch itself is rather
believed than one beside it, which may ring on; what is meant to move is followed along
the smoothest path.  The 46 ms window smooths what moves; the smoothing is undone to
second order, f = s - (σ²/2) s''.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from assessor.frames import BIN_HZ, BINS, COMPRESSION, FRAME_HOP_S
from assessor.spectrum import Spectrum
from assessor.tuning import FloatArray, midi_to_hz

IntArray = npt.NDArray[np.intp]

PARTIALS = np.arange(1, 6)
PARTIAL_REACH_CENTS = 60.0
STILL_SEMITONES = 2.0  # a note that does not move is looked for within less
STEP_SEMITONES = 1 / 3  # of the grid
STEP_COST = 0.1  # of what the clearest pitch explains
WINDOW_SIGMA_S = 0.0085  # standard deviation of the squared Hann window's weight


@dataclass(frozen=True)
class Contour:
    """The pitch of one note against time.

    Attributes
    ----------
    times_s : shape=(n,)
        Seconds in the take, evenly spaced (10 ms), n may be 0.
    f0_hz : shape=(n,)
        NaN = unvoiced.
    level_db : shape=(n,)
        dB re full scale.
    """

    times_s: FloatArray
    f0_hz: FloatArray
    level_db: FloatArray

    def cents_above(self, midi_number: float) -> FloatArray:
        """Contour in cents above a pitch, shape=(n,), NaN = unvoiced."""
        return 1200 * np.log2(self.f0_hz / midi_to_hz(midi_number))


def track(
    spectrum: Spectrum, frame: IntArray, nominal: FloatArray, reach: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Fundamental near a nominal pitch in each of some frames.

    Parameters
    ----------
    frame : shape=(n,), int
    nominal : shape=(n,)
        MIDI numbers on the instrument's own tuning.
    reach : shape=(n, 2)
        Semitones below (negative) and above the nominal pitch.

    Returns
    -------
    f0_hz, strength : shape=(n,)
        Strength is the summed compressed magnitude of the partials used; 0 = none.
    """
    if not len(frame):
        return np.zeros(0), np.zeros(0)
    magnitude = spectrum.frames[frame]
    ends = nominal[:, None] + reach
    tuned, explained = spectrum.grid_of(magnitude, ends[:, 0].min(), ends[:, 1].max())
    grid = tuned - spectrum.tuning_cents / 100
    allowed = (grid >= ends[:, :1]) & (grid <= ends[:, 1:])
    worth = np.where(allowed, np.maximum(explained, 0), 0)
    worth /= np.maximum(worth.max(axis=1, keepdims=True), 1e-9)
    away = np.abs(grid - nominal[:, None]) / STEP_SEMITONES
    best = np.where(allowed, worth - STEP_COST * away, -np.inf).argmax(axis=1)
    for part in _that_move(frame, nominal, reach):
        column = np.flatnonzero(allowed[part][0])
        if len(column):
            best[part] = column[_smoothest(worth[part][:, column])]
    f0_hz = midi_to_hz(tuned[best])
    log_magnitude = np.log(np.maximum(magnitude, 1e-12)) / COMPRESSION
    f0_hz, _ = _refined(log_magnitude, f0_hz, np.arange(-2, 3))
    return _refined(log_magnitude, f0_hz, np.arange(-1, 2))


def _that_move(
    frame: IntArray, nominal: FloatArray, reach: FloatArray
) -> Iterator[slice]:
    """Frames in a row of each note whose pitch may leave its semitone."""
    same = np.diff(nominal) == 0
    same &= (np.diff(frame) == 1) & (np.diff(reach, axis=0) == 0).all(axis=1)
    edge = [0, *(np.flatnonzero(~same) + 1).tolist(), len(frame)]
    for start, end in pairwise(edge):
        if reach[start, 1] - reach[start, 0] > STILL_SEMITONES:
            yield slice(start, end)


def _smoothest(worth: FloatArray) -> IntArray:
    """Path of greatest sum through a grid that moves little from frame to frame.

    The Viterbi algorithm (Forney, Proc. IEEE 61, 1973) over shape=(n, m), less
    `STEP_COST` for each step; a slide may take many at once.
    """
    place = np.arange(worth.shape[1])
    cost = STEP_COST * np.abs(place[:, None] - place)
    came_from = np.zeros(worth.shape, np.intp)
    total = worth[0]
    for i in range(1, len(worth)):
        ways = total - cost
        came_from[i] = ways.argmax(axis=1)
        total = ways[place, came_from[i]] + worth[i]
    path = np.full(len(worth), total.argmax())
    for i in range(len(worth) - 1, 0, -1):
        path[i - 1] = came_from[i, path[i]]
    return path


def _refined(
    log_magnitude: FloatArray, f0_hz: FloatArray, search: IntArray
) -> tuple[FloatArray, FloatArray]:
    """One step: the weighted mean of where the partials peak."""
    row = np.arange(len(f0_hz))[:, None]
    place = np.round(f0_hz[:, None] * PARTIALS / BIN_HZ).astype(int)
    valid = place < BINS - 3
    place = np.clip(place, 3, BINS - 4)
    around = log_magnitude[row[:, :, None], place[:, :, None] + search]
    place = np.clip(place + search[around.argmax(axis=2)], 1, BINS - 2)
    before, at, after = (log_magnitude[row, place + k] for k in (-1, 0, 1))
    bow = before - 2 * at + after
    valid &= (at >= before) & (at >= after) & (bow < 0)
    offset = np.where(valid, 0.5 * (before - after) / np.where(valid, bow, -1), 0)
    partial_hz = (place + offset) * BIN_HZ / PARTIALS
    cents = 1200 * np.log2(np.maximum(partial_hz, 1) / f0_hz[:, None])
    weight = np.exp(at) * valid * (np.abs(cents) < PARTIAL_REACH_CENTS)
    weight *= weight > 0.05 * weight.max(axis=1, keepdims=True, initial=0)
    strength = weight.sum(axis=1)
    shift = (cents * weight).sum(axis=1) / np.maximum(strength, 1e-12)
    return f0_hz * 2 ** (shift / 1200), strength


def unsmoothed(f0_hz: FloatArray, voiced: npt.NDArray[np.bool_]) -> FloatArray:
    """Contour lightly smoothed, then the smoothing and the window's undone."""
    out = np.full(len(f0_hz), np.nan)
    if voiced.sum() < 5:
        out[voiced] = f0_hz[voiced]
        return out
    cents = 1200 * np.log2(f0_hz[voiced])
    padded = np.concatenate([cents[:1], cents, cents[-1:]])
    smooth = np.convolve(padded, [0.25, 0.5, 0.25], "valid")
    bow = np.concatenate([[0.0], np.diff(smooth, 2), [0.0]])
    variance = (WINDOW_SIGMA_S / FRAME_HOP_S) ** 2 + 0.5  # frames², window and mean
    smooth -= np.clip(0.5 * variance * bow, -12, 12)
    out[voiced] = 2 ** (smooth / 1200)
    return out
