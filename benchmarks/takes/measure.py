"""When a note alone comes up, and how far it is out of tune."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from assessor.tuning import FloatArray, midi_to_hz

SAMPLE_RATE_HZ = 44100
DETUNE_TIMES_S = (0.06, 0.1, 0.15, 0.2, 0.3, 0.4, 0.6, 0.8, 1.1, 1.5)
REACH_CENTS = 150  # to each side of its name a partial is looked for: past a wrong fret


def energy_rise(samples: FloatArray, lead_s: float, drop_db: float) -> float | None:
    """When the sound comes up, in seconds after `lead_s`.

    The first time the energy of the 3 ms just past exceeds its maximum of the
    first 150 ms after `lead_s` less `drop_db`; None in silence.
    """
    window = int(0.003 * SAMPLE_RATE_HZ)
    summed = np.cumsum(np.concatenate([np.zeros(window), samples**2]))
    energy = np.append(summed[window:-1] - summed[: -window - 1], 0.0)[: len(samples)]
    peak = energy[: int((lead_s + 0.15) * SAMPLE_RATE_HZ)].max(initial=0.0)
    if peak < 1e-10:
        return None
    first = int(np.argmax(energy > peak * 10 ** (-drop_db / 10)))
    return first / SAMPLE_RATE_HZ - lead_s


def partials_cents(segment: FloatArray, f0_hz: float) -> tuple[float, float] | None:
    """Sounding pitch against `f0_hz`, from the first five partials.

    Returns
    -------
    (cents, spread_cents) or None
        Mean weighted by amplitude, and the range of the strong partials; None
        when no partial stands out.
    """
    size = 1 << 16
    magnitude = np.abs(np.fft.rfft(segment * np.hanning(len(segment)), size))
    found, weights = [], []
    for partial in range(1, 6):
        nominal = partial * f0_hz * size / SAMPLE_RATE_HZ
        if partial * f0_hz > 6000:
            break
        low, high = (round(nominal * 2.0 ** (s * REACH_CENTS / 1200)) for s in (-1, 1))
        top = low + int(np.argmax(magnitude[low : high + 1]))
        a, b, c = np.log(magnitude[top - 1 : top + 2] + 1e-12)
        bins = top + 0.5 * (a - c) / (a - 2 * b + c - 1e-12)
        if low < top < high:
            found.append(1200 * np.log2(bins / nominal))
            weights.append(magnitude[top])
    if not found:
        return None
    cents, weight = np.array(found), np.array(weights)
    strong = weight > 0.05 * weight.max()
    mean = float(np.average(cents[strong], weights=weight[strong]))
    return mean, float(np.ptp(cents[strong]))


@dataclass(frozen=True)
class Detune:
    """How far a source's pitch lies from its name, against time.

    Attributes
    ----------
    cents : tuple of float
        At `DETUNE_TIMES_S` after the onset.
    spread_cents : float
        Disagreement of the partials.
    """

    cents: tuple[float, ...]
    spread_cents: float


def detune(samples: FloatArray, onset_sample: int, midi_number: float) -> Detune:
    """Measure how a note alone is out of tune, against time."""
    f0_hz = midi_to_hz(midi_number)
    half = int(max(0.09, 7 / f0_hz) * SAMPLE_RATE_HZ / 2)
    loud = np.sqrt(np.mean(samples[onset_sample:][:4000] ** 2)) + 1e-12
    curve: list[float | None] = []
    spreads = []
    for time_s in DETUNE_TIMES_S:
        middle = onset_sample + int(time_s * SAMPLE_RATE_HZ)
        segment = samples[max(middle - half, onset_sample) : middle + half]
        too_soft = len(segment) < 1.2 * half or np.std(segment) < loud * 10**-2.5
        reading = None if too_soft else partials_cents(segment, f0_hz)
        curve.append(None if reading is None else reading[0])
        spreads += [] if reading is None else [reading[1]]
    known = [c for c in curve if c is not None] or [0.0]
    filled, last = [], known[0]
    for value in curve:
        last = last if value is None else value
        filled.append(round(last, 2))
    return Detune(tuple(filled), round(float(np.median(spreads or [0.0])), 2))
