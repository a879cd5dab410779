"""Contours of single tones that are known exactly."""

from __future__ import annotations

import numpy as np
import pytest

from assessor import contour, spectrum
from assessor.recording import from_array
from assessor.tuning import hz_to_midi, midi_to_hz

RATE_HZ = 44_100
REACH_SEMITONES = 0.8  # of a note that is not written to move
TOLERANCE_CENTS = 2.0


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
