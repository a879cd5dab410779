"""Exact times, contours and levels of takes whose every note is known."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Any

import hand_made
import hand_made_sound as made
import librosa
import mir_eval
import numpy as np
import pytest
from hand_made_sound import Tone

from assessor import alignment, pitch, second_look
from assessor.lick.notation import (
    Articulation,
    Bend,
    BendKind,
    Lick,
    LickNote,
    SlideEdge,
)
from assessor.pitch import Performance, PlayedNote, SoundedBy
from assessor.tuning import hz_to_midi, midi_to_hz

STRUCK_TOLERANCE_S = 0.0005
HIDDEN_TOLERANCE_S = 0.0015
SLUR_TOLERANCE_S = 0.002
# Median of a note; 95 % of its frames; every frame.  The partials of the lowest notes
# are nearest to each other in the window.
STEADY_CENTS = {36: (0.7, 3.0, 4.0), 40: (0.4, 1.5, 2.5), 45: (0.3, 1.0, 1.5)}
HIGHER_CENTS = (0.2, 0.5, 1.0)
MOVING_TOLERANCE_CENTS = 1.0
EDGE_TOLERANCE_CENTS = 5.0  # of the first and last frame, where less is seen
LEVEL_TOLERANCE_DB = 0.3
PYIN_TOLERANCE_CENTS = 15.0  # its own bins are 10 cents wide

PLACES = [
    (3, 5), (3, 7), (2, 5), (2, 8), (1, 5), (1, 8),
    (1, 5), (2, 8), (2, 5), (3, 7), (3, 5), (4, 7),
]  # fmt: skip
LICK = hand_made.lick([Fraction(k, 2) for k in range(12)], PLACES)  # each 0.3 s


def _trace(
    tones: Sequence[Tone], lick: Lick = LICK, *, rate_hz: int = made.RATE_HZ
) -> Performance:
    seen, events = made.hear(made.record(tones, rate_hz=rate_hz))
    found = alignment.align(lick, events)
    return pitch.trace(second_look.confirm(found, lick, events, seen), lick, seen)


def _played(performance: Performance) -> list[PlayedNote]:
    """Notes of the only pass, none missed."""
    (only,) = performance.passes
    notes = [note.played for note in only.notes]
    assert None not in notes
    return [note for note in notes if note is not None]


def _late_s(notes: Sequence[PlayedNote], tones: Sequence[Tone]) -> made.FloatArray:
    pairs = zip(notes, tones, strict=True)
    return np.array([note.onset_s - tone.onset_s for note, tone in pairs])


# --------------------------------------------------------------------- times


@pytest.mark.parametrize("rate_hz", [8000, 22050, 44100, 48000])
def test_onsets_out_of_silence(rate_hz: int) -> None:
    """To half a millisecond, and stated to a whole one."""
    take = made.as_written(LICK, start_s=0.98765, pace=0.9871, ring_s=-0.12)
    notes = _played(_trace(take, rate_hz=rate_hz))
    assert np.abs(_late_s(notes, take)).max() < STRUCK_TOLERANCE_S
    assert {note.onset_uncertainty_s for note in notes} == {0.001}


@pytest.mark.parametrize("ring_s", [0.0, 0.15, 0.3, 0.6])
def test_onsets_over_what_rings(ring_s: float) -> None:
    """Each note rings so far into the next ones; the error is inside what is stated."""
    take = made.as_written(LICK, start_s=0.98765, ring_s=ring_s)
    notes = _played(_trace(take))
    late_s = np.abs(_late_s(notes, take))
    assert late_s.max() < HIDDEN_TOLERANCE_S
    assert (late_s <= [note.onset_uncertainty_s for note in notes]).all()


SLURS = {
    1: Articulation.HAMMER_ON,
    2: Articulation.HAMMER_ON,
    4: Articulation.HAMMER_ON,
    5: Articulation.PULL_OFF,
    7: Articulation.HAMMER_ON,
    9: Articulation.PULL_OFF,
}
SLURRED_PLACES = [
    (3, 5), (3, 7), (3, 8), (2, 5), (2, 8), (2, 5), (1, 5), (1, 8), (2, 8), (2, 5),
    (3, 7), (4, 7),
]  # fmt: skip
SLURRED = hand_made.lick(
    [Fraction(k, 2) for k in range(12)],
    SLURRED_PLACES,
    extras={k: {"articulation": how} for k, how in SLURS.items()},
)


def _with_slurs(written: Sequence[Tone], lick: Lick) -> list[Tone]:
    """One sounding tone for each picked note and the slurred ones that follow it."""
    groups: list[list[Tone]] = []
    for tone, note in zip(written, lick.notes, strict=True):
        if note.slurred:
            groups[-1].append(tone)
        else:
            groups.append([tone])
    return [_slurred(*group) for group in groups]


def _slurred(head: Tone, *rest: Tone) -> Tone:
    steps = [
        (t.onset_s - head.onset_s, 100 * (t.midi_number - head.midi_number))
        for t in rest
    ]
    return replace(head, end_s=[head, *rest][-1].end_s, cents=made.jumps(*steps))


def test_onsets_of_slurs_without_an_attack() -> None:
    """Hammered and pulled inside one sounding note, unevenly."""
    written = made.as_written(SLURRED)
    for k, uneven_s in ((1, 0.02), (2, -0.03), (5, 0.04), (9, -0.02)):
        written[k] = replace(written[k], onset_s=written[k].onset_s + uneven_s)
    notes = _played(_trace(_with_slurs(written, SLURRED), SLURRED))
    late_s = np.abs(_late_s(notes, written))
    slurred = [k in SLURS for k in range(12)]
    assert late_s[slurred].max() < SLUR_TOLERANCE_S
    assert (late_s <= [note.onset_uncertainty_s for note in notes]).all()


def test_picked_and_slurred_are_told_apart() -> None:
    """No picked note is called slurred, no slurred one picked, few are unclear."""
    notes = _played(_trace(_with_slurs(made.as_written(SLURRED), SLURRED), SLURRED))
    for k, note in enumerate(notes):
        other = SoundedBy.PICKED if k in SLURS else SoundedBy.SLURRED
        assert note.sounded_by is not other
    assert sum(note.sounded_by is SoundedBy.UNCLEAR for note in notes) <= 6
    picked = _played(_trace(made.as_written(SLURRED), SLURRED))
    assert {note.sounded_by for note in picked} == {SoundedBy.PICKED}


def test_notes_end_where_the_next_begin() -> None:
    """Legato: each is stopped at the next one's onset, the last where it is stopped."""
    take = made.as_written(LICK)
    notes = _played(_trace(take))
    ends_s = np.array([note.offset_s for note in notes])
    np.testing.assert_array_equal(ends_s[:-1], [note.onset_s for note in notes[1:]])
    # 25 dB further down, at 12 ms to 1/e: 35 ms later
    assert ends_s[-1] == pytest.approx(take[-1].end_s + 0.035, abs=0.015)


# --------------------------------------------------------------------- pitch


def _scale(lowest: float) -> tuple[Lick, list[Tone]]:
    """Seven notes from `lowest` on, half a second each, and their tones."""
    lick = hand_made.lick(range(7), tempo_bpm=120.0)
    steps = (0, 2, 4, 2, 0, 1, 0)
    notes: list[LickNote] = [
        replace(note, midi_number=int(lowest) + step)
        for note, step in zip(lick.notes, steps, strict=True)
    ]
    lick = replace(lick, notes=tuple(notes))
    return lick, made.moved(made.as_written(lick), lowest - int(lowest))


@pytest.mark.parametrize("lowest", [36, 40, 45, 50, 57, 67, 76, 84])
@pytest.mark.parametrize("sharp_cents", [0.0, 13.7])
def test_steady_notes_to_the_cent(lowest: int, sharp_cents: float) -> None:
    """Over the whole range, on a guitar in tune and one that is not."""
    median, most, every = STEADY_CENTS.get(lowest, HIGHER_CENTS)
    lick, take = _scale(lowest + sharp_cents / 100)
    performance = _trace(take, lick)
    for note, tone in zip(_played(performance), take, strict=True):
        away = np.abs(note.contour.cents_above(tone.midi_number))
        sounding = away[note.contour.times_s < tone.end_s]
        assert not np.isnan(sounding).any()
        assert np.percentile(sounding, 95) < most
        assert sounding.max() < every
        steady_cents = 100 * (note.steady_midi - tone.midi_number)
        assert abs(steady_cents) < median
        assert abs(steady_cents) <= note.steady_uncertainty_cents
        assert note.midi_number == round(tone.midi_number)
    assert performance.tuning_cents == pytest.approx(sharp_cents, abs=median)


@pytest.mark.parametrize("cents", [-60, -45, 45, 60])
def test_tuning_of_the_instrument(cents: int) -> None:
    """Beyond half a semitone it is one guitar out of tune, not a moved take."""
    performance = _trace(made.moved(made.as_written(LICK), cents / 100))
    assert performance.tuning_cents == pytest.approx(cents, abs=0.3)
    assert performance.transposition == 0
    written = [note.midi_number for note in LICK.notes]
    assert [note.midi_number for note in _played(performance)] == written


def test_steady_notes_over_what_rings() -> None:
    """Half a note's length into the next one: to half a cent, inside what is stated."""
    take = made.as_written(LICK, ring_s=0.15)
    for note, tone in zip(_played(_trace(take)), take, strict=True):
        away_cents = 100 * abs(note.steady_midi - tone.midi_number)
        assert away_cents < min(0.5, note.steady_uncertainty_cents)


def test_one_note_out_of_tune() -> None:
    """Fretted 23 cents sharp: that note alone, on the guitar's own tuning."""
    take = made.moved(made.as_written(LICK), 0.1)
    take[4:5] = made.moved(take[4:5], 0.23)
    performance = _trace(take)
    off = [100 * (n.steady_midi - n.midi_number) for n in _played(performance)]
    expected = [33.0 if k == 4 else 10.0 for k in range(12)]
    np.testing.assert_allclose(off, expected, atol=0.3)
    assert performance.tuning_cents == pytest.approx(10, abs=0.3)


def test_what_is_another_note_is_not_read_as_out_of_tune() -> None:
    """A whole semitone off is no intonation, whatever the verdict says."""
    take = made.as_written(LICK)
    take[4:5] = made.moved(take[4:5], 1)
    seen, events = made.hear(made.record(take))
    found = second_look.confirm(alignment.align(LICK, events), LICK, events, seen)
    (only,) = found.passes
    assert only.matches[4].verdict is alignment.Verdict.WRONG
    as_written = replace(only.matches[4], midi_number=LICK.notes[4].midi_number)
    matches = (*only.matches[:4], as_written, *only.matches[5:])
    found = replace(found, passes=(replace(only, matches=matches),))
    steady = [note.steady_midi for note in _played(pitch.trace(found, LICK, seen))]
    assert [k for k in range(12) if np.isnan(steady[k])] == [4]


MOVING: dict[str, tuple[dict[str, Any], made.Curve]] = {
    "vibrato 5 Hz 30 c": ({"vibrato": True}, made.vibrato(5, 30)),
    "vibrato 4 Hz 50 c": ({"vibrato": True}, made.vibrato(4, 50)),
    "vibrato 6.5 Hz 20 c": ({"vibrato": True}, made.vibrato(6.5, 20)),
    "half step": ({"bend": Bend(BendKind.BEND, 100.0)}, made.glide(0.3, 0.15, 100)),
    "slow half": ({"bend": Bend(BendKind.BEND, 100.0)}, made.glide(0.3, 0.5, 100)),
    "whole step": ({"bend": Bend(BendKind.BEND, 200.0)}, made.glide(0.3, 0.2, 200)),
    "flat whole": ({"bend": Bend(BendKind.BEND, 200.0)}, made.glide(0.3, 0.2, 171)),
    "one and a half": ({"bend": Bend(BendKind.BEND, 300.0)}, made.glide(0.3, 0.3, 300)),
}


def _moving(name: str, semitones: int) -> tuple[Lick, list[Tone]]:
    """Lick whose third note is two and a half seconds long and moves."""
    field, cents = MOVING[name]
    beats = [0, 1, 2, 6, 7, 8, 9]
    lick = hand_made.lick(beats, PLACES[:7], extras={2: field})
    moved = [replace(n, midi_number=n.midi_number + semitones) for n in lick.notes]
    take = made.moved(made.as_written(lick), semitones)
    take[2] = replace(take[2], cents=cents)
    return replace(lick, notes=tuple(moved)), take


@pytest.mark.parametrize("semitones", [-12, 7])
@pytest.mark.parametrize("name", MOVING)
def test_contours_of_what_moves(name: str, semitones: int) -> None:
    """The curve that was played, frame by frame."""
    lick, take = _moving(name, semitones)
    note, tone = _played(_trace(take, lick))[2], take[2]
    assert tone.cents is not None
    truth = tone.cents(note.contour.times_s - tone.onset_s)
    away = np.abs(note.contour.cents_above(tone.midi_number) - truth)
    assert len(away) > 200
    assert away[1:-1].max() < 3 * MOVING_TOLERANCE_CENTS
    assert np.percentile(away, 95) < MOVING_TOLERANCE_CENTS
    assert away.max() < EDGE_TOLERANCE_CENTS
    assert np.isnan(note.steady_midi)  # it has no steady part to tell


@pytest.mark.parametrize("name", ["vibrato 4 Hz 50 c", "whole step", "flat whole"])
def test_what_moves_is_no_tuning(name: str) -> None:
    """A bent or shaken note leaves the guitar's tuning alone."""
    lick, take = _moving(name, 0)
    performance = _trace(made.moved(take, 0.17), lick)
    assert performance.tuning_cents == pytest.approx(17, abs=0.3)


def test_a_slide_out_is_followed_down() -> None:
    """Two semitones down at the end of a note."""
    fall = made.glide(1.6, 0.5, -200)
    fields = {2: {"slide_out": SlideEdge.DOWN}}
    lick = hand_made.lick([0, 1, 2, 6, 7, 8, 9], PLACES[:7], extras=fields)
    take = made.as_written(lick)
    take[2] = replace(take[2], cents=fall)
    contour = _played(_trace(take, lick))[2].contour
    truth = fall(contour.times_s - take[2].onset_s)
    away = np.abs(contour.cents_above(take[2].midi_number) - truth)
    assert np.percentile(away, 95) < MOVING_TOLERANCE_CENTS


def test_contour_in_cents() -> None:
    """Equal temperament: A4 + 50 c = 452.8930 Hz, + 200 c = 493.8833 Hz (computed)."""
    contour = hand_made.contour(0.0, [50.0, 200.0, -100.0], 69)
    np.testing.assert_allclose(contour.f0_hz[:2], [452.8930, 493.8833], atol=1e-4)
    np.testing.assert_allclose(contour.cents_above(69), [50, 200, -100])


# --------------------------------------------------------------------- level


@pytest.mark.parametrize("gain", [0.3, 0.1, 0.01])
def test_level_of_each_note(gain: float) -> None:
    """The loudest 20 ms, computed from the sound at four times the rate."""
    take = [replace(t, gain=gain) for t in made.as_written(LICK, ring_s=-0.12)]
    notes = _played(_trace(take))
    rate_hz = 4 * made.RATE_HZ
    sound = made.sound(take, 6.0, rate_hz)
    width = round(0.02 * rate_hz)
    power = np.convolve(sound**2, np.ones(width) / width)[width - 1 :]
    for note, tone in zip(notes, take, strict=True):
        start = round(tone.onset_s * rate_hz)
        truth_db = 10 * np.log10(power[start : start + round(0.06 * rate_hz)].max())
        assert note.level_db == pytest.approx(truth_db, abs=LEVEL_TOLERANCE_DB)


def test_half_as_loud_is_six_decibels_less() -> None:
    """Every other note at half the amplitude."""
    take = made.as_written(LICK, ring_s=-0.12)
    soft = [replace(t, gain=t.gain / (1 + k % 2)) for k, t in enumerate(take)]
    pairs = zip(_played(_trace(take)), _played(_trace(soft)), strict=True)
    softer_db = [loud.level_db - quiet.level_db for loud, quiet in pairs]
    np.testing.assert_allclose(softer_db[::2], 0, atol=0.05)
    np.testing.assert_allclose(softer_db[1::2], 6.02, atol=0.05)


# ------------------------------------------------------------ second opinions


def test_pyin_hears_the_same_pitches() -> None:
    """The median of librosa.pyin on the same audio, note by note."""
    take = made.moved(made.as_written(LICK), 0.21)
    sound = made.sound(take, 5.0)
    f0_hz, voiced, _ = librosa.pyin(
        sound, fmin=80.0, fmax=1400.0, sr=made.RATE_HZ, frame_length=2048
    )
    times_s = librosa.times_like(f0_hz, sr=made.RATE_HZ)
    for note in _played(_trace(take)):
        inside = (times_s > note.onset_s + 0.06) & (times_s < note.offset_s - 0.06)
        heard = hz_to_midi(f0_hz[inside & voiced])
        assert len(heard) > 5
        away_cents = 100 * (float(np.median(heard)) - note.steady_midi)
        assert abs(away_cents) < PYIN_TOLERANCE_CENTS


# mir_eval's own test of its note measures: onset, offset, Hz.
REFERENCE = np.array(
    [
        [0.100, 0.300, 220.000],
        [0.300, 0.400, 246.942],
        [0.500, 0.600, 277.183],
        [0.550, 0.650, 293.665],
    ]
)
ESTIMATE = np.array(
    [
        [0.120, 0.290, 225.000],
        [0.300, 0.340, 246.942],
        [0.500, 0.600, 500.000],
        [0.550, 0.600, 293.665],
        [0.560, 0.650, 293.665],
    ]
)


def _note_scores(
    reference: made.FloatArray, estimate: made.FloatArray
) -> list[tuple[float, float, float]]:
    """Precision, recall and F: with offsets, without, and of the onsets alone."""
    spans = reference[:, :2], estimate[:, :2]
    notes = mir_eval.transcription.precision_recall_f1_overlap
    rows = (spans[0], reference[:, 2], spans[1], estimate[:, 2])
    return [
        notes(*rows)[:3],
        notes(*rows, offset_ratio=None)[:3],
        mir_eval.transcription.onset_precision_recall_f1(*spans),
    ]


def test_published_note_scores() -> None:
    """The way we ask mir_eval gives what its own tests expect (to 1e-9)."""
    expected = [(0.4, 0.5, 4 / 9), (0.6, 0.75, 2 / 3), (0.8, 1.0, 8 / 9)]
    np.testing.assert_allclose(_note_scores(REFERENCE, ESTIMATE), expected, atol=1e-9)


def test_published_onset_scores() -> None:
    """Madmom's test vector: 5 hits, 2 false, 3 lost within 25 ms; 6, 1, 2 in 40."""
    found_s = [0.99999999, 1.02999999, 1.45, 2.01, 2.02, 2.5, 3.025000001]
    truth_s = [1, 1.02, 1.5, 2.0, 2.03, 2.05, 2.5, 3]
    for window_s, hits in ((0.025, 5), (0.04, 6)):
        f, precision, recall = mir_eval.onset.f_measure(
            np.array(truth_s), np.array(found_s), window_s
        )
        assert (precision, recall) == (hits / 7, hits / 8)
        assert f == pytest.approx(2 * hits / 15)


@pytest.mark.parametrize("cents", [0, 22])
def test_note_scores_of_a_take(cents: int) -> None:
    """MIREX note tracking by mir_eval: every measure is 1, on a mistuned guitar too."""
    take = made.moved(made.as_written(LICK), cents / 100)
    truth = [(t.onset_s, t.end_s, midi_to_hz(t.midi_number)) for t in take]
    found = [
        (n.onset_s, n.offset_s, midi_to_hz(n.steady_midi))
        for n in _played(_trace(take))
    ]
    scores = _note_scores(np.array(truth), np.array(found))
    assert scores == [(1, 1, 1)] * 3


# ------------------------------------------------------------- what is kept


def test_missed_and_extra_notes_are_carried_over() -> None:
    """One left out, one too many: no played note, and a traced extra one."""
    take = made.as_written(LICK)
    extra = Tone(take[7].onset_s + 0.15, take[7].onset_s + 0.3, 66.1)
    take[7] = replace(take[7], end_s=extra.onset_s)
    (only,) = _trace([*take[:3], *take[4:], extra]).passes
    assert [k for k, note in enumerate(only.notes) if note.played is None] == [3]
    (found,) = only.extras
    assert found.onset_s == pytest.approx(extra.onset_s, abs=HIDDEN_TOLERANCE_S)
    assert found.steady_midi == pytest.approx(66.1, abs=0.01)


def test_every_pass_is_traced() -> None:
    """Two passes, the second faster: each with its own times and tempo."""
    first, second = (
        made.as_written(LICK),
        made.as_written(LICK, start_s=6.0, pace=0.8),
    )
    performance = _trace([*first, *second])
    for one, take in zip(performance.passes, (first, second), strict=True):
        onsets_s = [n.played.onset_s for n in one.notes if n.played is not None]
        np.testing.assert_allclose(
            onsets_s, [t.onset_s for t in take], atol=HIDDEN_TOLERANCE_S
        )
    assert performance.passes[1].tempo_ratio == pytest.approx(1.25, rel=0.01)


def test_a_take_cut_off_in_its_last_note() -> None:
    """60 ms after its onset: traced as far as there is sound."""
    take = made.as_written(LICK)
    recording = made.record(take, take[-1].onset_s + 0.06)
    seen, events = made.hear(recording)
    found = alignment.align(LICK, events)
    last = _played(pitch.trace(found, LICK, seen))[-1]
    assert last.onset_s == pytest.approx(take[-1].onset_s, abs=HIDDEN_TOLERANCE_S)
    assert last.onset_s <= last.offset_s <= recording.duration_s


@pytest.mark.parametrize("gap_s", [0.06, 0.12, 0.18])
def test_detached_notes_end_before_the_next(gap_s: float) -> None:
    """Stopped so long before: ended 35 ms later (25 dB at 12 ms to 1/e)."""
    take = made.as_written(LICK, ring_s=-gap_s)
    for note, tone in zip(_played(_trace(take)), take, strict=True):
        assert note.offset_s == pytest.approx(tone.end_s + 0.035, abs=0.015)
