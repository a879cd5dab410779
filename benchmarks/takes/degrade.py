"""What rooms, microphones and amplifiers do to a take."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from scipy import signal

from assessor.tuning import FloatArray
from takes.measure import SAMPLE_RATE_HZ

Generator = np.random.Generator
Settings = dict[str, Any]
PEAK = 0.5  # of full scale, in dry takes and after anything that scales


def _rms(samples: FloatArray) -> float:
    return float(np.sqrt(np.mean(samples**2))) + 1e-12


def _to_peak(samples: FloatArray) -> FloatArray:
    return np.asarray(samples * (PEAK / (np.abs(samples).max() + 1e-12)))


def coloured_noise(rng: Generator, count: int, slope: float) -> FloatArray:
    """Noise whose power falls as 1/f**slope above 20 Hz; effective value 1."""
    spectrum = np.fft.rfft(rng.normal(size=count))
    f_hz = np.maximum(np.fft.rfftfreq(count, 1 / SAMPLE_RATE_HZ), 20.0)
    noise = np.fft.irfft(spectrum * f_hz ** (-slope / 2), count)
    return noise / _rms(noise)


def noise(
    samples: FloatArray, rng: Generator, slope: float, log: Settings
) -> FloatArray:
    """Add noise 8 to 35 dB below the take."""
    snr_db = float(rng.uniform(8, 35))
    log["snr_db"] = round(snr_db, 1)
    gain = _rms(samples) * 10 ** (-snr_db / 20)
    return samples + gain * coloured_noise(rng, len(samples), slope)


def white(samples: FloatArray, rng: Generator, log: Settings) -> FloatArray:
    """Add white noise."""
    return noise(samples, rng, 0.0, log)


def pink(samples: FloatArray, rng: Generator, log: Settings) -> FloatArray:
    """Add pink noise."""
    return noise(samples, rng, 1.0, log)


def hum(samples: FloatArray, rng: Generator, log: Settings) -> FloatArray:
    """Add mains hum of 50 or 60 Hz with its harmonics."""
    mains_hz, below_db = int(rng.choice([50, 60])), float(rng.uniform(14, 34))
    log |= {"mains_hz": mains_hz, "snr_db": round(below_db, 1)}
    times_s = np.arange(len(samples)) / SAMPLE_RATE_HZ
    wave = np.zeros(len(samples))
    for k in range(1, 9):
        gain = rng.uniform(0, 1) / k ** rng.uniform(0.3, 1.2)
        phase = rng.uniform(0, 2 * np.pi)
        wave += gain * np.sin(2 * np.pi * mains_hz * k * times_s + phase)
    return samples + wave * (_rms(samples) / _rms(wave) * 10 ** (-below_db / 20))


def _overdrive(samples: FloatArray, drive: float, log: Settings) -> FloatArray:
    log["drive"] = round(drive, 1)
    driven = np.tanh(drive * _to_peak(samples) / PEAK)
    return np.asarray(PEAK * driven / np.tanh(drive))


def overdrive_mild(samples: FloatArray, rng: Generator, log: Settings) -> FloatArray:
    """Round the peaks off."""
    return _overdrive(samples, float(rng.uniform(2, 6)), log)


def overdrive_heavy(samples: FloatArray, rng: Generator, log: Settings) -> FloatArray:
    """Square the sound off, with the hiss of the amplifier."""
    hiss = (
        coloured_noise(rng, len(samples), 0.0)
        * PEAK
        * 10 ** (-rng.uniform(60, 80) / 20)
    )
    return _overdrive(_to_peak(samples) + hiss, float(rng.uniform(15, 40)), log)


def room(samples: FloatArray, rng: Generator, log: Settings) -> FloatArray:
    """Put the guitar into a room: early reflections and a decaying tail."""
    rt60_s, ratio_db = float(rng.uniform(0.2, 0.7)), float(rng.uniform(-2, 10))
    log |= {"rt60_s": round(rt60_s, 2), "direct_to_reverberant_db": round(ratio_db, 1)}
    count = int(1.2 * rt60_s * SAMPLE_RATE_HZ)
    times_s = np.arange(count) / SAMPLE_RATE_HZ
    tail = rng.normal(size=count) * 10 ** (-3 * times_s / rt60_s)
    tail[: int(rng.uniform(0.001, 0.008) * SAMPLE_RATE_HZ)] = 0.0
    corner_hz = float(rng.uniform(2500, 9000))
    sos = signal.butter(1, corner_hz, fs=SAMPLE_RATE_HZ, output="sos")
    tail = signal.sosfilt(sos, tail)
    for _ in range(int(rng.integers(0, 7))):
        place = int(rng.uniform(0.001, 0.03) * SAMPLE_RATE_HZ)
        tail[place] += rng.normal() * 0.3 * _rms(tail) * np.sqrt(count)
    tail *= 10 ** (-ratio_db / 20) / np.sqrt(np.sum(tail**2))
    tail[0] = 1.0
    return _to_peak(signal.fftconvolve(samples, tail)[: len(samples)])


def _band(samples: FloatArray, low_hz: float, high_hz: float, order: int) -> FloatArray:
    sos = signal.butter(
        order, [low_hz, high_hz], "band", fs=SAMPLE_RATE_HZ, output="sos"
    )
    return _to_peak(signal.sosfilt(sos, samples))


def phone(samples: FloatArray, rng: Generator, log: Settings) -> FloatArray:
    """Pass the telephone band."""
    low_hz, high_hz = float(rng.uniform(180, 350)), float(rng.uniform(3000, 4200))
    log["band_hz"] = [round(low_hz), round(high_hz)]
    return _band(samples, low_hz, high_hz, 4)


def low_gain(samples: FloatArray, rng: Generator, log: Settings) -> FloatArray:
    """Record far too softly."""
    gain_db = -float(rng.uniform(20, 36))
    log["gain_db"] = round(gain_db, 1)
    return samples * 10 ** (gain_db / 20)


def click(samples: FloatArray, rng: Generator, log: Settings) -> FloatArray:
    """Let a click bleed in, at the tempo of the take."""
    beat_s = 60.0 / log["tempo_bpm"]
    level_db, f_hz = -float(rng.uniform(10, 28)), float(rng.uniform(700, 4000))
    log |= {"level_db": round(level_db, 1), "click_hz": round(f_hz)}
    times_s = np.arange(int(0.04 * SAMPLE_RATE_HZ)) / SAMPLE_RATE_HZ
    shape = np.exp(-times_s / rng.uniform(0.002, 0.01))
    tick = shape * np.sin(2 * np.pi * f_hz * times_s)
    tick *= np.abs(samples).max() * 10 ** (level_db / 20)
    out = samples.copy()
    at_s = log["start_s"] % beat_s
    while (start := int(at_s * SAMPLE_RATE_HZ)) + len(tick) < len(out):
        out[start : start + len(tick)] += tick
        at_s += beat_s
    return out


def talk(samples: FloatArray, rng: Generator, log: Settings) -> FloatArray:
    """Let somebody talk: voiced syllables with moving formants, and hisses."""
    below_db = float(rng.uniform(12, 30))
    log["snr_db"] = round(below_db, 1)
    voice = np.zeros(len(samples))
    at_s, length_s = float(rng.uniform(0, 1)), len(samples) / SAMPLE_RATE_HZ
    while at_s < length_s - 0.5:
        spoken = syllable(rng)
        start = int(at_s * SAMPLE_RATE_HZ)
        piece = spoken[: len(voice) - start]
        voice[start : start + len(piece)] += piece
        at_s += len(spoken) / SAMPLE_RATE_HZ + rng.exponential(0.08)
        at_s += float(rng.uniform(0.3, 1.5)) if rng.random() < 0.15 else 0.0
    return samples + voice * (_rms(samples) / _rms(voice) * 10 ** (-below_db / 20))


def syllable(rng: Generator) -> FloatArray:
    """One voiced or hissed syllable of 80 to 300 ms."""
    count = int(rng.uniform(0.08, 0.3) * SAMPLE_RATE_HZ)
    if rng.random() < 0.25:
        source, bands = rng.normal(size=count), [(3000.0, 8000.0)]
    else:
        glide = rng.uniform(90, 240) * np.linspace(1, rng.uniform(0.8, 1.25), count)
        source = signal.sawtooth(2 * np.pi * np.cumsum(glide) / SAMPLE_RATE_HZ)
        bands = [(250.0, 900.0), (800.0, 2600.0)]
    out = np.zeros(count)
    for low_hz, high_hz in bands:
        middle_hz = rng.uniform(low_hz, high_hz)
        edges = [0.85 * middle_hz, 1.15 * middle_hz]
        sos = signal.butter(1, edges, "band", fs=SAMPLE_RATE_HZ, output="sos")
        out += signal.sosfilt(sos, source)
    return np.asarray(out * np.hanning(count) * rng.uniform(0.3, 1))


def tone(samples: FloatArray, rng: Generator) -> FloatArray:
    """Turn a guitar into another: three broad resonances or holes, ± 10 dB.

    Peaking filters of the Audio EQ Cookbook (Bristow-Johnson; W3C note of 2021).
    """
    for low_hz, high_hz in ((80, 400), (300, 1500), (1200, 6000)):
        middle_hz = float(np.exp(rng.uniform(np.log(low_hz), np.log(high_hz))))
        gain = 10 ** (rng.uniform(-10, 10) / 40)
        turn = 2 * np.pi * middle_hz / SAMPLE_RATE_HZ
        alpha = np.sin(turn) / (2 * rng.uniform(0.4, 1.5))
        middle = -2 * np.cos(turn)
        samples = signal.lfilter(
            [1 + alpha * gain, middle, 1 - alpha * gain],
            [1 + alpha / gain, middle, 1 - alpha / gain],
            samples,
        )
    return _to_peak(np.asarray(samples))


def bedroom(samples: FloatArray, rng: Generator, log: Settings) -> FloatArray:
    """Record with a small microphone in a room: all of it at once."""
    wet = room(samples, rng, log)
    if rng.random() < 0.5:
        wet = wet + 0.3 * (click(samples, rng, log) - samples)
    noisy = noise(wet, rng, 1.0, log)
    return 0.5 * _band(
        noisy, float(rng.uniform(80, 200)), float(rng.uniform(4500, 9000)), 2
    )


DEGRADATIONS: dict[str, Callable[[FloatArray, Generator, Settings], FloatArray]] = {
    "white": white,
    "pink": pink,
    "hum": hum,
    "odmild": overdrive_mild,
    "odheavy": overdrive_heavy,
    "room": room,
    "phone": phone,
    "gain": low_gain,
    "click": click,
    "talk": talk,
    "bedroom": bedroom,
}
