"""What the sound says about one candidate event: nothing new, or which pitch.

Each event is described by three spectra:

* *after*: the mean frame from the event to the next clear one, at most 150 ms;
* *before*: three frames before it;
* *gain*: what after has more than before, once whole and once (*fresh*) with half of
  before taken away;

by how well each pitch explains each of them, by what the pitch did in the last half
second (a room keeps it sounding), and by how abruptly anything changed.  A net of
about a thousand weights, one small part shared by all pitches and one for "no new
note", turns this into one softmax.  Its weights are learnt by maximum likelihood by
``benchmarks/learn_evidence.py`` and stored beside this module.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

import numpy as np
import numpy.typing as npt

from assessor.attack import attacks_db
from assessor.frames import BINS, FRAME_HALF_S, FRAME_HOP_S, Float32Array
from assessor.spectrum import FLUX_HOP_S, Spectrum
from assessor.tuning import FloatArray

BoolArray = npt.NDArray[np.bool_]

BOUNDARY_FLUX = 0.3  # an event as clear as this ends the "after" of the one before
BOUNDARY_STEP = 0.4
AFTER_S = 0.15
BEFORE_FRAMES = 3
HISTORY_FRAMES = 50  # half a second
HISTORY_GAP_FRAMES = 5
HISTORY_DECAY_S = 0.3  # weight of the past falls by e in this time
LOCAL_FLUX_FRAMES = 40  # a quarter of a second to each side


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


@dataclass(frozen=True)
class Features:
    """What the net looks at.

    Attributes
    ----------
    pitch : shape=(n, pitches, pitch features), float32
        Of each pitch.
    event : shape=(n, event features), float32
        Of the event as a whole.
    flux, rise_db : shape=(n,)
        As they are, for those who ask.
    """

    pitch: Float32Array
    event: Float32Array
    flux: FloatArray
    rise_db: FloatArray


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
    """Two small nets of one hidden layer of rectified units each.

    ``pitch_*`` see the features of one pitch and of the event; ``none_*`` see the
    features of the event and, of each pitch feature, the greatest over all pitches.
    """

    pitch_in: Float32Array
    pitch_bias: Float32Array
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
        score: Float32Array = np.maximum(hidden, 0) @ self.pitch_out
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
    with resources.files("assessor").joinpath("evidence.npz").open("rb") as file:
        stored = np.load(file)
        return Net(**{name: stored[name] for name in stored.files})


def describe(spectrum: Spectrum, candidates: Candidates) -> Features:
    """Measure every candidate."""
    times_s = candidates.times_s
    flux = _greatest(spectrum.flux, times_s / FLUX_HOP_S, 3)
    step = _greatest(spectrum.pitch_step, times_s / FRAME_HOP_S, 3)
    span = _spans(spectrum, times_s, (flux > BOUNDARY_FLUX) | (step > BOUNDARY_STEP))
    after = _mean_spectra(spectrum, span.start, span.end)
    before = _mean_spectra(spectrum, span.old_start, span.old_end)
    rise_db = attacks_db(spectrum, times_s)
    seen = _Seen.of(spectrum, after, before, times_s)
    attack = np.stack(
        [
            np.log(np.clip(flux, 0.02, 20) + 0.1),
            np.log(
                np.clip(
                    _greatest(spectrum.high_flux, times_s / FLUX_HOP_S, 3), 0.02, 20
                )
                + 0.1
            ),
            flux / (_local_flux(spectrum, times_s) + 0.3) / 10,
            step,
            np.clip(rise_db, -10, 30) / 10,
            np.clip(candidates.depth_db - 4, 0, 26) / 10,
            np.log(span.end - span.start) - 1.5,
            np.log(np.clip(np.diff(times_s, prepend=-1), 0.02, 0.5)) + 2,
            np.log(np.clip(np.diff(times_s, append=1e9), 0.02, 0.5)) + 2,
        ],
        axis=1,
    )
    event = np.concatenate([attack, seen.event_features()], axis=1)
    return Features(seen.pitch_features(), event.astype(np.float32), flux, rise_db)


@dataclass(frozen=True)
class _Seen:
    """How each pitch explains the spectra around each event.

    Saliences, peaks and history have shape (n, pitches), norms (n,).
    """

    after: Float32Array
    fresh: Float32Array
    gain: Float32Array
    before: Float32Array
    peak_after: Float32Array
    peak_fresh: Float32Array
    peak_gain: Float32Array
    peak_before: Float32Array
    history: Float32Array
    norm_after: Float32Array
    norm_before: Float32Array
    norm_gain: Float32Array
    likeness: Float32Array

    @classmethod
    def of(
        cls,
        spectrum: Spectrum,
        after: Float32Array,
        before: Float32Array,
        times_s: FloatArray,
    ) -> _Seen:
        """Look at the spectra with both kernels."""
        gain = np.maximum(after - before, 0)
        fresh = np.maximum(after - 0.5 * before, 0)
        spectra = (after, fresh, gain, before)
        norm_after, norm_before, norm_gain = (
            np.maximum(np.sqrt(np.einsum("ij,ij->i", s, s)), 1e-9)
            for s in (after, before, gain)
        )
        likeness = np.einsum("ij,ij->i", after, before) / (norm_after * norm_before)
        salience = [spectrum.salience_of(s) for s in spectra]
        peak = [spectrum.peaks_of(s) for s in spectra]
        return cls(
            after=salience[0],
            fresh=salience[1],
            gain=salience[2],
            before=salience[3],
            peak_after=peak[0],
            peak_fresh=peak[1],
            peak_gain=peak[2],
            peak_before=peak[3],
            history=_history(spectrum, times_s),
            norm_after=norm_after,
            norm_before=norm_before,
            norm_gain=norm_gain,
            likeness=likeness,
        )

    def event_features(self) -> Float32Array:
        """Shape=(n, 6)."""
        best = np.maximum(self.after.max(axis=1, initial=0), 1e-9)
        loudest = np.percentile(self.norm_after, 90) if len(best) else 1.0
        level = np.log(np.maximum(self.norm_after / max(loudest, 1e-9), 1e-3))
        share = self.gain.max(axis=1, initial=0) / best
        louder = np.log(self.norm_after / self.norm_before)
        return np.stack(
            [
                self.norm_gain / self.norm_after,
                np.clip(level, -4, 1),
                np.clip(share, 0, 1.5),
                self.likeness,
                best / self.norm_after,
                np.clip(louder, -2, 4) / 2,
            ],
            axis=1,
        )

    def pitch_features(self) -> Float32Array:
        """Shape=(n, pitches, 15)."""
        fresh = _relative(self.fresh)
        norm = self.norm_after[:, None]
        return np.stack(
            [
                _relative(self.after),
                fresh,
                _relative(self.gain),
                _relative(self.before),
                _shifted(fresh, 12),
                _shifted(fresh, -12),
                _shifted(fresh, 19),
                np.clip(self.after / norm, -0.5, 1),
                np.clip(self.gain / norm, -0.5, 1),
                np.clip(self.before / norm, -0.5, 1),
                _relative(self.peak_after),
                _relative(self.peak_fresh),
                _relative(self.peak_gain),
                _relative(self.peak_before),
                np.clip(self.history / norm, -0.5, 1.5),
            ],
            axis=2,
        ).astype(np.float32)


def _relative(salience: Float32Array) -> Float32Array:
    """Share of the best pitch of each event, -1 to 1."""
    best = np.maximum(salience.max(axis=1, keepdims=True, initial=0), 1e-9)
    return np.clip(salience / best, -1, 1)


def _shifted(values: Float32Array, semitones: int) -> Float32Array:
    """Value of the pitch so many semitones below (negative: above); 0 beyond."""
    out = np.zeros_like(values)
    if semitones > 0:
        out[:, semitones:] = values[:, :-semitones]
    else:
        out[:, :semitones] = values[:, -semitones:]
    return out


def _history(spectrum: Spectrum, times_s: FloatArray) -> Float32Array:
    """Greatest salience of each pitch in the last half second, fading with age."""
    centre = np.round(times_s / FRAME_HOP_S).astype(int)
    ages = np.arange(HISTORY_GAP_FRAMES, HISTORY_FRAMES, 3)
    fading = np.exp(-ages * FRAME_HOP_S / HISTORY_DECAY_S).astype(np.float32)
    history = np.zeros((len(times_s), spectrum.salience.shape[1]), np.float32)
    last = len(spectrum.salience) - 1
    for age, weight in zip(ages, fading, strict=True):
        frame = centre - age
        known = weight * spectrum.salience[np.clip(frame, 0, last)]
        np.maximum(history, np.where((frame >= 0)[:, None], known, 0), out=history)
    return history


def _local_flux(spectrum: Spectrum, times_s: FloatArray) -> FloatArray:
    """Mean flux a quarter of a second around each time."""
    total = np.concatenate([[0.0], np.cumsum(spectrum.flux, dtype=np.float64)])
    centre = np.round(times_s / FLUX_HOP_S).astype(int)
    low = np.clip(centre - LOCAL_FLUX_FRAMES, 0, len(total) - 2)
    high = np.clip(centre + LOCAL_FLUX_FRAMES, low + 1, len(total) - 1)
    return (total[high] - total[low]) / (high - low)


def _greatest(curve: Float32Array, at: FloatArray, reach: int) -> FloatArray:
    """Maximum of a curve within ± `reach` of fractional indices."""
    centre = np.clip(np.round(at).astype(int), 0, len(curve) - 1)
    index = centre[:, None] + np.arange(-reach, reach + 1)
    return curve[np.clip(index, 0, len(curve) - 1)].max(axis=1).astype(np.float64)


@dataclass(frozen=True)
class _Spans:
    """First frame and one past the last of "after" and of "before"."""

    start: npt.NDArray[np.intp]
    end: npt.NDArray[np.intp]
    old_start: npt.NDArray[np.intp]
    old_end: npt.NDArray[np.intp]


def _spans(spectrum: Spectrum, times_s: FloatArray, boundary: BoolArray) -> _Spans:
    """Frames that see what follows each event, and what was before it."""
    frames, count = len(spectrum.frames), len(times_s)
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
    old_start = np.minimum(np.maximum(old_end - BEFORE_FRAMES, 0), frames - 1)
    return _Spans(start, end, old_start, np.maximum(old_end, old_start + 1))


def _mean_spectra(
    spectrum: Spectrum, start: npt.NDArray[np.intp], end: npt.NDArray[np.intp]
) -> Float32Array:
    """Mean magnitude of each span of frames, shape=(n, BINS)."""
    mean = np.zeros((len(start), BINS), np.float32)
    for i, (low, high) in enumerate(zip(start, end, strict=True)):
        mean[i] = spectrum.frames.mean(int(low), int(high))
    return mean
