"""The warping kernel against published matrices, librosa and brute force."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

import librosa
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from assessor import dtw
from assessor.tuning import FloatArray

NEVER = 1e6  # a cell that no cheapest path enters
COST_TOLERANCE = 1e-9

Move = tuple[str, int, int]


def _local(x: list[float], y: list[float]) -> FloatArray:
    """Distance of every element of `x` from every one of `y`."""
    return np.abs(np.subtract.outer(np.array(x), np.array(y))).astype(np.float64)


def _accumulated(cost: FloatArray) -> FloatArray:
    """The textbook's D: what the cells up to and with each cost on the way."""
    return cost[0, 0] + dtw.accumulate(dtw.classic(cost))


# Müller, Fundamentals of Music Processing, Springer 2015, ch. 3, |x - y| and unit
# steps, as reproduced in librosa's tests/test_dtw.py.
MUELLER = _local([1, 3, 3, 8, 1], [2, 0, 0, 8, 7, 2])
MUELLER_D = [
    [1, 2, 3, 10, 16, 17],
    [2, 4, 5, 8, 12, 13],
    [3, 5, 7, 10, 12, 13],
    [9, 11, 13, 7, 8, 14],
    [10, 10, 11, 14, 13, 9],
]
# The variant of the textbook's notebook; sequences from memory, D recomputed.
NOTEBOOK = _local([1, 3, 9, 2, 1], [2, 0, 0, 8, 7, 2])
NOTEBOOK_D = [
    [1, 2, 3, 10, 16, 17],
    [2, 4, 5, 8, 12, 13],
    [9, 11, 13, 6, 8, 15],
    [9, 11, 13, 12, 11, 8],
    [10, 10, 11, 18, 17, 9],
]
# Cells outside a Sakoe-Chiba band of radius 0.5, in librosa's meaning: infinite.
BANDED_D = [
    [1, 2, 3, np.inf, np.inf, np.inf],
    [2, 4, 5, 8, np.inf, np.inf],
    [np.inf, 5, 7, 10, 12, np.inf],
    [np.inf, np.inf, 13, 7, 8, 14],
    [np.inf, np.inf, np.inf, 14, 13, 9],
]


@pytest.mark.parametrize(
    ("cost", "expected"), [(MUELLER, MUELLER_D), (NOTEBOOK, NOTEBOOK_D)]
)
def test_published_matrix(cost: FloatArray, expected: list[list[float]]) -> None:
    """Every accumulated cost of the two worked examples; both cost 9 in all."""
    np.testing.assert_array_equal(_accumulated(cost), expected)
    _, rest = dtw.cheapest_path(dtw.classic(cost))
    assert cost[0, 0] + rest == 9


def test_published_band() -> None:
    """Costs that are never worth it make a band; inside, D is as published."""
    outside = np.isinf(BANDED_D)
    found = _accumulated(np.where(outside, NEVER, MUELLER))
    np.testing.assert_array_equal(found[~outside], np.array(BANDED_D)[~outside])
    assert (found[outside] >= NEVER).all()


def test_published_path() -> None:
    """The only cheapest path of the first example."""
    path, _ = dtw.cheapest_path(dtw.classic(MUELLER))
    assert path == [(0, 0), (1, 1), (2, 2), (3, 3), (3, 4), (4, 5)]


def test_published_path_of_unequal_lengths() -> None:
    """Five against nine, from the tests of librosa: the whole of both is warped."""
    cost = _local([1, 2, 3, 4, 5], [1, 1, 1, 2, 4, 5, 6, 5, 5])
    path, rest = dtw.cheapest_path(dtw.classic(cost))
    assert path == [
        (0, 0), (0, 1), (0, 2), (1, 3), (2, 3), (3, 4), (4, 5), (4, 6), (4, 7), (4, 8),
    ]  # fmt: skip
    assert cost[0, 0] + rest == sum(cost[i, j] for i, j in path) == 2


@pytest.mark.parametrize("shape", [(2, 2), (2, 9), (9, 2), (17, 23), (60, 41)])
def test_same_cost_as_librosa(shape: tuple[int, int]) -> None:
    """librosa.sequence.dtw on random costs: the same matrix, so the same total."""
    cost = np.random.default_rng(shape[0]).random(shape)
    expected = librosa.sequence.dtw(C=cost, backtrack=False)
    np.testing.assert_allclose(_accumulated(cost), expected, rtol=COST_TOLERANCE)


# ------------------------------------------------------------ any lattice


@st.composite
def lattices(draw: st.DrawFn) -> dtw.Lattice:
    """Small lattices of small costs, negative ones and ties among them."""
    n, m = draw(st.integers(0, 3)), draw(st.integers(0, 4))
    columns = draw(st.sampled_from([1, m + 1]))
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    if draw(st.booleans()):
        values = [rng.integers(-1, 4, s) / 2 for s in _shapes(n, m, columns)]
    else:
        values = [rng.uniform(-2, 6, s) for s in _shapes(n, m, columns)]
    return dtw.Lattice(*values)


def _shapes(n: int, m: int, columns: int) -> list[tuple[int, int]]:
    return [(n, m), (n + 1, m), (n, columns)]


def _moves(lattice: dtw.Lattice, i: int, j: int) -> Iterator[tuple[Move, float]]:
    """Moves from a node and what they cost, straight from the definition."""
    n, m = lattice.diagonal.shape
    if i < n and j < m:
        yield ("diagonal", i + 1, j + 1), lattice.diagonal[i, j]
    if j < m:
        yield ("across", i, j + 1), lattice.across[i, j]
    if i < n:
        column = min(j, lattice.down.shape[1] - 1)
        yield ("down", i + 1, j), lattice.down[i, column]


def _every_path(
    lattice: dtw.Lattice, i: int = 0, j: int = 0
) -> Iterator[tuple[list[Move], float]]:
    """All paths from a node to the end, with their costs."""
    if (i, j) == lattice.diagonal.shape:
        yield [], 0.0
    for move, cost in _moves(lattice, i, j):
        for rest, more in _every_path(lattice, move[1], move[2]):
            yield [move, *rest], float(cost) + more


def _price(lattice: dtw.Lattice, path: list[tuple[int, int]]) -> float:
    """Cost of a path given by its nodes; only single steps forward are allowed."""
    total = 0.0
    for (i, j), after in pairwise(path):
        allowed = {(a, b): cost for (_, a, b), cost in _moves(lattice, i, j)}
        total += float(allowed[after])
    return total


@given(lattice=lattices())
def test_cheapest_of_all_paths(lattice: dtw.Lattice) -> None:
    """No path is cheaper, the path found costs what is said, and it is monotone."""
    path, cost = dtw.cheapest_path(lattice)
    assert (path[0], path[-1]) == ((0, 0), lattice.diagonal.shape)
    assert _price(lattice, path) == pytest.approx(cost, abs=1e-6)
    assert cost == pytest.approx(min(c for _, c in _every_path(lattice)), abs=1e-9)


@given(lattice=lattices())
def test_posterior_is_the_share_of_all_paths(lattice: dtw.Lattice) -> None:
    """Each path weighs exp(-cost); every path is listed and counted."""
    expected, total = np.zeros(lattice.diagonal.shape), 0.0
    for moves, cost in _every_path(lattice):
        weight = np.exp(-cost)
        total += weight
        for kind, i, j in moves:
            if kind == "diagonal":
                expected[i - 1, j - 1] += weight
    np.testing.assert_allclose(
        dtw.diagonal_posterior(lattice), expected / total, rtol=1e-9, atol=1e-12
    )


@given(lattice=lattices())
def test_reversed_lattice_costs_the_same(lattice: dtw.Lattice) -> None:
    """Walked from the end to the start."""
    there, back = (dtw.accumulate(way)[-1, -1] for way in (lattice, lattice.reversed()))
    assert there == pytest.approx(back, abs=1e-9)


@pytest.mark.parametrize("shape", [(40, 60), (60, 40), (200, 300)])
def test_path_of_a_large_lattice(shape: tuple[int, int]) -> None:
    """Monotone, whole, and as dear as said, where not every path can be listed."""
    rng = np.random.default_rng(shape[0])
    lattice = dtw.Lattice(*(rng.exponential(1, s) for s in _shapes(*shape, 1)))
    path, cost = dtw.cheapest_path(lattice)
    assert (path[0], path[-1]) == ((0, 0), shape)
    assert _price(lattice, path) == pytest.approx(cost, rel=1e-9)


def test_never_among_ordinary_costs() -> None:
    """A price for "never" does not wash out the ordinary costs beside it."""
    rng = np.random.default_rng(3)
    diagonal = rng.random((300, 500))
    diagonal[rng.random(diagonal.shape) < 0.9] = NEVER
    lattice = dtw.Lattice(diagonal, rng.random((301, 500)), np.full((300, 1), 5.8))
    path, cost = dtw.cheapest_path(lattice)
    assert cost < NEVER
    assert _price(lattice, path) == pytest.approx(cost, abs=1e-6)


# ----------------------------------------------- notes and events, by hand


def _note_lattice(right: list[list[float]], skip: float, missed: float) -> dtw.Lattice:
    """Notes down, events across: matched, event skipped, note missed."""
    diagonal = np.array(right, dtype=np.float64)
    n, m = diagonal.shape
    return dtw.Lattice(diagonal, np.full((n + 1, m), skip), np.full((n, 1), missed))


@pytest.mark.parametrize(
    ("right", "path", "cost"),
    [
        # both notes heard
        ([[0, 9], [9, 0]], [(0, 0), (1, 1), (2, 2)], 0.0),
        # the second note was not played: 3 for the note
        ([[0], [9]], [(0, 0), (1, 1), (2, 1)], 3.0),
        # the first was not played
        ([[9], [0]], [(0, 0), (1, 0), (2, 1)], 3.0),
        # one event too many in the middle: 2 for the event
        ([[0, 9, 9], [9, 9, 0]], [(0, 0), (1, 1), (1, 2), (2, 3)], 2.0),
        # a poor match (4) is cheaper than one missed and one too many (5)
        ([[4]], [(0, 0), (1, 1)], 4.0),
        # a worse one (6) is not; the note is given up before the event
        ([[6]], [(0, 0), (1, 0), (1, 1)], 5.0),
        # crossed: one of the two fits, the other pays for both its sides
        ([[9, 0], [0, 9]], [(0, 0), (1, 0), (2, 1), (2, 2)], 5.0),
    ],
)
def test_notes_and_events(
    right: list[list[float]], path: list[tuple[int, int]], cost: float
) -> None:
    """Missing a note costs 3, skipping an event 2; worked out by hand."""
    found = dtw.cheapest_path(_note_lattice(right, skip=2.0, missed=3.0))
    assert found == (path, cost)


@pytest.mark.parametrize(("n", "m"), [(0, 0), (0, 3), (3, 0)])
def test_nothing_to_match(n: int, m: int) -> None:
    """No notes, no events, or neither: a straight walk, no diagonal."""
    lattice = dtw.Lattice(np.ones((n, m)), np.ones((n + 1, m)), np.ones((n, 1)))
    path, cost = dtw.cheapest_path(lattice)
    assert (len(path), cost) == (n + m + 1, n + m)
    assert dtw.diagonal_posterior(lattice).shape == (n, m)


@pytest.mark.parametrize(
    ("across", "down", "words"),
    [
        ((2, 3), (2, 1), r"across has shape \(2, 3\), not \(3, 3\)"),
        ((3, 2), (2, 1), r"across has shape \(3, 2\), not \(3, 3\)"),
        ((3, 3), (3, 1), r"down has shape \(3, 1\), not \(2, 1\) or \(2, 4\)"),
        ((3, 3), (2, 3), r"down has shape \(2, 3\), not \(2, 1\) or \(2, 4\)"),
    ],
)
def test_shapes_that_do_not_fit(
    across: tuple[int, int], down: tuple[int, int], words: str
) -> None:
    """Two notes, three events: the other two must match."""
    with pytest.raises(ValueError, match=words):
        dtw.Lattice(np.zeros((2, 3)), np.zeros(across), np.zeros(down))
