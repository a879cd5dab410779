"""The three clocks against sounds whose onset is known to the sample."""

from __future__ import annotations

import hand_made_sound as made
import numpy as np
import pytest

from assessor import attack, spectrum
from assessor.spectrum import Spectrum
from assessor.tuning import midi_to_hz

RATES_HZ = [8000, 11025, 16000, 22050, 44100, 48000, 96000]
# The clock answers -10 dB of the greatest 3 ms; in the definition's own terms it must
# be right to three samples, the moment the string is let go lies before it by what it
# takes to get there: less than the period of a low note allows.
DEFINITION_TOLERANCE_S = 0.00015
RISE_TOLERANCE_S = {
    40: 0.001,
    45: 0.001,
    52: 0.0007,
    64: 0.0005,
    76: 0.0005,
    88: 0.0005,
}
HIDDEN_TOLERANCE_S = 0.003
SLUR_TOLERANCE_S = 0.0005
ROOM_SLUR_TOLERANCE_S = 0.005
EXACT_RATE_HZ = 96_000


def _seen(*tones: made.Tone, rate_hz: int = made.RATE_HZ) -> Spectrum:
    return spectrum.analyse(made.record(tones, rate_hz=rate_hz))


def _defined_rise_s(tone: made.Tone) -> float:
    """First moment the energy of the last 3 ms is within 10 dB of its maximum."""
    sound = made.sound([tone], tone.onset_s + 0.2, EXACT_RATE_HZ)
    width = round(0.003 * EXACT_RATE_HZ)
    energy = np.convolve(sound**2, np.ones(width))[: len(sound)]
    return float(np.argmax(energy > 0.1 * energy.max())) / EXACT_RATE_HZ


# -------------------------------------------------------------- energy rise


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize(("midi_number", "tolerance_s"), RISE_TOLERANCE_S.items())
def test_rise_of_a_note_out_of_silence(
    midi_number: int, tolerance_s: float, rate_hz: int
) -> None:
    """At any sampling rate, for an onset that falls between two samples."""
    tone = made.Tone(0.51237, 1.2, midi_number)
    rise_s, depth_db = attack.energy_rise(_seen(tone, rate_hz=rate_hz), 0.51, np.inf)
    assert -1 / rate_hz <= rise_s - tone.onset_s <= tolerance_s
    assert depth_db > 30


@pytest.mark.parametrize("midi_number", RISE_TOLERANCE_S)
def test_rise_is_where_the_definition_says(midi_number: int) -> None:
    """The same tone at 96 kHz, the definition written out once more."""
    tone = made.Tone(0.51237, 1.2, midi_number, burst=0)
    rise_s, _ = attack.energy_rise(_seen(tone), 0.51, np.inf)
    assert rise_s == pytest.approx(_defined_rise_s(tone), abs=DEFINITION_TOLERANCE_S)


@pytest.mark.parametrize("away_s", [-0.02, -0.01, 0.0, 0.01, 0.02])
def test_rise_from_a_rough_time(away_s: float) -> None:
    """The rough time may be 20 ms off to either side."""
    seen = _seen(made.Tone(0.3, 0.8, 57), made.Tone(1.0, 1.5, 64))
    rise_s, _ = attack.energy_rise(seen, 1.0 + away_s, np.inf)
    assert rise_s == pytest.approx(1.0, abs=0.0006)


@pytest.mark.parametrize("gain", [0.02, 0.1, 0.5])
def test_rise_over_a_quiet_tail(gain: float) -> None:
    """A tail 40 dB down does not shift the rise."""
    seen = _seen(made.Tone(0.2, 1.5, 52, 0.01 * gain), made.Tone(0.8, 1.3, 64, gain))
    rise_s, depth_db = attack.energy_rise(seen, 0.8, np.inf)
    assert rise_s == pytest.approx(0.8, abs=0.0006)
    assert depth_db > 40


def test_rise_of_the_first_of_two_notes() -> None:
    """The limit keeps a louder note just after out of the picture."""
    seen = _seen(made.Tone(0.5, 0.56, 57, 0.02), made.Tone(0.56, 1.0, 62, 0.5))
    rise_s, _ = attack.energy_rise(seen, 0.5, 0.56)
    assert rise_s == pytest.approx(0.5, abs=0.0006)


@pytest.mark.parametrize("early_s", [0.025, 0.03, 0.04])
@pytest.mark.parametrize("midi_number", [40, 52, 67])
def test_a_knock_before_the_note_is_not_its_rise(
    midi_number: int, early_s: float
) -> None:
    """A pick laid on the string, then silence, then the note."""
    knock = made.Tone(1.0 - early_s, 1.003 - early_s, 74, 0.001, burst=150)
    seen = _seen(knock, made.Tone(1.0, 1.5, midi_number, 0.1))
    rise_s, _ = attack.energy_rise(seen, 1.0 - early_s, np.inf)
    assert rise_s == pytest.approx(1.0, abs=RISE_TOLERANCE_S.get(midi_number, 0.001))


@pytest.mark.parametrize("around_s", [-1.0, 0.0, 0.001, 0.299, 0.3, 9.0])
def test_no_clock_at_the_edges(around_s: float) -> None:
    """Too little sound to tell: an answer all the same, and no error."""
    seen = spectrum.analyse(made.record([made.Tone(0.0, 0.2, 60)], 0.3))
    rise_s, depth_db = attack.energy_rise(seen, around_s, np.inf)
    assert np.isfinite([rise_s, depth_db]).all()
    assert np.isfinite(attack.attack_db(seen, around_s))
    assert np.isfinite(attack.loudness_jump_db(seen, around_s, np.inf, 0.01))
    attack.hidden_rise(seen, around_s - 0.02, around_s + 0.02)
    assert attack.period_change(seen, around_s, 60, 62) is None


@pytest.mark.parametrize("onset_s", [0.004, 0.01, 0.03])
def test_rise_soon_after_the_start(onset_s: float) -> None:
    """A recording that was cut just before its first note."""
    seen = spectrum.analyse(made.record([made.Tone(onset_s, 0.5, 60)], 0.8))
    rise_s, _ = attack.energy_rise(seen, onset_s + 0.005, np.inf)
    assert rise_s == pytest.approx(onset_s, abs=0.0006)


# -------------------------------------------------------------- hidden rise


@pytest.mark.parametrize("ringing", [45, 52, 64])
@pytest.mark.parametrize("semitones", [-12, -5, -1, 2, 7, 12, 19])
@pytest.mark.parametrize("gain", [0.1, 0.03])
def test_rise_under_a_ringing_note(ringing: int, semitones: int, gain: float) -> None:
    """As loud as what rings, or 10 dB softer."""
    new = made.Tone(1.0123, 2.0, ringing + semitones, gain)
    found = attack.hidden_rise(
        _seen(made.Tone(0.5, 2.0, ringing), new), new.onset_s - 0.02, new.onset_s + 0.03
    )
    assert found is not None
    assert found.time_s == pytest.approx(new.onset_s, abs=HIDDEN_TOLERANCE_S)
    assert found.spread_s < HIDDEN_TOLERANCE_S
    assert found.strength_db > 20


@pytest.mark.parametrize("ringing", [45, 57, 69])
def test_nothing_rises_where_nothing_is_struck(ringing: int) -> None:
    """A note that only rings on is predicted from what was heard of it."""
    found = attack.hidden_rise(_seen(made.Tone(0.5, 2.0, ringing)), 1.0, 1.05)
    assert found is not None
    assert found.strength_db < 6


@pytest.mark.parametrize(("start_s", "end_s"), [(0.01, 0.05), (0.5, 0.502), (2.5, 2.6)])
def test_no_prediction_without_a_past(start_s: float, end_s: float) -> None:
    """Too near the start, too short a stretch, or past the end."""
    seen = _seen(made.Tone(0.2, 0.9, 60))
    assert attack.hidden_rise(seen, start_s, end_s) is None


# -------------------------------------------------------------- period change


@pytest.mark.parametrize("old", [40, 45, 52, 64, 76])
@pytest.mark.parametrize("semitones", [-5, -2, -1, 1, 2, 5, 12])
def test_slur_without_an_attack(old: int, semitones: int) -> None:
    """The pitch jumps inside a sounding note; the rough time may be 15 ms off."""
    jump = made.jumps((0.4, 100 * semitones))
    seen = _seen(made.Tone(0.5123, 1.5, old, cents=jump))
    for away_s in (-0.015, 0.012):
        change_s = attack.period_change(seen, 0.9123 + away_s, old, old + semitones)
        assert change_s == pytest.approx(0.9123, abs=SLUR_TOLERANCE_S)


def test_slur_on_a_mistuned_guitar() -> None:
    """The periods are those that sound; within 10 cents they need not be exact."""
    jump = made.jumps((0.4, 200))
    seen = _seen(made.Tone(0.5, 1.5, 52.3, cents=jump))
    for off in (0.0, 0.08, -0.08):
        change_s = attack.period_change(seen, 0.91, 52.3 + off, 54.3 + off)
        assert change_s == pytest.approx(0.9, abs=SLUR_TOLERANCE_S)


def test_no_period_is_clear_where_the_old_pitch_rings_on() -> None:
    """None rather than a guess; none at the edges of the sound either."""
    seen = _slurred_in_a_room(52, 54)
    assert attack.period_change(seen, 0.9, 52, 54) is None
    assert attack.period_change(seen, 0.02, 52, 54) is None


# --------------------------------------------------------------- partial rise

ANYWHERE_S = (0.0, np.inf)


def _slurred_in_a_room(old: int, new: int) -> Spectrum:
    """A slur at 0.9 s whose old pitch a room keeps sounding, 6 dB down."""
    return _seen(
        made.Tone(0.5, 0.9, old),
        made.Tone(0.5, 1.4, old, 0.1),
        made.Tone(0.9, 1.4, new),
    )


@pytest.mark.parametrize("old", [45, 52, 64])
@pytest.mark.parametrize("semitones", [-4, -2, 2, 3])
def test_slur_in_a_room_shows_in_the_partials(old: int, semitones: int) -> None:
    """No period is ever clear there, but the new partials come up at one moment."""
    new = old + semitones
    seen = _slurred_in_a_room(old, new)
    for away_s in (-0.03, 0.0, 0.03):
        rise_s = attack.partial_rise(seen, 0.9 + away_s, ANYWHERE_S, old, new)
        assert rise_s == pytest.approx(0.9, abs=ROOM_SLUR_TOLERANCE_S)


def test_partials_that_are_shared_or_do_not_rise_tell_nothing() -> None:
    """An octave has no partial of its own; an unchanged note none that grow."""
    seen = _seen(made.Tone(0.5, 1.5, 52))
    assert attack.partial_rise(seen, 0.9, ANYWHERE_S, 52, 64) is None
    assert attack.partial_rise(seen, 0.02, ANYWHERE_S, 52, 54) is None
    assert attack.partial_rise(seen, 0.9, (0.88, 0.92), 52, 54) is None


# -------------------------------------------------------------------- levels


@pytest.mark.parametrize("gain", [0.02, 0.2])
def test_attack_tells_struck_from_ringing(gain: float) -> None:
    """High at an onset out of silence, about nothing inside a note."""
    seen = _seen(made.Tone(0.5, 1.5, 57, gain))
    struck, inside = attack.attacks_db(seen, np.array([0.5, 1.0]))
    assert struck > 30
    assert abs(inside) < 2


def test_attack_of_one_time_is_that_of_many() -> None:
    """One call for one time, one for all."""
    seen = _seen(made.Tone(0.5, 1.5, 57))
    times_s = np.array([0.45, 0.5, 0.7])
    assert [attack.attack_db(seen, t) for t in times_s] == list(
        attack.attacks_db(seen, times_s)
    )


@pytest.mark.parametrize("midi_number", [40, 45, 57])
def test_a_low_note_does_not_jump_at_each_of_its_periods(midi_number: int) -> None:
    """Its 3 ms energy goes up and down; only at the onset is it louder than before."""
    seen = _seen(made.Tone(0.5, 1.5, midi_number))
    period_s = 1.1 / midi_to_hz(midi_number)
    jumps_db = [
        attack.loudness_jump_db(seen, t, np.inf, period_s)
        for t in np.arange(0.7, 0.72, 0.001)
    ]
    assert np.abs(jumps_db).max() < 2
    assert attack.loudness_jump_db(seen, 0.5, np.inf, period_s) > 25
