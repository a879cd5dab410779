"""A plucked string whose pitch may move while it sounds.

What a loop of a delay and a loss filter holds after a time is known without running
the loop: each partial has decayed by its own factor (Jaffe & Smith, "Extensions of the
Karplus-Strong plucked-string algorithm", Computer Music Journal 7(2), 1983).  So the
period of the string is computed directly, as a wave table, at every `ROW_SAMPLES`, and
read at the phase that the pitch asks for, interpolated between places and tables.
Bends and slurs are then exact to the sample, and all of it is array arithmetic.

Partials are whole multiples: a stiff string's are a little wider, which would move the
pitch that is heard; here it is the one that is written.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from assessor.tuning import FloatArray, midi_to_hz

SAMPLE_RATE_HZ = 44100

Float32Array = npt.NDArray[np.float32]

ROW_SAMPLES = 1024  # 23 ms from one wave table to the next
TABLE = 1024  # places in one period
BLOCK_ROWS = 48  # read together: what is in hand then fits into a processor's cache
MOST_PARTIALS = 48
NYQUIST_SHARE = 0.45  # no partial lies above this share of the sample rate

# A pick about an eighth, a pickup about a quarter of the string from the bridge: a
# partial with a node there is not heard (Jaffe & Smith 1983, section "pick position").
PICK_PLACE, PICKUP_PLACE = 0.13, 0.23
# Loss a + b f² per second, of the kind measured on strings (Bensa et al., J. Acoust.
# Soc. Am. 114, 2003, eq. 12); numbers set by ear.
LOSS_PER_S, LOSS_PER_S_KHZ2 = 1.1, 1.2
DEAD_LOSS_PER_S = 55.0

ATTACK_S = 0.0012
JOIN_S = 0.004  # from the sound before a slur to that after it
STOP_S = 0.02  # a string falls silent in this time, around the moment it is stopped
KNOCK_S = 0.012


@dataclass(frozen=True)
class Strike:
    """How the string is set going.

    Attributes
    ----------
    strength : float
        Amplitude, 1 = picked.
    corner_hz : float
        Partials above it are weaker, by 12 dB to the octave.
    knock : float
        Amplitude of the noise of pick or finger.
    """

    strength: float
    corner_hz: float
    knock: float


PICKED = Strike(1.0, 2600.0, 0.16)
HAMMERED = Strike(0.5, 1500.0, 0.03)
PULLED = Strike(0.55, 2100.0, 0.05)
SLID = Strike(0.12, 1200.0, 0.02)
MUTED = Strike(0.8, 900.0, 0.3)


@dataclass(frozen=True)
class Segment:
    """One note on a string that sounds.

    Attributes
    ----------
    length_s : float
        Until the next note on the string, or until it is stopped.
    path : shape=(k, 2)
        Seconds from the start of the note, and MIDI number there, fractions allowed.
    strike : Strike
    dead : bool
        Muted: a knock that dies at once.
    """

    length_s: float
    path: FloatArray
    strike: Strike
    dead: bool = False


def sound(segments: tuple[Segment, ...]) -> Float32Array:
    """Sound of one string from its first strike until it is stopped.

    Parameters
    ----------
    segments : tuple of Segment
        A picked note and the notes slurred from it.

    Returns
    -------
    shape=(n,)
        At `SAMPLE_RATE_HZ`; the lengths together, and half of `STOP_S` more.
    """
    highest_hz = midi_to_hz(max(float(s.path[:, 1].max()) for s in segments))
    count = int(min(MOST_PARTIALS, NYQUIST_SHARE * SAMPLE_RATE_HZ / highest_hz))
    strengths: FloatArray = np.zeros(max(count, 1))
    turns = 0.0
    parts = []
    for segment in segments:
        last = segment is segments[-1]
        samples = round((segment.length_s + 0.5 * STOP_S * last) * SAMPLE_RATE_HZ)
        part, strengths, turns = _segment(segment, samples, strengths, turns)
        parts.append(part)
    whole = np.concatenate(parts)
    stop = min(int(STOP_S * SAMPLE_RATE_HZ), len(whole))
    whole[len(whole) - stop :] *= _falling(stop)
    return whole


def _segment(
    segment: Segment, samples: int, before: FloatArray, turns: float
) -> tuple[Float32Array, FloatArray, float]:
    """Sound of one note, and the partials and the phase it leaves to the next.

    `before` are the amplitudes of the partials when it starts, `turns` the phase.
    """
    f0_hz = midi_to_hz(float(np.median(segment.path[:, 1])))
    struck = _struck(segment.strike, f0_hz, len(before))
    strengths = np.sign(struck) * np.hypot(before, struck)
    loss = _loss(f0_hz, len(before), dead=segment.dead)
    phase = turns + _turns(segment.path, samples)
    at_s = np.arange(samples // ROW_SAMPLES + 2) * (ROW_SAMPLES / SAMPLE_RATE_HZ)
    tables = _tables(strengths * np.exp(-at_s[:, None] * loss))
    out = _read(tables, phase[:samples])
    _begin(out, phase, before)
    _add(out, segment.strike.knock * _knock(dull=segment.dead))
    left = strengths * np.exp(-samples / SAMPLE_RATE_HZ * loss)
    return out, left, float(phase[-1] % 1.0)


def _struck(strike: Strike, f0_hz: float, count: int) -> FloatArray:
    """Amplitude of each partial of a string that is struck, their signs alike."""
    k = np.arange(1, count + 1)
    shape = np.sin(np.pi * k * PICK_PLACE) * np.sin(np.pi * k * PICKUP_PLACE) / k
    shape /= 1 + (k * f0_hz / strike.corner_hz) ** 2
    scale = 0.45 * strike.strength / np.sqrt(np.sum(shape**2))
    return np.asarray(scale * shape)


def _loss(f0_hz: float, count: int, *, dead: bool) -> FloatArray:
    """Decay of each partial, 1/s."""
    khz = np.arange(1, count + 1) * f0_hz / 1000
    return LOSS_PER_S + LOSS_PER_S_KHZ2 * khz**2 + DEAD_LOSS_PER_S * dead


def _turns(path: FloatArray, samples: int) -> FloatArray:
    """Phase in periods at each sample and one past the last, shape=(samples + 1,)."""
    step = midi_to_hz(path[:, 1]) / SAMPLE_RATE_HZ
    if np.all(step == step[0]):
        return np.arange(samples + 1) * step[0]
    at_s = np.arange(samples) / SAMPLE_RATE_HZ
    moving = midi_to_hz(np.interp(at_s, path[:, 0], path[:, 1])) / SAMPLE_RATE_HZ
    return np.concatenate([[0.0], np.cumsum(moving)])


def _tables(strengths: FloatArray) -> Float32Array:
    """One period for each row of amplitudes, shape=(rows, TABLE + 1).

    The last place repeats the first, so that interpolation needs no wrapping.
    """
    rows, count = strengths.shape
    spectrum = np.zeros((rows, TABLE // 2 + 1), np.complex64)
    spectrum[:, 1 : count + 1] = -0.5j * TABLE * strengths
    period = np.fft.irfft(spectrum, axis=1)
    return np.concatenate([period, period[:, :1]], axis=1)


def _read(tables: Float32Array, phase: FloatArray) -> Float32Array:
    """Read the tables one after the other at a phase, shape=(n,) in periods."""
    rows = -(-len(phase) // ROW_SAMPLES)
    out = np.empty((rows, ROW_SAMPLES), np.float32)
    for first in range(0, rows, BLOCK_ROWS):
        here = phase[first * ROW_SAMPLES : (first + BLOCK_ROWS) * ROW_SAMPLES]
        _read_block(tables, first, here, out[first : first + BLOCK_ROWS])
    return out.ravel()[: len(phase)]


def _read_block(
    tables: Float32Array, first: int, phase: FloatArray, out: Float32Array
) -> None:
    """Read from table `first` on, into shape=(rows, ROW_SAMPLES)."""
    place = np.zeros(out.shape)
    np.multiply(phase - np.floor(phase), TABLE, out=place.ravel()[: len(phase)])
    whole = place.astype(np.int32)
    share = (place - whole).astype(np.float32)
    flat, width = tables.ravel(), np.int32(tables.shape[1])
    whole += np.arange(first, first + len(out), dtype=np.int32)[:, None] * width
    out[:] = _between(flat, whole, share)
    later = _between(flat, whole + width, share)
    later -= out
    later *= np.arange(ROW_SAMPLES, dtype=np.float32) / np.float32(ROW_SAMPLES)
    out += later


def _between(
    flat: Float32Array, here: npt.NDArray[np.int32], share: Float32Array
) -> Float32Array:
    """Linear interpolation between a place and the next."""
    low = flat[here]
    high = flat[here + np.int32(1)]
    high -= low
    high *= share
    low += high
    return low


def _begin(out: Float32Array, phase: FloatArray, before: FloatArray) -> None:
    """Start from silence, or from what sounded before, instead of with a click."""
    sounding = bool(np.any(before))
    samples = min(int((JOIN_S if sounding else ATTACK_S) * SAMPLE_RATE_HZ), len(out))
    falling = _falling(samples)
    out[:samples] *= 1 - falling
    if sounding:
        old = _tables(np.stack([before, before]))
        out[:samples] += falling * _read(old, phase[:samples])


def _falling(samples: int) -> Float32Array:
    """From 1 to 0 along half a cosine, shape=(samples,)."""
    turn = np.pi * (np.arange(samples) + 0.5) / max(samples, 1)
    return np.asarray(0.5 * (1 + np.cos(turn)), np.float32)


def _add(out: Float32Array, more: Float32Array) -> None:
    """Add a sound at the start, as far as there is room."""
    room = min(len(out), len(more))
    out[:room] += more[:room]


@lru_cache(maxsize=2)
def _knock(*, dull: bool) -> Float32Array:
    """Noise of a pick (or, duller and longer, of a muted string), shape=(n,).

    The same each time: a demo of one lick is one file, whenever it is made.
    """
    length_s = KNOCK_S * (3 if dull else 1)
    samples = int(length_s * SAMPLE_RATE_HZ)
    noise = np.random.default_rng(1983).standard_normal(samples + 8)
    smooth = np.convolve(noise, np.hanning(10 if dull else 6)[1:-1], "same")[:samples]
    at = np.arange(samples) / samples
    burst = smooth * np.exp(-6 * at) * _falling(samples)
    return np.asarray(burst / np.abs(burst).max(), np.float32)
