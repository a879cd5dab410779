"""How good the sound of a take is, in numbers, and the cautions that follow.

Levels are in dBFS, against a constant at full scale; noise and hum are given
against the playing.

Definitions
-----------
playing level
    Mean power of the 20 ms frames above a relative gate.
noise
    Power of the quietest half second, in stretches of 40 ms, none with an attack in
    it.  Told only where noise is alone, so that most of these stretches hardly
    repeat themselves after 0.75 to 20 ms, as a fading note and hum do; else taken
    as none.
hum
    Power at the multiples of 50 or 60 Hz that stand out from the bins beside them
    and stay the same through the take.

Known limits: a noise gate hides noise and hum between the notes, and so does
playing without any rest; sound that was cut off and turned down later is not found
to be clipped.

Source of the thresholds: measured on 621 takes of a sampled guitar and 414 put
together from recorded notes, each clean or degraded in a known way, and on six
played ones.  The figures stand beside each; no take is flagged for anything but
what was done to it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Samples = npt.NDArray[np.float32]
FloatArray = npt.NDArray[np.float64]

CLIPPED_SHARE = 0.001  # one millisecond in each second of playing
# White or pink noise 10 dB below the playing reads -12.6 to -9.8 dB, 20 dB below it
# -20.4 dB and less.
NOISE_DB = -17.0
# Hum 20 dB below the playing reads -22.4 to -21.0 dB; without any, none is found.
HUM_DB = -30.0
# Takes that peak at -6 to -12 dBFS read -30 to -6 dBFS, the same 30 dB down -43 and
# less.
QUIET_DBFS = -40.0

FRAME_S = 0.02
# Peak to peak: between one and two steps of 16 bits.  Not a power, as what was
# digital silence may have become a constant.
DIGITAL_SILENCE = 4e-5
GATE = 0.1  # power: 10 dB below the mean, the relative gate of ITU-R BS.1770

STRETCH_FRAMES = 2  # two periods of 50 Hz
STEADY = 2.0  # power: frames 3 dB apart hold an attack or the end of a note
QUIET_STRETCHES = 12
FEWEST_FRAMES = 50  # one second
NOISE_LIKE = 0.5  # noise repeats by 0.1 to 0.25, a fading note by 0.8 and more
SHORTEST_PERIOD_S = 0.00075  # of the highest note: 24th fret, E6, 1,319 Hz

LONG_FRAME_S = 0.37  # 2.7 Hz to the bin: tells 100 Hz hum from a G at 98 Hz
MOST_LONG_FRAMES = 24
FEWEST_LONG_FRAMES = 4
MAINS_HZ = (50, 60)
HUM_LINES = 8
FEWEST_HUM_LINES = 3  # a note at 100 Hz has two of the first eight
HUM_PROMINENCE = 20.0  # power: 13 dB over the bins beside the line
HUM_SWING = 4.0  # power: a line whose median is 6 dB above its quartile is a note
HALF_LINE_BINS = 2  # a Hann window's main lobe

TINY = 1e-20  # power of -200 dB, stands for none


@dataclass(frozen=True)
class Flag:
    """One caution about a recording, with its number.

    Attributes
    ----------
    kind : str
        ``clipped``, ``noisy``, ``hum``, ``quiet``, ``out_of_phase``.
    value, limit : float
        Measured value and the limit it broke, in `unit`.
    unit : str
    message : str
        One sentence for the player, with the remedy.
    """

    kind: str
    value: float
    limit: float
    unit: str
    message: str


@dataclass(frozen=True)
class Floor:
    """What sounds beside the playing.

    Attributes
    ----------
    noise, hum : float
        Power, full scale = 1.
    mains_hz : int
        50 or 60, whichever the hum fits better.
    """

    noise: float
    hum: float
    mains_hz: int


def check(samples: Samples, sample_rate_hz: int, *, clipped: int) -> tuple[Flag, ...]:
    """Judge the sound of a take.

    Parameters
    ----------
    samples : shape=(n,)
        Mono, mean removed.
    sample_rate_hz : int
    clipped : int
        Number of samples that stuck at full scale when recorded.

    Returns
    -------
    tuple of Flag
        Of kinds ``clipped``, ``quiet``, ``noisy`` and ``hum``.
    """
    powers = frame_powers(samples, sample_rate_hz)
    playing = playing_frames(powers)
    level = max(TINY, float(playing.mean())) if len(playing) else TINY
    found = [
        _clipped(clipped / max(1.0, len(playing) * FRAME_S * sample_rate_hz)),
        _quiet(_decibels(level)),
    ]
    floor = floor_of(samples, sample_rate_hz, powers)
    if floor is not None:
        found += [
            _noisy(_decibels(floor.noise / level)),
            _hum(_decibels(floor.hum / level), floor.mains_hz),
        ]
    return tuple(flag for flag in found if flag is not None)


def frame_powers(samples: Samples, sample_rate_hz: int) -> FloatArray:
    """Mean power of consecutive 20 ms frames, shape=(frames,).

    >>> frame_powers(np.full(800, 0.5, np.float32), 8000)
    array([0.25, 0.25, 0.25, 0.25, 0.25])
    """
    framed = _frames(samples, sample_rate_hz)
    return np.einsum("ij,ij->i", framed, framed).astype(np.float64) / framed.shape[1]


def _frames(samples: Samples, sample_rate_hz: int) -> Samples:
    """Cut into consecutive 20 ms frames, shape=(frames, samples)."""
    size = round(FRAME_S * sample_rate_hz)
    return samples[: len(samples) // size * size].reshape(-1, size)


def playing_frames(powers: FloatArray) -> FloatArray:
    """Powers of the frames in which something is played, shape=(m,).

    Gated twice, as in Rec. ITU-R BS.1770 (there with a fixed gate first).

    >>> playing_frames(np.array([0.0, 0.0, 1e-9, 0.02, 0.04, 0.03]))
    array([0.02, 0.04, 0.03])
    """
    playing = powers
    for _ in range(2):
        if len(playing):
            playing = powers[powers >= GATE * playing.mean()]
    return playing


def floor_of(samples: Samples, sample_rate_hz: int, powers: FloatArray) -> Floor | None:
    """Noise and hum of a take; None when less than a second of it sounds.

    Parameters
    ----------
    samples : shape=(n,)
    sample_rate_hz : int
    powers : shape=(frames,)
        From `frame_powers`.
    """
    framed = _frames(samples, sample_rate_hz)
    sounding = np.flatnonzero(np.ptp(framed, axis=1) > DIGITAL_SILENCE)
    if not len(sounding):
        return None
    # Digital silence around a take is padding; inside it, it is as quiet as it gets.
    take = slice(sounding[0], sounding[-1] + 1)
    if take.stop - take.start < FEWEST_FRAMES:
        return None
    hums = _hum_powers(samples, sample_rate_hz)
    mains_hz = max(hums, key=lambda mains: hums[mains])
    noise = _noise_power(framed[take], powers[take], sample_rate_hz)
    return Floor(noise, hums[mains_hz], mains_hz)


def _noise_power(framed: Samples, powers: FloatArray, sample_rate_hz: int) -> float:
    """Power of the noise where it is alone; 0 where it never is."""
    count = len(powers) // STRETCH_FRAMES
    paired = powers[: count * STRETCH_FRAMES].reshape(count, STRETCH_FRAMES)
    waves = framed[: count * STRETCH_FRAMES].reshape(count, -1)
    steady = np.flatnonzero(paired.max(axis=1) <= STEADY * paired.min(axis=1))
    means = paired.mean(axis=1)
    quietest = steady[np.argsort(means[steady], kind="stable")[:QUIET_STRETCHES]]
    repeating = [_repeating_share(waves[k], sample_rate_hz) for k in quietest]
    if not len(quietest) or np.quantile(repeating, 0.75) >= NOISE_LIKE:
        return 0.0
    return float(np.median(means[quietest]))


def _repeating_share(stretch: Samples, sample_rate_hz: int) -> float:
    """Share of a stretch's power that repeats after some period, 0 to 1.

    The largest normalised autocorrelation, by Fourier transform.
    """
    size = len(stretch)
    wave = stretch.astype(np.float64) - stretch.mean()
    transformed = np.fft.rfft(wave, 2 * size)
    lags = np.arange(round(SHORTEST_PERIOD_S * sample_rate_hz), size // 2 + 1)
    products = np.fft.irfft(np.abs(transformed) ** 2)[lags]
    energy = np.concatenate([[0.0], np.cumsum(wave**2)])
    norm = np.sqrt(energy[size - lags] * (energy[size] - energy[lags]))
    return float(np.clip((products / np.maximum(norm, TINY)).max(), 0.0, 1.0))


def _hum_powers(samples: Samples, sample_rate_hz: int) -> dict[int, float]:
    """Power of the hum of each mains frequency."""
    size = 2 ** round(np.log2(LONG_FRAME_S * sample_rate_hz))
    count = min(MOST_LONG_FRAMES, len(samples) // size)
    if count < FEWEST_LONG_FRAMES:
        return dict.fromkeys(MAINS_HZ, 0.0)
    bin_hz = sample_rate_hz / size
    highest = round(HUM_LINES * max(MAINS_HZ) / bin_hz) + 4 * HALF_LINE_BINS
    window = np.hanning(size).astype(np.float32)
    spectra = np.empty((count, highest))
    for k, start in enumerate(np.linspace(0, len(samples) - size, count).astype(int)):
        half = np.fft.rfft(samples[start : start + size] * window)[:highest]
        spectra[k] = np.square(half.real) + np.square(half.imag)
    spectra *= 2.0 / (size * float(np.dot(window, window)))
    return {mains: _hum_power(spectra, mains / bin_hz) for mains in MAINS_HZ}


def _hum_power(spectra: FloatArray, mains_bins: float) -> float:
    """Power of the lines of one mains frequency; 0 when they are too few."""
    found = []
    quarter, middle = len(spectra) // 4, len(spectra) // 2
    for line in range(1, HUM_LINES + 1):
        centre, half = round(line * mains_bins), HALF_LINE_BINS
        lobe = spectra[:, centre - half : centre + half + 1]
        below = spectra[:, max(0, centre - 4 * half) : centre - 2 * half]
        above = spectra[:, centre + 2 * half + 1 : centre + 4 * half + 1]
        powers = np.sort(lobe.sum(axis=1))
        beside = np.sort(np.hstack([below, above]), axis=0)[quarter]
        stands_out = powers[quarter] > HUM_PROMINENCE * lobe.shape[1] * np.median(
            beside
        )
        if stands_out and powers[middle] < HUM_SWING * powers[quarter]:
            found.append(float(powers[quarter]))
    return sum(found) if len(found) >= FEWEST_HUM_LINES else 0.0


def _decibels(power: float) -> float:
    return float(10.0 * np.log10(max(power, TINY)))


def _clipped(share: float) -> Flag | None:
    if share <= CLIPPED_SHARE:
        return None
    message = (
        f"{share:.1%} of the playing hits the top of the recorder's range and is cut "
        "off; turn the input down until the hardest picking stays below it"
    )
    return Flag("clipped", share, CLIPPED_SHARE, "share of playing", message)


def _quiet(level_dbfs: float) -> Flag | None:
    if level_dbfs >= QUIET_DBFS:
        return None
    message = (
        f"the playing lies {-level_dbfs:.0f} dB below full scale, which is very soft; "
        "turn the input up or move the microphone closer"
    )
    return Flag("quiet", level_dbfs, QUIET_DBFS, "dBFS", message)


def _noisy(noise_db: float) -> Flag | None:
    if noise_db <= NOISE_DB:
        return None
    message = (
        f"the background noise lies only {-noise_db:.0f} dB below the playing; move "
        "the microphone closer, play louder, or record where it is quieter"
    )
    return Flag("noisy", noise_db, NOISE_DB, "dB re playing", message)


def _hum(hum_db: float, mains_hz: int) -> Flag | None:
    if hum_db <= HUM_DB:
        return None
    message = (
        f"a mains hum of {mains_hz} Hz lies only {-hum_db:.0f} dB below the playing; "
        "turn the guitar away from amplifier and power supplies, or try another cable "
        "or pickup"
    )
    return Flag("hum", hum_db, HUM_DB, "dB re playing", message)
