"""What a lick asks of the hands: shifts, stretches, crossings, cautions."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from hand_made import lick

from assessor import lick as licks
from assessor.lick import Articulation, Bend, BendKind, Stroke
from assessor.lick.hands import (
    CautionKind,
    Crossing,
    HandCaution,
    crossings,
    hand_cautions,
    hand_shifts,
    widest_stretch,
)

REFERENCES = Path(__file__).parents[1] / "references"
DOWN, UP = Stroke.DOWN, Stroke.UP
# Fret distances on a neck of 648 mm: L (1 - 2 ** (-n / 12)), as luthiers' tables have
# them: fret 1 at 36.37, 5 at 162.55, 7 at 215.51, 12 at 324.00 mm from the nut.
FROM_NUT_MM = {1: 36.37, 5: 162.55, 7: 215.51, 12: 324.00}


def stroked(places: list[tuple[int, int]], strokes: list[Stroke | None]) -> Any:
    """Line of equal notes with pick strokes."""
    extras = {k: {"stroke": stroke} for k, stroke in enumerate(strokes)}
    return lick(range(len(places)), places, extras=extras)


@pytest.mark.parametrize(
    ("strings", "strokes", "expected"),
    [
        # Common practice: down on the thicker string and up on the thinner is outside.
        ((4, 3), (DOWN, UP), Crossing.OUTSIDE),
        ((3, 4), (UP, DOWN), Crossing.OUTSIDE),
        ((4, 3), (UP, DOWN), Crossing.INSIDE),
        ((3, 4), (DOWN, UP), Crossing.INSIDE),
        ((4, 3), (DOWN, DOWN), Crossing.SWEPT),
        ((3, 4), (UP, UP), Crossing.SWEPT),
        ((4, 3), (UP, UP), Crossing.BACK),
        ((3, 4), (DOWN, DOWN), Crossing.BACK),
        ((6, 1), (DOWN, UP), Crossing.OUTSIDE),
    ],
)
def test_crossings_by_their_strokes(
    strings: tuple[int, int], strokes: tuple[Stroke, Stroke], expected: Crossing
) -> None:
    """Every pair of strokes both ways."""
    line = stroked([(string, 5) for string in strings], list(strokes))
    assert crossings(line) == ((1, expected),)


@pytest.mark.parametrize(
    ("strings", "strokes"),
    [
        ((3, 3), (DOWN, UP)),
        ((3, 2), (DOWN, None)),
        ((3, 2), (None, None)),
        ((5, 2), (DOWN, Stroke.MIDDLE)),
    ],
    ids=["one string", "half written", "not written", "plucked"],
)
def test_what_is_no_crossing(
    strings: tuple[int, int], strokes: tuple[Stroke | None, Stroke | None]
) -> None:
    """The same string, no written stroke, a finger."""
    assert crossings(stroked([(s, 5) for s in strings], list(strokes))) == ()


def test_a_slurred_note_is_no_stroke() -> None:
    """Down, hammered, then up on the next string: outside."""
    extras: dict[int, dict[str, Any]] = {
        0: {"stroke": DOWN},
        1: {"articulation": Articulation.HAMMER_ON},
        2: {"stroke": UP},
    }
    line = lick(range(3), [(4, 5), (4, 7), (3, 5)], extras=extras)
    assert crossings(line) == ((2, Crossing.OUTSIDE),)


def test_shifts_say_from_where_to_where_and_how_fast() -> None:
    """Three frets up within one beat of 100 a minute."""
    places = [(2, 5), (1, 8), (2, 5), (2, 8), (1, 11), (2, 8)]
    (shift,) = hand_shifts(lick(range(6), places))
    assert (shift.index, shift.from_fret, shift.to_fret, shift.frets) == (3, 5, 8, 3)
    assert shift.seconds == pytest.approx(0.6)
    assert not shift.slid


def test_a_slide_takes_the_hand_along() -> None:
    """Slid from fret 5 to 9 with one finger."""
    slid = {1: {"articulation": Articulation.SLIDE}}
    (shift,) = hand_shifts(lick(range(3), [(3, 5), (3, 9), (3, 12)], extras=slid))
    assert (shift.index, shift.frets, shift.slid) == (1, 4, True)


@pytest.mark.parametrize(("low", "high"), [(1, 5), (7, 12)])
def test_stretches_are_measured_on_the_neck(low: int, high: int) -> None:
    """A hammer-on holds both frets; distances from a luthier's table."""
    hammered = {1: {"articulation": Articulation.HAMMER_ON}}
    found = widest_stretch(lick([0, 1], [(3, low), (3, high)], extras=hammered))
    assert found is not None
    assert (found.low_fret, found.high_fret, found.slur) == (low, high, True)
    assert found.frets == high - low + 1
    assert found.distance_mm == pytest.approx(
        FROM_NUT_MM[high] - FROM_NUT_MM[low], abs=0.01
    )


def test_a_capo_moves_the_stretch_up_the_neck() -> None:
    """Frets 1 to 5 counted from a capo at fret 7 are frets 8 to 12: closer."""
    places = [(3, 1), (3, 5)]
    hammered = {1: {"articulation": Articulation.HAMMER_ON}}
    plain = widest_stretch(lick([0, 1], places, extras=hammered))
    line = licks.Lick("capo", 100, licks.Meter(), LINE.tuning, _capoed(places), capo=7)
    capoed = widest_stretch(line)
    assert plain is not None
    assert capoed is not None
    assert capoed.distance_mm == pytest.approx(plain.distance_mm / 2 ** (7 / 12))


LINE = lick([0, 1])


def _capoed(places: list[tuple[int, int]]) -> tuple[licks.LickNote, ...]:
    """Hammered notes over a capo at fret 7."""
    hammered = {1: {"articulation": Articulation.HAMMER_ON}}
    return lick([0, 1], places, extras=hammered).notes


def test_open_strings_are_no_stretch() -> None:
    """Nothing is fretted."""
    assert widest_stretch(lick([0, 1], [(3, 0), (2, 0)])) is None


def bent(cents: float, finger: int | None, kind: BendKind = BendKind.BEND) -> Any:
    """One bent note."""
    extras = {0: {"bend": Bend(kind, cents), "finger": finger}}
    return lick([0], [(2, 8)], extras=extras)


@pytest.mark.parametrize(
    ("cents", "finger", "expected"),
    [
        # More than a half step with the fourth or the first finger: common practice.
        (100, 4, None),
        (101, 4, CautionKind.BEND_FOURTH_FINGER),
        (200, 4, CautionKind.BEND_FOURTH_FINGER),
        (200, 3, None),
        (200, None, None),
        (50, 1, None),
        (200, 1, CautionKind.BEND_FIRST_FINGER),
        (300, 3, CautionKind.BEND_WIDE),
    ],
)
def test_bends_that_strain(
    cents: float, finger: int | None, expected: CautionKind | None
) -> None:
    """Just at and just beyond a half step, each finger."""
    found = [caution.kind for caution in hand_cautions(bent(cents, finger))]
    assert found == ([] if expected is None else [expected])


def test_a_wide_bend_with_the_fourth_finger_is_told_of_twice() -> None:
    """Two reasons, two cautions, both with words."""
    found = hand_cautions(bent(400, 4, BendKind.PREBEND))
    assert [c.kind for c in found] == ["bend_fourth_finger", "bend_wide"]
    assert found[1].what == "a bend of two steps"
    assert all(caution.reason for caution in found)


def reach(low: int, high: int) -> Any:
    """Pull-off from a high fret to a low one."""
    pulled = {1: {"articulation": Articulation.PULL_OFF}}
    return lick([0, 1], [(3, high), (3, low)], extras=pulled)


@pytest.mark.parametrize(
    ("high", "span", "cautioned"), [(16, 5, False), (17, 5, True), (17, 6, False)]
)
def test_stretches_beyond_the_span(high: int, span: int, cautioned: bool) -> None:
    """From fret 12 on: exactly the span, and one more; both ends counted."""
    found = hand_cautions(reach(12, high), span)
    assert [c.kind for c in found] == ([CautionKind.STRETCH] if cautioned else [])


def test_what_no_hand_reaches_is_told_once() -> None:
    """Frets 1 to 9 in one slur cannot be played; that says it all."""
    (found,) = hand_cautions(reach(1, 9))
    assert found.kind is CautionKind.UNPLAYABLE
    assert "frets 1 to 9" in found.reason


def test_one_finger_cannot_hammer_onto_itself() -> None:
    """Fingers 2 and 2 on one string."""
    extras: dict[int, dict[str, Any]] = {
        0: {"finger": 2},
        1: {"finger": 2, "articulation": Articulation.HAMMER_ON},
    }
    (found,) = hand_cautions(lick([0, 1], [(3, 5), (3, 6)], extras=extras))
    assert found.kind is CautionKind.SAME_FINGER


@pytest.mark.parametrize(
    "path", sorted(REFERENCES.glob("*.lick")), ids=lambda p: p.stem
)
def test_shipped_licks_need_no_caution(path: Path) -> None:
    """What is handed out to everybody is kind to hands."""
    found: tuple[HandCaution, ...] = hand_cautions(licks.read(path))
    assert found == ()


def test_fingers_that_say_so_leave_the_hand_where_it_is() -> None:
    """A cell moved up three times and down three times: six shifts, not twenty."""
    line = licks.read(REFERENCES / "diminished-cell-by-minor-thirds.lick")
    frets = [shift.frets for shift in hand_shifts(line)]
    assert frets == [3, 3, 3, -3, -3, -2]
