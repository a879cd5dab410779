"""What was learnt of candidate events: a softmax over {nothing new, every pitch}.

The weights are learnt by maximum likelihood by ``benchmarks/learn_evidence.py`` and
stored beside this module.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

import numpy as np

from assessor.evidence.features import Features
from assessor.frames import Float32Array
from assessor.tuning import FloatArray


def log_probability(features: Features) -> FloatArray:
    """Natural logarithm of the probabilities, shape=(n, 1 + pitches)."""
    net = load_net()
    score = np.concatenate(
        [net.none(features)[:, None], net.pitches(features)], axis=1
    ).astype(np.float64)
    score -= score.max(axis=1, keepdims=True, initial=-np.inf)
    normal: FloatArray = score - np.log(np.exp(score).sum(axis=1, keepdims=True))
    return normal


@dataclass(frozen=True)
class Net:
    """Two small nets of rectified units.

    ``pitch_*`` see the features of one pitch and of the event, through two hidden
    layers; ``none_*`` see the features of the event and, of each pitch feature, the
    greatest over all pitches, through one.
    """

    pitch_in: Float32Array
    pitch_bias: Float32Array
    pitch_mid: Float32Array
    pitch_mid_bias: Float32Array
    pitch_out: Float32Array
    none_in: Float32Array
    none_bias: Float32Array
    none_out: Float32Array
    none_offset: Float32Array

    def pitches(self, features: Features) -> Float32Array:
        """Score of each pitch, shape=(n, pitches)."""
        width = features.pitch.shape[2]
        hidden = features.pitch @ self.pitch_in[:width]
        hidden += (features.event @ self.pitch_in[width:] + self.pitch_bias)[:, None]
        np.maximum(hidden, 0, out=hidden)  # in place: the largest array of all
        hidden = hidden @ self.pitch_mid
        hidden += self.pitch_mid_bias
        score: Float32Array = np.maximum(hidden, 0, out=hidden) @ self.pitch_out
        return score

    def none(self, features: Features) -> Float32Array:
        """Score of "no new note", shape=(n,)."""
        seen = np.concatenate([features.event, features.pitch.max(axis=1)], axis=1)
        hidden = np.maximum(seen @ self.none_in + self.none_bias, 0)
        score: Float32Array = hidden @ self.none_out + self.none_offset
        return score


@lru_cache(maxsize=1)
def load_net() -> Net:
    """Weights as learnt."""
    with resources.files("assessor.evidence").joinpath("net.npz").open("rb") as file:
        stored = np.load(file)
        return Net(**{name: stored[name] for name in stored.files})
