"""Any sound file to mono samples, with checks.

(contract: types; the reader is being written)
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt


@dataclass(frozen=True)
class Recording:
    """Mono sound, read-only.

    Attributes
    ----------
    samples : shape=(n,), float32
        Full scale = ±1.
    sample_rate_hz : int
    name : str
        File name for people.
    digest : str
        SHA-256 of the file's bytes, hex.
    flags : tuple of Flag
        What is wrong with the sound without making it useless.
    """

    samples: npt.NDArray[np.float32]
    sample_rate_hz: int
    name: str
    digest: str
    flags: tuple[Flag, ...] = ()

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return len(self.samples) / self.sample_rate_hz


@dataclass(frozen=True)
class Flag:
    """One caution about a recording, with its number.

    Attributes
    ----------
    kind : str
        ``clipped``, ``noisy``, ``hum``, ``quiet``, ``out_of_phase``.
    value, limit : float
        Measured value and the limit it broke, in `unit`.
    unit : str
    message : str
        One sentence for the player, with the remedy.
    """

    kind: str
    value: float
    limit: float
    unit: str
    message: str
