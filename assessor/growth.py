"""Whether the partials of one pitch grow at one moment.

Only those partials count that no other sounding note shares.  Notes that were really
struck grow 25 to 43 dB there, absent ones less than 7 (measured on the bench).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
import scipy.fft

from assessor.frames import COARSE_RATE_HZ, FINE_RATE_HZ, Float32Array, padded
from assessor.spectrum import Spectrum
from assessor.tuning import FloatArray, midi_to_hz

IntArray = npt.NDArray[np.intp]

LOOK_SAMPLES, SHORT_LOOK_SAMPLES = 1024, 512  # at the coarse rate
LOOK_S, SHORT_LOOK_S = 0.052, 0.028  # from the moment to the middle of each window
LOOK_FFT = 2048
LOOK_BIN_HZ = COARSE_RATE_HZ / LOOK_FFT
LOOK_BINS = int(4630 / LOOK_BIN_HZ)
TOP_HZ = 4300.0
CLICK_FALL_DB = 18.0  # a knock falls by more than this in 55 ms, a note by less
SHARED_HZ = 18.0  # partials nearer than this to a ringing one do not count


@dataclass(frozen=True)
class Growth:
    """What the unshared partials of a pitch do at a moment.

    Attributes
    ----------
    grown_db : float
        After over before.
    peaked_db : float
        Over the spectrum three quarters of a semitone to each side.
    level_db : float
        Strongest of them under the strongest of the whole spectrum.
    """

    grown_db: float
    peaked_db: float
    level_db: float

    @property
    def total_db(self) -> float:
        """One number to compare two pitches by."""
        return self.grown_db + self.peaked_db


def partial_growth(
    spectrum: Spectrum,
    time_s: float,
    midi_number: int,
    ringing: Sequence[int],
    *,
    short: bool = False,
) -> Growth | None:
    """Growth of the partials of a pitch that no other sounding note shares.

    Parameters
    ----------
    ringing : sequence of int
        Pitches that sound before or soon after `time_s`.
    short : bool
        Use windows of half the length, for notes under 100 ms.

    Returns
    -------
    Growth or None
        None when every partial is shared or there is no sound.
    """
    return Moment.of(spectrum, time_s, short=short).growth(midi_number, ringing)


@dataclass(frozen=True)
class Moment:
    """The spectra before and after one moment, for several questions about it.

    Attributes
    ----------
    before, after : shape=(LOOK_BINS,)
        Magnitudes of one window each.
    samples : int
        Length of the windows at the coarse rate.
    tuning_cents : float
        Of the instrument.
    """

    before: Float32Array
    after: Float32Array
    samples: int
    tuning_cents: float

    @classmethod
    def of(cls, spectrum: Spectrum, time_s: float, *, short: bool = False) -> Moment:
        """Look to both sides of a moment, through shorter windows if `short`."""
        samples, apart_s = LOOK_SAMPLES, LOOK_S
        if short:
            samples, apart_s = SHORT_LOOK_SAMPLES, SHORT_LOOK_S
        return cls(
            _look(spectrum, time_s - apart_s, samples),
            _look(spectrum, time_s + apart_s, samples),
            samples,
            spectrum.tuning_cents,
        )

    def growth(self, midi_number: int, ringing: Sequence[int]) -> Growth | None:
        """Growth of one pitch; see `partial_growth`."""
        partial_hz = _hz(self.tuning_cents, midi_number) * np.arange(1, 13)
        partial_hz = partial_hz[partial_hz < TOP_HZ]
        shared_hz = SHARED_HZ * LOOK_SAMPLES / self.samples
        for other in set(ringing) - {midi_number}:
            other_hz = _hz(self.tuning_cents, other)
            order = np.maximum(np.round(partial_hz / other_hz), 1)
            away_hz = np.abs(partial_hz - order * other_hz)
            partial_hz = partial_hz[away_hz > shared_hz]
        loudest = float(self.after.max())
        if not len(partial_hz) or loudest < 1e-9:
            return None
        place = np.round(partial_hz / LOOK_BIN_HZ).astype(int)
        now, then = _peak(self.after, place, 1), _peak(self.before, place, 1)
        floor = 1e-3 * loudest + 1e-12
        weight = np.sqrt(now / loudest)
        beside = np.maximum(
            *(
                _beside(self.after, partial_hz, place, sign, self.samples)
                for sign in (1, -1)
            )
        )
        grown_db = 20 * np.log10((now + floor) / (then + floor))
        peaked_db = 20 * np.log10((now + floor) / (beside + floor))
        return Growth(
            float(weight @ grown_db / weight.sum()),
            float(weight @ peaked_db / weight.sum()),
            float(20 * np.log10(now.max() / loudest + 1e-9)),
        )


def _beside(
    magnitude: Float32Array, partial_hz: FloatArray, place: IntArray, sign: int,
    samples: int,
) -> Float32Array:  # fmt: skip
    """Magnitude three quarters of a semitone away, but outside the window's lobe."""
    lobe = 4 * LOOK_SAMPLES // samples
    away = np.round(partial_hz * 2 ** (0.75 * sign / 12) / LOOK_BIN_HZ).astype(int)
    away = np.where(np.abs(away - place) < lobe, place + sign * lobe, away)
    return magnitude[np.clip(away, 0, len(magnitude) - 1)]


def fall_db(spectrum: Spectrum, time_s: float, midi_number: int) -> float:
    """How far the partials of a pitch fall from 30 to 85 ms after a time, dB."""
    partial_hz = _hz(spectrum.tuning_cents, midi_number) * np.arange(1, 9)
    place = np.round(partial_hz[partial_hz < TOP_HZ] / LOOK_BIN_HZ).astype(int)
    early, late = (
        np.sqrt((_peak(_look(spectrum, time_s + d, 512), place, 2) ** 2).sum())
        for d in (0.03, 0.085)
    )
    return float(20 * np.log10((early + 1e-12) / (late + 1e-12)))


def _hz(tuning_cents: float, midi_number: int) -> float:
    """Frequency of a pitch on an instrument tuned so."""
    return midi_to_hz(midi_number + tuning_cents / 100)


def _look(spectrum: Spectrum, centre_s: float, samples: int) -> Float32Array:
    """Magnitudes of one Hann window, `samples` at the coarse rate long."""
    samples *= FINE_RATE_HZ // COARSE_RATE_HZ
    first = int(centre_s * FINE_RATE_HZ) - samples // 2
    sound = padded(spectrum.fine, first, first + samples)
    fft = LOOK_FFT * FINE_RATE_HZ // COARSE_RATE_HZ
    magnitude: Float32Array = np.abs(
        scipy.fft.rfft(sound * _window(samples), fft)[:LOOK_BINS]
    )
    return magnitude


@lru_cache
def _window(samples: int) -> Float32Array:
    """Hann window that keeps amplitudes, shape=(samples,)."""
    window: Float32Array = (np.hanning(samples + 2)[1:-1] / samples).astype(np.float32)
    return window


def _peak(magnitude: Float32Array, place: IntArray, reach: int) -> Float32Array:
    """Greatest magnitude within ± `reach` bins."""
    index = place[:, None] + np.arange(-reach, reach + 1)
    return magnitude[np.clip(index, 0, len(magnitude) - 1)].max(axis=1)
