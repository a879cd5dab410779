"""How loud the input is, and whether that will do.

Levels are in dBFS against a constant at full scale, of the largest sample.
"""

from __future__ import annotations

from collections import deque
from enum import StrEnum

import numpy as np

from assessor.capture.slate import Samples

HOLD_S = 3.0
# A take that peaks at -36 dBFS is flagged as very soft (`sound_check.QUIET_DBFS`).
LOW_DBFS = -30.0
HIGH_DBFS = -1.0
NOTHING_DBFS = -60.0  # hiss and hum of an input that nothing is plugged into
LOWEST_DBFS = -120.0


class Verdict(StrEnum):
    """Whether a level will do."""

    NOTHING = "nothing heard: is it plugged in?"
    LOW = "too low: turn the input up"
    GOOD = "good"
    CLIPPING = "clipping: turn the input down"


class Meter:
    """Peaks of the last seconds, of each channel, and of the whole.

    Parameters
    ----------
    sample_rate_hz : int
    channels : int
    """

    def __init__(self, sample_rate_hz: int, channels: int = 1) -> None:
        self._hold = round(HOLD_S * sample_rate_hz)
        self._recent: deque[tuple[int, Samples]] = deque()
        self._kept = 0
        self._now = np.zeros(channels, np.float32)
        self._whole = np.zeros(channels, np.float32)

    def add(self, block: Samples) -> None:
        """Take in frames, shape=(frames, channels) or (frames,) for one channel."""
        if not len(block):
            return
        self._now = np.abs(block.reshape(len(block), -1)).max(axis=0)
        self._whole = np.maximum(self._whole, self._now)
        self._recent.append((len(block), self._now))
        self._kept += len(block)
        while self._kept - self._recent[0][0] >= self._hold:
            self._kept -= self._recent.popleft()[0]

    @property
    def loudest_channel(self) -> int:
        """Channel of the largest sample so far, from 0; the first where none is."""
        return int(self._whole.argmax())

    def now_dbfs(self, channel: int = 0) -> float:
        """Peak of the last block."""
        return _dbfs(float(self._now[channel]))

    def held_dbfs(self, channel: int = 0) -> float:
        """Peak of the last three seconds."""
        held = max((float(peaks[channel]) for _, peaks in self._recent), default=0.0)
        return _dbfs(held)

    def peak_dbfs(self, channel: int = 0) -> float:
        """Peak of everything."""
        return _dbfs(float(self._whole[channel]))


def verdict(peak_dbfs: float) -> Verdict:
    """Judge the peak of some seconds of playing.

    >>> verdict(-12.0).name, verdict(-30.1).name, verdict(-0.9).name, verdict(-70).name
    ('GOOD', 'LOW', 'CLIPPING', 'NOTHING')
    """
    if peak_dbfs <= NOTHING_DBFS:
        return Verdict.NOTHING
    if peak_dbfs < LOW_DBFS:
        return Verdict.LOW
    return Verdict.GOOD if peak_dbfs < HIGH_DBFS else Verdict.CLIPPING


def _dbfs(peak: float) -> float:
    return max(20 * float(np.log10(max(peak, 1e-9))), LOWEST_DBFS)
