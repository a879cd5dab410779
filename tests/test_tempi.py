"""A take with faults is recognised at every tempo that is promised."""

from __future__ import annotations

from pathlib import Path

import pytest

from assessor import lick, recording
from assessor.alignment import Verdict
from assessor.assessment import assess
from assessor.pitch import PerformedPass

TOP = Path(__file__).parents[1]
TAKE = TOP / "recordings" / "wrong-notes.flac"
LICK = TOP / "references" / "triplets-into-sixteenths.lick"
# What the text beside the take says of it, notes counted from 0.
WRONG, MISSED, EXTRA = {6, 9, 13}, {11, 16}, 2


def _found(performed: PerformedPass, verdict: Verdict) -> set[int]:
    return {n.index for n in performed.notes if n.verdict is verdict}


@pytest.mark.parametrize("played_over_written", [0.4, 0.55, 0.75, 1.0, 1.3, 1.6])
def test_faults_are_found_at_every_tempo(played_over_written: float) -> None:
    """The lick is written faster or slower than the take plays it."""
    asked = lick.read(LICK)
    asked = asked.at_tempo(asked.tempo_bpm / played_over_written)
    found = assess(recording.read(TAKE), asked)
    performed = found.best_pass.performed
    assert len(found.passes) == 1
    assert performed.tempo_ratio == pytest.approx(played_over_written, rel=0.02)
    assert _found(performed, Verdict.WRONG) == WRONG
    assert _found(performed, Verdict.MISSED) == MISSED
    assert len(performed.extras) == EXTRA
