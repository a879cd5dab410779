"""What the ear sees of sounds whose pitch, time and level are known."""

from __future__ import annotations

from dataclasses import replace

import hand_made_sound as made
import librosa
import numpy as np
import pytest
import soxr

from assessor import frames, spectrum
from assessor.frames import (
    BIN_HZ,
    BINS,
    COARSE_RATE_HZ,
    COMPRESSION,
    FINE_RATE_HZ,
    FRAME_FFT,
    FRAME_HALF_S,
    FRAME_HOP,
    FRAME_HOP_S,
    FRAME_SAMPLES,
    KEPT_BLOCKS,
    Frames,
)
from assessor.kernels import KERNEL_TOP_HZ, PITCHES, peak_kernel, pitch_kernel
from assessor.onset import FLUX_THRESHOLD, STEP_THRESHOLD
from assessor.recording import from_array
from assessor.spectrum import ENERGY_HOP, FLUX_HOP_S, Energy, Spectrum
from assessor.tuning import midi_to_hz

TUNING_TOLERANCE_CENTS = 3.0
TIME_TOLERANCE_S = FRAME_HOP_S
LEVEL_TOLERANCE_DB = 0.05
VIBRATO_SHARE = 0.05
RATES_HZ = [8000, 11025, 16000, 22050, 44100, 48000, 96000, 192000]


def _seen(*tones: made.Tone, rate_hz: int = made.RATE_HZ) -> Spectrum:
    return spectrum.analyse(made.record(tones, rate_hz=rate_hz))


def _frames(start_s: float, end_s: float) -> slice:
    """Frames whose whole window lies between two times."""
    low, high = start_s + FRAME_HALF_S, end_s - FRAME_HALF_S
    return slice(int(np.ceil(low / FRAME_HOP_S)), int(high / FRAME_HOP_S) + 1)


def _flux_frames(start_s: float, end_s: float) -> slice:
    return slice(round(start_s / FLUX_HOP_S), round(end_s / FLUX_HOP_S))


# -------------------------------------------------------------------- pitch


@pytest.mark.parametrize("midi_number", range(36, 92))
def test_the_right_pitch_is_on_top(midi_number: int) -> None:
    """In every frame of a steady tone, over the whole range that is heard."""
    seen = _seen(made.Tone(0.2, 0.9, midi_number))
    top = PITCHES[seen.salience[_frames(0.2, 0.9)].argmax(axis=1)]
    assert set(top) == {midi_number}


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_any_sampling_rate(rate_hz: int) -> None:
    """The same tone, the same pitch on top and the same length."""
    seen = _seen(made.Tone(0.2, 0.9, 64), rate_hz=rate_hz)
    assert seen.duration_s == pytest.approx(1.9, abs=1e-3)
    top = PITCHES[seen.salience[_frames(0.2, 0.9)].argmax(axis=1)]
    assert set(top) == {64}


MELODY = [made.Tone(0.3 * k, 0.3 * k + 0.3, m) for k, m in enumerate((52, 59, 64, 67))]


@pytest.mark.parametrize("cents", [-60, -49, -30, -10, 0, 10, 30, 49, 60])
def test_tuning_is_found(cents: int) -> None:
    """Up to half a semitone; beyond, it is found from the next semitone."""
    seen = _seen(*made.moved(MELODY, cents / 100))
    assert -50 <= seen.tuning_cents <= 50
    away = (seen.tuning_cents - cents + 50) % 100 - 50
    assert away == pytest.approx(0, abs=TUNING_TOLERANCE_CENTS)


def test_vibrato_hardly_moves_the_tuning() -> None:
    """Every note shaken by 30 cents on a guitar 20 cents sharp."""
    whole_turns = made.vibrato(2 / 0.3, 30)
    shaken = [replace(t, cents=whole_turns) for t in made.moved(MELODY, 0.2)]
    assert _seen(*shaken).tuning_cents == pytest.approx(20, abs=TUNING_TOLERANCE_CENTS)


@pytest.mark.parametrize("cents", [-45, 30])
def test_salience_is_tuned_to_the_instrument(cents: int) -> None:
    """On a mistuned guitar the pitch on top is the fret that was played."""
    seen = _seen(*made.moved(MELODY, cents / 100))
    for tone in MELODY:
        top = seen.salience[_frames(tone.onset_s, tone.end_s)].argmax(axis=1)
        assert set(PITCHES[top]) == {tone.midi_number}


def test_a_mistuned_guitar_fits_the_kernels_as_well() -> None:
    """As close as one that is in tune: the kernels move with the tuning."""
    fits = []
    for cents in (0, -45, 45):
        seen = _seen(*made.moved(MELODY, cents / 100))
        steady = np.arange(*_frames(0.3, 0.6).indices(10**6)[:2])
        norm = np.sqrt((seen.frames[steady] ** 2).sum(axis=1))
        fits.append(float((seen.salience[steady].max(axis=1) / norm).mean()))
    assert fits == pytest.approx([fits[0]] * 3, rel=0.01)


@pytest.mark.parametrize("midi_number", [40.0, 52.0, 64.3, 76.0])
def test_kernels_of_a_pitch(midi_number: float) -> None:
    """Wide lobes at the first and the prime partials alone; narrow ones at 1 to 8."""
    f0_hz = float(midi_to_hz(midi_number))
    wide = pitch_kernel(np.array([midi_number]))[:, 0]
    narrow = peak_kernel(np.array([midi_number]))[:, 0]
    highest = min(int(KERNEL_TOP_HZ / f0_hz) - 1, 8)
    for partial in range(1, highest + 1):
        place = round(partial * f0_hz / BIN_HZ)
        assert bool(wide[place] > 0.01) is (partial in (1, 2, 3, 5, 7))
        assert narrow[place] > 0.05
        between = round((partial + 0.5) * f0_hz / BIN_HZ)
        assert wide[between] <= 0
    assert np.linalg.norm(np.maximum(wide, 0)) == pytest.approx(1, abs=1e-4)
    assert np.linalg.norm(narrow) == pytest.approx(1, abs=1e-4)


def test_silence_has_no_tuning() -> None:
    """Nothing but a little noise: any answer inside the range, no warning."""
    noise = np.random.default_rng(2).standard_normal(FINE_RATE_HZ) * 1e-3
    seen = spectrum.analyse(from_array(noise, FINE_RATE_HZ))
    assert -50 <= seen.tuning_cents <= 50


@pytest.mark.parametrize("semitones", [-12, -5, -2, -1, 1, 2, 3, 12])
def test_a_slur_is_a_pitch_step(semitones: int) -> None:
    """A jump inside a sounding note, where nothing is struck."""
    jump = made.jumps((0.4, 100 * semitones))
    seen = _seen(made.Tone(0.3, 1.2, 62, cents=jump))
    steps = seen.pitch_step[_frames(0.35, 1.2)]
    best = _frames(0.35, 1.2).start + int(steps.argmax())
    assert steps.max() > STEP_THRESHOLD
    assert best * FRAME_HOP_S == pytest.approx(0.7, abs=2 * TIME_TOLERANCE_S)


def test_a_steady_note_has_no_pitch_step() -> None:
    """Nor has one with a usual vibrato."""
    for cents in (None, made.vibrato(5.5, 30)):
        seen = _seen(made.Tone(0.3, 1.3, 62, cents=cents))
        assert seen.pitch_step[_frames(0.4, 1.3)].max() < STEP_THRESHOLD


# --------------------------------------------------------------------- flux


def test_flux_peaks_where_something_is_struck() -> None:
    """One clear peak for each note, within a window of its onset."""
    seen = _seen(*MELODY)
    for tone in MELODY[1:]:
        near = _flux_frames(tone.onset_s - 0.1, tone.onset_s + 0.1)
        peak_s = (near.start + int(seen.flux[near].argmax())) * FLUX_HOP_S
        assert peak_s == pytest.approx(tone.onset_s, abs=3 * FLUX_HOP_S)
        assert seen.flux[near].max() > 3 * FLUX_THRESHOLD


@pytest.mark.parametrize("midi_number", [45, 57, 69, 81])
@pytest.mark.parametrize(("rate_hz", "depth_cents"), [(4, 50), (5.5, 30), (7, 20)])
def test_flux_is_not_fooled_by_vibrato(
    midi_number: int, rate_hz: float, depth_cents: float
) -> None:
    """Inside a shaken note it is far below that of the note's own beginning."""
    shaken = made.Tone(0.3, 1.6, midi_number, cents=made.vibrato(rate_hz, depth_cents))
    flux = _seen(shaken).flux
    struck = flux[_flux_frames(0.25, 0.35)].max()
    assert struck > FLUX_THRESHOLD
    assert flux[_flux_frames(0.4, 1.55)].max() < VIBRATO_SHARE * struck


def test_high_flux_hears_the_pick() -> None:
    """Above 2.5 kHz a picked note rises about as below, a slurred one hardly."""
    seen = _seen(made.Tone(0.3, 1.2, 40, cents=made.jumps((0.4, 200))))
    picked, slurred = _flux_frames(0.25, 0.35), _flux_frames(0.65, 0.78)
    assert seen.high_flux[picked].max() > 0.6 * seen.flux[picked].max()
    assert seen.high_flux[slurred].max() < 0.25 * seen.flux[slurred].max()


@pytest.mark.parametrize("gain", [0.02, 0.3, 3.0])
def test_level_does_not_matter(gain: float) -> None:
    """A take at another level: same tuning, same flux, salience in proportion."""
    sound = made.sound(MELODY, 2.0)
    plain, scaled = (
        spectrum.analyse(from_array(g * sound, made.RATE_HZ)) for g in (1.0, gain)
    )
    assert scaled.tuning_cents == pytest.approx(plain.tuning_cents, abs=0.01)
    np.testing.assert_allclose(scaled.flux, plain.flux, atol=1e-3)
    np.testing.assert_allclose(
        scaled.salience, plain.salience * gain**COMPRESSION, rtol=3e-3, atol=3e-3
    )


# ------------------------------------------------------------------- levels


@pytest.mark.parametrize("amplitude", [0.5, 0.01])
def test_power_of_a_sine(amplitude: float) -> None:
    """Half the square of the amplitude, between any two times."""
    times_s = np.arange(FINE_RATE_HZ) / FINE_RATE_HZ
    sine = amplitude * np.sin(2 * np.pi * 441 * times_s)
    seen = spectrum.analyse(from_array(sine, FINE_RATE_HZ))
    start_s = np.array([0.0, 0.1, 0.31234, 0.5])
    power = seen.power(start_s, start_s + 0.2)
    ratio_db = 10 * np.log10(power / (amplitude**2 / 2))
    assert np.abs(ratio_db).max() < LEVEL_TOLERANCE_DB


def test_power_beyond_the_ends() -> None:
    """What lies before the sound or after it is no error."""
    seen = _seen(made.Tone(0.2, 0.5, 60))
    power = seen.power(np.array([-1.0, 1.0, 9.0]), np.array([-0.5, 9.0, 10.0]))
    assert np.isfinite(power).all()
    assert (power >= 0).all()


# ------------------------------------------------------------------- frames


def test_frames_are_librosas() -> None:
    """librosa.stft of the same sound at the coarse rate, to the power 0.75."""
    fine = made.sound(MELODY, 2.0).astype(np.float32)
    coarse = soxr.resample(fine, FINE_RATE_HZ, COARSE_RATE_HZ)
    expected = librosa.stft(
        coarse,
        n_fft=FRAME_FFT,
        hop_length=FRAME_HOP,
        win_length=FRAME_SAMPLES,
        window=np.hanning(FRAME_SAMPLES + 2)[1:-1],
    )
    own = Frames(fine)
    assert len(own) == expected.shape[1]
    inner = np.arange(10, len(own) - 10)  # the two resamplers see other ends
    magnitude = np.abs(expected.T[inner, :BINS]) ** COMPRESSION
    np.testing.assert_allclose(own[inner], magnitude, atol=1e-3)


@pytest.mark.parametrize("frames_a_block", [9, 66])
def test_blocks_leave_no_seam(
    monkeypatch: pytest.MonkeyPatch, frames_a_block: int
) -> None:
    """Computed a few frames at a time, everything is as computed at once.

    In threes: the tuning is found from every third frame of a block.
    """
    recording = made.record(MELODY)
    whole = spectrum.analyse(recording)
    monkeypatch.setattr(frames, "BLOCK_FRAMES", frames_a_block)
    for name in ("FLUX_BLOCK", "STEP_BLOCK"):
        monkeypatch.setattr(spectrum, name, frames_a_block)
    monkeypatch.setattr(spectrum, "TUNING_BLOCKS", len(whole.frames))
    parts = spectrum.analyse(recording)
    every = np.arange(len(whole.frames))
    np.testing.assert_allclose(parts.frames[every], whole.frames[every], atol=1e-3)
    np.testing.assert_allclose(parts.salience, whole.salience, atol=5e-3)
    np.testing.assert_allclose(parts.pitch_step, whole.pitch_step, atol=5e-3)
    np.testing.assert_allclose(parts.flux, whole.flux, atol=1e-5)
    np.testing.assert_allclose(parts.high_flux, whole.high_flux, atol=1e-5)
    assert parts.tuning_cents == pytest.approx(whole.tuning_cents, abs=1e-3)


def test_few_blocks_are_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    """An hour of frames would not fit; what was let go is computed the same again."""
    monkeypatch.setattr(frames, "BLOCK_FRAMES", 16)
    monkeypatch.setattr(frames, "ALL_KEPT_BLOCKS", 12)
    few = Frames(made.sound(MELODY, 2.0).astype(np.float32))
    assert len(few.blocks()) == len(few) // 16 + 1 > KEPT_BLOCKS
    before = few[np.arange(5, 25)]
    for first in few.blocks():
        few.block(first)
    assert len(few._kept) == KEPT_BLOCKS
    np.testing.assert_array_equal(few[np.arange(5, 25)], before)


def test_all_blocks_of_ten_minutes_are_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    """None is computed twice."""
    monkeypatch.setattr(frames, "BLOCK_FRAMES", 16)
    few = Frames(made.sound(MELODY, 2.0).astype(np.float32))
    blocks = [few.block(first) for first in few.blocks()]
    again = [few.block(first) for first in few.blocks()]
    assert KEPT_BLOCKS < len(blocks) <= frames.ALL_KEPT_BLOCKS
    assert all(one is other for one, other in zip(blocks, again, strict=True))


@pytest.mark.parametrize("hops_a_block", [1, 7, 640])
def test_energy_of_a_long_sound(
    monkeypatch: pytest.MonkeyPatch, hops_a_block: int
) -> None:
    """Summed block by block it is to the last bit what it is summed at once."""
    fine = made.sound(MELODY, 2.0).astype(np.float32)
    whole = Energy(fine)
    monkeypatch.setattr(spectrum, "ALL_ENERGY_HOPS", 100)
    monkeypatch.setattr(spectrum, "ENERGY_BLOCK", hops_a_block)
    parts = Energy(fine)
    assert parts.hops == whole.hops == len(fine) // ENERGY_HOP
    place = np.random.default_rng(3).uniform(0, whole.hops, (5, 40))
    place[0, :2] = 0, whole.hops
    np.testing.assert_array_equal(parts.until(place), whole.until(place))
    for hop in (0, 5, whole.hops):
        summed = np.sum(fine[: hop * ENERGY_HOP].astype(float) ** 2)
        np.testing.assert_allclose(parts.until(np.array(float(hop))), summed, rtol=1e-5)


def test_frames_in_any_order_and_means(monkeypatch: pytest.MonkeyPatch) -> None:
    """Over the edge of a block too."""
    monkeypatch.setattr(frames, "BLOCK_FRAMES", 16)
    few = Frames(made.sound(MELODY, 2.0).astype(np.float32))
    edge = np.arange(13, 19)
    np.testing.assert_array_equal(few[edge[::-1]], few[edge][::-1])
    np.testing.assert_allclose(few.mean(13, 19), few[edge].mean(axis=0), rtol=1e-5)


@pytest.mark.parametrize("samples", [2, 20, 60, 220, 1000, 5000])
def test_very_short_sounds(samples: int) -> None:
    """Shorter than any window: finite everywhere, one value a frame."""
    sound = 0.3 * np.sin(np.arange(samples))
    seen = spectrum.analyse(from_array(sound, FINE_RATE_HZ))
    assert len(seen.salience) == len(seen.frames) == len(seen.pitch_step)
    for values in (seen.salience, seen.pitch_step, seen.flux):
        assert np.isfinite(values).all()
    assert np.isfinite(seen.power(np.array([-1.0, 0.0]), np.array([0.1, 1.0]))).all()
