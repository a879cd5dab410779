"""How good the sound of a take is, in numbers, and the cautions that follow.

Levels are in dBFS, against a constant at full scale; noise and hum are given
against the playing.

Definitions
-----------
playing level
    Mean power of the 20 ms frames above a relative gate.
noise
    What is there all the time and at all frequencies between 60 Hz and 8 kHz:
    in each frequency bin the lowest tenth over time (minimum statistics, Martin
    2001, with its bias taken out), in each half octave the median over bins (so
    that a long note's partials do not count), and never more than the quietest
    frames hold.
hum
    What is there all the time at multiples of 50 or 60 Hz and stands out from
    the bins beside them.

Known limits: a noise gate hides noise and hum between the notes; sound that was
cut off and turned down later is not found to be clipped.

Source of the thresholds: measured on 414 synthesised takes, clean and degraded in
known ways, and on six played ones; the figures stand beside each.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Samples = npt.NDArray[np.float32]
FloatArray = npt.NDArray[np.float64]

CLIPPED_SHARE = 0.001
# White and pink noise 10 dB below the playing reads -16.4 to -12.6 dB, 20 dB below
# it -22.2 dB and less, heavy overdrive and rooms less than that.
NOISE_DB = -19.0
# Mains hum 20 dB below the playing reads -22.5 to -21.4 dB; what licks look like it
# without any, -44 dB and less.
HUM_DB = -30.0
# Takes with peaks at -6 dBFS read -26 to -7 dBFS, the same 30 dB down below -47.
QUIET_DBFS = -40.0

FRAME_S = 0.02
DIGITAL_SILENCE = 1e-10  # power: -100 dBFS
GATE = 0.1  # power: 10 dB below the mean, the relative gate of ITU-R BS.1770
QUIETEST_SHARE = 0.02

LONG_FRAME_S = 0.37  # 2.7 Hz to the bin: tells 100 Hz hum from a G at 98 Hz
MOST_LONG_FRAMES = 32
FEWEST_LONG_FRAMES = 4
ALWAYS_SHARE = 0.1
NOISE_BAND_HZ = (60.0, 8000.0)
MAINS_HZ = (50, 60)
HUM_LINES = 8
FEWEST_HUM_LINES = 3  # a note at 100 Hz has two of the first eight
HUM_PROMINENCE = 20.0  # power: 13 dB over the bins beside the line
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
    """What sounds all the time.

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
    floor = steady_floor(samples, sample_rate_hz, powers)
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
    size = round(FRAME_S * sample_rate_hz)
    framed = samples[: len(samples) // size * size].reshape(-1, size)
    return np.einsum("ij,ij->i", framed, framed).astype(np.float64) / size


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


def steady_floor(
    samples: Samples, sample_rate_hz: int, powers: FloatArray
) -> Floor | None:
    """Noise and hum of a take; None when it is too short (under 1.5 s) to tell.

    Parameters
    ----------
    samples : shape=(n,)
    sample_rate_hz : int
    powers : shape=(frames,)
        From `frame_powers`.
    """
    spectra = _spectra(samples, sample_rate_hz)
    live = powers[powers > DIGITAL_SILENCE]
    if spectra is None or not len(live):
        return None
    quietest = float(np.quantile(live, QUIETEST_SHARE))
    rank = int(ALWAYS_SHARE * len(spectra.power))
    hums = {mains: _hum_power(spectra, mains, rank) for mains in MAINS_HZ}
    mains_hz = max(hums, key=lambda mains: hums[mains])
    return Floor(
        noise=min(_noise_power(spectra, rank), quietest),
        hum=min(hums[mains_hz], quietest),
        mains_hz=mains_hz,
    )


@dataclass(frozen=True)
class _Spectra:
    """Power per bin of long frames spread over a take, shape=(frames, bins)."""

    power: Samples
    bin_hz: float


def _spectra(samples: Samples, sample_rate_hz: int) -> _Spectra | None:
    """Spectra of at most 32 long frames with any sound in them, up to 8 kHz."""
    size = 2 ** round(np.log2(LONG_FRAME_S * sample_rate_hz))
    count = min(MOST_LONG_FRAMES, len(samples) // size)
    if count < FEWEST_LONG_FRAMES:
        return None
    window = np.hanning(size).astype(np.float32)
    bins = int(min(NOISE_BAND_HZ[1], sample_rate_hz / 2) * size / sample_rate_hz)
    power: list[Samples] = []
    for start in np.linspace(0, len(samples) - size, count).astype(int):
        frame = samples[start : start + size]
        if np.dot(frame, frame) > DIGITAL_SILENCE * size:
            half = np.fft.rfft(frame * window)[:bins]
            power.append(np.square(half.real) + np.square(half.imag))
    if len(power) < FEWEST_LONG_FRAMES:
        return None
    scale = 2.0 / (size * float(np.dot(window, window)))
    return _Spectra(np.float32(scale) * np.array(power), sample_rate_hz / size)


def _noise_power(spectra: _Spectra, rank: int) -> float:
    """Power of the noise, from the bins' rank-th lowest values over time."""
    count = len(spectra.power)
    lowest = np.partition(spectra.power, rank, axis=0)[rank]
    # Powers of noise are exponentially distributed: the mean of the rank-th of
    # n is this share of their mean (David & Nagaraja, Order Statistics, 2003).
    bias = sum(1.0 / (count - i) for i in range(rank + 1))
    octaves = np.log2(NOISE_BAND_HZ[1] / NOISE_BAND_HZ[0])
    edges = NOISE_BAND_HZ[0] * 2.0 ** np.arange(0.0, octaves + 0.5, 0.5)
    bands = np.split(lowest, np.round(edges / spectra.bin_hz).astype(int))[1:]
    return sum(float(np.median(band)) * len(band) for band in bands if len(band)) / bias


def _hum_power(spectra: _Spectra, mains_hz: int, rank: int) -> float:
    """Power of the lines of one mains frequency; 0 when they are too few."""
    found = []
    for line in range(1, HUM_LINES + 1):
        centre = round(line * mains_hz / spectra.bin_hz)
        lobe = spectra.power[:, centre - HALF_LINE_BINS : centre + HALF_LINE_BINS + 1]
        beside = np.hstack(
            [
                spectra.power[
                    :, centre - 4 * HALF_LINE_BINS : centre - 2 * HALF_LINE_BINS
                ],
                spectra.power[
                    :, centre + 2 * HALF_LINE_BINS : centre + 4 * HALF_LINE_BINS
                ],
            ]
        )
        always = float(np.partition(lobe.sum(axis=1), rank)[rank])
        background = lobe.shape[1] * float(
            np.median(np.partition(beside, rank, 0)[rank])
        )
        if always > HUM_PROMINENCE * background:
            found.append(always)
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
