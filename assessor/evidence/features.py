"""What is measured of one candidate event.

Of each pitch:

* how well it explains three spectra with a wide and a narrow kernel: *after*, the mean
  frame from the event to the next clear one, at most 150 ms; *before*, three frames
  before it; *gain*, what after has more than before, once whole and once (*fresh*)
  with half of before taken away;
* what it did in the last half second (a room keeps it sounding);
* the course of its salience around the event;
* the growth and the level of its first partials.

Of the event: how abruptly anything changes, the course of the level and of the flux.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from assessor.attack import attacks_db
from assessor.evidence.candidates import Candidates
from assessor.evidence.spans import Spans, mean_spectra, spans_of
from assessor.frames import BIN_HZ, BINS, FRAME_HOP_S, Float32Array
from assessor.kernels import PITCHES
from assessor.spectrum import FLUX_HOP_S, Spectrum
from assessor.tuning import FloatArray, midi_to_hz

BOUNDARY_FLUX = 0.3  # an event as clear as this ends the "after" of the one before
BOUNDARY_STEP = 0.4
HISTORY_FRAMES = 50  # half a second
HISTORY_GAP_FRAMES = 5
HISTORY_DECAY_S = 0.3  # weight of the past falls by e in this time
LOCAL_FLUX_FRAMES = 40  # a quarter of a second to each side
COURSE_FRAMES = np.array([-12, -8, -5, -3, -1, 1, 3, 5, 7, 9, 12, 15])
COURSE_LEVEL_S = (0.005, 0.06)  # after the event, what levels are compared with
FLUX_FRAMES = np.array([-8, -5, -3, -1, 0, 1, 3, 5, 8])
PARTIALS = 6
PARTIAL_FLOOR = 0.01  # of the loudest bin


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


def describe(spectrum: Spectrum, candidates: Candidates) -> Features:
    """Measure every candidate."""
    times_s = candidates.times_s
    flux = _greatest(spectrum.flux, times_s / FLUX_HOP_S, 3)
    step = _greatest(spectrum.pitch_step, times_s / FRAME_HOP_S, 3)
    span = spans_of(spectrum, times_s, (flux > BOUNDARY_FLUX) | (step > BOUNDARY_STEP))
    after = mean_spectra(spectrum, span.start, span.end)
    before = mean_spectra(spectrum, span.old_start, span.old_end)
    rise_db = attacks_db(spectrum, times_s)
    seen = _Seen.of(spectrum, after, before, times_s)
    attack = _attack_features(spectrum, candidates, flux, step, rise_db, span)
    course, loudness = _courses(spectrum, times_s, seen.norm_after)
    event = np.concatenate(
        [attack, seen.event_features(), loudness, _flux_courses(spectrum, times_s)],
        axis=1,
    )
    pitch = np.concatenate(
        [seen.pitch_features(), course, _partials(spectrum, after, before)], axis=2
    )
    return Features(pitch, event.astype(np.float32), flux, rise_db)


def _attack_features(
    spectrum: Spectrum,
    candidates: Candidates,
    flux: FloatArray,
    step: FloatArray,
    rise_db: FloatArray,
    span: Spans,
) -> FloatArray:
    """How abruptly anything changes, and how near the neighbours are, shape=(n, 9)."""
    times_s = candidates.times_s
    return np.stack(
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


def _courses(
    spectrum: Spectrum, times_s: FloatArray, norm_after: Float32Array
) -> tuple[Float32Array, Float32Array]:
    """Salience and level against time around each event.

    Returns
    -------
    salience : shape=(n, pitches, len(COURSE_FRAMES)), share of the norm of *after*
    level : shape=(n, len(COURSE_FRAMES)), logarithm against just after the event
    """
    centre = np.round(times_s / FRAME_HOP_S).astype(int)
    frame = centre[:, None] + COURSE_FRAMES
    last = len(spectrum.salience) - 1
    known = (frame >= 0) & (frame <= last)
    salience = spectrum.salience[np.clip(frame, 0, last)].astype(np.float32)
    salience *= (known / norm_after[:, None]).astype(np.float32)[:, :, None]
    at_s = times_s[:, None] + COURSE_FRAMES * FRAME_HOP_S
    power = spectrum.power(at_s - FRAME_HOP_S, at_s + FRAME_HOP_S)
    power = np.where(at_s > 0, power, 0.0)  # before the take there was silence
    start_s, end_s = COURSE_LEVEL_S
    own = spectrum.power(times_s + start_s, times_s + end_s)[:, None]
    level = np.log((power + 1e-12) / (own + 1e-12)) / 4
    return (
        np.clip(salience, -0.5, 1.5).transpose(0, 2, 1),
        np.clip(level, -2, 1).astype(np.float32),
    )


def _flux_courses(spectrum: Spectrum, times_s: FloatArray) -> Float32Array:
    """Logarithm of both fluxes around each event, shape=(n, 2 * len(FLUX_FRAMES))."""
    centre = np.round(times_s / FLUX_HOP_S).astype(int)
    frame = centre[:, None] + FLUX_FRAMES
    known = np.where(frame >= 0, 1, 0)  # before the take there was silence
    frame = np.clip(frame, 0, len(spectrum.flux) - 1)
    courses = [known * flux[frame] for flux in (spectrum.flux, spectrum.high_flux)]
    both = np.concatenate(courses, axis=1)
    return np.asarray(np.log(np.clip(both, 0.02, 20) + 0.1) / 2, np.float32)


def _partials(
    spectrum: Spectrum, after: Float32Array, before: Float32Array
) -> Float32Array:
    """Growth and level of the first partials of each pitch; 0 beyond the spectrum.

    Shape=(n, pitches, 2 * PARTIALS): logarithm of after over before, halved, and of
    after over its loudest bin, 0 to 1.
    """
    f0_hz = midi_to_hz(PITCHES + spectrum.tuning_cents / 100)
    place = np.round(f0_hz[:, None] * np.arange(1, PARTIALS + 1) / BIN_HZ).astype(int)
    inside = place < BINS - 1
    place = np.clip(place, 1, BINS - 2)
    now, then = (
        np.maximum(np.maximum(s[:, :-2], s[:, 2:]), s[:, 1:-1])[:, place - 1]
        for s in (after, before)
    )
    loudest = np.maximum(after.max(axis=1), 1e-9)[:, None, None]
    floor = PARTIAL_FLOOR * loudest
    grown = np.clip(np.log((now + floor) / (then + floor)), -3, 5) / 2
    level = np.log(now / loudest + PARTIAL_FLOOR) / 4 + 1
    return np.concatenate([grown * inside, level * inside], axis=2, dtype=np.float32)


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
            dtype=np.float32,
        )


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
