"""What a lick is played to: a click, and notes that are held."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from assessor.demo.string import SAMPLE_RATE_HZ, Float32Array
from assessor.tuning import midi_to_hz

CLICK_S = 0.03
# Three loudnesses of click: on one, on the start of a group of three, and between.
CLICK_HZ = {"one": 1760.0, "group": 1320.0, "between": 1320.0}
CLICK_LEVEL = {"one": 0.5, "group": 0.4, "between": 0.25}

HELD_LEVEL = 0.06  # of each note's fundamental
HELD_PARTIALS = 6
HELD_SWELL_S = 0.15
_BLOCK = 2048


@lru_cache(maxsize=3)
def click(kind: str) -> Float32Array:
    """One click, shape=(n,): a short sine that decays; `kind` of `CLICK_HZ`."""
    at_s = np.arange(int(CLICK_S * SAMPLE_RATE_HZ)) / SAMPLE_RATE_HZ
    tone = np.sin(2 * np.pi * CLICK_HZ[kind] * at_s) * np.exp(-at_s / 0.006)
    return np.asarray(CLICK_LEVEL[kind] * tone, np.float32)


def held(midi_numbers: tuple[int, ...], samples: int) -> Float32Array:
    """Notes held together, shape=(samples,), swelling and fading at the ends.

    Each sine is turned on by whole blocks: a product of two small matrices.
    """
    k = np.arange(1, HELD_PARTIALS + 1)
    f0_hz = midi_to_hz(np.array(midi_numbers, dtype=float))
    frequency = (f0_hz[:, None] * k).ravel()
    level = np.tile(HELD_LEVEL / k**1.6, len(midi_numbers))
    level[frequency > 0.45 * SAMPLE_RATE_HZ] = 0.0
    turn = 2j * np.pi * frequency / SAMPLE_RATE_HZ
    blocks = np.arange(samples // _BLOCK + 1) * _BLOCK
    outer = (level * np.exp(blocks[:, None] * turn)).astype(np.complex64)
    inner = np.exp(turn[:, None] * np.arange(_BLOCK)).astype(np.complex64)
    tone = outer.imag @ inner.real + outer.real @ inner.imag
    out: Float32Array = tone.ravel()[:samples]
    swell = min(int(HELD_SWELL_S * SAMPLE_RATE_HZ), samples // 2)
    ramp = np.linspace(0, 1, swell, dtype=np.float32)
    out[:swell] *= ramp
    out[samples - swell :] *= ramp[::-1]
    return out
