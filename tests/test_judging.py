"""What is said of doubtful findings, and how it is weighed."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import hand_made
import hand_made_sound as made
import numpy as np
import pytest
from hand_made_sound import Tone

from assessor import alignment, judging, second_look
from assessor.alignment import ExtraNote, Match, Verdict
from assessor.judging import Question, Scene
from assessor.judging.net import FARTHEST, Net, load_net
from assessor.kernels import PITCHES

PLACES = [(3, 5), (3, 7), (2, 5), (2, 8), (1, 5), (1, 8), (1, 5), (2, 8)]
LICK = hand_made.lick([Fraction(k, 2) for k in range(8)], PLACES)
MIDI = [note.midi_number for note in LICK.notes]
TAKE = made.as_written(LICK)


def _scene(take: list[Tone]) -> Scene:
    seen, events = made.hear(made.record(take))
    found = alignment.align(LICK, events)
    (doubts,) = second_look.doubts(found, LICK, events, seen)
    return doubts.read


SCENE = _scene(TAKE)


def _missed(scene: Scene, k: int) -> Match:
    return Match(k, Verdict.MISSED, 0.9, None, None, scene.matches[k].expected_s)


# ---------------------------------------------------------------------- the net


def test_net_by_hand() -> None:
    """One unit sees twice the first number, another the second below its centre."""
    net = Net(
        centre=np.array([1, 5], np.float32),
        scale=np.array([0.5, 1], np.float32),
        weight_in=np.array([[1, 0], [0, -1]], np.float32),
        bias=np.array([0, 0.5], np.float32),
        weight_out=np.array([3, 10], np.float32),
        offset=np.array(-4, np.float32),
    )
    assert net.log_odds(np.array([2, 5.5], np.float32)) == pytest.approx(3 * 2 - 4)
    assert net.log_odds(np.array([1, 4], np.float32)) == pytest.approx(10 * 1.5 - 4)
    # what is farther than anything that was learnt counts as just so far
    assert net.log_odds(np.array([99, 5.5], np.float32)) == pytest.approx(
        3 * FARTHEST - 4
    )


@pytest.mark.parametrize("question", Question)
def test_weights_fit_the_descriptions(question: Question) -> None:
    """As many weights as numbers, all of them finite, none of them without a scale."""
    description = {
        Question.EXTRA: judging.describe_extra(SCENE, ExtraNote(2.0, 66, 0.5)),
        Question.MISSED: judging.describe_missed(SCENE, _missed(SCENE, 3)),
        Question.PITCH: judging.describe_pitch(SCENE, SCENE.matches[3], MIDI[3]),
    }[question]
    net = load_net(question)
    assert net.centre.shape == net.scale.shape == description.shape
    assert (net.scale > 0).all()
    assert np.isfinite(net.weight_in).all()
    assert np.isfinite(description).all()
    assert 0 < judging.probability(question, description) < 1


# ----------------------------------------------------------------- descriptions


@pytest.mark.parametrize("time_s", [-1.0, 0.0, 1.0, 3.4, 60.0])
@pytest.mark.parametrize("midi_number", [int(PITCHES[0]), 60, int(PITCHES[-1])])
def test_anything_can_be_described(time_s: float, midi_number: int) -> None:
    """Before the start, after the end, and at both ends of what can be heard."""
    extra = ExtraNote(time_s, midi_number, 1.0)
    assert np.isfinite(judging.describe_extra(SCENE, extra)).all()
    match = replace(SCENE.matches[2], time_s=time_s)
    assert np.isfinite(judging.describe_pitch(SCENE, match, midi_number)).all()


@pytest.mark.parametrize("kept", [0, 1, 2])
@pytest.mark.parametrize("k", [0, 3, 7])
def test_few_notes_can_be_described(kept: int, k: int) -> None:
    """Where next to nothing was matched there is little around, and no error."""
    matches = tuple(
        match if i < kept else _missed(SCENE, i)
        for i, match in enumerate(SCENE.matches)
    )
    bare = replace(SCENE, matches=matches)
    assert np.isfinite(judging.describe_missed(bare, _missed(SCENE, k))).all()
    assert np.isfinite(judging.describe_extra(bare, ExtraNote(2.0, 66, 0.5))).all()


def test_loudness_is_no_matter() -> None:
    """A take 20 dB softer is described alike."""
    seen, events = made.hear(made.record([replace(t, gain=0.1 * t.gain) for t in TAKE]))
    (doubts,) = second_look.doubts(alignment.align(LICK, events), LICK, events, seen)
    match = doubts.read.matches[3]
    soft = judging.describe_pitch(doubts.read, match, MIDI[3])
    loud = judging.describe_pitch(SCENE, SCENE.matches[3], MIDI[3])
    np.testing.assert_allclose(soft, loud, atol=0.2)


# ------------------------------------------------------------------- probability


@pytest.mark.parametrize("k", [1, 4, 6])
def test_a_played_note_is_likelier_extra(k: int) -> None:
    """Than at the same place of a take where nobody played it."""
    half_s = TAKE[k].onset_s + 0.15
    extra = ExtraNote(half_s, 66, 0.5)
    played = _scene([*TAKE, Tone(half_s, half_s + 0.15, 66)])
    chance = [
        judging.probability(Question.EXTRA, judging.describe_extra(scene, extra))
        for scene in (SCENE, played)
    ]
    assert chance[0] < 0.05
    assert chance[1] > 0.95


@pytest.mark.parametrize("k", [0, 2, 5, 7])
def test_a_left_out_note_is_likelier_missed(k: int) -> None:
    """Than the same note where it was played and the first hearing slept."""
    left_out = _scene(TAKE[:k] + TAKE[k + 1 :])
    slept = replace(
        SCENE,
        matches=tuple(
            _missed(SCENE, i) if i == k else m for i, m in enumerate(SCENE.matches)
        ),
    )
    chance = [
        judging.probability(
            Question.MISSED, judging.describe_missed(scene, scene.matches[k])
        )
        for scene in (slept, left_out)
    ]
    assert chance[0] < 0.3
    assert chance[1] > 0.9


@pytest.mark.parametrize("k", [1, 3, 6])
@pytest.mark.parametrize("away", [-12, -2, -1, 1, 2, 5, 12])
def test_the_pitch_that_was_played_is_the_likeliest(k: int, away: int) -> None:
    """Of the written one, its neighbours, and octaves."""
    take = [*TAKE[:k], *made.moved(TAKE[k : k + 1], away), *TAKE[k + 1 :]]
    scene = _scene(take)
    match = next(m for m in scene.matches if m.index == k)
    chance = {
        step: judging.probability(
            Question.PITCH, judging.describe_pitch(scene, match, MIDI[k] + step)
        )
        for step in {0, away, away - 1, away + 1}
    }
    assert max(chance, key=lambda step: chance[step]) == away
