"""What hands do to strings besides playing notes: ticks, squeaks, sympathy.

None of these is a note; all of them are in a real take.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import signal

from assessor.tuning import STANDARD, FloatArray, midi_to_hz
from takes.measure import SAMPLE_RATE_HZ
from takes.sounds import Source

Generator = np.random.Generator


@dataclass(frozen=True)
class Hand:
    """How noisy the hands are; shares of the notes, or events a second.

    Attributes
    ----------
    landing : float
        Share of the picked notes before which the pick lands on the string.
    lift : float
        Share of the notes after which a finger lifts with a noise.
    squeak : float
        Share of the notes after which a finger slides along a wound string.
    sympathy : float
        Share of the notes that set an open string going, very softly.
    handling_per_s : float
        Knocks and rubs anywhere.
    """

    landing: float = 0.0
    lift: float = 0.0
    squeak: float = 0.0
    sympathy: float = 0.0
    handling_per_s: float = 0.0


def draw_hand(rng: Generator) -> Hand:
    """Draw clean hands (one in four) or noisy ones."""
    if rng.random() < 0.25:
        return Hand()
    landing, lift, squeak, sympathy = (
        float(rng.uniform(0.1, 0.9)) if rng.random() < p else 0.0
        for p in (0.6, 0.5, 0.35, 0.4)
    )
    handling = float(rng.uniform(0.2, 2.5)) if rng.random() < 0.4 else 0.0
    return Hand(landing, lift, 0.3 * squeak, sympathy, handling)


def _log_uniform(rng: Generator, low: float, high: float) -> float:
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def burst(
    rng: Generator, seconds: float, low_hz: float, high_hz: float, *, decaying: bool
) -> FloatArray:
    """Noise in a random band, dying away or swelling; 1 at its peak."""
    count = max(int(seconds * SAMPLE_RATE_HZ), 16)
    middle_hz = _log_uniform(rng, low_hz, high_hz)
    band = [0.6 * middle_hz, min(1.7 * middle_hz, 0.45 * SAMPLE_RATE_HZ)]
    shape = (
        np.exp(-np.linspace(0, rng.uniform(2, 6), count))
        if decaying
        else np.hanning(count)
    )
    noise = np.concatenate([rng.normal(size=count) * shape, np.zeros(256)])
    sos = signal.butter(1, band, "band", fs=SAMPLE_RATE_HZ, output="sos")
    filtered = signal.sosfilt(sos, noise)
    return np.asarray(filtered / (np.abs(filtered).max() + 1e-12))


def knock(rng: Generator, damped: Sequence[Source]) -> FloatArray:
    """Return the start of a damped note, filtered, or a synthetic one."""
    if not damped or rng.random() < 0.4:
        return burst(rng, _log_uniform(rng, 0.002, 0.03), 150, 5000, decaying=True)
    source = damped[int(rng.integers(len(damped)))]
    count = int(_log_uniform(rng, 0.004, 0.04) * SAMPLE_RATE_HZ)
    start = max(source.onset_sample - count // 4, 0)
    piece = source.samples[start : start + count]
    # High-pass, or the knock has the pitch of the damped string.
    sos = signal.butter(
        2, _log_uniform(rng, 600, 3000), "high", fs=SAMPLE_RATE_HZ, output="sos"
    )
    cut = signal.sosfilt(sos, piece * np.hanning(len(piece)))
    return np.asarray(cut / (np.abs(cut).max() + 1e-12))


def squeak(rng: Generator) -> FloatArray:
    """Draw a finger along a wound string: a rising or falling whistle in noise."""
    count = int(rng.uniform(0.03, 0.16) * SAMPLE_RATE_HZ)
    sweep_hz = np.geomspace(rng.uniform(800, 2500), rng.uniform(800, 4000), count)
    phase = 2 * np.pi * np.cumsum(sweep_hz) / SAMPLE_RATE_HZ
    tone = np.sin(phase + 0.8 * np.cumsum(rng.normal(0, 0.15, count)))
    noise = rng.normal(0, rng.uniform(0.2, 0.8), count)
    out = (tone + noise) * np.hanning(count)
    return np.asarray(out / np.abs(out).max())


def sympathy(rng: Generator) -> FloatArray:
    """Draw an open string that answers: a soft tone, slow to come and to go."""
    midi = int(rng.choice(STANDARD.open_midi))
    count = int(rng.uniform(0.3, 1.5) * SAMPLE_RATE_HZ)
    times_s = np.arange(count) / SAMPLE_RATE_HZ
    out = np.zeros(count)
    for partial in range(1, int(rng.integers(3, 7))):
        f0_hz = partial * midi_to_hz(midi + rng.normal(0, 0.04))
        decay = np.exp(-times_s * rng.uniform(1, 4))
        wave = np.sin(2 * np.pi * f0_hz * times_s + rng.uniform(0, 2 * np.pi))
        out += rng.uniform(0.1, 1) / partial * decay * wave
    rise = np.minimum(times_s / rng.uniform(0.02, 0.15), 1)
    fall = np.minimum((times_s[-1] - times_s) / 0.08, 1)
    out *= rise * fall
    return np.asarray(out / (np.abs(out).max() + 1e-12))


@dataclass(frozen=True)
class Moment:
    """When a note starts and ends."""

    onset_s: float
    offset_s: float


def add_noise(
    samples: FloatArray,
    moments: Sequence[Moment],
    landings_s: Sequence[float],
    hand: Hand,
    *,
    rng: Generator,
    damped: Sequence[Source],
) -> list[dict[str, Any]]:
    """Add the noises of the hands to a take, in place.

    Parameters
    ----------
    samples : shape=(n,)
        The take; the noises are scaled against its peak.
    moments : sequence of Moment
        Its notes.
    landings_s : sequence of float
        When the pick landed on a string.
    hand : Hand
    rng : numpy.random.Generator
    damped : sequence of Source
        Real damped notes to cut knocks from.

    Returns
    -------
    list of dict
        ``time_s``, ``what`` and ``level_db`` (peak, re the take's peak) of each.
    """
    peak, log = float(np.abs(samples).max()), []

    def put(what: str, noise: FloatArray, time_s: float, level_db: float) -> None:
        start = int(time_s * SAMPLE_RATE_HZ)
        piece = noise[: max(len(samples) - start, 0)]
        if start < 0 or not len(piece):
            return
        samples[start : start + len(piece)] += piece * peak * 10 ** (level_db / 20)
        log.append(
            {"time_s": round(time_s, 4), "what": what, "level_db": round(level_db, 1)}
        )

    for time_s in landings_s:
        put("landing", knock(rng, damped), time_s, -rng.uniform(14, 42))
    for moment in moments:
        if rng.random() < hand.lift:
            lift = burst(rng, rng.uniform(0.004, 0.06), 400, 5000, decaying=False)
            put(
                "lift",
                lift,
                moment.offset_s + rng.normal(0, 0.01),
                -rng.uniform(22, 52),
            )
        if rng.random() < hand.squeak:
            put("squeak", squeak(rng), moment.offset_s - 0.03, -rng.uniform(20, 45))
        if rng.random() < hand.sympathy:
            at_s = moment.onset_s if rng.random() < 0.6 else moment.offset_s
            put("sympathy", sympathy(rng), at_s, -rng.uniform(34, 58))
    length_s = len(samples) / SAMPLE_RATE_HZ
    for _ in range(int(rng.poisson(hand.handling_per_s * length_s))):
        decaying = rng.random() < 0.5
        noise = burst(rng, _log_uniform(rng, 0.002, 0.15), 60, 6000, decaying=decaying)
        put("handling", noise, rng.uniform(0, length_s), -rng.uniform(26, 70))
    return log
