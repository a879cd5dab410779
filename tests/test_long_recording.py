"""A long recording is kept at the rate the ears work at, and no other."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from assessor import recording

RATE_HZ = 44_100
TONE_HZ = 440.0
LEVEL_TOLERANCE_DB = 0.05
TIME_TOLERANCE_S = 1e-4


def _file(folder: Path) -> Path:
    """Two seconds of a tone that begins at 1 s."""
    at = np.arange(2 * RATE_HZ) / RATE_HZ
    tone = 0.3 * np.sin(2 * np.pi * TONE_HZ * at) * (at >= 1)
    path = folder / "long.wav"
    soundfile.write(path, tone, RATE_HZ, subtype="PCM_16")
    return path


def test_long_recording_is_thinned(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Same length, level and onset as at its own rate, at half the rate."""
    path = _file(tmp_path)
    whole = recording.read(path)
    monkeypatch.setattr(recording, "LONG_S", 0.5)
    thin = recording.read(path)
    assert whole.sample_rate_hz == RATE_HZ
    assert thin.sample_rate_hz == recording.LONG_RATE_HZ
    assert thin.duration_s == pytest.approx(whole.duration_s, abs=TIME_TOLERANCE_S)

    def level_db(take: recording.Recording) -> float:
        later = take.samples[int(1.2 * take.sample_rate_hz) :]
        return float(10 * np.log10(np.mean(later.astype(float) ** 2)))

    def onset_s(take: recording.Recording) -> float:
        return float(np.argmax(np.abs(take.samples) > 0.02) / take.sample_rate_hz)

    assert level_db(thin) == pytest.approx(level_db(whole), abs=LEVEL_TOLERANCE_DB)
    assert onset_s(thin) == pytest.approx(onset_s(whole), abs=TIME_TOLERANCE_S)


def test_short_recording_keeps_its_rate(tmp_path: Path) -> None:
    """Nothing is thinned below the limit."""
    assert recording.read(_file(tmp_path)).sample_rate_hz == RATE_HZ
