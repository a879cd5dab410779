"""What the ear sees: resampled sound, framed spectra, flux and pitch salience.

Two clocks run through everything that follows:

* *frames*: `FRAME_HOP_S` (10 ms) apart, Hann windows of 46 ms at 11.025 kHz, for
  pitch;
* *flux frames*: `FLUX_HOP_S` (5.8 ms) apart, Hann windows of 23 ms at 22.05 kHz,
  for attacks.

Frame k is centred on ``k * hop``.  Pitches are the semitones `PITCHES`, moved by
the instrument's own tuning, which is found first: a guitar 30 cents sharp must not
look like a doubtful one.

The salience of a pitch is the inner product of a frame with a kernel of cosine lobes
at the first and the prime partials, weighted 1/√f (SWIPE', Camacho & Harris, J.
Acoust. Soc. Am. 124, 2008, eqs. 3-10), on magnitudes to the power 0.75.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
import soxr

from assessor.frames import (
    BIN_HZ,
    FINE_RATE_HZ,
    Float32Array,
    Frames,
    centred,
    framed_power,
)
from assessor.kernels import (
    PITCHES,
    best_offset,
    offset_pitches,
    tuned_grid_kernel,
    tuned_peak_kernel,
    tuned_pitch_kernel,
)
from assessor.recording import Recording
from assessor.tuning import FloatArray

Float16Array = npt.NDArray[np.float16]

FLUX_SAMPLES = 512
FLUX_HOP = 128
FLUX_HOP_S = FLUX_HOP / FINE_RATE_HZ
FLUX_LAG = 3  # frames
FLUX_BANDS_PER_OCTAVE = 5
FLUX_BAND_HZ = (90.0, 9000.0)
HIGH_FLUX_HZ = 2500.0
FLUX_FLOOR_PERCENTILE = 8
FLUX_FLOOR_FRAMES = 40_000  # about as many are looked at, however long the take
FLUX_FLOOR_GAIN = 10.0  # energies count from this far above a band's own floor
FLUX_FLOOR_DB = -70.0  # and from this far below the loudest band and moment
FLUX_BLOCK = 4096  # frames at a time: 24 s

TUNING_BLOCKS = 8  # about as many are listened to for the tuning, however long

STEP_GAP_FRAMES = 2
STEP_FRAMES = 4
STEP_BLOCK = 4096  # frames at a time

ENERGY_HOP = 21  # samples of the fine sound: 0.95 ms
ALL_ENERGY_HOPS = 640_000  # of ten minutes all sums are kept: 5 MB
ENERGY_BLOCK = 65_536  # of a longer sound so many hops: 62 s


class Energy:
    """Sum of squares of a sound up to any of its moments.

    Sums up to each `ENERGY_HOP` are kept of ten minutes.  Those of an hour take 30 MB:
    of a longer sound one block is kept, and the others are summed anew when needed.

    Parameters
    ----------
    fine : shape=(n,), float32
        The sound at `FINE_RATE_HZ`.
    """

    def __init__(self, fine: Float32Array) -> None:
        self._fine = fine
        self.hops = len(fine) // ENERGY_HOP
        short = self.hops <= ALL_ENERGY_HOPS
        self._block = max(self.hops, 1) if short else ENERGY_BLOCK
        self._before = [0.0]  # each block
        for number in range(max(self.hops - 1, 0) // self._block + 1):
            self._kept = number, self._summed(number)
            self._before.append(float(self._kept[1][-1]))

    def until(self, place: FloatArray) -> FloatArray:
        """Energy up to fractional numbers of hops, elementwise."""
        hop = np.minimum(place.astype(np.intp), self.hops - 1)
        if self._block >= self.hops:
            return _between(self._kept[1], hop, place - hop)
        place, hop = np.asarray(place), np.asarray(hop)
        out, block = np.empty(place.shape), hop // self._block
        for number in np.unique(block):
            if number != self._kept[0]:
                self._kept = int(number), self._summed(int(number))
            there = block == number
            inside = hop[there] - number * self._block
            out[there] = _between(self._kept[1], inside, place[there] - hop[there])
        return out

    def _summed(self, number: int) -> FloatArray:
        """Sums up to each hop of a block and to its end, from the sound's beginning."""
        low = number * self._block
        count = min(self._block, self.hops - low)
        part = self._fine[low * ENERGY_HOP : (low + count) * ENERGY_HOP]
        blocks = part.reshape(count, ENERGY_HOP)
        sums = np.empty(count + 1)
        sums[0] = self._before[number]
        sums[1:] = np.einsum("ij,ij->i", blocks, blocks)
        return np.cumsum(sums, out=sums)


def _between(
    sums: FloatArray, hop: npt.NDArray[np.intp], part: FloatArray
) -> FloatArray:
    """Sums at some hops and parts of the next, linearly."""
    low = sums[hop]
    between: FloatArray = low + part * (sums[hop + 1] - low)
    return between


@dataclass(frozen=True)
class Spectrum:
    """A recording as the ear sees it.

    Attributes
    ----------
    fine : shape=(n,), float32
        The sound at `FINE_RATE_HZ`.
    frames : Frames
        Compressed magnitudes, on demand.
    salience : shape=(frames, len(PITCHES)), float16
        Of each pitch, tuned to the instrument.
    pitch_step : shape=(frames,), float32
        Contrast between the best pitch after and before each frame.
    flux, high_flux : shape=(flux frames,), float32
        Mean rise of the logarithmic band energies, of all bands and of those
        above `HIGH_FLUX_HZ`, where a pick is heard.
    energy : Energy
        Of `fine`, up to any moment.
    tuning_cents : float
        Offset of the instrument from A4 = 440 Hz, in -50 to 50.
    """

    fine: Float32Array
    frames: Frames
    salience: Float16Array
    pitch_step: Float32Array
    flux: Float32Array
    high_flux: Float32Array
    energy: Energy
    tuning_cents: float

    @property
    def duration_s(self) -> float:
        """Length of the sound in seconds."""
        return len(self.fine) / FINE_RATE_HZ

    def grid_of(
        self, spectra: Float32Array, low: float, high: float
    ) -> tuple[FloatArray, Float32Array]:
        """Pitches between two on a fine grid, and how well each explains spectra.

        At least one: the nearest.

        Parameters
        ----------
        spectra : shape=(n, BINS)
        low, high : float
            MIDI numbers on the instrument's own tuning.

        Returns
        -------
        tuned : shape=(m,)
            MIDI numbers as sounding, rising.
        explained : shape=(n, m)
        """
        tuning_cents = round(self.tuning_cents)
        tuned = offset_pitches(tuning_cents)
        near = np.abs(tuned - tuning_cents / 100 - (low + high) / 2)
        column = np.flatnonzero(near <= max((high - low) / 2, near.min()))
        column = column[tuned[column].argsort()]
        return tuned[column], spectra @ tuned_grid_kernel(tuning_cents)[:, column]

    def salience_of(self, spectra: Float32Array) -> Float32Array:
        """Salience of each pitch in other spectra, shape=(n, BINS) to (n, pitches)."""
        return best_offset(spectra, tuned_pitch_kernel(round(self.tuning_cents)))

    def peaks_of(self, spectra: Float32Array) -> Float32Array:
        """How well each pitch's partials are peaks, shape=(n, BINS) to (n, pitches)."""
        return best_offset(spectra, tuned_peak_kernel(round(self.tuning_cents)))

    def power(self, start_s: FloatArray, end_s: FloatArray) -> FloatArray:
        """Mean power of the fine sound between two times, elementwise."""
        last = self.energy.hops
        scale = FINE_RATE_HZ / ENERGY_HOP
        start = np.clip(start_s * scale, 0, last - 1)
        end = np.clip(end_s * scale, start + 1, last)
        energy = self.energy.until(end) - self.energy.until(start)
        power = np.maximum(energy, 0.0) / ((end - start) * ENERGY_HOP)
        return np.where(end_s > 0, power, 0.0)  # before the take there was silence


def analyse(recording: Recording) -> Spectrum:
    """Everything that later stages look at."""
    fine = recording.samples
    if recording.sample_rate_hz != FINE_RATE_HZ:
        fine = soxr.resample(fine, recording.sample_rate_hz, FINE_RATE_HZ)
    flux, high_flux = spectral_flux(fine)
    frames = Frames(fine)
    tuning_cents = estimate_tuning(frames)
    salience, pitch_step = _pitches(frames, tuning_cents)
    return Spectrum(
        fine=fine,
        frames=frames,
        salience=salience,
        pitch_step=pitch_step,
        flux=flux,
        high_flux=high_flux,
        energy=Energy(fine),
        tuning_cents=tuning_cents,
    )


# --------------------------------------------------------------------- flux


def spectral_flux(fine: Float32Array) -> tuple[Float32Array, Float32Array]:
    """Mean rise of the log band energies over `FLUX_LAG` frames, shape=(frames,).

    Of all bands, and of those above `HIGH_FLUX_HZ`.  Falls count as 0.  Each band is
    compared with the maximum of itself and its neighbours before, so that vibrato
    does not look like an attack (SuperFlux, Böck & Widmer, DAFx 2013).
    """
    count = len(fine) // FLUX_HOP + 1
    # silence before the take: it may begin with the very attack
    power = np.zeros((FLUX_LAG + count, _flux_bands().shape[1]), np.float32)
    for first in range(0, count, FLUX_BLOCK):
        part = power[FLUX_LAG + first : FLUX_LAG + first + FLUX_BLOCK]
        part[:] = _band_power(fine, first, len(part))
    some = power[FLUX_LAG :: max(2, count // FLUX_FLOOR_FRAMES)]
    floor = np.percentile(some, FLUX_FLOOR_PERCENTILE, axis=0) * FLUX_FLOOR_GAIN
    floor = np.maximum(floor, power.max() * 10 ** (FLUX_FLOOR_DB / 10) + 1e-20)
    high = int(np.log2(HIGH_FLUX_HZ / FLUX_BAND_HZ[0]) * FLUX_BANDS_PER_OCTAVE)
    flux = np.empty((2, count), np.float32)
    for first in range(0, count, FLUX_BLOCK):
        part = power[first : first + FLUX_LAG + FLUX_BLOCK]
        rise = _band_rise(part / floor.astype(np.float32))
        kept = slice(first, first + len(rise))
        flux[0, kept] = rise.mean(axis=1)
        flux[1, kept] = rise[:, high:].mean(axis=1)
    return flux[0], flux[1]


def _band_power(fine: Float32Array, first: int, count: int) -> Float32Array:
    """Band energies of some flux frames, shape=(count, bands)."""
    sound = centred(fine, FLUX_SAMPLES, FLUX_HOP, first, count)
    bands = _flux_bands()
    power = framed_power(sound, FLUX_SAMPLES, FLUX_SAMPLES, FLUX_HOP, len(bands))
    return power @ bands


def _band_rise(power: Float32Array) -> Float32Array:
    """Rise of the log energies (over their floor) after the first `FLUX_LAG` frames."""
    level = np.log2(1 + power)
    widest = level.copy()
    np.maximum(widest[:, 1:], level[:, :-1], out=widest[:, 1:])
    np.maximum(widest[:, :-1], level[:, 1:], out=widest[:, :-1])
    return np.maximum(level[FLUX_LAG:] - widest[:-FLUX_LAG], 0)


@lru_cache(maxsize=1)
def _flux_bands() -> Float32Array:
    """Triangular bands, each normalised to unit sum, shape=(flux bins, bands)."""
    low, high = FLUX_BAND_HZ
    count = int(np.log2(high / low) * FLUX_BANDS_PER_OCTAVE)
    centre = low * 2 ** (np.arange(count + 2) / FLUX_BANDS_PER_OCTAVE)
    bin_hz = FINE_RATE_HZ / FLUX_SAMPLES
    frequency = np.arange(FLUX_SAMPLES // 2 + 1) * bin_hz
    width = np.maximum(centre[1:-1] - centre[:-2], bin_hz)
    bands = np.maximum(1 - np.abs(frequency[:, None] - centre[1:-1]) / width, 0)
    return (bands / bands.sum(axis=0)).astype(np.float32)


# -------------------------------------------------------------------- pitch


def _pitches(frames: Frames, tuning_cents: float) -> tuple[Float16Array, Float32Array]:
    """Salience of each pitch, shape=(frames, pitches), and the pitch steps."""
    kernel = tuned_pitch_kernel(round(tuning_cents))
    salience = np.empty((len(frames), len(PITCHES)), np.float16)  # an hour: 40 MB
    norm = np.empty(len(frames), np.float32)
    for first in frames.blocks():
        block = frames.block(first)
        part = slice(first, first + len(block))
        salience[part] = best_offset(block, kernel)
        norm[part] = np.sqrt(np.einsum("ij,ij->i", block, block))
    return salience, pitch_steps(salience, np.maximum(norm, 1e-9))


def pitch_steps(salience: Float16Array, norm: Float32Array) -> Float32Array:
    """Contrast between the best pitch after each frame and before it, shape=(n,).

    Mean normalised salience of four frames after against four before, two frames
    left out on each side: how much better the new pitch is after, plus how much
    better the old one was before.
    """
    frames = len(salience)
    reach = STEP_GAP_FRAMES + STEP_FRAMES
    contrast = np.empty(frames, np.float32)
    for first in range(0, frames, STEP_BLOCK):
        low, high = max(first - reach, 0), min(first + STEP_BLOCK + reach, frames)
        part = salience[low:high] / norm[low:high, None]
        last = min(first + STEP_BLOCK, frames)
        contrast[first:last] = _contrast(part)[first - low : last - low]
    return contrast


def _contrast(salience: Float32Array) -> Float32Array:
    """`pitch_steps` of a stretch of normalised saliences."""
    frames = len(salience)
    total = np.zeros((frames + 1, salience.shape[1]), np.float32)
    np.cumsum(salience, axis=0, out=total[1:])
    at = np.arange(frames)
    reach = STEP_GAP_FRAMES + STEP_FRAMES
    after = total[np.minimum(at + reach, frames)]
    after = after - total[np.minimum(at + STEP_GAP_FRAMES, frames)]
    before = total[np.maximum(at - STEP_GAP_FRAMES + 1, 0)]
    before = before - total[np.maximum(at - reach + 1, 0)]
    new, old = after.argmax(axis=1), before.argmax(axis=1)
    gained = after[at, new] - after[at, old]
    lost = before[at, old] - before[at, new]
    return (gained + lost) / STEP_FRAMES


def estimate_tuning(frames: Frames) -> float:
    """Offset of the instrument from A4 = 440 Hz in cents, in -50 to 50.

    The circular mean of the fractional semitones of the strongest spectral peaks
    between 150 Hz and 1 kHz in every third frame, weighted by magnitude.  Bends and
    vibrato spread the peaks and hardly move their mean.  A long take is sampled.
    """
    blocks = frames.blocks()
    some = blocks[:: max(1, len(blocks) // TUNING_BLOCKS)]
    mean = sum(_peak_turns(frames.block(first)[::3]) for first in some)
    return float(100 * np.angle(mean) / (2 * np.pi))


def _peak_turns(magnitude: Float32Array) -> complex:
    """Sum of the peaks' magnitudes, each turned by its place in the semitone."""
    low, high = int(150 / BIN_HZ), int(1000 / BIN_HZ)
    part = magnitude[:, low - 1 : high + 1]
    inner = part[:, 1:-1]
    loudest = inner.max(axis=1, keepdims=True)
    peak = (inner > part[:, :-2]) & (inner >= part[:, 2:])
    peak &= inner > 0.4 * loudest
    peak &= loudest > 0.1 * loudest.max(initial=0.0)
    row, column = np.nonzero(peak)
    before, at, after = (
        np.log(np.maximum(part[row, column + k], 1e-12)) for k in range(3)
    )
    offset = 0.5 * (before - after) / np.minimum(before - 2 * at + after, -1e-9)
    frequency = (low + column + offset) * BIN_HZ
    turn = 2j * np.pi * 12 * np.log2(frequency / 440.0)
    return complex(np.sum(inner[row, column] * np.exp(turn)))
