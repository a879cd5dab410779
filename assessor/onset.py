"""Candidate events: moments at which a note *may* begin, with their evidence.

Candidates are taken low on purpose: a peak of the spectral flux (something struck)
or a step of the best pitch (slurs have no attack).  Nothing is decided here; each
event carries its probabilities over {nothing new, every pitch} on.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from assessor.attack import energy_rise
from assessor.evidence import BoolArray, Candidates, describe, log_probability
from assessor.frames import FRAME_HOP_S
from assessor.kernels import PITCHES
from assessor.spectrum import FLUX_HOP_S, Spectrum
from assessor.tuning import FloatArray

FLUX_THRESHOLD = 0.15  # low: recall counts here
STEP_THRESHOLD = 0.25
STEP_NEAR_FLUX_S = 0.035  # a step this near a flux peak is the same moment
WEIGH_EVENTS = 512  # described at a time
MERGE_S = 0.028  # two attacks nearer than this are one
MERGE_STEP_S = 0.045  # a step beside a clear attack


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
        return Events(
            self.candidates.part(low, high),
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


def weigh(
    spectrum: Spectrum, candidates: Candidates, expected_only: BoolArray
) -> Events:
    """Give each candidate its probabilities."""
    parts = [
        _weigh_part(spectrum, candidates, first)
        for first in range(0, len(candidates.times_s), WEIGH_EVENTS)
    ]
    empty = (np.zeros((0, 1 + len(PITCHES))), np.zeros(0), np.zeros(0))
    probability, flux, rise_db = (
        np.concatenate(column) for column in zip(empty, *parts, strict=True)
    )
    return Events(
        candidates, probability, flux, rise_db, expected_only, spectrum.tuning_cents
    )


def _weigh_part(
    spectrum: Spectrum, candidates: Candidates, first: int
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Log probability, flux and rise of `WEIGH_EVENTS` candidates from `first` on.

    What an hour's events are described by would not fit in memory at once; a few
    neighbours at each side are looked at as well, since they bound what is heard.
    """
    low, last = max(first - 4, 0), first + WEIGH_EVENTS
    features = describe(spectrum, candidates.part(low, last + 4))
    kept = slice(first - low, last - low)
    return (
        log_probability(features)[kept],
        features.flux[kept],
        features.rise_db[kept],
    )


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
    nearest = np.round(times_s / FLUX_HOP_S).astype(int)
    flux = spectrum.flux[np.clip(nearest, 0, len(spectrum.flux) - 1)]
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
