"""What set a string going: the pick, or the fretting hand.

A pick leaves a burst of noise above 1.5 kHz and a jump of the energy; a hammer-on, a
pull-off or a slide leaves less of both, and on real strings about 14 dB less above
4 kHz.  How much a pick leaves depends on the guitar, the amplifier and the room, so
each attack is also held against the attacks of the notes that are written as picked in
the same take.  A logistic model of these measures, learnt by
``benchmarks/learn_sounding.py``, gives the probability that a note was slurred.
"""

from __future__ import annotations

from enum import StrEnum

import numpy as np
import scipy.fft

from assessor.attack import attacks_db
from assessor.evidence import BoolArray
from assessor.frames import FINE_RATE_HZ, padded
from assessor.spectrum import FLUX_HOP_S, Spectrum
from assessor.tuning import FloatArray

SURE = 0.75  # probability of either; between, it is unclear
LEAST_PICKED = 3  # notes to hold the others against
MIDDLE_HZ, BRIGHT_HZ = 1500.0, 4000.0

# Of each measure as it is and of its difference to the median of the take's picked
# notes; the measures are those of `measure`, the last weight is the constant.
WEIGHTS = np.array(
    [
        -0.563, -0.079, -0.286, 0.301, -0.461, 0.076, -0.04, -0.012, 0.486, -0.772,
        -0.928, -1.283, 0.027, 0.017, 0.686, -0.182, 0.847, -0.333, -3.006, -0.772,
        -2.671,
    ]
)  # fmt: skip


class SoundedBy(StrEnum):
    """What set the string going."""

    PICKED = "picked"
    SLURRED = "slurred"
    UNCLEAR = "unclear"


def tell(measures: FloatArray, picked: BoolArray) -> list[SoundedBy]:
    """Tell how notes were sounded.

    Parameters
    ----------
    measures : shape=(n, MEASURES)
        Of `measure`.
    picked : shape=(n,), bool
        Written as picked, and begun with an attack.
    """
    if picked.sum() < LEAST_PICKED:
        return [SoundedBy.UNCLEAR] * len(measures)
    odds = features(measures, picked) @ WEIGHTS
    slurred = 1 / (1 + np.exp(-odds))
    return [
        SoundedBy.SLURRED
        if p > SURE
        else SoundedBy.PICKED
        if p < 1 - SURE
        else SoundedBy.UNCLEAR
        for p in slurred
    ]


def features(measures: FloatArray, picked: BoolArray) -> FloatArray:
    """Measures, their differences to the picked notes' median, and 1."""
    relative = measures - np.median(measures[picked], axis=0)
    ones = np.ones((len(measures), 1))
    return np.concatenate([measures, relative, ones], axis=1)


def measure(spectrum: Spectrum, onset_s: FloatArray, is_step: BoolArray) -> FloatArray:
    """Measures of each attack, shape=(n, 10), all of the order of 1.

    Attack; flux of all and of the high bands (logarithms); rise and following fall
    of the energy above 4 kHz, and between 1.5 and 4 kHz; energy above 4 kHz; level;
    and whether the note was found by a step of the pitch alone.
    """
    quiet_s, struck_s, later_s = (-0.022, -0.004), (-0.003, 0.012), (0.03, 0.06)
    before, now, after = (
        _bands_db(spectrum, onset_s, *span) for span in (quiet_s, struck_s, later_s)
    )
    rise, fall = now - before, now - after
    level_db = 10 * np.log10(spectrum.power(onset_s, onset_s + 0.06) + 1e-12)
    return np.stack(
        [
            np.clip(attacks_db(spectrum, onset_s), -3, 25) / 10,
            _log_flux(spectrum.flux, onset_s),
            _log_flux(spectrum.high_flux, onset_s),
            np.clip(rise[:, 1], -15, 40) / 10,
            np.clip(fall[:, 1], -20, 40) / 10,
            np.clip(rise[:, 0], -15, 40) / 10,
            np.clip(fall[:, 0], -20, 40) / 10,
            np.clip(now[:, 1], -140, 0) / 10,
            np.clip(level_db, -90, 0) / 10,
            is_step.astype(float),
        ],
        axis=1,
    )


def _log_flux(flux: FloatArray, times_s: FloatArray) -> FloatArray:
    """Logarithm of the greatest flux within 3 frames of each time."""
    centre = np.round(times_s / FLUX_HOP_S).astype(int)
    index = np.clip(centre[:, None] + np.arange(-3, 4), 0, len(flux) - 1)
    return np.log(flux[index].max(axis=1) + 0.05)


def _bands_db(
    spectrum: Spectrum, times_s: FloatArray, start_s: float, end_s: float
) -> FloatArray:
    """Energy of the middle and of the bright band around each time, shape=(n, 2)."""
    samples = int((end_s - start_s) * FINE_RATE_HZ)
    first = ((times_s + start_s) * FINE_RATE_HZ).astype(int)
    sound = [padded(spectrum.fine, int(a), int(a) + samples) for a in first]
    windowed = np.array(sound).reshape(-1, samples) * np.hanning(samples)
    power = np.abs(scipy.fft.rfft(windowed, axis=1)) ** 2
    middle, bright = (int(f / FINE_RATE_HZ * samples) for f in (MIDDLE_HZ, BRIGHT_HZ))
    bands = np.stack(
        [power[:, middle:bright].sum(axis=1), power[:, bright:].sum(axis=1)], axis=1
    )
    return 10 * np.log10(bands / samples + 1e-14)
