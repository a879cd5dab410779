"""A-weighted level against the standard's table and tones of known level."""

from __future__ import annotations

import numpy as np
import pytest

from assessor.sound_level import a_weighting_db, equivalent_level_dbfs

RATE_HZ = 48_000
TABLE_DB = 0.1  # the table is rounded to it
TONE_DB = 0.02

# IEC 61672-1:2013, table 3: nominal frequency, A weighting, dB.  It is computed at the
# exact frequencies 1000 · 10^(n / 10), in steps of n = 1 from n = -20.
TABLE = """
10 -70.4  12.5 -63.4  16 -56.7  20 -50.5  25 -44.7  31.5 -39.4  40 -34.6  50 -30.2
63 -26.2  80 -22.5  100 -19.1  125 -16.1  160 -13.4  200 -10.9  250 -8.6  315 -6.6
400 -4.8  500 -3.2  630 -1.9  800 -0.8  1000 0  1250 0.6  1600 1.0  2000 1.2  2500 1.3
3150 1.2  4000 1.0  5000 0.5  6300 -0.1  8000 -1.1  10000 -2.5  12500 -4.3  16000 -6.6
20000 -9.3
"""


def pairs() -> list[tuple[float, float]]:
    """Exact frequency and weighting, each row of the table."""
    numbers = [float(word) for word in TABLE.split()]
    exact = [1000 * 10 ** (n / 10) for n in range(-20, 14)]
    return list(zip(exact, numbers[1::2], strict=True))


def tone(frequency_hz: float, peak: float, seconds: float = 5.0) -> np.ndarray:
    """A sine."""
    times_s = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    return peak * np.sin(2 * np.pi * frequency_hz * times_s)


@pytest.mark.parametrize(("frequency_hz", "weight_db"), pairs())
def test_table_of_the_standard(frequency_hz: float, weight_db: float) -> None:
    """Every row, within half a unit of its last digit and a little."""
    found = a_weighting_db(np.array([frequency_hz]))[0]
    assert found == pytest.approx(weight_db, abs=TABLE_DB)


@pytest.mark.parametrize(
    ("peak_db", "level_db"),
    # ITU-R BS.1770: a sine of 997 Hz at full scale in one channel measures -3.01, and
    # two channels of one that peaks at -23 dBFS measure -23.0, so -26.01 each
    [(0.0, -3.01), (-23.0, -26.01)],
)
def test_tones_of_bs_1770(peak_db: float, level_db: float) -> None:
    """At 997 Hz neither weighting changes the level."""
    found = equivalent_level_dbfs(tone(997.0, 10 ** (peak_db / 20)), RATE_HZ)
    assert found == pytest.approx(level_db, abs=TONE_DB)


@pytest.mark.parametrize("frequency_hz", [31.62, 63.1, 125.9, 251.2, 3981.1, 7943.3])
def test_tones_are_weighted(frequency_hz: float) -> None:
    """A tone loses what the table says, also where the loss is large.

    It swells and fades all the while, which leaves 3/8 of its power: cut off, it
    would click, and a click is loud beside a weighted low note.
    """
    weight_db = a_weighting_db(np.array([frequency_hz]))[0]
    sine = tone(frequency_hz, 1.0)
    found = equivalent_level_dbfs(sine * np.hanning(len(sine)), RATE_HZ)
    expected_db = -3.01 + 10 * np.log10(3 / 8) + weight_db
    assert found == pytest.approx(expected_db, abs=TONE_DB)


@pytest.mark.parametrize("rate_hz", [8_000, 22_050, 44_100, 96_000])
def test_any_rate(rate_hz: int) -> None:
    """The rate does not matter."""
    times_s = np.arange(3 * rate_hz) / rate_hz
    sine = np.sin(2 * np.pi * 1000 * times_s)
    assert equivalent_level_dbfs(sine, rate_hz) == pytest.approx(-3.01, abs=TONE_DB)


def test_level_is_of_the_mean_power() -> None:
    """Half the time is 3 dB less, wherever the sound lies; half as loud is 6."""
    sound, silence = tone(1000.0, 1.0, 2.5), np.zeros(round(2.5 * RATE_HZ))
    for parts in ([sound, silence], [silence, sound]):
        found = equivalent_level_dbfs(np.concatenate(parts), RATE_HZ)
        assert found == pytest.approx(-6.02, abs=TONE_DB)
    assert equivalent_level_dbfs(0.5 * sound, RATE_HZ) == pytest.approx(-9.03, abs=0.02)


def test_silence_and_short_sounds() -> None:
    """Silence has the lowest level; a sound shorter than a block is measured whole."""
    assert equivalent_level_dbfs(np.zeros(100), RATE_HZ) == -200.0
    short = equivalent_level_dbfs(tone(1000.0, 1.0, 0.05), RATE_HZ)
    assert short == pytest.approx(-3.01, abs=0.05)
