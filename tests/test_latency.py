"""Latency found in simulated loops whose truth is exact."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from assessor.errors import CaptureError
from assessor.latency import (
    HIGH_HZ,
    LOW_HZ,
    SWEEP_S,
    Round,
    SoundLost,
    combine,
    find,
    highest_hz,
    sequence,
    sweep,
    to_play,
)

# What is promised, and what is held without noise.
PROMISED_S = 100e-6
EXACT_S = 1e-6
RATES_HZ = (16_000, 22_050, 44_100, 48_000, 96_000)
Samples = npt.NDArray[np.float32]


def loop(
    latency_s: float,
    *,
    sample_rate_hz: int = 48_000,
    drift_ppm: float = 0.0,
    noise: float = 0.0,
    gain: float = 0.3,
    seed: int = 1,
) -> Samples:
    """What comes back: the sequence is known at any time, so no resampling is needed.

    `noise` is the standard deviation of white noise, in amplitudes of the sequence.
    """
    at_s = np.arange(len(to_play(sample_rate_hz))) / sample_rate_hz
    sent_s = (at_s - latency_s) / (1 + drift_ppm / 1e6)
    clean = sequence(sent_s, sample_rate_hz)
    hiss = np.random.default_rng(seed).normal(size=len(clean))
    return (gain * (clean + noise * 0.5 * hiss)).astype(np.float32)


@pytest.mark.parametrize("sample_rate_hz", RATES_HZ)
@pytest.mark.parametrize("latency_s", [0.0007, 0.0123456, 0.31, 0.88])
def test_clean_loop(sample_rate_hz: int, latency_s: float) -> None:
    """To a microsecond, between the samples too."""
    found = find(loop(latency_s, sample_rate_hz=sample_rate_hz), sample_rate_hz)
    assert found.offset_s == pytest.approx(latency_s, abs=EXACT_S)
    assert abs(found.drift_ppm) < found.drift_error_ppm


@pytest.mark.parametrize("sample_rate_hz", RATES_HZ)
@pytest.mark.parametrize("drift_ppm", [-300, -40, 0, 150])
@pytest.mark.parametrize("noise", [0.1, 0.5])
def test_drift_and_noise(sample_rate_hz: int, drift_ppm: float, noise: float) -> None:
    """Within 0.1 ms, with noise as loud as the sweeps; the drift as sure as it says."""
    for seed, latency_s in enumerate((0.011, 0.052, 0.4)):
        heard = loop(
            latency_s,
            sample_rate_hz=sample_rate_hz,
            drift_ppm=drift_ppm,
            noise=noise,
            seed=seed,
        )
        found = find(heard, sample_rate_hz)
        assert found.offset_s == pytest.approx(latency_s, abs=PROMISED_S / 5)
        assert abs(found.drift_ppm - drift_ppm) < 5 * found.drift_error_ppm


@pytest.mark.parametrize("later_s", [0.0004, 0.002, 0.02])
@pytest.mark.parametrize("louder", [0.9, -1.5])
def test_reflections_do_not_win(later_s: float, louder: float) -> None:
    """The direct sound counts, though a wall may be louder and turn the sign."""
    heard = loop(0.02, gain=0.2) + np.float32(louder) * loop(0.02 + later_s, gain=0.2)
    assert find(heard, 48_000).offset_s == pytest.approx(0.02, abs=PROMISED_S)


def test_polarity_and_colour_do_not_matter() -> None:
    """A reversed cable, and a loudspeaker without lows."""
    heard = -np.diff(loop(0.02, noise=0.05), prepend=np.float32(0))
    assert find(heard, 48_000).offset_s == pytest.approx(0.02, abs=PROMISED_S)


def test_mains_hum_does_not_matter() -> None:
    """Ten times louder than the sequence."""
    heard = loop(0.02, gain=0.05)
    hum = 0.5 * np.sin(2 * np.pi * 50 * np.arange(len(heard)) / 48_000)
    found = find(heard + hum.astype(np.float32), 48_000)
    assert found.offset_s == pytest.approx(0.02, abs=PROMISED_S)


@pytest.mark.parametrize(
    ("heard", "words"),
    [
        (np.zeros(0, np.float32), "not heard"),
        (np.zeros(200_000, np.float32), "not heard"),
        (loop(0.02)[:100_000], "not heard"),
        (loop(1.02, noise=0.01), "not heard"),
        (loop(0.02, noise=1.0, gain=0.03)[::-1].copy(), "not heard"),
        (np.clip(loop(0.02, gain=3), -1, 1).astype(np.float32), "too loud"),
    ],
    ids=["nothing", "silence", "cut off", "too late", "noise", "clipped"],
)
def test_refused(heard: Samples, words: str) -> None:
    """What says nothing is refused with what to do."""
    with pytest.raises(CaptureError, match=words):
        find(heard, 48_000)


@pytest.mark.parametrize("seed", range(20))
def test_noise_alone_is_never_a_latency(seed: int) -> None:
    """White noise, and a guitar-like tone, hold no sequence."""
    length = len(to_play(48_000))
    hiss = np.random.default_rng(seed).normal(0, 0.1, length).astype(np.float32)
    tone = 0.3 * np.sin(2 * np.pi * 110 * (seed + 1) * np.arange(length) / 48_000)
    for heard in (hiss, tone.astype(np.float32) + hiss * np.float32(0.01)):
        with pytest.raises(CaptureError, match="not heard"):
            find(heard, 48_000)


def test_lost_sound_is_refused() -> None:
    """480 frames missing in the middle: 10 ms between the sweeps."""
    heard = loop(0.02)
    with pytest.raises(SoundLost, match="unevenly"):
        find(np.concatenate([heard[:120_000], heard[120_480:]]), 48_000)


def test_sweep_is_exponential() -> None:
    """Farina 2000 (from memory): f(t) = f1 · (f2 / f1) ** (t / T).

    Measured by the zero crossings around each tenth of the sweep.
    """
    fine_hz = 4_000_000
    at_s = np.arange(round(SWEEP_S * fine_hz)) / fine_hz
    swept = sweep(at_s, HIGH_HZ)
    rising_s = at_s[1:][(swept[:-1] < 0) & (swept[1:] >= 0)]
    middle_s = (rising_s[1:] + rising_s[:-1]) / 2
    expected_hz = LOW_HZ * (HIGH_HZ / LOW_HZ) ** (middle_s / SWEEP_S)
    cents = 1200 * np.log2(1 / np.diff(rising_s) / expected_hz)
    assert np.abs(cents[5:-5]).max() < 25  # a crossing is known to a quarter of a µs


def test_sequence_stays_in_range() -> None:
    """Below -6 dBFS, below half the sampling rate, and silent at both ends."""
    for rate_hz in RATES_HZ:
        played = to_play(rate_hz)
        assert np.abs(played).max() <= 0.5
        assert highest_hz(rate_hz) < rate_hz / 2
        assert not played[: rate_hz // 10].any()
        assert not played[-rate_hz // 10 :].any()


def test_rounds_are_combined() -> None:
    """Median and range; a drift that is sure is kept."""
    found = combine(
        [
            Round(0.050, 52.0, 3.0, 40.0),
            Round(0.053, 50.0, 3.0, 40.0),
            Round(0.051, 47.0, 3.0, 40.0),
        ]
    )
    assert found.offset_s == 0.051
    assert found.spread_s == pytest.approx(0.003)
    assert found.drift_ppm == 50.0
