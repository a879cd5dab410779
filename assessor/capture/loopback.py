"""Measuring the latency of devices that are up: playing the sequence and hearing it."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable

import numpy as np

from assessor import latency
from assessor.capture.taker import LOST_S, WAIT_S, Floats, Trouble
from assessor.latency import Round, SoundLost


class Loop:
    """Plays the sequence once, and keeps what comes in meanwhile.

    Parameters
    ----------
    sample_rate_hz : int
    """

    def __init__(self, sample_rate_hz: int) -> None:
        self.sample_rate_hz = sample_rate_hz
        self.done = threading.Event()
        self._sequence = latency.to_play(sample_rate_hz)
        self._heard: list[Floats] = []
        self._played = 0
        self._lost = False

    def callback(
        self, incoming: Floats, outgoing: Floats | None, frames: int, trouble: Trouble
    ) -> None:
        """Take in and give out one block; called by the device, and quick."""
        part = self._sequence[self._played : self._played + frames]
        if outgoing is not None:
            outgoing[:] = 0
            outgoing[: len(part)] = part[:, np.newaxis]
        if len(part):
            self._heard.append(incoming.copy())
            self._lost |= trouble.input_overflow or trouble.output_underflow
        self._played += frames
        if self._played >= len(self._sequence):
            self.done.set()

    def wait(self, alive: Callable[[], bool]) -> None:
        """Wait until it is played.

        Raises
        ------
        SoundLost
            When the device goes away, or stands still.
        """
        played, since_s = -1, time.monotonic()
        while not self.done.wait(WAIT_S):
            if self._played != played:
                played, since_s = self._played, time.monotonic()
            if not alive() or time.monotonic() - since_s > LOST_S:
                message = (
                    "the device went away while it was measured; plug it in again, or "
                    "try another --rate"
                )
                raise SoundLost(message)

    def found(self) -> Round:
        """What was heard, in the channel where it is loudest.

        Raises
        ------
        SoundLost
            When sound was lost.
        CaptureError
            When it was not heard well.
        """
        if self._lost:
            message = (
                "sound was lost while the latency was measured; close other programs "
                "and measure again"
            )
            raise SoundLost(message)
        heard = np.concatenate(self._heard)
        loudest = int(np.square(heard).sum(axis=0).argmax())
        return latency.find(heard[:, loudest], self.sample_rate_hz)
