"""Accuracy of hand-made passes whose faults are known."""

from __future__ import annotations

import hand_made as made
import pytest

from assessor.alignment import Verdict
from assessor.lick.fingerboard import SlipKind
from assessor.measures import accuracy
from assessor.measures.accuracy import ExtraNote
from assessor.measures.tolerance import TOLERANCES, Judgement

USUAL = TOLERANCES["usual"]
LICK = made.lick(range(20))


def test_faultless_pass() -> None:
    """Every note right: 100 %, no doubt."""
    found = accuracy.measure(LICK, made.passage(made.as_written(LICK)), USUAL)
    assert (found.right, found.faults) == (tuple(range(20)), 0)
    assert found.share is not None
    assert (found.share.value, found.share.uncertainty) == (100.0, 0.0)


def test_every_kind_of_fault_is_told_apart() -> None:
    """One wrong, one missed, one extra, one unsure note in a pass of 20."""
    notes = [*made.as_written(LICK)]
    low = made.played(notes[3].onset_s, notes[3].midi_number - 1)
    extra = made.played(notes[7].onset_s + 0.2, 70)
    passage = made.passage(
        [*notes[:3], low, *notes[4:10], None, *notes[11:]],
        verdicts={3: Verdict.WRONG, 15: Verdict.UNSURE},
        extras=[extra],
    )
    found = accuracy.measure(LICK, passage, USUAL)
    assert (found.missed, found.unsure, len(found.right)) == ((10,), (15,), 17)
    assert found.extra == (ExtraNote(extra.onset_s, 70, 7),)
    assert found.share is not None
    assert found.share.value == pytest.approx(100 * 17 / 20)  # unsure in no share
    (wrong,) = found.wrong
    assert (wrong.index, wrong.semitones) == (3, -1)
    assert wrong.slip is not None
    assert wrong.slip.kind == SlipKind.FRET_LOW


@pytest.mark.parametrize(
    ("missed", "judgement"),
    [(0, Judgement.INSIDE), (1, Judgement.INSIDE), (2, Judgement.OUTSIDE)],
)
def test_one_fault_in_twenty_is_usual(missed: int, judgement: Judgement) -> None:
    """Usual: up to 5 % faults, inclusive."""
    notes = [*made.as_written(LICK)[missed:]]
    passage = made.passage([*[None] * missed, *notes])
    share = accuracy.measure(LICK, passage, USUAL).share
    assert share is not None
    assert share.judgement == judgement


def test_moved_and_detuned_take_is_read_as_if_it_were_not() -> None:
    """Three frets up on a guitar 60 cents sharp: the slip is the same."""
    notes = made.as_written(LICK, cents=60.0)
    moved = [made.played(n.onset_s, n.midi_number + 3, cents=60.0) for n in notes]
    moved[3] = made.played(notes[3].onset_s, notes[3].midi_number + 2, cents=60.0)
    passage = made.passage(moved, verdicts={3: Verdict.WRONG})
    found = accuracy.measure(LICK, passage, USUAL, tuning_cents=60.0, transposition=3)
    (wrong,) = found.wrong
    assert (wrong.semitones, wrong.midi_number) == (-1, notes[3].midi_number - 1)
    assert wrong.slip is not None
    assert wrong.slip.kind == SlipKind.FRET_LOW


def test_note_bent_out_of_its_pitch_is_read_as_bent() -> None:
    """60 cents sharp of the written note, matched as the next semitone."""
    notes = [*made.as_written(LICK)]
    notes[3] = made.played(notes[3].onset_s, notes[3].midi_number + 1, cents=-40.0)
    passage = made.passage(notes, verdicts={3: Verdict.WRONG})
    (wrong,) = accuracy.measure(LICK, passage, USUAL).wrong
    assert wrong.slip is not None
    assert wrong.slip.kind == SlipKind.BENT_SHARP


def test_wrong_note_without_a_steady_pitch_is_read_by_its_number() -> None:
    """A note too short for a steady pitch still has a slip."""
    notes = [*made.as_written(LICK)]
    short = made.played(
        notes[3].onset_s, notes[3].midi_number - 1, offset_s=notes[3].onset_s
    )
    notes[3] = short
    (wrong,) = accuracy.measure(
        LICK, made.passage(notes, verdicts={3: Verdict.WRONG}), USUAL
    ).wrong
    assert wrong.slip is not None
    assert wrong.slip.kind == SlipKind.FRET_LOW


def test_doubtful_verdicts_widen_the_share() -> None:
    """Twenty verdicts that are true with 0.9 each: binomial, 1.96 sd."""
    passage = made.passage(made.as_written(LICK), probability=0.9)
    share = accuracy.measure(LICK, passage, USUAL).share
    assert share is not None
    assert share.uncertainty == pytest.approx(100 * 1.96 * (20 * 0.09) ** 0.5 / 20)


def test_pass_that_was_never_sure_has_no_share() -> None:
    """Only unsure notes: nothing is judged."""
    single = made.lick([0])
    passage = made.passage([None], verdicts={0: Verdict.UNSURE})
    found = accuracy.measure(single, passage, USUAL)
    assert (found.share, found.judged, found.unsure) == (None, 0, (0,))


def test_extra_note_before_the_first() -> None:
    """A note before the lick starts lies after none."""
    passage = made.passage(made.as_written(LICK), extras=[made.played(0.2, 60)])
    assert accuracy.measure(LICK, passage, USUAL).extra[0].after == -1
