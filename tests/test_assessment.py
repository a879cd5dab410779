"""Whatever was played, an assessment and its reports come out whole."""

from __future__ import annotations

import json
from typing import Any

import hand_made as made
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assessor import report
from assessor.alignment import Verdict
from assessor.assessment import Settings
from assessor.lick.notation import Articulation, Bend, BendKind
from assessor.measures.clock import Click
from assessor.pitch import PlayedNote, SoundedBy

HAMMER = {"articulation": Articulation.HAMMER_ON}
EXTRAS: dict[int, dict[str, Any]] = {
    1: HAMMER,
    2: {"articulation": Articulation.PULL_OFF},
    4: {"bend": Bend(BendKind.BEND, 200.0), "vibrato": True},
    6: {"bend": Bend(BendKind.PREBEND_RELEASE, 100.0)},
    7: {"vibrato": True},
    8: {"articulation": Articulation.DEAD},
}
LICK = made.lick([k / 2 for k in range(10)], extras=EXTRAS, swing=2.0)

CENTS = st.lists(
    st.one_of(st.floats(-1200, 1200), st.just(float("nan"))), min_size=0, max_size=40
)


@st.composite
def anything_played(draw: st.DrawFn) -> list[PlayedNote | None]:
    """Notes in order of time, possibly at once, of any pitch, length and contour."""
    steps = draw(st.lists(st.floats(0, 2), min_size=10, max_size=10))
    onsets = np.cumsum(steps)
    notes: list[PlayedNote | None] = []
    for onset_s in onsets:
        if draw(st.booleans()) and draw(st.booleans()):
            notes.append(None)
            continue
        cents = draw(CENTS)
        note = made.played(
            float(onset_s),
            draw(st.integers(30, 100)),
            offset_s=float(onset_s) + 0.01 * len(cents),
            cents=cents,
            level_db=draw(st.floats(-120, 0)),
            sounded_by=draw(st.sampled_from(list(SoundedBy))),
            onset_uncertainty_s=draw(st.floats(0, 0.05)),
        )
        notes.append(note)
    return notes


@settings(max_examples=150, deadline=None)
@given(
    notes=anything_played(),
    verdicts=st.lists(st.sampled_from(list(Verdict)), min_size=10, max_size=10),
    click=st.sampled_from([None, Click(0.1, 70.0)]),
)
def test_anything_can_be_assessed_and_reported(
    notes: list[PlayedNote | None], verdicts: list[Verdict], click: Click | None
) -> None:
    """No crash, no NaN, no line too long, a mark from 0 to 100."""
    found = {
        k: Verdict.MISSED if note is None else verdict
        for k, (note, verdict) in enumerate(zip(notes, verdicts, strict=True))
    }
    passage = made.passage(notes, verdicts=found, extras=[made.played(0.5, 50)])
    assessment = made.assessed(LICK, passage, settings=Settings(click=click))
    mark = assessment.best_pass.mark.value
    assert mark is None or 0 <= mark <= 100
    json.dumps(report.result(assessment), allow_nan=False)
    text = report.terminal(assessment)
    assert max(len(line) for line in text.splitlines()) <= 80


@pytest.mark.parametrize("same_s", [1.0, 2.0])
def test_notes_all_at_once_have_no_tempo(same_s: float) -> None:
    """Onsets that do not advance are no clock."""
    notes: list[Any] = [made.played(same_s, n.midi_number) for n in LICK.notes]
    found = made.assessed(LICK, made.passage(notes)).best_pass
    assert (found.timing.tempo, found.timing.spread, found.timing.drift) == (None,) * 3
