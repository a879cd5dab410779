"""The second hearing: a first one that was mistaken is put right by the sound.

What the first hearing found is falsified by hand; the sound is as it was.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Any

import hand_made
import hand_made_sound as made
import numpy as np
import pytest
from hand_made_sound import Tone

from assessor import alignment, judging, second_look
from assessor.alignment import Alignment, Match, Pass, Verdict
from assessor.evidence import Candidates
from assessor.growth import CLICK_FALL_DB, fall_db, partial_growth
from assessor.judging import Question, Scene
from assessor.kernels import PITCHES
from assessor.lick.notation import Articulation, Bend, BendKind, Lick, SlideEdge
from assessor.onset import Events, weigh
from assessor.recording import from_array
from assessor.spectrum import Spectrum, analyse

TIME_TOLERANCE_S = 0.02

PLACES = [
    (3, 5), (3, 7), (2, 5), (2, 8), (1, 5), (1, 8),
    (1, 5), (2, 8), (2, 5), (3, 7), (3, 5), (4, 7),
]  # fmt: skip
BEATS = [Fraction(k, 2) for k in range(12)]
LICK = hand_made.lick(BEATS, PLACES)  # a note each 0.3 s
MIDI = [note.midi_number for note in LICK.notes]
TAKE = made.as_written(LICK)
R, W, M, U = Verdict.RIGHT, Verdict.WRONG, Verdict.MISSED, Verdict.UNSURE


def _verdicts(found: Pass) -> list[Verdict]:
    return [match.verdict for match in found.matches]


def _all_but(k: int, verdict: Verdict) -> list[Verdict]:
    return [verdict if i == k else R for i in range(12)]


def _without(events: Events, time_s: float) -> Events:
    """Events as if the ear had slept for 50 ms to both sides of a time."""
    kept = np.abs(events.times_s - time_s) > 0.05
    candidates = events.candidates
    return replace(
        events,
        candidates=replace(
            candidates,
            times_s=candidates.times_s[kept],
            is_step=candidates.is_step[kept],
            depth_db=candidates.depth_db[kept],
        ),
        log_probability=events.log_probability[kept],
        flux=events.flux[kept],
        rise_db=events.rise_db[kept],
        expected_only=events.expected_only[kept],
    )


def _hearing(seen: Spectrum, events: Events, time_s: float, midi_number: int) -> Events:
    """Events and one more, of which the ear is as good as sure."""
    candidates = events.candidates.merged_with(
        Candidates(np.array([time_s]), np.array([False]), np.array([12.0]))
    )
    more = weigh(seen, candidates, np.zeros(len(candidates.times_s), np.bool_))
    sure = more.log_probability.copy()
    k = int(np.abs(more.times_s - time_s).argmin())
    sure[k] = np.log(1e-4)
    sure[k, 0] = np.log(0.005)
    sure[k, 1 + midi_number - PITCHES[0]] = np.log(0.99)
    return replace(more, log_probability=sure)


def _confirmed(
    first: Alignment, events: Events, seen: Spectrum, lick: Lick = LICK
) -> Pass:
    (found,) = second_look.confirm(first, lick, events, seen).passes
    return found


def _heard(tones: Sequence[Tone]) -> tuple[Spectrum, Events]:
    return made.hear(made.record(tones))


# ------------------------------------------------------------------- the looks


@pytest.mark.parametrize("ring_s", [0.0, 0.4])
@pytest.mark.parametrize("k", [0, 1, 4, 7, 9, 11])
def test_a_note_the_ear_slept_through_is_taken_back(k: int, ring_s: float) -> None:
    """It was played, so it is right, at its time."""
    seen, events = _heard(made.as_written(LICK, ring_s=ring_s))
    deaf = _without(events, TAKE[k].onset_s)
    first = alignment.align(LICK, deaf)
    assert _verdicts(first.passes[0]) == _all_but(k, M)
    found = _confirmed(first, deaf, seen)
    assert _verdicts(found) == [R] * 12
    assert found.extras == ()
    time_s = found.matches[k].time_s
    assert time_s == pytest.approx(TAKE[k].onset_s, abs=TIME_TOLERANCE_S)
    assert found.matches[k].midi_number == MIDI[k]


@pytest.mark.parametrize("ring_s", [0.0, 0.4])
@pytest.mark.parametrize("k", [0, 1, 4, 7, 9, 11])
def test_a_note_that_was_not_played_stays_missed(k: int, ring_s: float) -> None:
    """However hard one listens where it is due."""
    take = made.as_written(LICK, ring_s=ring_s)
    seen, events = _heard(take[:k] + take[k + 1 :])
    found = _confirmed(alignment.align(LICK, events), events, seen)
    assert _verdicts(found) == _all_but(k, M)
    assert found.matches[k].probability > 0.5
    assert found.extras == ()


@pytest.mark.parametrize("ring_s", [0.4, 0.8])
@pytest.mark.parametrize("k", [2, 5, 9])
def test_a_soft_note_under_ringing_strings(k: int, ring_s: float) -> None:
    """20 dB softer than what rings: the first hearing may miss it, the second not."""
    take = made.as_written(LICK, ring_s=ring_s)
    take[k] = replace(take[k], gain=0.1 * take[k].gain)
    seen, events = _heard(take)
    found = _confirmed(alignment.align(LICK, events), events, seen)
    assert _verdicts(found) == [R] * 12
    assert found.extras == ()


@pytest.mark.parametrize("k", [1, 4, 8])
@pytest.mark.parametrize("midi_number", [62, 66, 74, 79])
def test_an_extra_note_that_was_not_played_is_dropped(k: int, midi_number: int) -> None:
    """The first hearing invents one between two notes."""
    seen, events = _heard(TAKE)
    events = _hearing(seen, events, TAKE[k].onset_s + 0.15, midi_number)
    first = alignment.align(LICK, events)
    (found,) = first.passes
    assert midi_number in [e.midi_number for e in (*found.extras, *found.faint)]
    assert _confirmed(first, events, seen).extras == ()


@pytest.mark.parametrize("ring_s", [0.0, 0.15])
@pytest.mark.parametrize("k", [0, 2, 4, 6, 8, 10])
def test_an_extra_note_that_was_played_stays(k: int, ring_s: float) -> None:
    """Over what rings of the notes before, too."""
    half_s = TAKE[k].onset_s + 0.15
    extra = Tone(half_s, half_s + 0.15, 66)
    seen, events = _heard([*made.as_written(LICK, ring_s=ring_s), extra])
    found = _confirmed(alignment.align(LICK, events), events, seen)
    assert _verdicts(found) == [R] * 12
    assert [e.midi_number for e in found.extras] == [66]
    assert found.extras[0].probability > 0.5


@pytest.mark.parametrize("k", [0, 6, 11])
@pytest.mark.parametrize("away", [-7, -1, 1, 5, 12])
def test_a_note_misread_is_read_again(k: int, away: int) -> None:
    """The first hearing has another pitch than the sound: right after all."""
    seen, events = _heard(TAKE)
    first = alignment.align(LICK, events)
    matches = list(first.passes[0].matches)
    matches[k] = replace(matches[k], verdict=W, midi_number=MIDI[k] + away)
    first = replace(first, passes=(replace(first.passes[0], matches=tuple(matches)),))
    found = _confirmed(first, events, seen)
    assert _verdicts(found) == [R] * 12
    assert found.matches[k].midi_number == MIDI[k]


@pytest.mark.parametrize("k", [0, 5, 11])
@pytest.mark.parametrize("away", [-12, -1, 2, 12])
def test_a_wrong_note_stays_wrong(k: int, away: int) -> None:
    """With the pitch that was played."""
    take = [*TAKE[:k], *made.moved(TAKE[k : k + 1], away), *TAKE[k + 1 :]]
    seen, events = _heard(take)
    found = _confirmed(alignment.align(LICK, events), events, seen)
    assert _verdicts(found) == _all_but(k, W)
    assert found.matches[k].midi_number == MIDI[k] + away
    assert found.matches[k].probability > 0.5


@pytest.mark.parametrize("k", [0, 2, 5, 9])
@pytest.mark.parametrize("away", [-1, 1])
def test_a_note_called_right_a_semitone_off_is_wrong(k: int, away: int) -> None:
    """The first hearing takes the neighbour for the written note."""
    take = [*TAKE[:k], *made.moved(TAKE[k : k + 1], away), *TAKE[k + 1 :]]
    seen, events = _heard(take)
    first = alignment.align(LICK, events)
    matches = list(first.passes[0].matches)
    matches[k] = replace(matches[k], verdict=R, midi_number=MIDI[k])
    first = replace(first, passes=(replace(first.passes[0], matches=tuple(matches)),))
    column = 1 + MIDI[k] - PITCHES[0]
    event = int(np.abs(events.times_s - TAKE[k].onset_s).argmin())
    sure = events.log_probability.copy()
    sure[event, [column, column + away]] = sure[event, [column + away, column]]
    found = _confirmed(first, replace(events, log_probability=sure), seen)
    assert _verdicts(found) == _all_but(k, W)
    assert found.matches[k].midi_number == MIDI[k] + away


def test_a_knock_is_no_wrong_note() -> None:
    """A click instead of a note: missed, not some high wrong note."""
    sound = made.sound(TAKE[:5] + TAKE[6:], 5.6)
    start = round(TAKE[5].onset_s * made.RATE_HZ)
    knock = np.random.default_rng(2).standard_normal(400)
    sound[start : start + 400] += 0.3 * knock * np.exp(-np.arange(400) / 80)
    seen, events = made.hear(from_array(sound, made.RATE_HZ))
    found = _confirmed(alignment.align(LICK, events), events, seen)
    assert _verdicts(found) in (_all_but(5, M), _all_but(5, U))
    assert found.extras == ()


# ------------------------------------------------------------------ verdicts


def _told(
    monkeypatch: pytest.MonkeyPatch, asked: Question, chance: dict[int, float]
) -> None:
    """Let one question be answered so; pitches not named are out of the question."""
    answer = judging.probability

    def described(scene: Scene, match: Match, pitch: int) -> int:
        return pitch

    def told(question: Question, description: Any) -> float:
        if question is not asked:
            return 0.01 if question is Question.EXTRA else answer(question, description)
        named = description if question is Question.PITCH else 0
        return chance.get(named, 0.01)

    if asked is Question.PITCH:
        monkeypatch.setattr(judging, "describe_pitch", described)
    monkeypatch.setattr(judging, "probability", told)


DOUBTS = [0.35, 0.45, 0.49, 0.51, 0.9]


@pytest.mark.parametrize("chance", DOUBTS)
def test_a_note_hardly_missed_is_unsure(
    monkeypatch: pytest.MonkeyPatch, chance: float
) -> None:
    """Less likely than not is no fault, and not likely enough to be taken back."""
    seen, events = _heard(TAKE[:5] + TAKE[6:])
    first = alignment.align(LICK, events)
    _told(monkeypatch, Question.MISSED, {0: chance})
    match = _confirmed(first, events, seen).matches[5]
    missed = chance > 0.5
    assert match.verdict is (M if missed else U)
    assert match.probability == pytest.approx(chance if missed else 1 - chance)


@pytest.mark.parametrize("chance", DOUBTS)
def test_a_note_hardly_wrong_is_unsure(
    monkeypatch: pytest.MonkeyPatch, chance: float
) -> None:
    """A pitch less likely than not is no fault."""
    take = [*TAKE[:5], *made.moved(TAKE[5:6], 2), *TAKE[6:]]
    seen, events = _heard(take)
    first = alignment.align(LICK, events)
    _told(monkeypatch, Question.PITCH, {MIDI[5] + 2: chance})
    match = _confirmed(first, events, seen).matches[5]
    wrong = chance > 0.5
    assert match.verdict is (W if wrong else U)
    assert match.probability == pytest.approx(chance if wrong else 1 - chance)


@pytest.mark.parametrize("chance", DOUBTS)
def test_a_note_hardly_right_is_unsure(
    monkeypatch: pytest.MonkeyPatch, chance: float
) -> None:
    """What was asked for is likeliest of all, and less likely than not."""
    take = [*TAKE[:5], *made.moved(TAKE[5:6], 2), *TAKE[6:]]
    seen, events = _heard(take)
    first = alignment.align(LICK, events)
    _told(monkeypatch, Question.PITCH, {MIDI[5]: chance})
    match = _confirmed(first, events, seen).matches[5]
    assert match.verdict is (R if chance > 0.5 else U)
    assert match.midi_number == MIDI[5]
    assert match.probability == pytest.approx(chance)


@pytest.mark.parametrize("chance", DOUBTS)
def test_an_extra_note_less_likely_than_not_is_none(
    monkeypatch: pytest.MonkeyPatch, chance: float
) -> None:
    """One more likely is, with the probability it has."""
    half_s = TAKE[4].onset_s + 0.15
    seen, events = _heard([*TAKE, Tone(half_s, half_s + 0.15, 66)])
    first = alignment.align(LICK, events)
    _told(monkeypatch, Question.EXTRA, {0: chance})
    found = _confirmed(first, events, seen)
    assert [e.probability for e in found.extras] == [chance] * (chance > 0.5)


# -------------------------------------------------------- notes that move


def _moving(field: dict[str, Any], tone: Tone) -> tuple[Lick, list[Tone]]:
    """Lick whose third note is written with `field`, and a take with `tone` there."""
    lick = hand_made.lick([0, 1, 2, 4, 5, 6, 7], PLACES[:7], extras={2: field})
    take = made.as_written(lick)
    spot = replace(tone, onset_s=take[2].onset_s, end_s=take[2].end_s)
    return lick, [*take[:2], spot, *take[3:]]


def _slide(from_semitones: float, took_s: float = 0.15) -> made.Curve:
    """From so many semitones away to the written pitch."""
    rise = made.glide(0.02, took_s, 100 * from_semitones)
    return lambda since_s: 100 * from_semitones - rise(since_s)


BEND = Bend(BendKind.BEND, 200.0)


@pytest.mark.parametrize(
    ("field", "tone"),
    [
        ({"bend": BEND}, Tone(0, 0, 64, cents=made.glide(0.2, 0.2, 200))),
        ({"bend": BEND}, Tone(0, 0, 64, cents=made.glide(0.02, 0.1, 200))),
        ({"bend": BEND}, Tone(0, 0, 64, cents=made.glide(0.2, 0.3, 150))),
        ({"bend": Bend(BendKind.PREBEND, 200.0)}, Tone(0, 0, 66)),
        (
            {"bend": Bend(BendKind.PREBEND_RELEASE, 200.0)},
            Tone(0, 0, 66, cents=made.glide(0.3, 0.2, -200)),
        ),
        ({"vibrato": True}, Tone(0, 0, 64, cents=made.vibrato(5.5, 30))),
        ({"slide_in": SlideEdge.FROM_BELOW}, Tone(0, 0, 64, cents=_slide(-3))),
        ({"slide_in": SlideEdge.FROM_ABOVE}, Tone(0, 0, 64, cents=_slide(2))),
        ({"slide_out": SlideEdge.UP}, Tone(0, 0, 64, cents=made.glide(0.8, 0.3, 500))),
    ],
)
def test_notes_that_move_as_written(field: dict[str, Any], tone: Tone) -> None:
    """Bends, pre-bends, vibrato and slides: right, and nothing extra inside."""
    lick, take = _moving(field, tone)
    seen, events = _heard(take)
    found = _confirmed(alignment.align(lick, events), events, seen, lick)
    assert _verdicts(found) == [R] * 7
    assert found.extras == ()


@pytest.mark.parametrize(
    ("field", "midi_number"),
    [
        ({"slide_in": SlideEdge.FROM_BELOW}, 62),
        ({"slide_in": SlideEdge.FROM_ABOVE}, 66),
        ({"bend": BEND}, 65),
    ],
)
def test_notes_that_never_arrive(field: dict[str, Any], midi_number: int) -> None:
    """A slide held where it began, a bend fretted too high and not bent: wrong."""
    lick, take = _moving(field, Tone(0, 0, midi_number))
    seen, events = _heard(take)
    found = _confirmed(alignment.align(lick, events), events, seen, lick)
    assert _verdicts(found) == [R, R, W, R, R, R, R]
    assert found.matches[2].midi_number == midi_number


@pytest.mark.parametrize("late_s", [0.1, 0.15, 0.2, 0.25])
def test_a_slide_that_arrives_late(late_s: float) -> None:
    """Nothing begins where its end is due; it is reached all the same."""
    places = [(3, 5), (3, 7), (2, 5), (3, 5), (3, 6), (2, 5), (3, 7), (3, 5)]
    beats = [0, 1, 2, 3, 5, 7, 8, 9]
    slid = {4: {"articulation": Articulation.SLIDE}}
    lick = hand_made.lick(beats, places, extras=slid)
    take = made.as_written(lick)
    before, end = take[3:5]
    way = made.glide(end.onset_s - before.onset_s - 0.2 + late_s, 0.2, 100)
    both = replace(before, end_s=end.end_s, cents=way)
    seen, events = _heard([*take[:3], both, *take[5:]])
    found = _confirmed(alignment.align(lick, events), events, seen, lick)
    assert _verdicts(found) == [R] * 8
    assert found.extras == ()


def test_a_note_cut_short_that_never_arrives() -> None:
    """The silence after it, where any pitch may seem clearest, says nothing."""
    places = [(1, fret) for fret in (12, 13, 15, 17, 19, 20, 24)]
    field = {"slide_in": SlideEdge.FROM_BELOW}
    lick = hand_made.lick(list(range(7)), places, extras={6: field})
    take = made.as_written(lick)
    last = replace(take[6], midi_number=86, end_s=take[6].onset_s + 0.2)
    seen, events = _heard([*take[:6], last])
    found = _confirmed(alignment.align(lick, events), events, seen, lick)
    assert _verdicts(found) == [R] * 6 + [W]
    assert found.matches[6].midi_number == 86


# --------------------------------------------------------------------- growth

STRUCK_DB, ABSENT_DB = 20.0, 7.0  # 25 to 43 and under 7 on the bench


def _growth_db(seen: Spectrum, midi_number: int, ringing: list[int]) -> float:
    found = partial_growth(seen, 1.0, midi_number, ringing)
    assert found is not None
    return found.grown_db


@pytest.mark.parametrize("ringing", [45, 52, 57, 64])
@pytest.mark.parametrize("semitones", [-7, -1, 1, 4, 7, 14])
@pytest.mark.parametrize("gain", [0.1, 0.03])
def test_growth_of_a_struck_note(ringing: int, semitones: int, gain: float) -> None:
    """Over another that rings on, as loud or 10 dB softer."""
    midi_number = ringing + semitones
    old, new = Tone(0.4, 2, ringing), Tone(1.0, 2, midi_number, gain)
    assert _growth_db(_heard([old, new])[0], midi_number, [ringing]) > STRUCK_DB


@pytest.mark.parametrize("ringing", [45, 52, 57, 64])
def test_growth_of_a_note_that_is_not_there(ringing: int) -> None:
    """Of no pitch within an octave do the partials grow while one note rings."""
    seen = analyse(made.record([Tone(0.4, 2, ringing)]))
    for semitones in (-7, -4, -1, 1, 3, 4, 5, 7, 9):
        assert _growth_db(seen, ringing + semitones, [ringing]) < ABSENT_DB


def test_no_growth_to_tell_where_all_is_shared() -> None:
    """Every partial of the octave above is one of what rings."""
    seen = analyse(made.record([Tone(0.4, 2, 45)]))
    assert partial_growth(seen, 1.0, 57, [45]) is None
    assert partial_growth(seen, 1.0, 45, [57]) is not None


def test_no_growth_without_sound() -> None:
    """Before the start and after the end."""
    seen = analyse(made.record([Tone(0.4, 0.8, 57)], 1.0))
    for time_s in (-1.0, 3.0):
        assert partial_growth(seen, time_s, 57, []) is None


@pytest.mark.parametrize("midi_number", [45, 57, 69, 81])
def test_a_note_falls_less_than_a_click(midi_number: int) -> None:
    """From 30 to 85 ms after the onset."""
    seen = analyse(made.record([Tone(1.0, 2.0, midi_number)]))
    assert fall_db(seen, 1.0, midi_number) < 6
    click = np.zeros(2 * made.RATE_HZ)
    click[made.RATE_HZ :][:400] = np.exp(-np.arange(400) / 80)
    click[made.RATE_HZ :][:400] *= np.random.default_rng(1).standard_normal(400)
    seen = analyse(from_array(0.3 * click, made.RATE_HZ))
    assert fall_db(seen, 1.0, midi_number) > CLICK_FALL_DB
