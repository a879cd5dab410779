"""A sound card made of arrays: feeds blocks to a callback from a thread of its own."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float32]


@dataclass(frozen=True)
class Flags:
    """What a device says of a block."""

    input_overflow: bool = False
    output_underflow: bool = False


@dataclass
class FakeCard:
    """Plays an array into a callback, block by block, as quickly as it can.

    Attributes
    ----------
    sound : shape=(n, channels)
        What comes in.
    sizes : tuple of int
        Sizes of the blocks, over and over: devices do not keep to one.
    overflow_at, underflow_at : tuple of int
        Numbers of blocks that are said to follow a loss.
    hangs : bool
        In the end the device says no more, but does not admit that it is gone.
    delay : int or None
        Frames after which what was played comes in again; None = never.
    """

    sound: Floats
    sizes: tuple[int, ...] = (512,)
    overflow_at: tuple[int, ...] = ()
    underflow_at: tuple[int, ...] = ()
    hangs: bool = False
    delay: int | None = None
    played: Floats = field(default_factory=lambda: np.zeros(0, np.float32))
    gone: bool = False

    def run(self, callback: Callable[..., None]) -> None:
        """Give everything, then stop or hang."""
        position, number = 0, 0
        parts: list[Floats] = [np.zeros(0, np.float32)]
        while position < len(self.sound):
            size = self.sizes[number % len(self.sizes)]
            block = self.sound[position : position + size].copy()
            if self.delay is not None and position >= self.delay:
                early = np.concatenate(parts)
                back = early[position - self.delay :][: len(block)]
                block[: len(back)] += back[:, np.newaxis]
            out = np.full((len(block), 2), np.nan, np.float32)
            flags = Flags(number in self.overflow_at, number in self.underflow_at)
            callback(block, out, len(block), flags)
            block[:] = np.nan  # a device uses its buffers again
            assert np.array_equal(out[:, 0], out[:, 1], equal_nan=True)
            parts.append(out[:, 0].copy())
            position, number = position + size, number + 1
        self.played = np.concatenate(parts)
        self.gone = not self.hangs

    def start(self, callback: Callable[..., None]) -> threading.Thread:
        """Run in a thread of its own."""
        thread = threading.Thread(target=self.run, args=(callback,))
        thread.start()
        return thread

    def alive(self) -> bool:
        """What the device says of itself."""
        return not self.gone
