"""Takes of a hand-made lick, each with one thing different from what is written."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import hand_made
import hand_made_events
import hand_made_sound as made
import numpy as np
import pytest
from hand_made_sound import Tone
from hypothesis import given, settings
from hypothesis import strategies as st

from assessor import alignment, second_look
from assessor.alignment import Alignment, ExtraNote, Match, Pass, Verdict
from assessor.errors import AlignmentError
from assessor.lick import read as read_lick
from assessor.lick.notation import Articulation, Lick
from assessor.recording import from_array
from assessor.tuning import FloatArray
from assessor.warp import Written

REFERENCES = Path(__file__).parents[1] / "references"
TEMPO_TOLERANCE = 0.01
TIME_TOLERANCE_S = 0.02  # the exact clocks look later
TUNING_TOLERANCE_CENTS = 3.0

PLACES = [
    (3, 5), (3, 7), (2, 5), (2, 8), (1, 5), (1, 8),
    (1, 5), (2, 8), (2, 5), (3, 7), (3, 5), (4, 7),
]  # fmt: skip
LICK = hand_made.lick([Fraction(k, 2) for k in range(12)], PLACES)  # each 0.3 s
MIDI = [note.midi_number for note in LICK.notes]
TAKE = made.as_written(LICK)
R, W, M, U = Verdict.RIGHT, Verdict.WRONG, Verdict.MISSED, Verdict.UNSURE
ALL_RIGHT = [R] * 12


def _align(
    tones: Sequence[Tone], lick: Lick = LICK, *, duration_s: float | None = None
) -> Alignment:
    _, heard = made.hear(made.record(tones, duration_s))
    return alignment.align(lick, heard)


def _one(found: Alignment) -> Pass:
    """Return the only pass."""
    (only,) = found.passes
    return only


def _verdicts(found: Pass) -> list[Verdict]:
    return [match.verdict for match in found.matches]


def _check_times(found: Pass, tones: Sequence[Tone]) -> None:
    """Every matched note is near the tone it should be."""
    for match, tone in zip(found.matches, tones, strict=True):
        assert match.time_s == pytest.approx(tone.onset_s, abs=TIME_TOLERANCE_S)


# ------------------------------------------------------------------ one fault


def test_faultless_take() -> None:
    """All right, at their places, with their pitches, nothing extra."""
    found = _one(_align(TAKE))
    assert _verdicts(found) == ALL_RIGHT
    assert [m.midi_number for m in found.matches] == MIDI
    assert [m.index for m in found.matches] == list(range(12))
    assert (found.extras, found.complete, found.faults) == ((), True, 0)
    assert found.tempo_ratio == pytest.approx(1, abs=TEMPO_TOLERANCE)
    _check_times(found, TAKE)


@pytest.mark.parametrize("k", range(12))
@pytest.mark.parametrize("away", [-12, -1, 2])
def test_one_wrong_note(k: int, away: int) -> None:
    """Another fret: that note is wrong, with its pitch, and no other."""
    take = [*TAKE[:k], *made.moved(TAKE[k : k + 1], away), *TAKE[k + 1 :]]
    found = _one(_align(take))
    assert _verdicts(found) == [W if i == k else R for i in range(12)]
    assert found.matches[k].midi_number == MIDI[k] + away
    assert (found.extras, found.right, found.faults) == ((), 11, 1)


@pytest.mark.parametrize("k", range(12))
def test_one_missed_note(k: int) -> None:
    """Left out: missed, without a time or a pitch."""
    found = _one(_align(TAKE[:k] + TAKE[k + 1 :]))
    assert _verdicts(found) == [M if i == k else R for i in range(12)]
    assert (found.matches[k].time_s, found.matches[k].midi_number) == (None, None)
    assert found.matches[k].expected_s == pytest.approx(TAKE[k].onset_s, abs=0.02)
    assert found.extras == ()
    assert found.complete


@pytest.mark.parametrize("k", range(11))
def test_one_extra_note(k: int) -> None:
    """Half way to the next note, of a pitch that is not in the lick."""
    half_s = TAKE[k].onset_s + 0.15
    take = [*TAKE, Tone(half_s, half_s + 0.15, 66)]
    take[k] = replace(take[k], end_s=half_s)
    found = _one(_align(take))
    assert _verdicts(found) == ALL_RIGHT
    (extra,) = found.extras
    assert extra.time_s == pytest.approx(half_s, abs=TIME_TOLERANCE_S)
    assert extra.midi_number == 66
    assert found.faults == 1


def test_notes_before_and_after_are_outside() -> None:
    """Noodling a second before and after the lick is no extra note."""
    around = [Tone(0.2, 0.5, 66), Tone(6.5, 7.0, 59), Tone(7.0, 7.5, 70)]
    found = _one(_align([*made.later(TAKE, 0.8), *around]))
    assert _verdicts(found) == ALL_RIGHT
    assert found.extras == ()


# ----------------------------------------------------------------- one change


@pytest.mark.parametrize("tempo", [0.5, 0.75, 1.3, 1.5])
def test_another_tempo(tempo: float) -> None:
    """Slower or faster than written, also with a wrong and a missed note."""
    take = made.as_written(LICK, pace=1 / tempo)
    found = _one(_align(take))
    assert _verdicts(found) == ALL_RIGHT
    assert found.tempo_ratio == pytest.approx(tempo, rel=TEMPO_TOLERANCE)
    _check_times(found, take)
    faulty = [*take[:3], *made.moved(take[3:4], 1), *take[4:8], *take[9:]]
    found = _one(_align(faulty))
    assert _verdicts(found) == [R, R, R, W, R, R, R, R, M, R, R, R]
    assert found.extras == ()


@pytest.mark.parametrize("pause_s", [0.4, 2.0, 6.0])
def test_a_pause_in_the_middle(pause_s: float) -> None:
    """Stopped after six notes and gone on: one pass, the tempo that of the playing."""
    take = TAKE[:6] + made.later(TAKE[6:], pause_s)
    found = _one(_align(take))
    assert _verdicts(found) == ALL_RIGHT
    assert found.extras == ()
    assert found.tempo_ratio == pytest.approx(1, abs=TEMPO_TOLERANCE)
    _check_times(found, take)


def test_three_passes_with_a_restart() -> None:
    """One whole, one broken off and begun again, one with a wrong note."""
    last = made.later(TAKE, 13)
    last[5:6] = made.moved(last[5:6], -1)
    take = TAKE + made.later(TAKE[:5], 5) + made.later(TAKE, 8) + last
    found = _align(take)
    assert [_verdicts(one) for one in found.passes] == [
        ALL_RIGHT,
        [R] * 5 + [U] * 7,
        ALL_RIGHT,
        [R] * 5 + [W] + [R] * 6,
    ]
    assert [one.complete for one in found.passes] == [True, False, True, True]
    assert [one.extras for one in found.passes] == [()] * 4
    assert found.best == 0


def test_the_best_pass_has_the_fewest_faults() -> None:
    """The second of three."""
    first = [*TAKE[:4], *made.moved(TAKE[4:5], 1), *TAKE[5:]]
    take = first + made.later(TAKE, 5) + made.later(TAKE[:7] + TAKE[8:], 10)
    found = _align(take)
    assert [one.faults for one in found.passes] == [1, 0, 1]
    assert found.best == 1


@pytest.mark.parametrize("count", [5, 8, 9])
def test_a_broken_off_take(count: int) -> None:
    """What was not played to is not missed."""
    found = _one(_align(TAKE[:count]))
    assert _verdicts(found) == [R] * count + [U] * (12 - count)
    assert not found.complete
    assert all(m.time_s is None for m in found.matches[count:])


def test_too_little_of_a_lick() -> None:
    """Four of twelve notes, if all right, are not yet the lick."""
    with pytest.raises(AlignmentError, match="at most 4 of the lick's 12 fit"):
        _align(TAKE[:4])


@pytest.mark.parametrize("count", [10, 11])
def test_one_or_two_notes_left_out_at_the_end_are_missed(count: int) -> None:
    """Fewer than three are not a take broken off."""
    found = _one(_align(TAKE[:count]))
    assert _verdicts(found) == [R] * count + [M] * (12 - count)
    assert found.complete


def test_a_take_that_begins_late() -> None:
    """The first four notes are not in the recording."""
    found = _one(_align(TAKE[4:]))
    assert _verdicts(found) == [U] * 4 + [R] * 8
    assert not found.complete


@pytest.mark.parametrize("semitones", [-12, -5, 3, 12])
def test_a_moved_take(semitones: int) -> None:
    """Another position or octave: all right, and moved; one slip is still found."""
    take = made.moved(TAKE, semitones)
    found = _align(take)
    assert found.transposition == semitones
    assert _verdicts(_one(found)) == ALL_RIGHT
    assert [m.midi_number for m in _one(found).matches] == [m + semitones for m in MIDI]
    take[6:7] = made.moved(take[6:7], 1)
    found = _align(take)
    assert found.transposition == semitones
    assert _verdicts(_one(found)) == [W if k == 6 else R for k in range(12)]


@pytest.mark.parametrize("cents", [-60, -45, -20, 20, 45, 60])
def test_a_mistuned_guitar(cents: int) -> None:
    """Up to 60 cents: all right; shift and tuning together say how far."""
    found = _align(made.moved(TAKE, cents / 100))
    assert _verdicts(_one(found)) == ALL_RIGHT
    away = 100 * found.transposition + found.tuning_cents
    assert away == pytest.approx(cents, abs=TUNING_TOLERANCE_CENTS)


def test_a_count_in() -> None:
    """Four clicks before the lick are no notes of it, and no extra ones."""
    sound = made.sound(made.later(TAKE, 1.4), 7.5)
    rng = np.random.default_rng(1)
    for k in range(4):
        start = round(0.6 * k * made.RATE_HZ)
        sound[start : start + 60] += 0.5 * rng.standard_normal(60)
    _, heard = made.hear(from_array(sound, made.RATE_HZ))
    found = _one(alignment.align(LICK, heard))
    assert _verdicts(found) == ALL_RIGHT
    assert found.extras == ()


@pytest.mark.parametrize(("before_s", "after_s"), [(0, 15), (15, 0), (0, 0.05)])
def test_silence_around(before_s: float, after_s: float) -> None:
    """Much before the take or after it, or hardly any."""
    take = made.later(TAKE, before_s)
    found = _align(take, duration_s=take[-1].end_s + after_s)
    assert _verdicts(_one(found)) == ALL_RIGHT
    assert _one(found).extras == ()


@pytest.mark.parametrize("ring_s", [0.15, 0.5, 1.5])
def test_overlapping_strings(ring_s: float) -> None:
    """Notes ring into the next ones: nothing wrong, nothing extra."""
    found = _one(_align(made.as_written(LICK, ring_s=ring_s)))
    assert _verdicts(found) == ALL_RIGHT
    assert found.extras == ()


@pytest.mark.parametrize("ring_s", [0.15, 0.5])
@pytest.mark.parametrize("k", [2, 5, 9])
def test_one_missed_note_over_ringing_strings(k: int, ring_s: float) -> None:
    """What rings on does not stand in for the missed note."""
    take = made.as_written(LICK, ring_s=ring_s)
    found = _one(_align(take[:k] + take[k + 1 :]))
    assert _verdicts(found) == [M if i == k else R for i in range(12)]
    assert found.extras == ()


def test_repeated_notes() -> None:
    """One pitch eight times, one of them left out."""
    lick = hand_made.lick(range(8), [(3, 5)] * 8)
    take = made.as_written(lick)
    assert _verdicts(_one(_align(take, lick))) == [R] * 8
    found = _one(_align(take[:4] + take[5:], lick))
    assert _verdicts(found) == [M if i == 4 else R for i in range(8)]


# -------------------------------------------------------------- not this lick

OTHER = (52, 55, 53, 57, 50, 59, 48, 56, 54, 51, 58, 49, 53)


def test_a_take_of_another_lick() -> None:
    """Refused, with how much was heard and how much of it fits."""
    take = [Tone(1 + 0.3 * k, 1.3 + 0.3 * k, m) for k, m in enumerate(OTHER)]
    with pytest.raises(AlignmentError, match="is not the lick 'hand made'") as caught:
        _align(take)
    error = caught.value
    assert (error.expected_notes, error.heard_notes) == (12, len(OTHER))
    assert error.matched_notes <= 4
    assert f"{len(OTHER)} notes were heard" in str(error)
    assert "check that take and lick belong together" in str(error)


@pytest.mark.parametrize("seed", [3, 15, 23])
@pytest.mark.parametrize("name", ["drop-d-riff", "hybrid-picked-tenths"])
def test_clicks_alone_are_refused(seed: int, name: str) -> None:
    """A metronome and nobody playing is no lick."""
    rng = np.random.default_rng(seed)
    sound = 1e-4 * rng.standard_normal(6 * made.RATE_HZ)
    for k in range(20):
        start = round(0.3 * k * made.RATE_HZ)
        sound[start : start + 60] += 0.5 * rng.standard_normal(60)
    lick = read_lick(REFERENCES / f"{name}.lick")
    seen, heard = made.hear(from_array(sound, made.RATE_HZ))
    with pytest.raises(AlignmentError):
        second_look.confirm(alignment.align(lick, heard), lick, heard, seen)


@pytest.mark.parametrize("seed", range(8))
def test_random_notes_are_refused(seed: int) -> None:
    """Of the lick's own range, at the lick's own pace."""
    midi = np.random.default_rng(seed).integers(52, 74, 14)
    take = [Tone(1 + 0.3 * k, 1.3 + 0.3 * k, int(m)) for k, m in enumerate(midi)]
    with pytest.raises(AlignmentError, match="is not the lick"):
        _align(take)


@pytest.mark.parametrize("seed", range(4))
def test_white_noise_is_refused(seed: int) -> None:
    """Five seconds of it."""
    noise = 0.1 * np.random.default_rng(seed).standard_normal(5 * made.RATE_HZ)
    _, heard = made.hear(from_array(noise, made.RATE_HZ))
    with pytest.raises(AlignmentError, match="is not the lick"):
        alignment.align(LICK, heard)


def test_one_long_note_is_refused() -> None:
    """A single tone is no lick of twelve."""
    with pytest.raises(AlignmentError) as caught:
        _align([Tone(0.5, 2.5, 60)])
    assert caught.value.heard_notes == 1


# ---------------------------------------------------------------- short licks


@pytest.mark.parametrize("count", [1, 2, 3, 4])
@pytest.mark.parametrize("pace", [0.8, 1.0, 1.3])
def test_short_licks(count: int, pace: float) -> None:
    """One note is a lick, too."""
    lick = replace(LICK, notes=LICK.notes[:count])
    found = _one(_align(made.as_written(lick, pace=pace), lick))
    assert _verdicts(found) == [R] * count
    assert found.extras == ()


def _verdicts_or_refused(tones: Sequence[Tone], lick: Lick) -> list[Verdict] | None:
    """Verdicts of the best pass; None when the take is refused."""
    try:
        found = _align(tones, lick)
    except AlignmentError:
        return None
    return _verdicts(found.passes[found.best])


@pytest.mark.parametrize("count", [1, 2, 3, 4, 5])
@pytest.mark.parametrize("change", ["missed", "wrong", "extra"])
def test_short_licks_with_a_fault(count: int, change: str) -> None:
    """From four notes on the fault is told; fewer may be too little to know the lick.

    Then the take is refused, as it is when nothing fits.
    """
    lick = replace(LICK, notes=LICK.notes[:count])
    take = made.as_written(lick)
    wrong = made.moved(take[-1:], 1)
    takes = {
        "missed": [Tone(0.2, 0.3, 45, 0.001), *take[:-1]],
        "wrong": [*take[:-1], *wrong],
        "extra": [*take, *made.later(wrong, 0.4)],
    }
    last = {"missed": M, "wrong": W, "extra": R}[change]
    allowed: list[list[Verdict] | None] = [[R] * (count - 1) + [last]]
    if count < 4 and last is not R:
        allowed.append(None)
    assert _verdicts_or_refused(takes[change], lick) in allowed


@pytest.mark.parametrize("count", [1, 2, 3, 4, 5])
def test_short_licks_that_are_not_there(count: int) -> None:
    """Three other notes hold none of them."""
    lick = replace(LICK, notes=LICK.notes[:count])
    other = [Tone(1, 1.5, 52), Tone(1.5, 2, 58), Tone(2, 2.5, 49)]
    assert _verdicts_or_refused(other, lick) is None


# ----------------------------------------------------------------- properties

SEVERAL = made.moved([*TAKE[:3], *made.moved(TAKE[3:4], 2), *TAKE[4:7], *TAKE[8:]], 0)
EXPECTED = [R, R, R, W, R, R, R, M, R, R, R, R]


@settings(deadline=None, max_examples=15)
@given(
    before_s=st.floats(0, 3),
    after_s=st.floats(0.1, 3),
    gain=st.floats(0.02, 5),
    semitones=st.integers(-12, 12),
    cents=st.floats(-45, 45),
)
def test_what_leaves_the_verdicts_unchanged(
    before_s: float, after_s: float, gain: float, semitones: int, cents: float
) -> None:
    """Silence around, level, time, tuning, and lick and take moved together."""
    lick = replace(
        LICK,
        notes=tuple(
            replace(n, midi_number=n.midi_number + semitones) for n in LICK.notes
        ),
    )
    take = made.later(made.moved(SEVERAL, semitones + cents / 100), before_s - 0.9)
    sound = gain * made.sound(take, take[-1].end_s + after_s)
    _, heard = made.hear(from_array(sound, made.RATE_HZ))
    found = alignment.align(lick, heard)
    assert _verdicts(_one(found)) == EXPECTED
    assert (_one(found).extras, found.transposition) == ((), 0)


@pytest.mark.parametrize("rate_hz", [8000, 11025, 44100, 96000])
def test_any_sampling_rate(rate_hz: int) -> None:
    """The same verdicts."""
    _, heard = made.hear(made.record(SEVERAL, rate_hz=rate_hz))
    assert _verdicts(_one(alignment.align(LICK, heard))) == EXPECTED


# --------------------------------------------------------- closing a pass

WRITTEN = Written.of(LICK)
SPAN_S = (0.0, 10.0)


def _closed(
    verdicts: Sequence[Verdict], extras: Sequence[ExtraNote] = ()
) -> alignment.Pass:
    """Pass with these verdicts, each note at its place from second 1 on."""
    matches = [
        Match(k, v, 0.9, None, None, 1.0 + WRITTEN.onset_s[k])
        if v is M
        else Match(
            k, v, 0.9, 1.0 + WRITTEN.onset_s[k], MIDI[k], 1.0 + WRITTEN.onset_s[k]
        )
        for k, v in enumerate(verdicts)
    ]
    return alignment.close_pass(WRITTEN, matches, list(extras), SPAN_S)


@pytest.mark.parametrize(
    ("verdicts", "expected", "complete"),
    [
        ([R] * 12, [R] * 12, True),
        ([R] * 10 + [M] * 2, [R] * 10 + [M] * 2, True),
        ([R] * 9 + [M] * 3, [R] * 9 + [U] * 3, False),
        ([M] * 2 + [R] * 10, [M] * 2 + [R] * 10, True),
        ([M] * 3 + [R] * 9, [U] * 3 + [R] * 9, False),
        ([R] * 4 + [M] * 5 + [R] * 3, [R] * 4 + [M] * 5 + [R] * 3, True),
        ([M] * 12, [U] * 12, False),
    ],
)
def test_what_was_not_played_to(
    verdicts: list[Verdict], expected: list[Verdict], complete: bool
) -> None:
    """Three missed at an end are not reached; two are missed; inside, all are."""
    found = _closed(verdicts)
    assert (_verdicts(found), found.complete) == (expected, complete)


@pytest.mark.parametrize(
    ("time_s", "kept"),
    [
        (0.93, 0),  # before the first note
        (0.95, 1),  # an early grace note
        (1.15, 1),
        (1.27, 0),  # the matched note itself, heard twice
        (1.33, 0),
        (1.34, 1),
        (4.55, 1),  # while the last note lasts
        (5.2, 0),  # after it
    ],
)
def test_extra_notes_inside_the_pass(time_s: float, kept: int) -> None:
    """Beside no matched note, and not outside."""
    assert len(_closed(ALL_RIGHT, [ExtraNote(time_s, 66, 0.9)]).extras) == kept


def test_no_extra_note_is_counted_twice() -> None:
    """Of one pitch twice within 60 ms the surer one stays."""
    twice = [ExtraNote(1.12, 66, 0.7), ExtraNote(1.16, 66, 0.9)]
    assert _closed(ALL_RIGHT, twice).extras == (twice[1],)
    two = [ExtraNote(1.12, 66, 0.7), ExtraNote(1.16, 70, 0.9)]
    assert _closed(ALL_RIGHT, two).extras == tuple(two)


# ---------------------------------------------------------------- calibration


def test_calibration_keeps_the_order() -> None:
    """A surer right note stays the surer one, and inside 0 to 1."""
    match = Match(3, R, 0.0, 2.0, 60, 2.0)
    found = [
        alignment.calibrated(replace(match, probability=float(p))).probability
        for p in np.linspace(0, 1, 41)
    ]
    assert found == sorted(found)
    assert 0 < found[0] < found[-1] < 1


@pytest.mark.parametrize("verdict", [W, M, U])
def test_only_right_notes_are_calibrated(verdict: Verdict) -> None:
    """Faults are judged, one by one, and what was not played to has no doubt."""
    match = Match(3, verdict, 0.6, None, None, 2.0)
    assert alignment.calibrated(match) == match


def _both(
    tones: Sequence[Tone], lick: Lick = LICK, sound: FloatArray | None = None
) -> Alignment:
    """Heard twice."""
    recording = made.record(tones) if sound is None else from_array(sound, made.RATE_HZ)
    seen, heard = made.hear(recording)
    return second_look.confirm(alignment.align(lick, heard), lick, heard, seen)


def test_no_event_at_all() -> None:
    """Refused, not an IndexError."""
    with pytest.raises(AlignmentError):
        alignment.align(LICK, hand_made_events.events([]))


def _with_pitch(k: int, midi_number: int, shift: int = 0) -> Lick:
    """The lick moved, and note k written at another pitch."""
    notes = [replace(n, midi_number=n.midi_number + shift) for n in LICK.notes]
    notes[k] = replace(notes[k], midi_number=midi_number)
    return replace(LICK, notes=tuple(notes))


@pytest.mark.parametrize(
    ("written", "played"), [(35, 36), (33, 36), (28, 36), (95, 91)]
)
def test_another_note_is_not_right_because_the_written_one_cannot_be_heard(
    written: int, played: int
) -> None:
    """Unsure or wrong, or refused in words; not right, and no IndexError."""
    lick = _with_pitch(4, written, -20 if written < 50 else 14)
    take = made.as_written(lick)
    take[4] = replace(take[4], midi_number=played)
    (found,) = _both(take, lick).passes
    assert found.matches[4].verdict is not R


@pytest.mark.parametrize("written", [35, 92, 93, 95])
def test_a_note_outside_what_is_heard_is_no_fault(written: int) -> None:
    """Played as written (35 is the open seventh string)."""
    lick = _with_pitch(4, written, -20 if written < 50 else 14)
    (found,) = _both(made.as_written(lick), lick).passes
    assert found.matches[4].verdict in (R, U)


def test_a_dead_note_that_was_played_is_not_missed() -> None:
    """A knock without pitch, as written."""
    lick = hand_made.lick(
        [Fraction(k, 2) for k in range(12)],
        PLACES,
        extras={3: {"articulation": Articulation.DEAD}},
    )
    sound = made.sound(TAKE[:3] + TAKE[4:], 6.0)
    start = round(TAKE[3].onset_s * made.RATE_HZ)
    knock = np.random.default_rng(1).standard_normal(900)
    sound[start : start + 900] += 0.15 * knock * np.exp(-np.arange(900) / 200)
    (found,) = _both([], lick, sound).passes
    assert found.matches[3].verdict in (R, U)


@pytest.mark.parametrize("swung", [True, False])
def test_tempo_of_a_take_with_another_feel(swung: bool) -> None:
    """Swung as written straight, or straight as written swung: the same tempo."""
    other = replace(LICK, swing=2.0)
    lick, played = (LICK, other) if swung else (other, LICK)
    (found,) = _both(made.as_written(played), lick).passes
    assert found.tempo_ratio == pytest.approx(1.0, abs=0.05)
