"""How strong a sound is to the ear: A-weighted equivalent level.

A level of the samples alone, in dB re full scale.  What it was in the room is only
known with a meter reading taken at the same time (`assessor care level`).

Conventions
-----------
Full scale is a constant of 1, so a sine that just fits has -3.01 dBFS, as the mean
square of ITU-R BS.1770 has it.

Source
------
IEC 61672-1:2013, annex E, analytic form of the A weighting; its table 3 is met within
0.1 dB at the exact frequencies 1000 · 10^(n / 10) Hz.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from assessor.tuning import FloatArray

# Corner frequencies of the weighting's poles, Hz
POLES_HZ = (20.598997, 107.65265, 737.86223, 12194.217)
AT_1000_HZ_DB = 2.000  # what brings 1 kHz to 0 dB
BLOCK_S = 1.0
SILENCE = 1e-20  # power: -200 dBFS, below any recording


def a_weighting_db(frequency_hz: FloatArray) -> FloatArray:
    """A weighting, dB; shape as `frequency_hz`, which is above 0.

    >>> a_weighting_db(np.array([31.623, 1000.0, 10000.0])).round(1).tolist()
    [-39.4, 0.0, -2.5]
    """
    low, middle, upper, high = POLES_HZ
    squared = np.square(np.asarray(frequency_hz, dtype=np.float64))
    gain = high**2 * squared**2
    gain /= (squared + low**2) * (squared + high**2)
    gain /= np.sqrt((squared + middle**2) * (squared + upper**2))
    weighting: FloatArray = 20 * np.log10(gain) + AT_1000_HZ_DB
    return weighting


def equivalent_level_dbfs(
    samples: npt.NDArray[np.floating[Any]], sample_rate_hz: int
) -> float:
    """A-weighted equivalent level of a whole sound, dB re full scale.

    Parameters
    ----------
    samples : shape=(n,), n > 0
    sample_rate_hz : int

    Returns
    -------
    float
        At least -200.

    Notes
    -----
    Blocks of a second, half overlapping, under a sine window: its squares add up to
    one everywhere, so no power is lost or counted twice, and what leaks from a low
    note into the heavily weighed middle stays 100 dB below it.
    """
    size = 2 ** round(np.log2(BLOCK_S * sample_rate_hz))
    hop = size // 2
    window = np.sin(np.pi * (np.arange(size) + 0.5) / size)
    frequency_hz = np.fft.rfftfreq(size, 1 / sample_rate_hz)
    weight = np.zeros(len(frequency_hz))
    weight[1:] = 2 / size * 10 ** (a_weighting_db(frequency_hz[1:]) / 10)
    energy = 0.0
    for start in range(-hop, len(samples), hop):
        block = np.zeros(size)
        part = samples[max(start, 0) : start + size]
        begin = max(-start, 0)
        block[begin : begin + len(part)] = part
        spectrum = np.fft.rfft(block * window)
        energy += float(weight @ (np.square(spectrum.real) + np.square(spectrum.imag)))
    return float(10 * np.log10(max(energy / len(samples), SILENCE)))
