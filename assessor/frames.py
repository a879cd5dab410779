"""Framed spectra of a sound, computed block by block and kept while recent.

Frame k is a Hann window centred on sample ``k * hop``; what lies before and after the
sound is silence.  An hour of frames would not fit in the memory an hour of practice is
allowed, so of a long sound `Frames` holds the latest and computes the rest anew.
"""

from __future__ import annotations

from collections import OrderedDict

import numpy as np
import numpy.typing as npt
import scipy.fft
import soxr

Float32Array = npt.NDArray[np.float32]

FINE_RATE_HZ = 22050
COARSE_RATE_HZ = 11025

FRAME_SAMPLES = 512
FRAME_FFT = 1024
FRAME_HOP = 110
FRAME_HOP_S = FRAME_HOP / COARSE_RATE_HZ
FRAME_HALF_S = FRAME_SAMPLES / 2 / COARSE_RATE_HZ
BIN_HZ = COARSE_RATE_HZ / FRAME_FFT
BINS = int(4600 / BIN_HZ)
COMPRESSION = 0.75  # magnitudes are kept to this power

BLOCK_FRAMES = 2048  # 20 s
ALL_KEPT_BLOCKS = 30  # of a sound up to ten minutes all are kept: 105 MB
KEPT_BLOCKS = 2  # of a longer one so many: 41 s, 7 MB
PART_FRAMES = 64  # at a time: they stay in the processor's cache
RESAMPLER_SAMPLES = 512  # reach of the filter at each side, coarse


class Frames:
    """Compressed magnitudes of a sound's frames, 10 ms apart.

    Parameters
    ----------
    fine : shape=(n,), float32
        The sound at `FINE_RATE_HZ`.
    """

    def __init__(self, fine: Float32Array) -> None:
        self._fine = fine
        self._kept: OrderedDict[int, Float32Array] = OrderedDict()
        self._count = len(fine) // 2 // FRAME_HOP + 1
        short = len(self.blocks()) <= ALL_KEPT_BLOCKS
        self._kept_blocks = ALL_KEPT_BLOCKS if short else KEPT_BLOCKS

    def __len__(self) -> int:
        """Count the frames."""
        return self._count

    def blocks(self) -> range:
        """First frames of all blocks."""
        return range(0, self._count, BLOCK_FRAMES)

    def block(self, first: int) -> Float32Array:
        """Magnitudes from a multiple of `BLOCK_FRAMES` on, shape=(m, BINS)."""
        if first not in self._kept:
            self._kept[first] = self._compute(first)
            while len(self._kept) > self._kept_blocks:
                self._kept.popitem(last=False)
        self._kept.move_to_end(first)
        return self._kept[first]

    def __getitem__(self, index: npt.NDArray[np.intp]) -> Float32Array:
        """Magnitudes of some frames, shape=(len(index), BINS)."""
        out = np.empty((len(index), BINS), np.float32)
        block = index // BLOCK_FRAMES
        for number in np.unique(block):
            there = block == number
            first = int(number) * BLOCK_FRAMES
            out[there] = self.block(first)[index[there] - first]
        return out

    def mean(self, low: int, high: int) -> Float32Array:
        """Mean magnitudes of frames `low` to `high` - 1, shape=(BINS,)."""
        first = low - low % BLOCK_FRAMES
        if high - first <= BLOCK_FRAMES:
            mean: Float32Array = self.block(first)[low - first : high - first].mean(0)
            return mean
        return self[np.arange(low, high)].mean(axis=0)

    def _compute(self, first: int) -> Float32Array:
        count = min(BLOCK_FRAMES, self._count - first)
        reach = FRAME_SAMPLES // 2 + RESAMPLER_SAMPLES
        low = first * FRAME_HOP - reach
        high = (first + count - 1) * FRAME_HOP + reach
        coarse = soxr.resample(
            padded(self._fine, 2 * low, 2 * high), FINE_RATE_HZ, COARSE_RATE_HZ
        )
        sound = coarse[RESAMPLER_SAMPLES : len(coarse) - RESAMPLER_SAMPLES]
        power = framed_power(sound, FRAME_SAMPLES, FRAME_FFT, FRAME_HOP, BINS)
        for start in range(0, count, PART_FRAMES):
            part = power[start : start + PART_FRAMES]
            root = np.sqrt(np.sqrt(part))
            np.multiply(root, np.sqrt(root), out=part)
        return power


def framed_power(
    sound: Float32Array, samples: int, fft: int, hop: int, bins: int
) -> Float32Array:
    """Power of Hann windows that start at multiples of `hop`.

    Returns
    -------
    shape=(frames, bins), float32
        As many frames as fit, the lowest bins of each.
    """
    windows = np.lib.stride_tricks.sliding_window_view(sound, samples)[::hop]
    hann = np.hanning(samples + 2)[1:-1].astype(np.float32)
    power = np.empty((len(windows), bins), np.float32)
    for start in range(0, len(windows), PART_FRAMES):
        part = windows[start : start + PART_FRAMES] * hann
        spectrum = scipy.fft.rfft(part, fft, axis=1)[:, :bins]
        power[start : start + PART_FRAMES] = spectrum.real**2 + spectrum.imag**2
    return power


def centred(
    sound: Float32Array, samples: int, hop: int, first: int, count: int
) -> Float32Array:
    """Stretch of sound that holds `count` windows centred from frame `first` on."""
    low = first * hop - samples // 2
    return padded(sound, low, low + (count - 1) * hop + samples)


def padded(sound: Float32Array, low: int, high: int) -> Float32Array:
    """Samples `low` to `high` - 1, silence beyond the ends."""
    if low >= 0 and high <= len(sound):
        return sound[low:high]
    out = np.zeros(high - low, np.float32)
    start, end = max(low, 0), min(high, len(sound))
    if end > start:
        out[start - low : end - low] = sound[start:end]
    return out
