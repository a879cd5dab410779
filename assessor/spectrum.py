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
import scipy.fft
import soxr

from assessor.recording import Recording
from assessor.tuning import FloatArray, midi_to_hz

Float32Array = npt.NDArray[np.float32]

FINE_RATE_HZ = 22050
COARSE_RATE_HZ = 11025

FRAME_SAMPLES = 512
FRAME_FFT = 1024
FRAME_HOP = 110
FRAME_HOP_S = FRAME_HOP / COARSE_RATE_HZ
FRAME_HALF_S = FRAME_SAMPLES / 2 / COARSE_RATE_HZ
BIN_HZ = COARSE_RATE_HZ / FRAME_FFT
BINS = int(4600 / BIN_HZ)
COMPRESSION = 0.75  # magnitudes are kept to this power

PITCHES = np.arange(36, 92)  # C2 (drop tunings) to three semitones over a 24th fret
KERNEL_OFFSETS = (-1 / 3, 0.0, 1 / 3)  # semitones; the best of the three counts
KERNEL_TOP_HZ = 4500.0
PEAK_SIGMA_HZ = 15.0

FLUX_SAMPLES = 512
FLUX_HOP = 128
FLUX_HOP_S = FLUX_HOP / FINE_RATE_HZ
FLUX_LAG = 3  # frames
FLUX_BANDS_PER_OCTAVE = 5
FLUX_BAND_HZ = (90.0, 9000.0)
HIGH_FLUX_HZ = 2500.0
FLUX_FLOOR_PERCENTILE = 8
FLUX_FLOOR_GAIN = 10.0  # energies count from this far above a band's own floor
FLUX_FLOOR_DB = -70.0  # and from this far below the loudest band and moment

STEP_GAP_FRAMES = 2
STEP_FRAMES = 4

ENERGY_HOP = 21  # samples of the fine sound: 0.95 ms


@dataclass(frozen=True)
class Spectrum:
    """A recording as the ear sees it.

    Attributes
    ----------
    fine : shape=(n,), float32
        The sound at `FINE_RATE_HZ`.
    coarse : shape=(n // 2,), float32
        The sound at `COARSE_RATE_HZ`.
    magnitude : shape=(frames, BINS), float32
        Compressed magnitudes of the frames.
    salience : shape=(frames, len(PITCHES)), float32
        Of each pitch, tuned to the instrument.
    pitch_step : shape=(frames,), float32
        Contrast between the best pitch after and before each frame.
    flux, high_flux : shape=(flux frames,), float32
        Mean rise of the logarithmic band energies, of all bands and of those
        above `HIGH_FLUX_HZ`, where a pick is heard.
    cumulative_energy : shape=(n // ENERGY_HOP + 1,)
        Sum of squares of `fine` up to each `ENERGY_HOP`.
    tuning_cents : float
        Offset of the instrument from A4 = 440 Hz, in -50 to 50.
    """

    fine: Float32Array
    coarse: Float32Array
    magnitude: Float32Array
    salience: Float32Array
    pitch_step: Float32Array
    flux: Float32Array
    high_flux: Float32Array
    cumulative_energy: FloatArray
    tuning_cents: float

    @property
    def duration_s(self) -> float:
        """Length of the sound in seconds."""
        return len(self.fine) / FINE_RATE_HZ

    @property
    def pitch_kernel(self) -> tuple[FloatArray, Float32Array]:
        """MIDI numbers, shape=(n,), and kernels, shape=(BINS, n), of the grid."""
        tuning_cents = round(self.tuning_cents)
        return offset_pitches(tuning_cents), _pitch_kernel(tuning_cents)

    def salience_of(self, spectra: Float32Array) -> Float32Array:
        """Salience of each pitch in other spectra, shape=(n, BINS) to (n, pitches)."""
        return _salience(spectra, self.tuning_cents)

    def peaks_of(self, spectra: Float32Array) -> Float32Array:
        """How well each pitch's partials are peaks, shape=(n, BINS) to (n, pitches)."""
        return _best_offset(spectra, _peak_kernel(round(self.tuning_cents)))

    def power(self, start_s: FloatArray, end_s: FloatArray) -> FloatArray:
        """Mean power of the fine sound between two times, elementwise."""
        last = len(self.cumulative_energy) - 1
        scale = FINE_RATE_HZ / ENERGY_HOP
        start = np.clip(start_s * scale, 0, last - 1)
        end = np.clip(end_s * scale, start + 1, last)
        energy = self._energy_until(end) - self._energy_until(start)
        return np.maximum(energy, 0.0) / ((end - start) * ENERGY_HOP)

    def _energy_until(self, place: FloatArray) -> FloatArray:
        """Energy up to a fractional place of `cumulative_energy`."""
        before = np.minimum(place.astype(np.intp), len(self.cumulative_energy) - 2)
        low = self.cumulative_energy[before]
        high = self.cumulative_energy[before + 1]
        return low + (place - before) * (high - low)


def analyse(recording: Recording) -> Spectrum:
    """Everything that later stages look at, computed once."""
    fine = soxr.resample(recording.samples, recording.sample_rate_hz, FINE_RATE_HZ)
    coarse = soxr.resample(fine, FINE_RATE_HZ, COARSE_RATE_HZ)
    power = framed_power(coarse, FRAME_SAMPLES, FRAME_FFT, FRAME_HOP, BINS)
    root = np.sqrt(np.sqrt(power))
    magnitude = root * np.sqrt(root)
    norm = np.sqrt(np.maximum(np.einsum("ij,ij->i", magnitude, magnitude), 1e-18))
    tuning_cents = estimate_tuning(magnitude)
    salience = _salience(magnitude, tuning_cents)
    rise = band_rise(fine)
    return Spectrum(
        fine=fine,
        coarse=coarse,
        magnitude=magnitude,
        salience=salience,
        pitch_step=pitch_steps(salience, norm),
        flux=rise.mean(axis=1),
        high_flux=rise[:, _first_high_band() :].mean(axis=1),
        cumulative_energy=_cumulative_energy(fine),
        tuning_cents=tuning_cents,
    )


def framed_power(
    sound: Float32Array, samples: int, fft: int, hop: int, bins: int
) -> Float32Array:
    """Power of Hann frames centred on multiples of `hop`, shape=(frames, bins)."""
    frames = len(sound) // hop + 1
    padded = np.zeros((frames - 1) * hop + samples, np.float32)
    kept = min(len(sound), len(padded) - samples // 2)
    padded[samples // 2 : samples // 2 + kept] = sound[:kept]
    windows = np.lib.stride_tricks.sliding_window_view(padded, samples)[::hop]
    hann = np.hanning(samples + 2)[1:-1].astype(np.float32)
    power = np.empty((frames, bins), np.float32)
    block = 256  # stays in cache
    for start in range(0, frames, block):
        part = scipy.fft.rfft(windows[start : start + block] * hann, fft, axis=1)
        part = part[:, :bins]
        power[start : start + block] = part.real**2 + part.imag**2
    return power


def band_rise(fine: Float32Array) -> Float32Array:
    """Rise of the log band energies over `FLUX_LAG` frames, shape=(frames, bands).

    Falls count as 0.  Each band is compared with the maximum of itself and its
    neighbours before, so that vibrato does not look like an attack (SuperFlux, Böck &
    Widmer, DAFx 2013).
    """
    bands = _flux_bands()
    power = framed_power(fine, FLUX_SAMPLES, FLUX_SAMPLES, FLUX_HOP, len(bands)) @ bands
    floor = np.percentile(power[::2], FLUX_FLOOR_PERCENTILE, axis=0) * FLUX_FLOOR_GAIN
    floor = np.maximum(floor, power.max() * 10 ** (FLUX_FLOOR_DB / 10) + 1e-20)
    level = np.log2(1 + power / floor.astype(np.float32))
    widest = level.copy()
    np.maximum(widest[:, 1:], level[:, :-1], out=widest[:, 1:])
    np.maximum(widest[:, :-1], level[:, 1:], out=widest[:, :-1])
    rise = np.zeros_like(level)
    rise[FLUX_LAG:] = np.maximum(level[FLUX_LAG:] - widest[:-FLUX_LAG], 0)
    return rise


def _first_high_band() -> int:
    """Index of the first band above `HIGH_FLUX_HZ`."""
    octaves = np.log2(HIGH_FLUX_HZ / FLUX_BAND_HZ[0])
    return int(octaves * FLUX_BANDS_PER_OCTAVE)


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


def _salience(spectra: Float32Array, tuning_cents: float) -> Float32Array:
    """Salience of each pitch."""
    return _best_offset(spectra, _pitch_kernel(round(tuning_cents)))


def _best_offset(spectra: Float32Array, kernel: Float32Array) -> Float32Array:
    """Product with a kernel, the best of the three offsets for each pitch."""
    product = spectra @ kernel
    return product.reshape(len(spectra), len(KERNEL_OFFSETS), len(PITCHES)).max(axis=1)


def offset_pitches(tuning_cents: float) -> FloatArray:
    """All pitches at the three offsets, shape=(3 * pitches,), as MIDI numbers."""
    return np.add.outer(np.array(KERNEL_OFFSETS), PITCHES).ravel() + tuning_cents / 100


@lru_cache(maxsize=128)
def _pitch_kernel(tuning_cents: int) -> Float32Array:
    return pitch_kernel(offset_pitches(tuning_cents))


@lru_cache(maxsize=128)
def _peak_kernel(tuning_cents: int) -> Float32Array:
    return peak_kernel(offset_pitches(tuning_cents))


def pitch_kernel(midi_numbers: FloatArray) -> Float32Array:
    """Prime-partial cosine kernels of pitches, shape=(BINS, n).

    Positive lobes a quarter of f0 to each side of the first and the prime partials,
    half as deep negative lobes between, weighted 1/√f; the positive part of each
    kernel has unit norm.
    """
    frequency = np.arange(BINS) * BIN_HZ
    partial = frequency[:, None] / midi_to_hz(midi_numbers)[None, :]
    whole = np.floor(partial).astype(int)
    part = partial - whole
    counts = np.zeros(int(partial.max()) + 2)
    counts[1] = 1
    for h in range(2, len(counts)):
        counts[h] = all(h % d for d in range(2, h))
    top = (KERNEL_TOP_HZ / midi_to_hz(midi_numbers)).astype(int)
    below = counts[whole] * (whole <= top)
    above = counts[whole + 1] * (whole + 1 <= top)
    lobe = np.where(part < 0.25, below, np.where(part > 0.75, above, 0))
    lobe = lobe + np.where((part >= 0.25) & (part <= 0.75), (below + above) / 2, 0)
    kernel = lobe * np.cos(2 * np.pi * partial)
    kernel /= np.sqrt(np.maximum(frequency, frequency[1]))[:, None]
    kernel[frequency > KERNEL_TOP_HZ] = 0
    positive = np.sqrt((np.maximum(kernel, 0) ** 2).sum(axis=0))
    return (kernel / positive).astype(np.float32)


def peak_kernel(midi_numbers: FloatArray) -> Float32Array:
    """Narrow kernels of pitches, shape=(BINS, n): are the partials peaks at all.

    Gaussian lobes as wide as the window's own, at partials 1 to 8, weighted 1/√f.
    High notes with few partials are told from their neighbours by these; the wide
    lobes of `pitch_kernel` are blunt there.
    """
    frequency = np.arange(BINS) * BIN_HZ
    kernel = np.zeros((BINS, len(midi_numbers)))
    for partial in range(1, 9):
        centre = partial * midi_to_hz(midi_numbers)
        lobe = np.exp(-0.5 * ((frequency[:, None] - centre) / PEAK_SIGMA_HZ) ** 2)
        kernel += lobe * (centre < KERNEL_TOP_HZ) / np.sqrt(partial)
    return (kernel / np.sqrt((kernel**2).sum(axis=0))).astype(np.float32)


def estimate_tuning(magnitude: Float32Array) -> float:
    """Offset of the instrument from A4 = 440 Hz in cents, in -50 to 50.

    The circular mean of the fractional semitones of the strongest spectral peaks
    between 150 Hz and 1 kHz in every third frame, weighted by magnitude.  Bends and
    vibrato spread the peaks and hardly move their mean.

    Parameters
    ----------
    magnitude : shape=(frames, BINS)
        Compressed magnitudes.
    """
    low, high = int(150 / BIN_HZ), int(1000 / BIN_HZ)
    frames = magnitude[::3, low - 1 : high + 1]
    inner = frames[:, 1:-1]
    loudest = inner.max(axis=1, keepdims=True)
    peak = (inner > frames[:, :-2]) & (inner >= frames[:, 2:])
    peak &= inner > 0.4 * loudest
    peak &= loudest > 0.1 * loudest.max(initial=0.0)
    row, column = np.nonzero(peak)
    if not len(row):
        return 0.0
    before, at, after = (
        np.log(np.maximum(frames[row, column + k], 1e-12)) for k in range(3)
    )
    offset = 0.5 * (before - after) / np.minimum(before - 2 * at + after, -1e-9)
    frequency = (low + column + offset) * BIN_HZ
    turn = 2j * np.pi * 12 * np.log2(frequency / 440.0)
    mean = np.sum(inner[row, column] * np.exp(turn))
    return float(100 * np.angle(mean) / (2 * np.pi))


def pitch_steps(salience: Float32Array, norm: Float32Array) -> Float32Array:
    """Contrast between the best pitch after each frame and before it, shape=(n,).

    Mean normalised salience of four frames after against four before, two frames
    left out on each side: how much better the new pitch is after, plus how much
    better the old one was before.
    """
    salience = salience / norm[:, None]
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
    contrast: Float32Array = (gained + lost) / STEP_FRAMES
    return contrast


def _cumulative_energy(fine: Float32Array) -> FloatArray:
    """Sum of squares up to each multiple of `ENERGY_HOP` samples."""
    whole = len(fine) // ENERGY_HOP
    blocks = fine[: whole * ENERGY_HOP].reshape(whole, ENERGY_HOP)
    energy = np.einsum("ij,ij->i", blocks, blocks).astype(np.float64)
    return np.concatenate([[0.0], np.cumsum(energy)])
