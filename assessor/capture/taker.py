"""One take, from blocks of sound to a file; knows no device.

A device calls `Taker.callback` from a thread of its own, which must never wait: it
copies what came in and gives out the click.  `Taker.work` does the rest in the thread
of the program: disk, levels, and when to end.
"""

from __future__ import annotations

import math
import queue
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Protocol

import numpy as np
import numpy.typing as npt

from assessor.capture.clicks import LEAD_S, Clicks
from assessor.capture.ending import Ending
from assessor.capture.journal import Journal, finish
from assessor.capture.level import Meter
from assessor.capture.slate import Ended, Samples, Slate

Floats = npt.NDArray[np.float32]

WAIT_S = 0.05
# No device holds back as much; a device that was pulled out often just says no more.
LOST_S = 2.0
JUMP_S = 0.02  # no clock drifts as far in a second


class Trouble(Protocol):
    """What a device says of a block: named as PortAudio names it."""

    @property
    def input_overflow(self) -> bool:
        """Sound that came in was lost just before this block."""

    @property
    def output_underflow(self) -> bool:
        """Silence was played for want of sound."""


@dataclass(frozen=True)
class Block:
    """What came in at once."""

    sound: Samples
    lost: bool


@dataclass(frozen=True)
class State:
    """What a player may want to see while playing."""

    now_s: float
    started_s: float | None
    level_dbfs: float
    dropouts: int


class Pace:
    """Notices sound that was lost without a word: blocks come later ever after.

    Some sound systems fill a gap with silence and do not tell.  How late blocks come
    is judged by the earliest of each second, since single ones may always be late.

    Parameters
    ----------
    sample_rate_hz : int
    """

    def __init__(self, sample_rate_hz: int) -> None:
        self._rate_hz = sample_rate_hz
        self._frames = 0
        self._until = 2 * sample_rate_hz  # devices settle in the first second
        self._earliest_s = self._before_s = math.inf

    def add(self, now_s: float, frames: int) -> bool:
        """Take in the time of a block; True when sound was lost about a second ago."""
        self._frames += frames
        if self._frames > self._rate_hz:
            late_s = now_s - self._frames / self._rate_hz
            self._earliest_s = min(self._earliest_s, late_s)
        if self._frames < self._until:
            return False
        jumped = self._earliest_s - self._before_s > JUMP_S
        self._before_s, self._earliest_s = self._earliest_s, math.inf
        self._until = self._frames + self._rate_hz
        return jumped


class Taker:
    """Takes one take.

    Parameters
    ----------
    journal : Journal
    clicks : Clicks
    ending : Ending
    channel : int
        Which channel of the input is recorded, from 0.
    again : bool
        True: give up at once where sound is lost before anything is played, as
        happens while devices settle; nothing is lost then by starting again.
    """

    def __init__(
        self,
        journal: Journal,
        clicks: Clicks,
        ending: Ending,
        *,
        channel: int = 0,
        again: bool = False,
    ) -> None:
        self.journal, self.clicks, self.ending = journal, clicks, ending
        self.channel, self.again = channel, again
        self.meter = Meter(journal.sample_rate_hz)
        self.dropouts_s: list[float] = []
        self.ended: Ended | None = None
        self._blocks: queue.SimpleQueue[Block] = queue.SimpleQueue()
        self._pace = Pace(journal.sample_rate_hz)
        self._played = 0

    def callback(
        self, incoming: Floats, outgoing: Floats | None, frames: int, trouble: Trouble
    ) -> None:
        """Take in and give out one block; called by the device, and quick.

        Parameters
        ----------
        incoming, outgoing : shape=(frames, channels)
            Sound that came in, and where to put what is to be played, if anything.
        frames : int
        trouble : Trouble
        """
        lost = trouble.input_overflow or trouble.output_underflow
        lost |= self._pace.add(time.perf_counter(), frames)
        self._blocks.put(Block(incoming[:, self.channel].copy(), lost))
        if outgoing is not None:
            outgoing[:] = self.clicks.render(self._played, frames)[:, np.newaxis]
        self._played += frames

    def work(
        self,
        alive: Callable[[], bool],
        stop: Callable[[], bool],
        show: Callable[[State], None] = lambda _: None,
    ) -> Ended | None:
        """Write down what comes, until it is over.

        Parameters
        ----------
        alive : callable
            Says whether the device still works.
        stop : callable
            Says whether the player wants to stop; asked about 20 times a second.
        show : callable
            Given the state as often.

        Returns
        -------
        Ended or None
            Why it is over; None = it was a false start.
        """
        silent_s = 0.0
        while self.ended is None and not self.false_start:
            some = self._take_in()
            silent_s = 0.0 if some else silent_s + WAIT_S
            if stop():
                self.ended = self.ended or Ended.KEY
            elif not some and (not alive() or silent_s >= LOST_S):
                self.ended = self.ended or Ended.UNPLUGGED
            show(self._state())
        return self.ended

    @property
    def false_start(self) -> bool:
        """True when sound, or the device, was lost before the first click."""
        losses_s = [*self.dropouts_s]
        if self.ended is Ended.UNPLUGGED:
            losses_s.append(self.journal.frames / self.journal.sample_rate_hz)
        return self.again and min(losses_s, default=LEAD_S) < LEAD_S

    def _take_in(self) -> bool:
        """Write down what is there; wait a little where nothing is."""
        try:
            block = self._blocks.get(timeout=WAIT_S)
        except queue.Empty:
            return False
        while True:
            self._write(block)
            try:
                block = self._blocks.get_nowait()
            except queue.Empty:
                return True

    def _write(self, block: Block) -> None:
        if block.lost:
            self.dropouts_s.append(self.journal.frames / self.journal.sample_rate_hz)
        if self.ended in (Ended.FULL, Ended.PASSES):
            return
        try:
            self.journal.write(block.sound)
        except OSError:
            self.ended = Ended.FULL
            return
        self.meter.add(block.sound)
        self.ended = self.ended or self.ending.add(block.sound)

    def _state(self) -> State:
        return State(
            self.journal.frames / self.journal.sample_rate_hz,
            self.ending.first_s,
            self.meter.now_dbfs(),
            len(self.dropouts_s),
        )

    def finish(self) -> Slate | None:
        """Make the take of what was written; None where nothing was.

        Raises
        ------
        OSError
            When the take cannot be written; the journal is still there then.
        """
        if not self.journal.frames:
            self.journal.discard()
            return None
        self.journal.close()
        slate = replace(
            self.journal.slate,
            dropouts_s=tuple(self.dropouts_s),
            ended=self.ended or Ended.KEY,
        )
        return finish(self.journal.path, self.take, slate)

    @property
    def take(self) -> Path:
        """The file it becomes."""
        return self.journal.take
