"""The takes the benchmarks judge by: their truth must be exact."""

from __future__ import annotations

import argparse
import json
import os
import shutil
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy import ndimage

# The benchmarks are scripts beside the package, not installed with it.
sys.path.insert(0, str(Path(__file__).parents[1] / "benchmarks"))
import phrases
from takes import scoring, sounds
from takes.curves import Stroke, slur_curve
from takes.hand import NOISES

ONSET_TOLERANCE_S = 0.001
PITCH_TOLERANCE_CENTS = 0.4
SLUR_TOLERANCE_S = 0.0002
RATE_HZ = sounds.SAMPLE_RATE_HZ

# Whoever checks a change for everybody has to have fluidsynth.
needs_fluidsynth = pytest.mark.skipif(
    (shutil.which("fluidsynth") is None or not sounds.FONTS["fluid"].exists())
    and "CI" not in os.environ,
    reason="fluidsynth or its sound font is not installed",
)


@pytest.mark.parametrize(
    ("value", "cents"),
    [(0, -200.0), (4096, -100.0), (8192, 0.0), (12288, 100.0), (16383, 199.9756)],
)
def test_wheel_numbers(value: int, cents: float) -> None:
    """MIDI 1.0: 14 bits, centre 8192; General MIDI: two semitones each way."""
    assert sounds.wheel_value(cents) == value


@pytest.fixture(scope="module")
def takes(tmp_path_factory: pytest.TempPathFactory) -> list[tuple[np.ndarray, dict]]:
    """Make a few dry takes."""
    folder = tmp_path_factory.mktemp("takes")
    return _make(folder, takes=6, kinds="human,bends,legato")


def _make(folder: Path, **asked: object) -> list[tuple[np.ndarray, dict]]:
    """Make takes: each one's sound and truth, in order of name."""
    given: dict[str, object] = {"out": folder, "takes": 1, "seed": 5, "kinds": ""}
    given |= {"font": "fluid", "notes": None, "degraded": 0.0, "passes": 0.0}
    given |= {"degradations": "", "toned": 0.0, "noises": ""}
    phrases.make(argparse.Namespace(**given | asked))
    return [
        (
            soundfile.read(folder / f"{name}.wav")[0],
            json.loads((folder / f"{name}.json").read_text()),
        )
        for name in json.loads((folder / "manifest.json").read_text())
    ]


def _measured_onset_s(samples: np.ndarray, near_s: float) -> float:
    """When the energy of the last 3 ms passes -10 dB of its maximum near a time."""
    start = round((near_s - 0.02) * RATE_HZ)
    window = samples[start : start + int(0.17 * RATE_HZ)]
    width = int(0.003 * RATE_HZ)
    energy = np.convolve(window**2, np.ones(width))[: len(window)]
    return float(start + np.argmax(energy > 0.1 * energy.max())) / RATE_HZ


def _heard_alone(truth: dict) -> list[float]:
    """Onsets of the notes before which there is silence, without hand noise."""
    alone, free_s = [], 0.0
    noises_s = [n["time_s"] for n in truth["hand_noise"]]
    for note in truth["performed"]:
        near = any(abs(t - note["onset_s"]) < 0.25 for t in noises_s)
        if note["onset_s"] > free_s + 0.03 and not near:
            alone.append(note["onset_s"])
        free_s = max(free_s, note["offset_s"])
    return alone


@needs_fluidsynth
def test_onsets_are_where_the_truth_says(takes: list[tuple[np.ndarray, dict]]) -> None:
    """The energy of each note comes up at its onset, also that of a bent one."""
    errors_s = [
        _measured_onset_s(samples, onset_s) - onset_s
        for samples, truth in takes
        for onset_s in _heard_alone(truth)
    ]
    assert len(errors_s) >= 5
    assert np.abs(errors_s).max() < ONSET_TOLERANCE_S


@needs_fluidsynth
@pytest.mark.parametrize("noise", NOISES)
def test_hands_make_the_one_noise_that_is_asked_for(tmp_path: Path, noise: str) -> None:
    """It is logged with its time, and it is in the sound."""
    ((clean, _),) = _make(tmp_path / "clean", kinds="plain", seed=9, noises="none")
    ((sound, truth),) = _make(tmp_path / "noisy", kinds="plain", seed=9, noises=noise)
    made = {entry["what"] for entry in truth["hand_noise"]}
    assert made == (set() if noise == "none" else {noise})
    same = len(sound) == len(clean) and np.array_equal(sound, clean)
    assert same == (noise == "none")


@needs_fluidsynth
def test_another_tone_keeps_the_onsets(tmp_path: Path) -> None:
    """Causal filters: what was there at a time is there still, only other in colour."""
    ((plain, truth),) = _make(tmp_path / "plain", kinds="plain")
    ((toned, same),) = _make(tmp_path / "toned", kinds="plain", toned=1.0)
    assert same["performed"] == truth["performed"]
    assert not np.allclose(plain, toned, atol=0.01)
    first_s = truth["performed"][0]["onset_s"]
    assert np.abs(toned[: round((first_s - 0.02) * RATE_HZ)]).max() < 0.01


def _peak_hz(samples: np.ndarray, near_hz: float) -> float:
    """Strongest frequency within a semitone and a half of `near_hz`."""
    size = 1 << 20
    magnitude = np.abs(np.fft.rfft(samples * np.hanning(len(samples)), size))
    low, high = (int(near_hz * 2 ** (s / 8) * size / RATE_HZ) for s in (-1, 1))
    return float(low + np.argmax(magnitude[low:high])) * RATE_HZ / size


@needs_fluidsynth
@pytest.mark.parametrize("cents", [-60.0, 37.0, 60.0])
def test_the_wheel_tunes_the_synthesiser(cents: float) -> None:
    """A note with the wheel moved sounds that many cents from one without."""
    notes = [sounds.Wanted(57, 100, 1.5, "steel", tuning_cents=c) for c in (0.0, cents)]
    plain, moved = (
        _peak_hz(x[int(0.6 * RATE_HZ) : int(1.6 * RATE_HZ)], 220.0)
        for x in sounds.render(sounds.FONTS["fluid"], notes)
    )
    measured = 1200 * np.log2(moved / plain)
    assert measured == pytest.approx(cents, abs=PITCH_TOLERANCE_CENTS)


def _wave(phase: float) -> sounds.Source:
    """One second of a sine at 440 Hz as a source note."""
    lead = int(sounds.LEAD_S * RATE_HZ)
    times_s = (np.arange(lead + RATE_HZ) - lead) / RATE_HZ
    wave = np.sin(2 * np.pi * 440.0 * times_s + phase)
    return sounds.Source(ndimage.spline_filter1d(wave, order=3), lead, 6900.0, "")


def test_a_slur_jumps_at_its_onset() -> None:
    """Inside a sounding note the pitch is half way at the slurred note's onset."""
    chain = [
        Stroke(0, 1.0, 1.2, 69, 100, group=0, slur="jump"),
        Stroke(1, 1.2, 1.5, 74, 100, "hammer_on", group=0, slur="jump"),
    ]
    curve = slur_curve(chain, np.random.default_rng(1))
    sine, cosine = (
        sounds.sound(_wave(phase), 0.5, curve, 6900.0)[int(0.15 * RATE_HZ) :]
        for phase in (0.0, np.pi / 2)
    )
    f0_hz = np.diff(np.unwrap(np.arctan2(sine, cosine))) * RATE_HZ / (2 * np.pi)
    cents = 1200 * np.log2(f0_hz / 440.0)
    jump_s = np.argmax(cents > 250) / RATE_HZ + 0.15 - sounds.LEAD_S
    assert jump_s == pytest.approx(0.2, abs=SLUR_TOLERANCE_S)
    assert np.median(cents[:2000]) == pytest.approx(0, abs=0.1)
    assert np.median(cents[-2000:]) == pytest.approx(500, abs=0.1)


TRUTH = {
    "expected": [{"index": i} for i in range(4)],
    "performed": [],
    "injected": {
        "wrong": [{"expected_index": 1, "played_midi": 62}],
        "missed": [{"expected_index": 2}],
        "extra": [{"time_s": 1.0}],
    },
}


@pytest.mark.parametrize(
    ("verdicts", "midi_number", "extra_s", "counts"),
    [
        ("right wrong missed right", 62.4, 1.07, [(1, 0, 0), (1, 0, 0), (1, 0, 0)]),
        ("right wrong missed right", 62.6, 1.09, [(0, 1, 1), (1, 0, 0), (0, 1, 1)]),
        ("wrong right right missed", 62.0, 1.07, [(0, 1, 1), (0, 1, 1), (1, 0, 0)]),
        ("right unsure unsure right", 62.0, 1.0, [(0, 0, 1), (0, 0, 1), (1, 0, 0)]),
    ],
)
def test_faults_are_counted(
    verdicts: str,
    midi_number: float,
    extra_s: float,
    counts: list[tuple[int, int, int]],
) -> None:
    """Hits, false reports and lost faults, just inside and outside the limits."""
    notes = [
        {"index": i, "verdict": verdict, "midi_number": midi_number, "onset_s": None}
        for i, verdict in enumerate(verdicts.split())
    ]
    run = {"notes": notes, "extra": [{"onset_s": extra_s}]}
    score = scoring.score(TRUTH, {"notes": {}}, {"passes": [run]})
    assert list(score.counts.values()) == counts
