"""Plucked tones and takes made by hand, with exact truth.

A tone is a sum of decaying partials that begin at one moment, in phases that spread
their energy over the whole period (Schroeder, IEEE Trans. Inf. Theory 16, 1970), and a
burst of noise where a pick lets the string go.  Onset, pitch and level are what was
asked for, to the rounding of the arithmetic: nothing is measured, nothing is sampled.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from assessor.lick.notation import Lick
from assessor.onset import Events, events
from assessor.recording import Recording, from_array
from assessor.spectrum import Spectrum, analyse
from assessor.tuning import midi_to_hz

FloatArray = npt.NDArray[np.floating[Any]]
Curve = Callable[[FloatArray], FloatArray]

RATE_HZ = 22050
PARTIALS = 14
PLUCKED_AT = 0.13  # of the string's length from the bridge
DECAY_S = 1.6  # to 1/e, of the fundamental; shorter for the others
DAMPING_S = 0.012  # how long a note takes to be stopped
BURST_S = 0.002
FLOOR = 3e-5  # background noise, rms: -90 dBFS
ORDER = np.arange(1, PARTIALS + 1)
STRENGTH = np.sin(np.pi * ORDER * PLUCKED_AT) / (ORDER * np.sin(np.pi * PLUCKED_AT))


@dataclass(frozen=True)
class Tone:
    """One note on one string.

    Attributes
    ----------
    onset_s, end_s : float
        When it is sounded and when it is stopped.
    midi_number : float
        Sounding pitch, fractions allowed.
    gain : float
        Amplitude of the fundamental at the onset, full scale = 1.
    cents : function or None
        Of the seconds since the onset, shape=(n,): cents above `midi_number`.
    burst : float
        Of the pick, rms at the onset over `gain`.
    """

    onset_s: float
    end_s: float
    midi_number: float
    gain: float = 0.1
    cents: Curve | None = None
    burst: float = 0.5


def vibrato(rate_hz: float, depth_cents: float) -> Curve:
    """Sine around the fretted pitch."""
    return lambda since_s: depth_cents * np.sin(2 * np.pi * rate_hz * since_s)


def glide(start_s: float, rise_s: float, cents: float) -> Curve:
    """Half a cosine up to `cents`, begun `start_s` after the onset."""

    def curve(since_s: FloatArray) -> FloatArray:
        part = np.clip((since_s - start_s) / rise_s, 0, 1)
        return cents * 0.5 * (1 - np.cos(np.pi * part))

    return curve


def jumps(*steps: tuple[float, float]) -> Curve:
    """Slurs without an attack: (seconds since the onset, cents from there on)."""

    def curve(since_s: FloatArray) -> FloatArray:
        cents = np.zeros(len(since_s))
        for at_s, above in steps:
            cents[since_s >= at_s] = above
        return cents

    return curve


def sound(
    tones: Iterable[Tone], duration_s: float, rate_hz: int = RATE_HZ
) -> FloatArray:
    """Mix of tones over a very little noise, shape=(n,)."""
    rng = np.random.default_rng(1)
    out = FLOOR * rng.standard_normal(round(duration_s * rate_hz))
    for tone in tones:
        first = int(np.ceil(tone.onset_s * rate_hz - 1e-9))
        last = min(int((tone.end_s + 5 * DAMPING_S) * rate_hz), len(out))
        since_s = np.arange(first, last) / rate_hz - tone.onset_s
        wave = _string(tone, since_s, rate_hz)
        burst = np.exp(-since_s / BURST_S) * rng.standard_normal(len(since_s))
        out[first:last] += wave + tone.gain * tone.burst * burst
    return out


def _string(tone: Tone, since_s: FloatArray, rate_hz: int) -> FloatArray:
    """Sound of the string alone."""
    f0_hz = np.full(len(since_s), midi_to_hz(tone.midi_number))
    if tone.cents is not None:
        f0_hz *= 2 ** (tone.cents(since_s) / 1200)
    turns = since_s[0] * f0_hz[0] + np.append(0, np.cumsum(f0_hz[:-1])) / rate_hz
    wave = np.zeros(len(since_s))
    for k, strength in zip(ORDER, STRENGTH, strict=True):
        if k * f0_hz.max() > 0.45 * rate_hz:
            break
        decay = np.exp(-since_s * (0.7 + 0.3 * k) / DECAY_S)
        wave += (
            strength * decay * np.cos(2 * np.pi * k * turns - np.pi * k**2 / PARTIALS)
        )
    stopped_s = np.clip(since_s - (tone.end_s - tone.onset_s), 0, None)
    return tone.gain * wave * np.exp(-stopped_s / DAMPING_S)


def record(
    tones: Sequence[Tone], duration_s: float | None = None, rate_hz: int = RATE_HZ
) -> Recording:
    """Recording of tones; it ends a second after the last unless said otherwise."""
    if duration_s is None:
        duration_s = max(tone.end_s for tone in tones) + 1.0
    return from_array(sound(tones, duration_s, rate_hz), rate_hz)


def as_written(
    lick: Lick, *, start_s: float = 1.0, pace: float = 1.0, ring_s: float = 0.0
) -> list[Tone]:
    """Every note of a lick picked, at `pace` seconds a written second.

    Each is stopped `ring_s` after its written end.
    """
    spans = zip(lick.onsets_s(), lick.ends_s(), lick.notes, strict=True)
    return [
        Tone(start_s + pace * on, start_s + pace * end + ring_s, note.midi_number)
        for on, end, note in spans
    ]


def moved(tones: Iterable[Tone], semitones: float) -> list[Tone]:
    """Tones at another pitch."""
    return [replace(t, midi_number=t.midi_number + semitones) for t in tones]


def later(tones: Iterable[Tone], by_s: float) -> list[Tone]:
    """Tones at another time."""
    return [replace(t, onset_s=t.onset_s + by_s, end_s=t.end_s + by_s) for t in tones]


def hear(recording: Recording) -> tuple[Spectrum, Events]:
    """What the ear sees, and its events."""
    seen = analyse(recording)
    return seen, events(seen)
