"""Contours of single tones that are known exactly."""

from __future__ import annotations

import hand_made_sound as made
import numpy as np
import pytest

from assessor import contour, spectrum
from assessor.frames import FRAME_HOP_S
from assessor.recording import from_array
from assessor.tuning import hz_to_midi, midi_to_hz

RATE_HZ = 44_100
REACH_SEMITONES = 0.5  # of a note that is not written to move
TOLERANCE_CENTS = 2.0
BESIDE_CENTS = 15.0  # the window sees a semitone apart as one hump below 500 Hz
STRAY_CENTS = 60.0  # while two sound at once their partials pull at each other
WINDOW_S = 0.03  # half of what a frame sees, and some


@pytest.mark.parametrize("cents", [-30, 0, 30])
@pytest.mark.parametrize("second_db", [-60.0, -36.0, -12.0])
@pytest.mark.parametrize("midi_number", [45, 57, 69, 76, 81, 84, 88])
def test_a_tone_of_hardly_more_than_its_first_partial(
    midi_number: int, second_db: float, cents: int
) -> None:
    """As a high note is with the tone turned down."""
    t_s = np.arange(RATE_HZ) / RATE_HZ
    turns = midi_to_hz(midi_number + cents / 100) * t_s
    second = 10 ** (second_db / 20) * np.sin(4 * np.pi * turns)
    tone = 0.3 * np.exp(-t_s) * (np.sin(2 * np.pi * turns) + second)
    seen = spectrum.analyse(from_array(tone, RATE_HZ))
    frame = np.arange(20, 80)
    reach = np.tile([-REACH_SEMITONES, REACH_SEMITONES], (len(frame), 1))
    f0_hz, strength = contour.track(
        seen, frame, np.full(len(frame), float(midi_number)), reach
    )
    assert (strength > 0).all()
    away_cents = 100 * (hz_to_midi(f0_hz) - midi_number) - cents
    assert np.abs(away_cents).max() < TOLERANCE_CENTS


@pytest.mark.parametrize("midi_number", [64, 76, 88])
@pytest.mark.parametrize("away", [-1, 1])
def test_a_note_is_not_left_for_the_one_beside_it(midi_number: int, away: int) -> None:
    """A fret away on another string, ringing on louder."""
    beside = made.Tone(0.2, 1.2, midi_number + away, 0.14)
    seen = spectrum.analyse(
        made.record([beside, made.Tone(0.4, 1.2, midi_number, 0.1)])
    )
    frame = np.arange(50, 110)
    reach = np.tile([-REACH_SEMITONES, REACH_SEMITONES], (len(frame), 1))
    f0_hz, _ = contour.track(seen, frame, np.full(len(frame), midi_number), reach)
    assert np.median(np.abs(100 * (hz_to_midi(f0_hz) - midi_number))) < BESIDE_CENTS


@pytest.mark.parametrize("midi_number", [52, 64, 76])
@pytest.mark.parametrize("away", [-3, 2, 3])
def test_a_bend_is_not_left_for_what_is_clearer_for_a_moment(
    midi_number: int, away: int
) -> None:
    """Another string about as loud for 60 ms, within reach of the bend."""
    bend = made.Tone(0.2, 1.2, midi_number, cents=made.glide(0.1, 0.15, 200))
    knock = made.Tone(0.7, 0.76, midi_number + 2 + away, 0.08)
    seen = spectrum.analyse(made.record([bend, knock]))
    frame = np.arange(50, 110)
    reach = np.tile([-1.5, 5.5], (len(frame), 1))
    nominal = np.full(len(frame), float(midi_number))
    f0_hz, _ = contour.track(seen, frame, nominal, reach)
    away_cents = 100 * (hz_to_midi(f0_hz) - midi_number) - 200
    assert np.abs(away_cents).max() < STRAY_CENTS


@pytest.mark.parametrize("rise_s", [0.04, 0.1, 0.3])
def test_the_fastest_bend_is_followed(rise_s: float) -> None:
    """A whole step in 40 ms, nowhere behind by more than the window smooths."""
    curve = made.glide(0.2, rise_s, 200)
    seen = spectrum.analyse(made.record([made.Tone(0.2, 1.2, 64, cents=curve)]))
    frame = np.arange(28, 110)
    reach = np.tile([-1.0, 3.6], (len(frame), 1))
    f0_hz, _ = contour.track(seen, frame, np.full(len(frame), 64.0), reach)
    true_cents = curve(frame * FRAME_HOP_S - 0.2)
    away_cents = 100 * (hz_to_midi(f0_hz) - 64) - true_cents
    steep = np.abs(frame * FRAME_HOP_S - 0.4 - rise_s / 2) < rise_s / 2 + WINDOW_S
    assert np.abs(away_cents[~steep]).max() < TOLERANCE_CENTS
    assert np.abs(away_cents).max() < 100


@pytest.mark.parametrize("semitones", [-9, 7, 12])
def test_a_fast_slide_is_followed(semitones: int) -> None:
    """Over most of the neck in 30 ms: there as soon as the window sees nothing else."""
    curve = made.glide(0.3, 0.03, 100 * semitones)
    seen = spectrum.analyse(made.record([made.Tone(0.2, 1.2, 55, cents=curve)]))
    frame = np.arange(40, 110)
    reach = np.tile([-13.0, 13.0], (len(frame), 1))
    f0_hz, _ = contour.track(seen, frame, np.full(len(frame), 55.0), reach)
    away_cents = 100 * (hz_to_midi(f0_hz) - 55) - curve(frame * FRAME_HOP_S - 0.2)
    moving = np.abs(frame * FRAME_HOP_S - 0.515) < 0.015 + WINDOW_S
    assert np.abs(away_cents[~moving]).max() < TOLERANCE_CENTS


@pytest.mark.parametrize("up", [0.8, 3.6])
@pytest.mark.parametrize("frame", [np.arange(0), np.arange(30, 40)])
def test_what_is_not_there_is_not_followed(frame: np.ndarray, up: float) -> None:
    """No frames; and a pitch above all that is listened for: an answer all the same."""
    seen = spectrum.analyse(made.record([made.Tone(0.2, 1.2, 64)]))
    nominal, reach = np.full(len(frame), 120.0), np.tile([-0.8, up], (len(frame), 1))
    f0_hz, strength = contour.track(seen, frame, nominal, reach)
    assert f0_hz.shape == strength.shape == frame.shape
