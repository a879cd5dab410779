"""The overall mark and what to work on first, on passes with known faults."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import hand_made as made
import numpy as np
import pytest

from assessor import assessment
from assessor.alignment import Verdict
from assessor.assessment import PassAssessment, Settings
from assessor.lick.notation import (
    Articulation,
    Bend,
    BendKind,
    Lick,
    Meter,
    TempoChange,
)
from assessor.measures.clock import Click
from assessor.measures.focus import Cause, say_place
from assessor.measures.marks import Area, Mark, Part
from assessor.pitch import PerformedPass

LICK = made.lick([k / 2 for k in range(16)], [(3, 5), (3, 7)] * 8)


def judged(lick: Lick, passage: PerformedPass, **settings: Any) -> PassAssessment:
    """Assessment of the only pass of a performance."""
    performance = made.performance(passage)
    (found,) = assessment.measure(lick, performance, Settings(**settings))
    return found


def late(**late_s: float) -> PerformedPass:
    """As written, but for some notes late by so much: ``n1=0.02``."""
    shifts = [late_s.get(f"n{k}", 0.0) for k in range(len(LICK))]
    return made.passage(made.as_written(LICK, late_s=shifts))


def test_mark_is_the_weighed_mean_of_the_shares() -> None:
    """By hand: (45 * 0.9 + 25 * 0.4) / 70."""
    mark = Mark((Part(Area.NOTES, 45, 9, 10), Part(Area.TIME, 25, 4, 10)))
    assert mark.value == pytest.approx(100 * 50.5 / 70)
    assert mark.formula == "(45 x 9/10 notes + 25 x 4/10 time) / 70 x 100"
    # a fault in time costs a tenth of its weight
    assert mark.cost(Area.TIME, 2) == pytest.approx(100 * 2 * 2.5 / 70)
    assert mark.cost(Area.BENDS, 1) == 0.0


def test_nothing_judged_has_no_mark() -> None:
    """No part, no mark."""
    mark = Mark(())
    assert (mark.value, mark.formula, mark.cost(Area.NOTES, 1)) == (None, "", 0.0)


def test_faultless_pass_has_the_full_mark() -> None:
    """100, and nothing to work on."""
    found = judged(LICK, late())
    assert found.mark.value == 100.0
    assert (found.faults, found.focus, found.inside) == ((), None, True)
    assert {part.area for part in found.mark.parts} == {
        Area.NOTES,
        Area.TIME,
        Area.PITCH,
    }


def test_mark_loses_what_the_faults_cost() -> None:
    """The costs of all faults and the mark add up to 100."""
    notes: list[Any] = [*made.as_written(LICK)]
    notes[3], notes[9] = None, made.played(notes[9].onset_s, 61)
    passage = made.passage(notes, verdicts={9: Verdict.WRONG})
    found = judged(LICK, passage)
    assert found.mark.value is not None
    costs = [found.mark.cost(fault.area, 1) for fault in found.faults]
    assert sum(costs) + found.mark.value == pytest.approx(100.0)
    assert [fault.cause for fault in found.faults] == [Cause.MISSED, Cause.WRONG]


def test_unsure_notes_cost_nothing() -> None:
    """A pass with unsure notes keeps the full mark."""
    passage = made.passage(
        made.as_written(LICK), verdicts=dict.fromkeys((3, 4, 11), Verdict.UNSURE)
    )
    assert judged(LICK, passage).mark.value == 100.0


def test_one_late_note_is_named_with_its_place() -> None:
    """40 ms late in the middle of the second bar."""
    found = judged(LICK, late(n11=0.04))
    assert found.focus is not None
    assert (found.focus.cause, found.focus.worst) == (Cause.LATE, 11)
    assert found.focus.what == "40 ms late"
    assert say_place(LICK, found.focus.worst) == "bar 2, beat 2.5"


def test_dearest_cause_comes_first() -> None:
    """Two missed notes cost more than one late one; the worst of a cause is named."""
    notes: list[Any] = [*made.as_written(LICK, late_s=0.05 * (np.arange(16) == 11))]
    notes[3] = notes[6] = None
    found = judged(LICK, made.passage(notes))
    assert found.focus is not None
    assert found.focus.cause == Cause.MISSED
    assert found.focus.indices == (3, 6)
    assert found.focus.cost == pytest.approx(100 * 2 * 45 / 16 / 75)


def test_pause_is_told_from_a_late_note() -> None:
    """Playing that stops for half a second before note 8."""
    passage = made.passage(
        made.as_written(LICK, late_s=np.where(np.arange(16) >= 8, 0.5, 0.0))
    )
    found = judged(LICK, passage)
    assert found.focus is not None
    assert (found.focus.cause, found.focus.indices) == (Cause.PAUSE, (8,))
    assert found.focus.what == "500 ms late: the beat breaks off here"


def test_late_notes_after_shifts_have_the_shift_as_cause() -> None:
    """To a click, every note after a shift is 60 ms late."""
    places = [(3, 5), (3, 7), (2, 5), (2, 7), (3, 12), (3, 14), (2, 12), (2, 14)] * 2
    lick = made.lick([k / 2 for k in range(16)], places)
    after_shift = np.isin(np.arange(16), [4, 8, 12])
    notes = made.as_written(lick, late_s=0.06 * after_shift, start_s=0.6)
    found = judged(lick, made.passage(notes), click=Click())
    assert found.focus is not None
    assert (found.focus.cause, found.focus.indices) == (Cause.SHIFT, (4, 8, 12))
    assert found.focus.what == "60 ms late, after a shift: these cost you 60 ms each"


@pytest.mark.parametrize(
    ("drift", "cause"), [(-0.004, Cause.RUSHING), (0.004, Cause.DRAGGING)]
)
def test_drifting_tempo_is_the_cause_of_its_notes(drift: float, cause: Cause) -> None:
    """Each interval 4 ms shorter, or longer, than the one before."""
    index = np.arange(16)
    passage = made.passage(
        made.as_written(LICK, late_s=drift * index * (index - 1) / 2)
    )
    found = judged(LICK, passage)
    assert found.focus is not None
    assert found.focus.cause == cause


@pytest.mark.parametrize(
    ("top", "cause", "what"),
    [
        (160.0, Cause.FLAT_BEND, "the bend is 40 cents flat: 160 of 200"),
        (240.0, Cause.SHARP_BEND, "the bend is 40 cents sharp: 240 of 200"),
    ],
)
def test_bend_off_its_size(top: float, cause: Cause, what: str) -> None:
    """A whole-step bend, 40 cents off."""
    bend = {"bend": Bend(BendKind.BEND, 200.0)}
    lick = made.lick(range(4), extras={2: bend})
    notes = made.as_written(lick)
    curve = list(np.interp(np.arange(60), [10, 20], [0, top]))
    notes[2] = made.played(
        notes[2].onset_s, notes[2].midi_number, offset_s=notes[2].offset_s, cents=curve
    )
    found = judged(lick, made.passage(notes))
    assert found.focus is not None
    assert (found.focus.cause, found.focus.what) == (cause, what)


def test_early_hammer_on_is_a_fault_of_legato() -> None:
    """A hammer-on 50 ms early, the note after it in time."""
    hammer = {"articulation": Articulation.HAMMER_ON}
    lick = made.lick([k / 2 for k in range(16)], extras={5: hammer})
    notes = made.as_written(lick, late_s=-0.05 * (np.arange(16) == 5))
    causes = {fault.cause for fault in judged(lick, made.passage(notes)).faults}
    assert causes == {Cause.UNEVEN_SLUR}


def test_extra_and_sharp_notes_are_faults() -> None:
    """A note too many, and one pushed 40 cents sharp."""
    notes = made.as_written(LICK)
    notes[4] = made.played(notes[4].onset_s, notes[4].midi_number, cents=40.0)
    extra = made.played(notes[6].onset_s + 0.15, 64)
    found = judged(LICK, made.passage(notes, extras=[extra]))
    assert [(fault.index, fault.what) for fault in found.faults] == [
        (4, "40 cents sharp"),
        (6, "an extra E4 sounds after this note"),
    ]


@pytest.mark.parametrize(
    ("meter", "pickup", "index", "place"),
    [
        (Meter(4, 4), 0, 0, "bar 1, beat 1"),
        (Meter(4, 4), 0, 9, "bar 2, beat 1.5"),
        (Meter(6, 8), 0, 7, "bar 2, beat 2"),
        (Meter(4, 4), "1", 0, "pickup, beat 4"),
        (Meter(4, 4), "1", 2, "bar 1, beat 1"),
    ],
)
def test_place_of_a_note(meter: Meter, pickup: Any, index: int, place: str) -> None:
    """Bars from the first whole one, beats of the meter."""
    lick = made.lick(
        [k / 2 for k in range(16)], meter=meter, pickup_beats=Fraction(pickup)
    )
    assert say_place(lick, index) == place


def test_tempo_asked_for_scales_every_change_of_tempo() -> None:
    """A lick at half its tempo lasts twice as long."""
    changes = (TempoChange(Fraction(4), 140.0),)
    lick = made.lick([k / 2 for k in range(16)], tempo_changes=changes)
    slow = assessment.at_tempo(lick, 50.0)
    np.testing.assert_allclose(slow.onsets_s(), 2 * lick.onsets_s())
    assert assessment.at_tempo(lick, None) == lick


def test_moving_lick_and_take_together_changes_nothing() -> None:
    """The same pass five frets up, 20 s later and 10 dB louder: the same readings."""
    late_s = np.random.default_rng(2).normal(0, 0.02, 16)
    here = judged(LICK, made.passage(made.as_written(LICK, late_s=late_s, cents=12.0)))
    up = made.lick([k / 2 for k in range(16)], [(3, 10), (3, 12)] * 8)
    notes = made.as_written(up, late_s=late_s, cents=12.0, start_s=21.0, level_db=-10.0)
    there = judged(up, made.passage(notes))
    assert there.headlines.keys() == here.headlines.keys()
    for name, reading in here.headlines.items():
        moved = there.headlines[name]
        assert moved.value == pytest.approx(reading.value, abs=1e-6)
        assert moved.judgement == reading.judgement
    assert there.mark == here.mark
    assert [fault.cause for fault in there.faults] == [f.cause for f in here.faults]
