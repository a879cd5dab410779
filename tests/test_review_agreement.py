"""Agreement of tool and teacher, against published and independent figures."""

from __future__ import annotations

import math
from itertools import product

import numpy as np
import pytest

from assessor.review.agreement import cohens_kappa, limits_of_agreement

# Peak flow (l/min) of 17 people, first readings with a large and with a mini meter:
# Bland & Altman 1986, Lancet 327:307-310, table 1; the data as R's epiR documents them
# (epi.ccc, example 2).
LARGE = [
    494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427,
]  # fmt: skip
MINI = [
    512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451,
]  # fmt: skip


def test_limits_of_agreement_as_published() -> None:
    """Mean -2.1, SD 38.8; the paper takes 2 SD: -79.7 and 75.5 (rounded sums)."""
    found = limits_of_agreement(LARGE, MINI)
    assert found is not None
    assert found.bias == pytest.approx(-2.1, abs=0.05)
    assert found.sd == pytest.approx(38.8, abs=0.05)
    assert found.bias - 2 * found.sd == pytest.approx(-79.7, abs=0.1)
    assert found.bias + 2 * found.sd == pytest.approx(75.5, abs=0.1)
    assert (found.low, found.high) == pytest.approx(
        (found.bias - 1.96 * found.sd, found.bias + 1.96 * found.sd)
    )
    # standard errors 9.4 of the mean and 16.3 of a limit, t = 2.12: same paper
    assert found.bias_uncertainty == pytest.approx(2.12 * 9.4, abs=0.15)
    assert found.limit_uncertainty == pytest.approx(2.12 * 16.3, abs=0.15)


def test_differences_need_a_few_pairs() -> None:
    """Fewer than three have no spread; two lengths are a mistake."""
    assert limits_of_agreement([1, 2], [1, 2]) is None
    with pytest.raises(ValueError, match="3 readings against 2"):
        limits_of_agreement([1, 2, 3], [1, 2])


def _pairs(table: list[list[int]]) -> tuple[list[str], list[str]]:
    """Judgements of a table of counts."""
    first, second = [], []
    for a, b in product(range(len(table)), repeat=2):
        first += ["abcd"[a]] * table[a][b]
        second += ["abcd"[b]] * table[a][b]
    return first, second


@pytest.mark.parametrize(
    ("table", "kappa", "error"),
    [
        # Fleiss, Statistical Methods for Rates and Proportions, 1981, table 13.1, as
        # counts of 100 (from memory): kappa .676, standard error .087
        ([[75, 1, 4], [5, 4, 1], [0, 0, 10]], (0.676, 5e-4), (0.087, 1e-3)),
        # the example of ci.kappa in R's statpsych 1.7.0, with its documented output
        ([[31, 12], [4, 58]], (0.6756757, 1e-7), (0.07344761, 1e-8)),
    ],
)
def test_kappa_as_published(
    table: list[list[int]], kappa: tuple[float, float], error: tuple[float, float]
) -> None:
    """Worked examples: value and standard error, each with the digits it has."""
    found = cohens_kappa(*_pairs(table))
    assert found is not None
    assert found.kappa is not None
    assert found.low is not None
    assert found.kappa == pytest.approx(kappa[0], abs=kappa[1])
    assert (found.kappa - found.low) / 1.96 == pytest.approx(error[0], abs=error[1])


def test_kappa_of_a_small_table() -> None:
    """Worked by hand: 35 of 50 alike, half of them by chance."""
    found = cohens_kappa(*_pairs([[20, 5], [10, 15]]))
    assert found is not None
    assert found.kappa == pytest.approx((35 / 50 - 0.5) / (1 - 0.5))


@pytest.mark.parametrize("seed", range(4))
def test_kappa_as_statsmodels_and_scikit_learn_have_it(seed: int) -> None:
    """Value and interval, on random judgements that agree more or less."""
    metrics = pytest.importorskip("sklearn.metrics")
    rater = pytest.importorskip("statsmodels.stats.inter_rater")
    draw = np.random.default_rng(seed)
    table = draw.integers(1, 30, (3, 3)) + np.diag(draw.integers(0, 90, 3))
    first, second = _pairs(table.tolist())
    found = cohens_kappa(first, second)
    other = rater.cohens_kappa(table)
    assert found is not None
    assert found.kappa == pytest.approx(metrics.cohen_kappa_score(first, second))
    assert found.kappa == pytest.approx(other.kappa)
    assert (found.low, found.high) == pytest.approx(
        (other.kappa_low, other.kappa_upp), abs=1e-4
    )


def test_kappa_at_its_ends() -> None:
    """All the same is one; one kind alone cannot be told; nothing is nothing."""
    same = cohens_kappa(list("abab"), list("abab"))
    assert same is not None
    assert (same.kappa, same.low, same.high) == pytest.approx((1.0, 1.0, 1.0))
    alone = cohens_kappa(list("aaa"), list("aaa"), left_out=2)
    assert alone is not None
    assert (alone.kappa, alone.observed, alone.left_out) == (None, 1.0, 2)
    against = cohens_kappa(list("ab"), list("ba"))
    assert against is not None
    assert against.kappa is not None
    assert math.isclose(against.kappa, -1.0)
    assert cohens_kappa([], []) is None
    with pytest.raises(ValueError, match="1 verdicts against 2"):
        cohens_kappa(["a"], ["a", "b"])
