"""Picked or slurred, where nothing says which notes are written as picked.

`assessor.sounding` holds each attack against those of the notes that are written as
picked.  Here the clearest attacks stand in for them; and where the attacks of a take
fall into two kinds, a bright and a dull one, the dull ones are slurred.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from assessor.evidence import BoolArray
from assessor.pitch import PlayedNote
from assessor.sounding import (
    LEAST_PICKED,
    WEIGHTS,
    features,
    measure,
)
from assessor.spectrum import Spectrum
from assessor.transcription.joining import Joined
from assessor.tuning import FloatArray

WIDEST_SLUR = 5  # semitones: what a hand spans on one string (common practice)
CLEAREST = 0.4  # share of the notes that are held to be picked at first
ROUNDS = 3
USUAL_WEIGHT = 0.15  # of all attacks as what the others are held against
# Columns of `sounding.measure`: flux of the high bands; rise of the energy above 4 kHz
# and its level.
HIGH_FLUX, RISE, BRIGHT = 2, 3, 7
# Two kinds of attack: means so many standard deviations apart, and so far.  No take of
# the bench that is picked throughout has both; every one slurred in half has.
APART_DEVIATIONS, APART = 4.0, 1.0
LEAST_SPREAD = 0.05
FEWEST_OF_A_KIND = 2
POSSIBLE = 0.1  # probability of a slur that the dull kind must have at least
DULL, CLEAR_PICK = 0.9, 0.2  # probabilities of the two kinds


def how_sounded(
    joined: Sequence[Joined], played: Sequence[PlayedNote], spectrum: Spectrum
) -> FloatArray:
    """Probability that each note was slurred, shape=(n,).

    A pitch that follows at more than `WIDEST_SLUR` semitones, from itself or from
    silence cannot be slurred; one that changed without any attack is.
    """
    onset_s = np.array([note.onset_s for note in played])
    is_step = np.array([note.first.is_step for note in joined])
    can = np.array([False] + [_can_slur(a, b) for a, b in pairwise(joined)])
    slurred = slur_probability(measure(spectrum, onset_s, is_step), is_step, can)
    slurred[is_step] = 1.0
    slurred[~can] = 0.0
    return slurred


def _can_slur(before: Joined, note: Joined) -> bool:
    """Say whether a fretting finger can have made this note out of the one before."""
    return 0 < abs(note.first.midi_number - before.pitches[-1]) <= WIDEST_SLUR


def slur_probability(
    measures: FloatArray, is_step: BoolArray, can: BoolArray
) -> FloatArray:
    """Probability that each note was slurred, shape=(n,).

    Parameters
    ----------
    measures : shape=(n, MEASURES)
        Of `sounding.measure`.
    is_step : shape=(n,), bool
        Without an attack.
    can : shape=(n,), bool
        May be slurred at all.
    """
    unknown = np.full(len(measures), 0.5)
    dull = _dull_kind(measures, is_step, can)
    if dull.any():
        picked = ~is_step & ~dull
        if picked.sum() < LEAST_PICKED:
            return unknown
        slurred = _slurred(measures, picked)
        slurred[dull & (slurred > POSSIBLE)] = DULL
        unsure = picked & (slurred < DULL)
        slurred[unsure] = np.minimum(slurred[unsure], CLEAR_PICK)
        return slurred
    picked = _clearest(measures, is_step)
    for _ in range(ROUNDS):
        if picked.sum() < LEAST_PICKED:
            return unknown
        slurred = _slurred(measures, picked)
        again = ~is_step & ~((slurred > 0.5) & can)
        if np.array_equal(again, picked):
            break
        picked = again
    if (~is_step).sum() < LEAST_PICKED:
        return slurred
    # where picked notes run into each other, the clearest say too much of the others
    usual = _slurred(measures, ~is_step)
    return _mean_odds(slurred, usual, USUAL_WEIGHT)


def _slurred(measures: FloatArray, picked: BoolArray) -> FloatArray:
    """Probability of a slur, each held against the picked notes."""
    return np.asarray(1 / (1 + np.exp(-(features(measures, picked) @ WEIGHTS))))


def _mean_odds(one: FloatArray, other: FloatArray, weight: float) -> FloatArray:
    """Probabilities between two, by their logarithmic odds."""
    a, b = (np.log(np.clip(p, 1e-4, 1 - 1e-4)) for p in (one, other))
    c, d = (np.log(np.clip(1 - p, 1e-4, 1 - 1e-4)) for p in (one, other))
    odds = (1 - weight) * (a - c) + weight * (b - d)
    return np.asarray(1 / (1 + np.exp(-odds)))


def _clearest(measures: FloatArray, is_step: BoolArray) -> BoolArray:
    """Notes with the clearest attacks."""
    attacks = np.flatnonzero(~is_step)
    clear = measures[attacks, HIGH_FLUX] + measures[attacks, RISE]
    count = max(LEAST_PICKED, round(CLEAREST * len(attacks)))
    found = np.zeros(len(measures), np.bool_)
    found[attacks[np.argsort(-clear)[:count]]] = True
    return found


def _dull_kind(measures: FloatArray, is_step: BoolArray, can: BoolArray) -> BoolArray:
    """Notes of the duller kind, where the attacks are plainly of two kinds."""
    attacks = np.flatnonzero(~is_step)
    bright = measures[attacks, HIGH_FLUX] + measures[attacks, BRIGHT]
    ordered = np.sort(bright)
    best, limit = (0.0, 0.0), 0.0
    for k in range(FEWEST_OF_A_KIND, len(ordered) - FEWEST_OF_A_KIND):
        low, high = ordered[:k], ordered[k:]
        within = (low.var() * k + high.var() * len(high)) / len(ordered)
        gap = float(high.mean() - low.mean())
        deviations = gap / (float(np.sqrt(within)) + LEAST_SPREAD)
        if (deviations, gap) > best:
            best, limit = (deviations, gap), float(ordered[k - 1] + ordered[k]) / 2
    dull = np.zeros(len(measures), np.bool_)
    dull[attacks[bright < limit]] = True
    apart = best[0] >= APART_DEVIATIONS and best[1] >= APART
    return dull if apart and bool(can[dull].all()) else np.zeros_like(dull)
