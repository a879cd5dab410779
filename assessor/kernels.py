"""Kernels that tell pitches apart in a compressed magnitude spectrum.

Two of each pitch: a wide one after SWIPE' (`pitch_kernel`) and a narrow one
(`peak_kernel`), on a grid of semitones moved by the instrument's own tuning.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from assessor.frames import BIN_HZ, BINS, Float32Array
from assessor.tuning import FloatArray, midi_to_hz

PITCHES = np.arange(36, 92)  # C2 (drop tunings) to three semitones over a 24th fret
KERNEL_OFFSETS = (-1 / 3, 0.0, 1 / 3)  # semitones; the best of the three counts
KERNEL_TOP_HZ = 4500.0
PEAK_SIGMA_HZ = 15.0


def offset_pitches(tuning_cents: float) -> FloatArray:
    """All pitches at the three offsets, shape=(3 * pitches,), as MIDI numbers."""
    return np.add.outer(np.array(KERNEL_OFFSETS), PITCHES).ravel() + tuning_cents / 100


def best_offset(spectra: Float32Array, kernel: Float32Array) -> Float32Array:
    """Product with a kernel of the grid, the best of the three offsets.

    Shape=(n, BINS) and (BINS, 3 * pitches) to (n, pitches).
    """
    product = spectra @ kernel
    return product.reshape(len(spectra), len(KERNEL_OFFSETS), len(PITCHES)).max(axis=1)


@lru_cache(maxsize=128)
def tuned_pitch_kernel(tuning_cents: int) -> Float32Array:
    """`pitch_kernel` of the whole grid, shape=(BINS, 3 * pitches)."""
    return pitch_kernel(offset_pitches(tuning_cents))


@lru_cache(maxsize=128)
def tuned_peak_kernel(tuning_cents: int) -> Float32Array:
    """`peak_kernel` of the whole grid, shape=(BINS, 3 * pitches)."""
    return peak_kernel(offset_pitches(tuning_cents))


@lru_cache(maxsize=128)
def tuned_grid_kernel(tuning_cents: int) -> Float32Array:
    """Both kernels of the whole grid added, shape=(BINS, 3 * pitches).

    To tell a pitch from others less than a semitone away, which a wide kernel alone
    cannot where a high note has hardly more than its first partial.
    """
    return tuned_pitch_kernel(tuning_cents) + tuned_peak_kernel(tuning_cents)


def pitch_kernel(midi_numbers: FloatArray) -> Float32Array:
    """Prime-partial cosine kernels of pitches, shape=(BINS, n).

    Positive lobes a quarter of f0 to each side of the first and the prime partials,
    half as deep negative lobes between, weighted 1/√f; the positive part of each
    kernel has unit norm.
    """
    frequency = np.arange(BINS) * BIN_HZ
    partial = frequency[:, None] / midi_to_hz(midi_numbers)[None, :]
    whole = np.floor(partial).astype(int)
    part = partial - whole
    counts = np.zeros(int(partial.max()) + 2)
    counts[1] = 1
    for h in range(2, len(counts)):
        counts[h] = all(h % d for d in range(2, h))
    top = (KERNEL_TOP_HZ / midi_to_hz(midi_numbers)).astype(int)
    below = counts[whole] * (whole <= top)
    above = counts[whole + 1] * (whole + 1 <= top)
    lobe = np.where(part < 0.25, below, np.where(part > 0.75, above, 0))
    lobe = lobe + np.where((part >= 0.25) & (part <= 0.75), (below + above) / 2, 0)
    kernel = lobe * np.cos(2 * np.pi * partial)
    kernel /= np.sqrt(np.maximum(frequency, frequency[1]))[:, None]
    kernel[frequency > KERNEL_TOP_HZ] = 0
    positive = np.sqrt((np.maximum(kernel, 0) ** 2).sum(axis=0))
    return (kernel / positive).astype(np.float32)


def peak_kernel(midi_numbers: FloatArray) -> Float32Array:
    """Narrow kernels of pitches, shape=(BINS, n): are the partials peaks at all.

    Gaussian lobes as wide as the window's own, at partials 1 to 8, weighted 1/√f.
    High notes with few partials are told from their neighbours by these; the wide
    lobes of `pitch_kernel` are blunt there.
    """
    frequency = np.arange(BINS) * BIN_HZ
    kernel = np.zeros((BINS, len(midi_numbers)))
    for partial in range(1, 9):
        centre = partial * midi_to_hz(midi_numbers)
        lobe = np.exp(-0.5 * ((frequency[:, None] - centre) / PEAK_SIGMA_HZ) ** 2)
        kernel += lobe * (centre < KERNEL_TOP_HZ) / np.sqrt(partial)
    return (kernel / np.sqrt((kernel**2).sum(axis=0))).astype(np.float32)
