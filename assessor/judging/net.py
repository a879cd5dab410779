"""What was learnt of doubtful findings: the odds that each is true.

The weights are learnt by maximum likelihood by ``benchmarks/learn_judging.py`` and
stored beside this module.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache
from importlib import resources

import numpy as np

from assessor.frames import Float32Array

FARTHEST = 6.0  # standard deviations: what lies beyond is taken for that


class Question(StrEnum):
    """What is asked of a finding."""

    EXTRA = "extra"  # was an extra note played there?
    MISSED = "missed"  # was the note left out?
    PITCH = "pitch"  # was a note of this pitch played there?


@dataclass(frozen=True)
class Net:
    """One hidden layer of rectified units over the standardised description.

    Attributes
    ----------
    centre, scale : shape=(features,)
    weight_in : shape=(features, units)
    bias : shape=(units,)
    weight_out : shape=(units,)
    offset : shape=()
    """

    centre: Float32Array
    scale: Float32Array
    weight_in: Float32Array
    bias: Float32Array
    weight_out: Float32Array
    offset: Float32Array

    def log_odds(self, description: Float32Array) -> float:
        """Natural logarithm of the odds of "yes" for one description."""
        seen = (description - self.centre) / self.scale
        seen = np.clip(seen, -FARTHEST, FARTHEST)
        hidden = np.maximum(seen @ self.weight_in + self.bias, 0)
        return float(hidden @ self.weight_out + self.offset)


def probability(question: Question, description: Float32Array) -> float:
    """Probability that the finding is true, 0 to 1."""
    return float(1 / (1 + np.exp(-load_net(question).log_odds(description))))


@lru_cache
def load_net(question: Question) -> Net:
    """Weights as learnt."""
    stored = resources.files("assessor.judging").joinpath(f"{question}.npz")
    with stored.open("rb") as file:
        weights = np.load(file)
        return Net(**{name: weights[name] for name in weights.files})
