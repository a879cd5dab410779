"""Candidate events, each with probabilities over {nothing new, every pitch}.

An event is a moment at which a note *may* begin.  Candidates are taken low on
purpose: a peak of the spectral flux (something struck) or a step of the best pitch
(slurs have no attack).  Nothing is decided here.  Each event gets one softmax over
"no new note" and every pitch, from three spectra:

* *after*: the mean frame from the event to the next one, at most 150 ms;
* *before*: three frames before it;
* *gain*: what after has more than before, once whole and once with half of before
  taken away.

The weights of the softmax are learnt by maximum likelihood by
``benchmarks/learn_evidence.py`` and stored beside this module.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

import numpy as np
import numpy.typing as npt

from assessor.attack import attacks_db, energy_rise
from assessor.spectrum import (
    BINS,
    FLUX_HOP_S,
    FRAME_HALF_S,
    FRAME_HOP_S,
    Float32Array,
    Spectrum,
)
from assessor.tuning import FloatArray

BoolArray = npt.NDArray[np.bool_]

FLUX_THRESHOLD = 0.15  # low: recall counts here
STEP_THRESHOLD = 0.25
STEP_NEAR_FLUX_S = 0.035  # a step this near a flux peak is the same moment
MERGE_S = 0.028  # two attacks nearer than this are one
MERGE_STEP_S = 0.045  # a step beside a clear attack
BOUNDARY_FLUX = 0.3  # an event as clear as this ends the "after" of the one before
BOUNDARY_STEP = 0.4
AFTER_S = 0.15


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

    def merged_with(self, other: Candidates) -> Candidates:
        """Both, in order of time."""
        times_s = np.concatenate([self.times_s, other.times_s])
        order = np.argsort(times_s, kind="stable")
        return Candidates(
            times_s[order],
            np.concatenate([self.is_step, other.is_step])[order],
            np.concatenate([self.depth_db, other.depth_db])[order],
        )


@dataclass(frozen=True)
class Events:
    """Candidates with their evidence.

    Attributes
    ----------
    candidates : Candidates
    log_probability : shape=(n, 1 + len(PITCHES))
        Natural logarithm; column 0 is "no new note".
    flux : shape=(n,)
        Greatest flux near the event.
    rise_db : shape=(n,)
        Energy of the 30 ms after over that of the 20 ms before.
    expected_only : shape=(n,), bool
        Found because a note was expected there; may not count as anything else.
    tuning_cents : float
        Offset of all pitches from A4 = 440 Hz.
    """

    candidates: Candidates
    log_probability: FloatArray
    flux: FloatArray
    rise_db: FloatArray
    expected_only: BoolArray
    tuning_cents: float

    @property
    def times_s(self) -> FloatArray:
        """Times of the events in seconds, shape=(n,)."""
        return self.candidates.times_s

    @property
    def attack(self) -> FloatArray:
        """How clearly each event is an attack, 0 to 1, shape=(n,)."""
        return np.clip((self.rise_db - 2) / 6, 0, 1)

    def __len__(self) -> int:
        """Count the events."""
        return len(self.times_s)

    def between(self, start_s: float, end_s: float) -> Events:
        """Events in the closed interval."""
        low = int(np.searchsorted(self.times_s, start_s, "left"))
        high = int(np.searchsorted(self.times_s, end_s, "right"))
        part = slice(low, high)
        kept = self.candidates
        return Events(
            Candidates(kept.times_s[part], kept.is_step[part], kept.depth_db[part]),
            self.log_probability[part],
            self.flux[part],
            self.rise_db[part],
            self.expected_only[part],
            self.tuning_cents,
        )


def events(spectrum: Spectrum) -> Events:
    """Find and weigh every moment at which a note may begin."""
    candidates = find_candidates(spectrum)
    return weigh(spectrum, candidates, np.zeros(len(candidates.times_s), np.bool_))


# --------------------------------------------------------------- candidates


def peaks(
    curve: npt.NDArray[np.floating], half_width: int, above: float
) -> npt.NDArray[np.intp]:
    """Indices of the maxima over ± `half_width` that exceed `above`."""
    padded = np.pad(curve, half_width, constant_values=-1)
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * half_width + 1)
    return np.nonzero((curve >= windows.max(axis=1)) & (curve > above))[0]


def find_candidates(spectrum: Spectrum) -> Candidates:
    """Flux peaks, moved to their energy rise, and pitch steps; near ones merged."""
    struck_s = peaks(spectrum.flux, 5, FLUX_THRESHOLD) * FLUX_HOP_S
    step_s = peaks(spectrum.pitch_step, 3, STEP_THRESHOLD) * FRAME_HOP_S
    if len(struck_s) and len(step_s):
        nearest = np.searchsorted(struck_s, step_s)
        left = np.abs(step_s - struck_s[np.maximum(nearest - 1, 0)])
        right = np.abs(step_s - struck_s[np.minimum(nearest, len(struck_s) - 1)])
        step_s = step_s[np.minimum(left, right) > STEP_NEAR_FLUX_S]
    times_s = np.concatenate([struck_s, step_s])
    order = np.argsort(times_s, kind="stable")
    is_step = np.arange(len(times_s)) >= len(struck_s)
    return _merge(spectrum, times_s[order], is_step[order])


def _merge(spectrum: Spectrum, times_s: FloatArray, is_step: BoolArray) -> Candidates:
    """Move attacks to their energy rise, then keep the stronger of near pairs."""
    count = len(times_s)
    flux = _flux_at(spectrum, times_s, 0)
    moved_s, depth_db = times_s.copy(), np.zeros(count)
    for i in np.nonzero(~is_step)[0]:
        limit_s = _next_attack(times_s, is_step, int(i))
        rise_s, depth_db[i] = energy_rise(spectrum, times_s[i], limit_s)
        if depth_db[i] > 6:
            moved_s[i] = rise_s
    weak = is_step | ((flux < 0.6) & (depth_db < 8))
    rank = np.where(weak, is_step.astype(int), 2)
    kept: list[int] = []
    for i in np.argsort(moved_s, kind="stable"):
        if kept:
            last = kept[-1]
            clear = is_step[i] != is_step[last] and not (weak[i] and weak[last])
            if moved_s[i] - moved_s[last] < (MERGE_STEP_S if clear else MERGE_S):
                if (rank[i], flux[i]) > (rank[last], flux[last]):
                    kept[-1] = i
                continue
        kept.append(i)
    return Candidates(moved_s[kept], is_step[kept], depth_db[kept])


def _next_attack(times_s: FloatArray, is_step: BoolArray, i: int) -> float:
    """Time of the next event that is not part of attack i."""
    for j in range(i + 1, len(times_s)):
        if times_s[j] - times_s[i] >= (0.06 if is_step[j] else 0.03):
            return float(times_s[j])
    return np.inf


# ----------------------------------------------------------------- evidence


@dataclass(frozen=True)
class Features:
    """What the softmax looks at.

    Attributes
    ----------
    pitch : shape=(n, pitches, PITCH_FEATURES), float32
    none : shape=(n, NONE_FEATURES), float32
    flux, rise_db : shape=(n,)
    """

    pitch: Float32Array
    none: Float32Array
    flux: FloatArray
    rise_db: FloatArray


def weigh(
    spectrum: Spectrum, candidates: Candidates, expected_only: BoolArray
) -> Events:
    """Give each candidate its probabilities."""
    features = describe(spectrum, candidates)
    pitch_weights, none_weights = load_weights()
    score = np.concatenate(
        [(features.none @ none_weights)[:, None], features.pitch @ pitch_weights],
        axis=1,
    ).astype(np.float64)
    score -= score.max(axis=1, keepdims=True, initial=-np.inf)
    score -= np.log(np.exp(score).sum(axis=1, keepdims=True))
    return Events(
        candidates,
        score,
        features.flux,
        features.rise_db,
        expected_only,
        spectrum.tuning_cents,
    )


@lru_cache(maxsize=1)
def load_weights() -> tuple[Float32Array, Float32Array]:
    """Weights of the pitch features and of the "no new note" features."""
    with resources.files("assessor").joinpath("evidence.npz").open("rb") as file:
        stored = np.load(file)
        return stored["pitch"], stored["none"]


def describe(spectrum: Spectrum, candidates: Candidates) -> Features:
    """Measure every candidate."""
    times_s = candidates.times_s
    flux = _flux_at(spectrum, times_s, 3)
    step = _step_at(spectrum, times_s)
    after, before = _spectra_around(spectrum, times_s, flux, step)
    rise_db = attacks_db(spectrum, times_s)
    gain = np.maximum(after - before, 0)
    fresh = np.maximum(after - 0.5 * before, 0)
    norms = [np.sqrt((s**2).sum(axis=1)) for s in (after, before, gain)]
    norm_after, norm_before, norm_gain = (np.maximum(v, 1e-9) for v in norms)
    sal_after, sal_fresh, sal_gain, sal_before = (
        spectrum.salience_of(s) for s in (after, fresh, gain, before)
    )
    loudest = np.percentile(norm_after, 90) if len(times_s) else 1.0
    likeness = (after * before).sum(axis=1) / (norm_after * norm_before)
    depth = np.clip(candidates.depth_db - 4, 0, 26) / 10
    best_after = np.maximum(sal_after.max(axis=1, initial=0), 1e-9)
    share = np.clip(sal_gain.max(axis=1, initial=0) / best_after, 0, 1.5)
    log_flux = np.log(np.clip(flux, 0.02, 20) + 0.1)
    rise = np.clip(rise_db, -10, 30) / 10
    grown = norm_gain / norm_after
    level = np.log(np.maximum(norm_after / max(loudest, 1e-9), 1e-3))
    fit = best_after / norm_after
    none = np.stack(
        [
            np.ones(len(times_s)), log_flux, step, rise, grown, np.clip(level, -4, 1),
            share, likeness, fit, log_flux * grown, step * grown, log_flux * likeness,
            depth, depth * log_flux,
        ],
        axis=1,
    )  # fmt: skip
    peak_after, peak_fresh, peak_gain = (
        spectrum.peaks_of(s) for s in (after, fresh, gain)
    )
    scaled = _Scaled(
        sal_after, sal_fresh, sal_gain, sal_before, norm_after,
        peak_after, peak_fresh, peak_gain,
    )  # fmt: skip
    pitch = scaled.features(likeness, log_flux, depth)
    return Features(pitch, none.astype(np.float32), flux, rise_db)


@dataclass(frozen=True)
class _Scaled:
    """Saliences and peaks of the spectra, and the norm of "after"."""

    after: Float32Array
    fresh: Float32Array
    gain: Float32Array
    before: Float32Array
    norm_after: FloatArray
    peak_after: Float32Array
    peak_fresh: Float32Array
    peak_gain: Float32Array

    def features(
        self, likeness: FloatArray, log_flux: FloatArray, depth: FloatArray
    ) -> Float32Array:
        """Pitch features, shape=(n, pitches, PITCH_FEATURES)."""

        def relative(salience: Float32Array) -> Float32Array:
            best = np.maximum(salience.max(axis=1, keepdims=True, initial=0), 1e-9)
            return np.clip(salience / best, -1, 1)

        after, fresh, gain, before = map(
            relative, (self.after, self.fresh, self.gain, self.before)
        )
        peak_after, peak_fresh, peak_gain = map(
            relative, (self.peak_after, self.peak_fresh, self.peak_gain)
        )
        like, flux, deep = likeness[:, None], log_flux[:, None], depth[:, None]
        octave_below = np.zeros_like(fresh)
        octave_below[:, 12:] = fresh[:, :-12]
        octave_above = np.zeros_like(fresh)
        octave_above[:, :-12] = fresh[:, 12:]
        norm = self.norm_after[:, None]
        now, grown, old = self.after / norm, self.gain / norm, self.before / norm
        grown = np.clip(grown, -0.2, 1)
        increase = np.clip(now - old, -1, 1)
        return np.stack(
            [
                after, fresh, gain, before,
                after * like, fresh * like, gain * like, before * like,
                np.maximum(after, 0) ** 3, np.maximum(fresh, 0) ** 3,
                np.maximum(gain, 0) ** 3,
                octave_below, octave_above,
                increase, grown, grown * flux, increase * flux,
                np.clip(old, -1, 1), np.clip(old, 0, 1) * flux,
                np.clip(now, -0.2, 1) * deep, grown * deep,
                peak_after, peak_fresh, peak_gain,
                peak_after**3, peak_fresh**3, peak_gain**3,
            ],
            axis=2,
        ).astype(np.float32)  # fmt: skip


def _flux_at(spectrum: Spectrum, times_s: FloatArray, reach: int) -> FloatArray:
    """Greatest flux within ± `reach` flux frames of each time."""
    return _greatest(spectrum.flux, times_s / FLUX_HOP_S, reach)


def _step_at(spectrum: Spectrum, times_s: FloatArray) -> FloatArray:
    """Greatest pitch-step contrast within ± 3 frames of each time."""
    return _greatest(spectrum.pitch_step, times_s / FRAME_HOP_S, 3)


def _greatest(curve: Float32Array, at: FloatArray, reach: int) -> FloatArray:
    """Maximum of a curve within ± `reach` of fractional indices."""
    centre = np.clip(np.round(at).astype(int), 0, len(curve) - 1)
    index = centre[:, None] + np.arange(-reach, reach + 1)
    return curve[np.clip(index, 0, len(curve) - 1)].max(axis=1).astype(np.float64)


def _spectra_around(
    spectrum: Spectrum, times_s: FloatArray, flux: FloatArray, step: FloatArray
) -> tuple[Float32Array, Float32Array]:
    """Mean spectrum after each event (to the next clear one) and before it."""
    frames, count = len(spectrum.magnitude), len(times_s)
    boundary = (flux > BOUNDARY_FLUX) | (step > BOUNDARY_STEP)
    following = np.full(count, np.inf)
    for i in range(count - 2, -1, -1):
        following[i] = times_s[i + 1] if boundary[i + 1] else following[i + 1]
    end_s = np.minimum(following - 0.4 * FRAME_HALF_S, times_s + AFTER_S)
    start = np.ceil((times_s + 0.5 * FRAME_HALF_S + 0.003) / FRAME_HOP_S).astype(int)
    start = np.clip(start, 0, frames - 1)
    end = np.floor(end_s / FRAME_HOP_S).astype(int) + 1
    end = np.clip(np.maximum(end, start + 1), 1, frames)
    old_end = np.floor((times_s - 0.6 * FRAME_HALF_S) / FRAME_HOP_S).astype(int) + 1
    old_end = np.clip(old_end, 0, frames)
    old_start = np.minimum(np.maximum(old_end - 3, 0), frames - 1)
    old_end = np.maximum(old_end, old_start + 1)
    after = np.zeros((count, BINS), np.float32)
    before = np.zeros((count, BINS), np.float32)
    for i in range(count):
        after[i] = spectrum.magnitude[start[i] : end[i]].mean(axis=0)
        before[i] = spectrum.magnitude[old_start[i] : old_end[i]].mean(axis=0)
    return after, before
