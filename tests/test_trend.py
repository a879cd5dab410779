"""Trends against published examples and against scipy.stats."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest
from scipy import stats

from assessor.trend import (
    Ranks,
    adjusted,
    detectable_change,
    mann_kendall,
    smallest_detectable_change,
    theil_sen,
)

SAME = 1e-6

# EPA Unified Guidance (EPA 530/R-09-007, 2009), example 17-7, sodium in ppm; results
# as the data and script of EnvStats give them.
SODIUM_YEARS = "89.6 90.1 90.8 91.1 92.1 93.1 94.1 95.6 96.1 96.3"
SODIUM = "56 53 51 55 52 60 62 59 61 63"
# The same, example 17-6, sulfate in ppm.
SULFATE_YEARS = (
    "89.6 89.8 90.1 90.3 90.6 90.8 91.1 91.3 91.6 91.8 92.1 92.6 93.1 93.6 94.1 94.6 "
    "95.1 95.6 95.8 96.1 96.3 96.6 96.8"
)
SULFATE = (
    "480 450 490 520 485 510 510 530 510 560 560 540 590 550 600 700 570 610 650 620 "
    "830 720 590"
)


def row(text: str) -> np.ndarray:
    """Numbers of a row above."""
    return np.array([float(word) for word in text.split()])


def test_ties_epa_g9s() -> None:
    """EPA QA/G-9S (EPA/240/B-06/003, 2006), p. 109: ties of 4 and 2."""
    found = mann_kendall(row("10 10 10 5 10 20 18 17 15 24 15"))
    assert found.s == 22
    assert found.variance == pytest.approx(155.3333333, abs=SAME)
    assert found.z == pytest.approx(1.684950, abs=SAME)
    assert found.p == pytest.approx(0.0920, abs=5e-5)
    assert not found.exact


def test_sodium_example() -> None:
    """Slope, intercept, test and Gilbert's interval of example 17-7."""
    slope = theil_sen(row(SODIUM_YEARS), row(SODIUM))
    assert slope.value == pytest.approx(1.3333333, abs=SAME)
    assert slope.intercept == pytest.approx(-65.9666667, abs=SAME)
    assert slope.low == pytest.approx(0.3992083, abs=SAME)
    assert slope.high == pytest.approx(2.3333333, abs=SAME)
    found = mann_kendall(row(SODIUM))
    assert (found.s, found.variance) == (25, 125)
    assert found.z == pytest.approx(2.146625, abs=SAME)
    # the guidance uses the normal distribution; so few values are counted out here
    assert 2 * stats.norm.sf(found.z) == pytest.approx(0.03182313, abs=SAME)
    assert found.exact
    assert found.p == pytest.approx(stats.kendalltau(range(10), row(SODIUM)).pvalue)


def test_sulfate_example() -> None:
    """Example 17-6, with ties."""
    slope = theil_sen(row(SULFATE_YEARS), row(SULFATE))
    assert slope.value == pytest.approx(26.6666667, abs=SAME)
    assert slope.intercept == pytest.approx(-1909.3333333, abs=SAME)
    assert slope.low == pytest.approx(20.0, abs=1e-5)
    assert slope.high == pytest.approx(35.71182, abs=1e-5)
    found = mann_kendall(row(SULFATE))
    assert (found.s, found.variance) == (194, pytest.approx(1428, abs=SAME))
    assert found.z == pytest.approx(5.107322, abs=SAME)
    assert found.p == pytest.approx(3.267574e-07, rel=1e-5)


def test_small_example() -> None:
    """Wisconsin administrative code, NR, table A: row sums -4, +2, -2, -1."""
    assert mann_kendall(row("100 50 85 75 50")).s == -5


@pytest.mark.parametrize(
    ("n", "s", "one_sided"),
    # Smallest S that a one-sided exact test calls a trend at 5 %, and its p
    [
        (4, 6, 0.0417),
        (5, 8, 0.0417),
        (6, 11, 0.0278),
        (7, 13, 0.0345),
        (8, 16, 0.0305),
        (9, 18, 0.0376),
        (10, 21, 0.0363),
        (11, 23, 0.0433),
        (12, 26, 0.0432),
    ],
)
def test_exact_limits(n: int, s: int, one_sided: float) -> None:
    """The table of exact limits, from a row of n values with just that S."""
    falling = (n * (n - 1) // 2 - s) // 2
    values = with_falling_pairs(n, falling)
    found = mann_kendall(values)
    assert (found.s, found.exact) == (s, True)
    assert found.p / 2 == pytest.approx(one_sided, abs=5e-5)


def with_falling_pairs(n: int, falling: int) -> np.ndarray:
    """A row of 0 to n - 1 with so many pairs that fall."""
    values = list(range(n))
    for count in range(1, n):
        for k in range(min(count, falling)):
            at = count - k
            values[at - 1], values[at] = values[at], values[at - 1]
        falling -= min(count, falling)
    return np.array(values, dtype=float)


def test_three_values_prove_nothing() -> None:
    """A perfect row of three is chance in one of three cases, of four in one of 12."""
    assert mann_kendall(np.arange(3.0)).p == pytest.approx(1 / 3)
    assert mann_kendall(np.arange(4.0)).p == pytest.approx(1 / 12)


def test_exact_distribution_by_counting() -> None:
    """Every order of five values, counted one by one."""
    reached = [mann_kendall(np.array(p, dtype=float)).s for p in permutations(range(5))]
    for s in range(0, 11, 2):
        share = np.mean([abs(one) >= s for one in reached])
        order = next(
            p
            for p, one in zip(permutations(range(5)), reached, strict=True)
            if one == s
        )
        assert mann_kendall(np.array(order, dtype=float)).p == pytest.approx(share)


@pytest.mark.parametrize("seed", range(8))
def test_scipy_agrees(seed: int) -> None:
    """Slope, intercept and the interval by SciPy's rule; tau by ties in values."""
    random = np.random.default_rng(seed)
    n = int(random.integers(5, 40))
    times = np.sort(random.uniform(0, 60, n))
    values = np.round(0.1 * times + random.standard_normal(n), 1)
    found = theil_sen(times, values, Ranks.SCIPY)
    reference = stats.theilslopes(values, times)
    assert found.value == pytest.approx(reference.slope, abs=SAME)
    assert found.intercept == pytest.approx(reference.intercept, abs=SAME)
    assert found.low == pytest.approx(reference.low_slope, abs=SAME)
    assert found.high == pytest.approx(reference.high_slope, abs=SAME)
    tau = stats.kendalltau(times, values, method="asymptotic")
    test = mann_kendall(values)
    # SciPy's asymptotic p has no continuity correction
    z = test.s / np.sqrt(test.variance)
    assert 2 * stats.norm.sf(abs(z)) == pytest.approx(tau.pvalue, rel=1e-6)


def test_the_two_rules_differ_on_few_values() -> None:
    """SciPy's lower end of the sodium example is .4545, as rounded ranks have it."""
    found = theil_sen(row(SODIUM_YEARS), row(SODIUM), Ranks.SCIPY)
    assert found.low == pytest.approx(0.4545, abs=5e-5)
    assert found.high == pytest.approx(2.3333333, abs=SAME)


def test_a_wild_value_turns_nothing() -> None:
    """One of eight values far off; the slope stays."""
    values = 2.0 * np.arange(8.0)
    values[3] = 1000.0
    assert theil_sen(np.arange(8.0), values).value == pytest.approx(2.0)


def test_same_times_have_no_slope() -> None:
    """Pairs of one time are left out; when all are, there is no slope."""
    times = np.array([0.0, 0.0, 1.0, 1.0])
    assert theil_sen(times, np.array([0.0, 9.0, 1.0, 10.0])).value == pytest.approx(1.0)
    with pytest.raises(ValueError, match="no slope"):
        theil_sen(np.zeros(4), np.arange(4.0))


def test_all_values_the_same() -> None:
    """No trend, and no warning from a variance of zero."""
    found = mann_kendall(np.ones(12))
    assert (found.s, found.z, found.p) == (0, 0, 1)
    assert theil_sen(np.arange(12.0), np.ones(12)).value == 0


def test_detectable_change_weir() -> None:
    """Weir 2005: SD 10, ICC .90 make SEM 3.1623 and MDC95 8.7654."""
    sem = 10 * np.sqrt(1 - 0.90)
    assert sem == pytest.approx(3.1623, abs=5e-5)
    assert detectable_change(sem) == pytest.approx(8.7654, abs=1e-4)


def test_detectable_change_of_scatter_and_of_trend() -> None:
    """White scatter gives 2.77 of its SD; a trend adds next to nothing."""
    random = np.random.default_rng(1)
    scatter = random.standard_normal(4000)
    assert smallest_detectable_change(scatter) == pytest.approx(2.7718, rel=0.03)
    rising = scatter + 0.01 * np.arange(4000)
    assert smallest_detectable_change(rising) == pytest.approx(2.7718, rel=0.03)


def test_readings_are_never_surer_than_themselves() -> None:
    """Values that agree by chance still have their own uncertainty."""
    same = smallest_detectable_change(np.ones(5), np.full(5, 1.96))
    assert same == pytest.approx(detectable_change(1.0), abs=SAME)


def test_adjusted_as_published() -> None:
    """Benjamini and Hochberg 1995, 15 tests of a trial (p from memory): four stand."""
    p = row(
        ".0001 .0004 .0019 .0095 .0201 .0278 .0298 .0344 .0459 .3240 .4262 .5719 .6528 "
        ".7590 1"
    )
    assert (adjusted(p) <= 0.05).tolist() == [True] * 4 + [False] * 11
    assert (p * len(p) <= 0.05).sum() == 3  # as Bonferroni has it


@pytest.mark.parametrize("seed", range(4))
def test_adjusted_as_scipy_does(seed: int) -> None:
    """In any order, ties too; none at all is none."""
    p = np.round(np.random.default_rng(seed).uniform(size=12), 1)
    assert adjusted(p) == pytest.approx(stats.false_discovery_control(p))
    assert adjusted(p[:0]).shape == (0,)


@pytest.mark.parametrize("n", [5, 12, 30, 40])
def test_exact_p_as_scipy_counts_it(n: int) -> None:
    """Without ties, up to forty values."""
    values = np.arange(n) * 0.1 + np.random.default_rng(n).standard_normal(n)
    reference = stats.kendalltau(np.arange(n), values, method="exact")
    assert mann_kendall(values).p == pytest.approx(reference.pvalue, rel=1e-9)
