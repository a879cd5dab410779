"""Moments at which a note may begin."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from assessor.tuning import FloatArray

BoolArray = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Candidates:
    """Moments at which a note may begin.

    Attributes
    ----------
    times_s : shape=(n,)
        In order.
    is_step : shape=(n,), bool
        Found by a pitch step without an attack.
    depth_db : shape=(n,)
        Rise of the 3 ms energy at the attack; 0 for steps.
    """

    times_s: FloatArray
    is_step: BoolArray
    depth_db: FloatArray

    def part(self, low: int, high: int) -> Candidates:
        """Candidates `low` to `high` - 1."""
        return Candidates(
            self.times_s[low:high], self.is_step[low:high], self.depth_db[low:high]
        )

    def merged_with(self, other: Candidates) -> Candidates:
        """Both, in order of time."""
        times_s = np.concatenate([self.times_s, other.times_s])
        order = np.argsort(times_s, kind="stable")
        return Candidates(
            times_s[order],
            np.concatenate([self.is_step, other.is_step])[order],
            np.concatenate([self.depth_db, other.depth_db])[order],
        )
