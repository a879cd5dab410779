"""A long practice of many passes is summed up along its time."""

from __future__ import annotations

import hand_made as made
import pytest

from assessor import report
from assessor.assessment import MANY_PASSES, STRETCHES, Assessment
from assessor.pitch import PerformedPass, PlayedNote

LICK = made.lick([k / 2 for k in range(8)])
PASSES, APART_S, LOST = 20, 60.0, 10


def _pass(number: int) -> PerformedPass:
    """One note is missed in each of the later half of the passes."""
    notes: list[PlayedNote | None] = [
        *made.as_written(LICK, start_s=1 + number * APART_S)
    ]
    if number >= LOST:
        notes[3] = None
    return made.passage(notes)


def _practice(passes: int) -> Assessment:
    return made.assessed(
        LICK, *(_pass(k) for k in range(passes)), duration_s=APART_S * passes
    )


def test_stretches_hold_every_pass_in_order() -> None:
    """Each pass counts once, and tenths follow each other."""
    found = _practice(PASSES).stretches
    assert len(found) == STRETCHES
    assert sum(stretch.passes for stretch in found) == PASSES
    starts = [stretch.start_s for stretch in found]
    assert starts == sorted(starts)


def test_tiring_shows() -> None:
    """What goes wrong in the later half is seen there and only there."""
    shares = [stretch.right_share for stretch in _practice(PASSES).stretches]
    assert shares[:5] == [1.0] * 5
    assert shares[5:] == pytest.approx([7 / 8] * 5)


def test_few_passes_are_told_one_by_one() -> None:
    """Below the limit nothing is summed up."""
    few = _practice(MANY_PASSES - 1)
    assert few.stretches == ()
    text = report.terminal(few)
    assert f"Pass {MANY_PASSES - 1}" in text


def test_many_passes_take_few_lines() -> None:
    """The report of many passes names their number and each stretch."""
    text = report.terminal(_practice(PASSES))
    assert f"{PASSES} found" in text
    assert "Pass 1 " not in text
    assert text.count("% right") == STRETCHES
