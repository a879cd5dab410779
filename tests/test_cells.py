"""Cells: groups of notes that come again, as they are or moved."""

from __future__ import annotations

from pathlib import Path

import pytest
from hand_made import lick
from hypothesis import given, settings
from hypothesis import strategies as st

from assessor import lick as licks
from assessor.lick import Articulation
from assessor.lick.cells import Cell, EqualSteps, Likeness, equal_steps, find_cells

REFERENCES = Path(__file__).parents[1] / "references"
# Four notes over two strings that turn twice.
SHAPE = [(3, 4), (2, 3), (1, 4), (2, 6)]


def up(places: list[tuple[int, int]], frets: int) -> list[tuple[int, int]]:
    """The same shape so many frets up the neck."""
    return [(string, fret + frets) for string, fret in places]


def across(places: list[tuple[int, int]], strings: int) -> list[tuple[int, int]]:
    """The same shape so many strings towards the thicker ones."""
    return [(string + strings, fret) for string, fret in places]


def cells_of(places: list[tuple[int, int]], **fields: object) -> tuple[Cell, ...]:
    """Cells of a line of equal notes."""
    return find_cells(lick(range(len(places)), places, **fields))


def test_a_shape_moved_by_three_frets_is_one_cell() -> None:
    """Three frets are a minor third (common practice); the chain is named once."""
    (cell,) = cells_of([*SHAPE, *up(SHAPE, 3), *up(SHAPE, 6)])
    assert cell.notes == 4
    assert [o.first for o in cell.occurrences] == [0, 4, 8]
    assert [o.likeness for o in cell.occurrences] == ["same", "shape", "shape"]
    assert [o.semitones for o in cell.occurrences] == [0, 3, 6]
    assert cell.chains() == (EqualSteps(3, 2, 0),)


def test_the_shortest_period_is_the_cell() -> None:
    """Four times four notes is not twice eight."""
    (cell,) = cells_of(SHAPE * 4)
    assert (cell.notes, len(cell.occurrences)) == (4, 4)
    assert {o.likeness for o in cell.occurrences} == {Likeness.SAME}
    assert cell.chains() == ()


def test_a_cell_on_other_strings_keeps_its_shape() -> None:
    """One string set lower."""
    _, moved = cells_of([*SHAPE, *across(SHAPE, 1)])[0].occurrences
    assert (moved.likeness, moved.strings, moved.frets) == (Likeness.SHAPE, -1, 0)


def test_the_same_intervals_fingered_otherwise_are_one_cell() -> None:
    """Between third and second string lies a major third: one fret more on the second.

    Standard tuning, common practice; everywhere else it is a fourth.
    """
    low, high = [(4, 5), (4, 7), (3, 5), (4, 7)], [(3, 5), (3, 7), (2, 6), (3, 7)]
    _, moved = cells_of([*low, *high])[0].occurrences
    assert (moved.likeness, moved.semitones) == (Likeness.INTERVALS, 5)


def test_thirds_up_a_scale_are_one_cell() -> None:
    """C E D C, D F E D on two strings: steps of three and of four semitones."""
    thirds = [(3, 5), (2, 5), (3, 7), (3, 5), (3, 7), (2, 6), (3, 9), (3, 7)]
    _, moved = cells_of(thirds)[0].occurrences
    assert (moved.likeness, moved.frets) == (Likeness.ALONG_A_SCALE, 2)


def test_rising_groups_stand_out_where_the_line_turns() -> None:
    """A cell of three in sixteenths, four frets up each time, against the beat."""
    rising = [(4, 2), (3, 1), (2, 1)]
    places = [*rising, *up(rising, 4), *up(rising, 8), *up(rising, 12)]
    (cell,) = find_cells(lick([k / 4 for k in range(12)], places))
    assert (cell.notes, cell.chains()) == (3, (EqualSteps(4, 3, 0),))


def test_rising_groups_stand_out_on_the_beat() -> None:
    """Three notes a string in triplets are cells; in sixteenths they are a scale."""
    run = [(string, fret) for string in (6, 5, 4) for fret in (3, 5, 7)]
    (cell,) = find_cells(lick([f"{k}/3" for k in range(9)], run))
    assert (cell.notes, len(cell.occurrences)) == (3, 3)
    assert find_cells(lick([k / 4 for k in range(9)], run)) == ()


def test_another_rhythm_is_another_cell() -> None:
    """The same frets, the third note late."""
    line = lick([0, 1, 2, 3, 4, 5, 6.5, 7], SHAPE * 2)
    assert find_cells(line) == ()


def test_a_slur_is_no_pick() -> None:
    """The same frets, once picked, once hammered."""
    places = [(3, 5), (3, 7), (2, 5), (3, 5)] * 2
    hammered = {1: {"articulation": Articulation.HAMMER_ON}}
    assert find_cells(lick(range(8), places)) != ()
    assert find_cells(lick(range(8), places, extras=hammered)) == ()


@pytest.mark.parametrize(
    "places",
    [
        [(3, 5)],
        [(3, 5)] * 12,
        [(6, 5), (6, 7), (6, 8), (5, 5), (5, 7), (4, 4), (4, 5), (4, 7)],
        [(3, 5), (3, 7), (2, 5), (1, 9), (3, 5), (3, 7), (2, 5)],
    ],
    ids=["one note", "one pitch", "a scale", "three notes apart"],
)
def test_what_is_no_cell(places: list[tuple[int, int]]) -> None:
    """Repeated notes, scales, and three notes that come again somewhere else."""
    assert cells_of(places) == ()


@pytest.mark.parametrize(
    ("moves", "expected"),
    [
        ([], ()),
        ([3], ()),
        ([3, 3], (EqualSteps(3, 2, 0),)),
        ([0, 0, 0], ()),
        ([1, -2, -2, 5, 5, 5], (EqualSteps(-2, 2, 1), EqualSteps(5, 3, 3))),
    ],
)
def test_equal_steps(moves: list[int], expected: tuple[EqualSteps, ...]) -> None:
    """One move is no chain, and staying is no move."""
    assert equal_steps(moves) == expected


def test_a_note_between_breaks_a_chain() -> None:
    """A cell, moved, a rest note, moved again: no two moves in a row."""
    (cell,) = cells_of([*SHAPE, *up(SHAPE, 3), (1, 9), *up(SHAPE, 6)])
    assert len(cell.occurrences) == 3
    assert cell.chains() == ()


def test_shipped_cells_are_found() -> None:
    """As their titles say: up and down by three frets; arpeggios of four notes."""
    up_, down = find_cells(licks.read(REFERENCES / DIMINISHED))
    assert up_.chains() == (EqualSteps(3, 3, 0),)
    assert down.chains() == (EqualSteps(-3, 2, 0),)
    (arpeggio,) = find_cells(licks.read(REFERENCES / "skipped-string-arpeggios.lick"))
    assert (arpeggio.notes, len(arpeggio.occurrences)) == (4, 6)


DIMINISHED = "diminished-cell-by-minor-thirds.lick"
PLACES = st.tuples(st.integers(2, 4), st.integers(3, 8))


@settings(deadline=None)  # on a busy machine
@given(st.lists(PLACES, min_size=1, max_size=24), st.integers(1, 5))
def test_cells_do_not_know_where_on_the_neck_they_are(
    places: list[tuple[int, int]], frets: int
) -> None:
    """A line moved as a whole has the same cells; none overlap, each comes again."""
    cells = cells_of(places)
    assert cells == cells_of(up(places, frets))
    taken = [
        k
        for cell in cells
        for o in cell.occurrences
        for k in range(o.first, o.first + cell.notes)
    ]
    assert len(taken) == len(set(taken))
    assert all(len(cell.occurrences) >= 2 for cell in cells)
    assert all(cell.occurrences[0].likeness is Likeness.SAME for cell in cells)
