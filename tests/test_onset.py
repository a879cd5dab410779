"""Events and their evidence on melodies whose every note is known."""

from __future__ import annotations

from dataclasses import replace

import hand_made_sound as made
import mir_eval
import numpy as np
import pytest

from assessor import onset, spectrum
from assessor.evidence import Candidates
from assessor.kernels import PITCHES
from assessor.onset import Events
from assessor.recording import from_array

# Events are rough; the exact clocks look later.  Out of silence they are exact.
ONSET_TOLERANCE_S = 0.02
RINGING_TOLERANCE_S = 0.03
SILENT_TOLERANCE_S = 0.001
SURE = np.log(0.5)


def _events(*tones: made.Tone, rate_hz: int = made.RATE_HZ) -> Events:
    return onset.events(spectrum.analyse(made.record(tones, rate_hz=rate_hz)))


def _notes(events: Events) -> list[tuple[float, int]]:
    """Time and likeliest pitch of every event that is rather a note than nothing."""
    sure = events.log_probability[:, 0] < SURE
    pitch = PITCHES[events.log_probability[sure, 1:].argmax(axis=1)]
    return [
        (float(t), int(p)) for t, p in zip(events.times_s[sure], pitch, strict=True)
    ]


def _melody(*midi_numbers: int, ring_s: float = 0.0) -> list[made.Tone]:
    """A note each quarter of a second that rings so long into the next one."""
    starts = [0.5 + 0.25 * k for k in range(len(midi_numbers))]
    return [
        made.Tone(start, start + 0.25 + ring_s, midi_number)
        for start, midi_number in zip(starts, midi_numbers, strict=True)
    ]


MELODIES = {
    "low": (40, 43, 45, 40, 47, 52, 50, 45),
    "middle": (57, 60, 64, 69, 67, 64, 62, 57),
    "high": (76, 79, 81, 84, 88, 83, 79, 76),
    "wide": (45, 64, 50, 69, 57, 76, 52, 71),
    "one pitch": (60, 60, 60, 60, 60, 60),
    "semitones": (62, 63, 64, 65, 64, 63, 62, 61),
}


def _hold(events: Events, melody: list[made.Tone], tolerance_s: float) -> None:
    """Check that the events that are notes are the melody's, one each, in order."""
    found = _notes(events)
    assert [pitch for _, pitch in found] == [round(t.midi_number) for t in melody]
    away_s = [t - tone.onset_s for (t, _), tone in zip(found, melody, strict=True)]
    assert np.abs(away_s).max() < tolerance_s


@pytest.mark.parametrize("name", MELODIES)
def test_one_event_for_each_note(name: str) -> None:
    """At its time, its pitch likeliest; nothing else is rather a note."""
    melody = _melody(*MELODIES[name])
    _hold(_events(*melody), melody, ONSET_TOLERANCE_S)


@pytest.mark.parametrize("name", MELODIES)
def test_events_out_of_silence_are_exact(name: str) -> None:
    """Each note is stopped well before the next one."""
    melody = _melody(*MELODIES[name], ring_s=-0.12)
    _hold(_events(*melody), melody, SILENT_TOLERANCE_S)


@pytest.mark.parametrize("name", MELODIES)
def test_one_event_for_each_note_over_ringing_strings(name: str) -> None:
    """Each note rings through the next one."""
    melody = _melody(*MELODIES[name], ring_s=0.2)
    _hold(_events(*melody), melody, RINGING_TOLERANCE_S)


@pytest.mark.parametrize("rate_hz", [8000, 16000, 44100, 96000])
def test_any_sampling_rate(rate_hz: int) -> None:
    """The same events at every rate."""
    melody = _melody(*MELODIES["middle"])
    _hold(_events(*melody, rate_hz=rate_hz), melody, ONSET_TOLERANCE_S)


@pytest.mark.parametrize("cents", [-40, 35])
def test_mistuned(cents: int) -> None:
    """On a mistuned guitar the pitches are the frets."""
    melody = _melody(*MELODIES["middle"])
    found = _events(*made.moved(melody, cents / 100))
    _hold(found, melody, ONSET_TOLERANCE_S)


@pytest.mark.parametrize("midi_number", range(36, 92, 5))
def test_nothing_new_in_a_steady_sound(midi_number: int) -> None:
    """One note for two seconds: its onset, and nothing while it sounds or stops."""
    found = _notes(_events(made.Tone(0.5, 2.5, midi_number)))
    assert found == [(pytest.approx(0.5, abs=ONSET_TOLERANCE_S), midi_number)]


@pytest.mark.parametrize("midi_number", [45, 57, 69, 81])
@pytest.mark.parametrize(("rate_hz", "depth_cents"), [(4, 20), (5.5, 30), (7, 20)])
def test_nothing_new_in_a_shaken_note(
    midi_number: int, rate_hz: float, depth_cents: float
) -> None:
    """Vibrato begins no note."""
    shaken = made.vibrato(rate_hz, depth_cents)
    found = _notes(_events(made.Tone(0.5, 2.0, midi_number, cents=shaken)))
    assert [pitch for _, pitch in found] == [midi_number]


def test_slurs_are_events_without_an_attack() -> None:
    """Hammered on twice and pulled off: jumps inside one sounding note."""
    slurs = made.jumps((0.3, 200), (0.6, 300), (0.9, 0))
    found = _events(made.Tone(0.5, 2.0, 57, cents=slurs))
    expected = [(0.5, 57), (0.8, 59), (1.1, 60), (1.4, 57)]
    assert _notes(found) == [
        (pytest.approx(t, abs=RINGING_TOLERANCE_S), pitch) for t, pitch in expected
    ]
    sure = found.log_probability[:, 0] < SURE
    assert found.attack[sure][0] == 1
    assert found.attack[sure][1:].max() < 0.7


@pytest.mark.parametrize("gain", [0.003, 1.0, 30.0])
def test_level_does_not_matter(gain: float) -> None:
    """A take at another level has the same notes."""
    melody = _melody(*MELODIES["middle"])
    sound = gain * made.sound(melody, 3.5)
    found = onset.events(spectrum.analyse(from_array(sound, made.RATE_HZ)))
    _hold(found, melody, ONSET_TOLERANCE_S)


def test_onset_f_of_a_melody() -> None:
    """The onset F measure of mir_eval at its own 50 ms, and at 2 ms, is 1."""
    melody = _melody(*MELODIES["wide"], ring_s=-0.12)
    truth_s = np.array([tone.onset_s for tone in melody])
    found_s = np.array([t for t, _ in _notes(_events(*melody))])
    for window_s in (0.05, 0.002):
        assert mir_eval.onset.f_measure(truth_s, found_s, window_s) == (1, 1, 1)


# ---------------------------------------------------------------- evidence


@pytest.mark.parametrize("name", MELODIES)
def test_evidence_sums_to_one(name: str) -> None:
    """Over nothing new and every pitch."""
    found = _events(*_melody(*MELODIES[name], ring_s=0.2))
    assert found.log_probability.shape == (len(found), 1 + len(PITCHES))
    np.testing.assert_allclose(np.exp(found.log_probability).sum(axis=1), 1, atol=1e-9)


def test_events_are_in_order_and_apart() -> None:
    """Two moments nearer than what is merged are one."""
    times_s = _events(*_melody(*MELODIES["wide"], ring_s=0.3)).times_s
    assert np.diff(times_s).min() >= onset.MERGE_S


@pytest.mark.parametrize(("apart_s", "count"), [(0.015, 1), (0.06, 2)])
def test_attacks_nearer_than_28_ms_are_one(apart_s: float, count: int) -> None:
    """A pick that touches the string twice is one moment."""
    first = made.Tone(0.5, 0.5 + apart_s, 60)
    second = made.Tone(0.5 + apart_s, 1.2, 64)
    assert len(_events(first, second).between(0.45, 0.62)) == count


def test_weighed_in_parts(monkeypatch: pytest.MonkeyPatch) -> None:
    """What an hour holds is described a part at a time; the notes are the same."""
    seen = spectrum.analyse(made.record(_melody(*MELODIES["wide"], ring_s=0.2)))
    whole = onset.events(seen)
    monkeypatch.setattr(onset, "WEIGH_EVENTS", 5)
    parts = onset.events(seen)
    assert len(parts) == len(whole) > 2 * onset.WEIGH_EVENTS
    assert _notes(parts) == _notes(whole)
    np.testing.assert_allclose(parts.rise_db, whole.rise_db)
    probability = [np.exp(events.log_probability) for events in (whole, parts)]
    np.testing.assert_allclose(*probability, atol=0.05)


@pytest.mark.parametrize("rms", [1e-3, 0.1])
def test_noise_holds_no_note(rms: float) -> None:
    """Five seconds of white noise."""
    noise = rms * np.random.default_rng(4).standard_normal(5 * made.RATE_HZ)
    found = onset.events(spectrum.analyse(from_array(noise, made.RATE_HZ)))
    assert len(_notes(found)) <= 1


def test_clicks_have_an_attack_but_are_short() -> None:
    """A count-in of four clicks before the melody does not hide it."""
    melody = made.later(_melody(*MELODIES["middle"]), 2.5)
    sound = made.sound(melody, 6.0)
    rng = np.random.default_rng(1)
    for k in range(4):
        start = round((0.5 + 0.6 * k) * made.RATE_HZ)
        sound[start : start + 60] += 0.4 * rng.standard_normal(60)
    found = onset.events(spectrum.analyse(from_array(sound, made.RATE_HZ)))
    _hold(found.between(2.9, 6.0), melody, ONSET_TOLERANCE_S)


# ------------------------------------------------------------------ records


def test_between_is_closed() -> None:
    """An event at either end is inside; all columns are cut alike."""
    found = _events(*_melody(*MELODIES["middle"]))
    low, high = float(found.times_s[1]), float(found.times_s[4])
    part = found.between(low, high)
    assert len(part) == len(part.flux) == len(part.rise_db) == 4
    np.testing.assert_array_equal(part.times_s, found.times_s[1:5])
    np.testing.assert_array_equal(part.log_probability, found.log_probability[1:5])
    assert len(found.between(9.0, 10.0)) == 0
    assert part.tuning_cents == found.tuning_cents


def test_merged_candidates_are_in_order() -> None:
    """Of two sets, with what belongs to each."""
    first = Candidates(
        np.array([1.0, 3.0]), np.array([False, True]), np.array([9.0, 0])
    )
    other = Candidates(np.array([2.0]), np.array([True]), np.array([5.0]))
    merged = first.merged_with(other)
    assert merged.times_s.tolist() == [1, 2, 3]
    assert merged.is_step.tolist() == [False, True, True]
    assert merged.depth_db.tolist() == [9, 5, 0]


@pytest.mark.parametrize(
    ("curve", "expected"),
    [
        ([0, 1, 0, 0, 0, 2, 0], [1, 5]),
        ([0, 1, 0, 2, 0, 0, 0], [3]),  # the lower lies within two of the higher
        ([0, 0.4, 0, 0, 0, 0, 0.6], [6]),  # the lower is not above the limit
        ([3, 0, 0, 0, 0, 0, 3], [0, 6]),  # at the ends
        ([0.5] * 7, []),  # exactly at the limit is not above it
    ],
)
def test_peaks(curve: list[float], expected: list[int]) -> None:
    """Maxima over two to each side, above one half."""
    assert onset.peaks(np.array(curve), 2, 0.5).tolist() == expected


def test_a_soft_note_after_a_loud_one() -> None:
    """20 dB down, on another string."""
    loud, soft, *rest = _melody(*MELODIES["wide"])
    melody = [loud, replace(soft, gain=0.1 * soft.gain), *rest]
    _hold(_events(*melody), melody, ONSET_TOLERANCE_S)
