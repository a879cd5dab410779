"""Which frames of a take speak of a candidate event: those after it and before it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from assessor.evidence.candidates import BoolArray
from assessor.frames import BINS, FRAME_HALF_S, FRAME_HOP_S, Float32Array
from assessor.spectrum import Spectrum
from assessor.tuning import FloatArray

AFTER_S = 0.15
BEFORE_FRAMES = 3


@dataclass(frozen=True)
class Spans:
    """First frame and one past the last of "after" and of "before"."""

    start: npt.NDArray[np.intp]
    end: npt.NDArray[np.intp]
    old_start: npt.NDArray[np.intp]
    old_end: npt.NDArray[np.intp]


def spans_of(spectrum: Spectrum, times_s: FloatArray, boundary: BoolArray) -> Spans:
    """Frames that see what follows each event, and what was before it."""
    frames, count = len(spectrum.frames), len(times_s)
    following = np.full(count, np.inf)
    for i in range(count - 2, -1, -1):
        following[i] = times_s[i + 1] if boundary[i + 1] else following[i + 1]
    end_s = np.minimum(following - 0.4 * FRAME_HALF_S, times_s + AFTER_S)
    start = np.ceil((times_s + 0.5 * FRAME_HALF_S + 0.003) / FRAME_HOP_S).astype(int)
    start = np.clip(start, 0, frames - 1)
    end = np.floor(end_s / FRAME_HOP_S).astype(int) + 1
    end = np.clip(np.maximum(end, start + 1), 1, frames)
    old_end = np.floor((times_s - 0.6 * FRAME_HALF_S) / FRAME_HOP_S).astype(int) + 1
    old_end = np.clip(old_end, 0, frames)
    old_start = np.minimum(np.maximum(old_end - BEFORE_FRAMES, 0), frames - 1)
    return Spans(start, end, old_start, np.maximum(old_end, old_start + 1))


def mean_spectra(
    spectrum: Spectrum, start: npt.NDArray[np.intp], end: npt.NDArray[np.intp]
) -> Float32Array:
    """Mean magnitude of each span of frames, shape=(n, BINS)."""
    mean = np.zeros((len(start), BINS), np.float32)
    for i, (low, high) in enumerate(zip(start, end, strict=True)):
        mean[i] = spectrum.frames.mean(int(low), int(high))
    return mean
