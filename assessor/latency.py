"""How long sound takes from the program through output and input back: by loopback.

A known sequence, some sweeps at known times, is played and looked for in what was
recorded meanwhile.  What is found for each sweep is its delay; a line through the
delays gives the latency where playing began and by how much the two clocks drift
apart.  Repeated from new starts of the devices, it gives the spread.

Conventions
-----------
``t_in = t_out · (1 + drift) + latency``, both in seconds of nominal sampling rate from
the first frame of the same start: + drift when the input's clock runs faster.

Method
------
Exponential sweep and its inverse filter: A. Farina, "Simultaneous measurement of
impulse response and distortion with a swept-sine technique", 108th AES Convention,
2000.  The delay is the first strong peak of the envelope of the impulse response
found, so that neither a reversed polarity nor a stronger reflection moves it.

Known limits: latencies of a second and more are not found.  Through the air the way
from loudspeaker to microphone counts too, 2.9 ms a metre.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

import numpy as np
import numpy.typing as npt
from scipy import fft

from assessor.errors import CaptureError
from assessor.tuning import FloatArray

Samples = npt.NDArray[np.float32]

LOW_HZ, HIGH_HZ = 200.0, 12_000.0
HIGH_SHARE = 0.42  # of the sampling rate, where that is less
SWEEP_S = 0.25
FADE_S = 0.01
LEAD_S = 0.2
EVERY_S = 1.0  # longest latency that is found
SWEEPS = 4
ROUNDS = 6  # some sound systems differ by a block in every second start
LOUDNESS = 0.5  # -6 dBFS

# The largest of the 50,000 values of a second of noise alone lies 4 times above their
# median (Rayleigh); half of this is still clear of that.
CLEAR = 12.0
FIRST_SHARE = 0.5  # of the strongest peak: where the direct sound may begin
EVEN_S = 0.001  # sweeps further than this from one line: sound was lost between
# No peak is placed better than this in the tests without noise.
SMALLEST_S = 2e-6
SURE = 3.0  # standard errors; a smaller drift counts as none
LOUD = 0.98  # of full scale: clipped


class SoundLost(CaptureError):
    """Sound or device was lost while measuring: worth another try."""


@dataclass(frozen=True)
class Round:
    """What one start of the devices gave.

    Attributes
    ----------
    offset_s : float
        Latency at the first frame.
    drift_ppm, drift_error_ppm : float
        Drift and its standard error.
    clearness_db : float
        Weakest sweep's peak above the noise around it.
    """

    offset_s: float
    drift_ppm: float
    drift_error_ppm: float
    clearness_db: float


@dataclass(frozen=True)
class Latency:
    """Latency of a pair of devices at one sampling rate.

    Attributes
    ----------
    offset_s : float
        Median over the starts.
    spread_s : float
        Largest minus smallest.
    drift_ppm : float
        0 where none is sure.
    rounds : int
        Starts it was measured with.
    """

    offset_s: float
    spread_s: float
    drift_ppm: float
    rounds: int


def sweep(at_s: FloatArray, high_hz: float) -> FloatArray:
    """One sweep at any times, 0 before and after it; shape as `at_s`.

    Its frequency is ``LOW_HZ · (high_hz / LOW_HZ) ** (t / SWEEP_S)``.
    """
    rate = np.log(high_hz / LOW_HZ)
    phase = 2 * np.pi * LOW_HZ * SWEEP_S / rate * np.expm1(at_s / SWEEP_S * rate)
    edge = np.clip(np.minimum(at_s, SWEEP_S - at_s) / FADE_S, 0, 1)
    swept: FloatArray = np.sin(phase) * np.sin(0.5 * np.pi * edge) ** 2
    return swept


def highest_hz(sample_rate_hz: int) -> float:
    """Where the sweep ends at a sampling rate.

    >>> highest_hz(48000), highest_hz(16000)
    (12000.0, 6720.0)
    """
    return min(HIGH_HZ, HIGH_SHARE * sample_rate_hz)


def sequence(at_s: FloatArray, sample_rate_hz: int) -> FloatArray:
    """The sequence to play, at any times from its beginning; shape as `at_s`."""
    high_hz = highest_hz(sample_rate_hz)
    swept = [sweep(at_s - start_s, high_hz) for start_s in starts_s()]
    return LOUDNESS * np.sum(swept, axis=0)


def starts_s() -> FloatArray:
    """When the sweeps begin, shape=(SWEEPS,)."""
    return LEAD_S + EVERY_S * np.arange(SWEEPS)


def to_play(sample_rate_hz: int) -> Samples:
    """The sequence, shape=(n,), and time enough after it to hear its end."""
    length = round((LEAD_S + EVERY_S * SWEEPS + SWEEP_S) * sample_rate_hz)
    return sequence(np.arange(length) / sample_rate_hz, sample_rate_hz).astype(
        np.float32
    )


def find(recorded: Samples, sample_rate_hz: int) -> Round:
    """Find the sequence in what was recorded while it was played.

    Parameters
    ----------
    recorded : shape=(n,)
        From the same first frame as `to_play`.
    sample_rate_hz : int

    Raises
    ------
    CaptureError
        When it is not heard clearly, or is clipped.
    SoundLost
        When its sweeps do not lie evenly.
    """
    if len(recorded) and float(np.abs(recorded).max()) >= LOUD:
        message = (
            "the sequence comes back too loud and is clipped; turn the output or the "
            "input down, and measure again"
        )
        raise CaptureError(message)
    envelope = _envelope(recorded, sample_rate_hz)
    sent_s = starts_s()
    found = [_first_peak(envelope, at_s, sample_rate_hz) for at_s in sent_s]
    delays_s = np.array([delay_s for delay_s, _ in found])
    line, offset_s = np.polyfit(sent_s, delays_s, 1)
    misses_s = delays_s - offset_s - line * sent_s
    if np.abs(misses_s).max() > EVEN_S:
        worst_ms = 1000 * float(np.abs(misses_s).max())
        message = (
            f"the sweeps come back unevenly, by {worst_ms:.1f} ms: sound is lost on "
            "the way; close other programs and measure again"
        )
        raise SoundLost(message)
    error_s = np.sqrt(np.square(misses_s).sum() / (SWEEPS - 2))
    width_s = np.sqrt(np.square(sent_s - sent_s.mean()).sum())
    drift_error = max(float(error_s), SMALLEST_S) / float(width_s)
    clearness = min(clear for _, clear in found)
    return Round(
        offset_s=float(offset_s - line * _weighed_at_s(sample_rate_hz)),
        drift_ppm=1e6 * float(line),
        drift_error_ppm=1e6 * drift_error,
        clearness_db=20 * float(np.log10(clearness)),
    )


def _weighed_at_s(sample_rate_hz: int) -> float:
    """Time within a sweep at which a drift is felt.

    A sweep that is stretched reads late by the drift times the moment at which the
    middle of the band sounds, and is shifted in frequency by as much again.
    """
    high_hz = highest_hz(sample_rate_hz)
    middle_hz = (LOW_HZ + high_hz) / 2
    return SWEEP_S * float((np.log(middle_hz / LOW_HZ) + 1) / np.log(high_hz / LOW_HZ))


def _envelope(recorded: Samples, sample_rate_hz: int) -> FloatArray:
    """Envelope of the impulse response, shape=(n,): a peak where a sweep begins."""
    length = round(SWEEP_S * sample_rate_hz)
    size = fft.next_fast_len(len(recorded) + length, real=True)
    high_hz = highest_hz(sample_rate_hz)
    known = fft.rfft(sweep(np.arange(length) / sample_rate_hz, high_hz), size)
    heard = fft.rfft(recorded.astype(np.float64), size)
    place = (fft.rfftfreq(size, 1 / sample_rate_hz) - LOW_HZ) / (high_hz - LOW_HZ)
    # a smooth band: no ringing around the peak that could be taken for a first one
    band = np.where((place > 0) & (place < 1), np.sin(np.pi * place) ** 2, 0)
    power = np.square(known.real) + np.square(known.imag)
    inverse = band * known.conj() / (power + 1e-3 * power.max())
    analytic = np.zeros(size, np.complex128)
    analytic[: len(heard)] = heard * inverse
    envelope: FloatArray = np.abs(fft.ifft(analytic))[: len(recorded)]
    return envelope


def _first_peak(
    envelope: FloatArray, sent_s: float, sample_rate_hz: int
) -> tuple[float, float]:
    """Delay of one sweep, seconds, and how far its peak stands out."""
    first = round(sent_s * sample_rate_hz)
    part = envelope[first : first + round(EVERY_S * sample_rate_hz)]
    clear = float(part.max() / max(np.median(part), 1e-12)) if len(part) > 2 else 0.0
    peaks = _peaks(part) if clear >= CLEAR else np.zeros(0, np.intp)
    if not len(peaks):
        message = (
            "the sequence is not heard clearly in the input; connect output and input "
            "by a cable, or hold the headphone or loudspeaker to the microphone and "
            "turn it up, then measure again (a latency of a second or more is not "
            "found either)"
        )
        raise CaptureError(message)
    peak = int(peaks[0])
    before, here, after = np.log(part[peak - 1 : peak + 2])
    peak_place = peak + 0.5 * (before - after) / (before - 2 * here + after)
    return (first + peak_place) / sample_rate_hz - sent_s, clear


def _peaks(part: FloatArray) -> npt.NDArray[np.intp]:
    """Places of the peaks that may be the direct sound, in order."""
    middle = part[1:-1]
    tops = (middle >= part[:-2]) & (middle > part[2:])
    return np.flatnonzero(tops & (middle >= FIRST_SHARE * part.max())) + 1


def combine(rounds: Sequence[Round]) -> Latency:
    """Latency from one or more starts of the devices.

    >>> combine([Round(0.05, 1.0, 2.0, 40), Round(0.0501, -1.0, 2.0, 40)])
    Latency(offset_s=0.05005, spread_s=0.0001, drift_ppm=0.0, rounds=2)
    """
    offsets_s = [one.offset_s for one in rounds]
    drift_ppm = median(one.drift_ppm for one in rounds)
    error_ppm = median(one.drift_error_ppm for one in rounds) / np.sqrt(len(rounds))
    return Latency(
        offset_s=median(offsets_s),
        spread_s=round(max(offsets_s) - min(offsets_s), 9),
        drift_ppm=drift_ppm if abs(drift_ppm) > SURE * error_ppm else 0.0,
        rounds=len(rounds),
    )
