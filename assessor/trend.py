"""Is there a trend, how steep, and is the change more than chance: arrays only.

Definitions
-----------
Mann-Kendall test
    S counts the pairs that rise less those that fall; its variance is made smaller by
    ties; Z takes one off S for continuity.  Without ties, up to 40 values, the exact
    distribution of S is used, else the normal one (Kendall 1975; Gilbert 1987; as in
    EPA QA/G-9S, EPA/240/B-06/003, 2006).
Theil-Sen slope
    The median slope of all pairs of different times (Theil 1950; Sen 1968, J. Am.
    Stat. Assoc. 63:1379-1389); up to 29 % of the values may be wild.  The line goes
    through the medians of both axes.
Interval of the slope
    Two rules for the ranks of its ends.  *Gilbert's* (1987) interpolates between
    ordered slopes at (N - C) / 2 and (N + C) / 2 + 1, C = z · sqrt(Var S); it is what
    the EPA's Unified Guidance (EPA 530/R-09-007, 2009) uses, and what is shown.
    *SciPy's* rounds the ranks, as `scipy.stats.theilslopes` does; on few values the
    two differ.
Many tests
    With several rows tested at once, p is adjusted so that of the trends that are told
    at 5 % one in twenty is chance on average: the false discovery rate (Benjamini and
    Hochberg 1995, J. R. Stat. Soc. B 57:289-300).
Smallest detectable change
    1.96 · sqrt 2 · SEM (Weir 2005, J. Strength Cond. Res. 19:231-240), the change that
    two values of one player differ by in one case of twenty without any change.  The
    standard error of measurement is taken from the differences of successive values,
    so that a steady trend does not count as scatter: SEM = SD of differences / sqrt 2.

Known limits: values of neighbouring days depend on each other, which makes every test
here a little too ready to speak.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache
from statistics import NormalDist

import numpy as np

from assessor.tuning import FloatArray

MOST_EXACT = 40  # values for which the exact distribution of S is counted out
SURE = 0.95
NORMAL = NormalDist()
Z95 = 1.96  # as the formula is published; the quantile is 1.959964


class Ranks(StrEnum):
    """Rule for the ends of the slope's interval."""

    GILBERT = "Gilbert"
    SCIPY = "SciPy"


@dataclass(frozen=True)
class MannKendall:
    """Result of `mann_kendall`.

    Attributes
    ----------
    s : int
    variance : float
    z : float
        0 when S is.
    p : float
        Two-sided.
    exact : bool
        Whether `p` comes from the exact distribution.
    """

    s: int
    variance: float
    z: float
    p: float
    exact: bool


@dataclass(frozen=True)
class Slope:
    """Result of `theil_sen`.

    Attributes
    ----------
    value, low, high : float
        Change per unit of time, with its 95 % interval.
    intercept : float
        Of the line through both medians.
    """

    value: float
    low: float
    high: float
    intercept: float


def mann_kendall(values: FloatArray) -> MannKendall:
    """Test a row of values, in order of time, for a trend either way.

    Parameters
    ----------
    values : shape=(n,), n >= 2

    Examples
    --------
    >>> mann_kendall(np.array([1.0, 2.0, 3.0, 4.0])).s
    6
    """
    values = np.asarray(values, dtype=np.float64)
    n = len(values)
    rising = np.sign(values[None, :] - values[:, None])
    s = int(np.triu(rising, 1).sum())
    variance, ties = _variance(values)
    z = (s - np.sign(s)) / np.sqrt(variance) if variance > 0 else 0.0
    exact = n <= MOST_EXACT and not ties
    p = _exact_p(n, s) if exact else min(1.0, 2 * NORMAL.cdf(-abs(float(z))))
    return MannKendall(s, variance, float(z), p, exact)


def _variance(values: FloatArray) -> tuple[float, float]:
    """Variance of S when there is no trend, and what ties took off it (times 18)."""
    n = len(values)
    _, counts = np.unique(values, return_counts=True)
    ties = float((counts * (counts - 1.0) * (2 * counts + 5)).sum())
    return (n * (n - 1.0) * (2 * n + 5) - ties) / 18, ties


def _exact_p(n: int, s: int) -> float:
    """Share of the orders of n different values with an S at least as far from 0."""
    orders = _orders(n)
    reached = n * (n - 1) // 2 - 2 * np.arange(len(orders))
    far = float(orders[np.abs(reached) >= abs(s)].sum())
    return far / float(orders.sum())


@lru_cache(maxsize=MOST_EXACT)
def _orders(n: int) -> FloatArray:
    """How many orders of n different values have 0, 1, 2 ... falling pairs.

    One value more, put in k places from the end, adds k of them.
    """
    orders = np.ones(1)
    for count in range(2, n + 1):
        orders = np.convolve(orders, np.ones(count))
    return orders


def adjusted(p: FloatArray) -> FloatArray:
    """Adjust p of several tests for their number (Benjamini and Hochberg 1995).

    Parameters
    ----------
    p : shape=(n,), 0 to 1

    Examples
    --------
    >>> adjusted(np.array([0.03, 0.01, 0.5])).round(3).tolist()
    [0.045, 0.03, 0.5]
    """
    order = np.argsort(p)[::-1]
    ranks = np.arange(len(p), 0, -1)
    found = np.empty(len(p))
    found[order] = np.minimum.accumulate(p[order] * len(p) / ranks)
    return found


def theil_sen(
    times: FloatArray, values: FloatArray, ranks: Ranks = Ranks.GILBERT
) -> Slope:
    """Median slope of all pairs, with its 95 % interval.

    Parameters
    ----------
    times : shape=(n,), n >= 2, not all the same
        In order.
    values : shape=(n,)
    ranks : Ranks
        Rule for the interval.

    Raises
    ------
    ValueError
        When all times are the same.
    """
    times, values = np.asarray(times, np.float64), np.asarray(values, np.float64)
    later, earlier = np.triu_indices(len(times), 1)[::-1]
    apart = times[later] - times[earlier]
    if not np.any(apart):
        message = "all times are the same: there is no slope"
        raise ValueError(message)
    rise = (values[later] - values[earlier])[apart != 0]
    slopes = rise / apart[apart != 0]
    variance, _ = _variance(values)
    middle = (len(slopes) - 1) / 2
    value, low, high = _at_ranks(slopes, [middle, *_ends(len(slopes), variance, ranks)])
    intercept = float(np.median(values)) - value * float(np.median(times))
    return Slope(value, low, high, intercept)


def _ends(count: int, variance: float, ranks: Ranks) -> tuple[float, float]:
    """Ranks of the ends of the interval among so many slopes, 0 = least."""
    half = NORMAL.inv_cdf((1 + SURE) / 2) * float(np.sqrt(variance))
    low, high = (count - half) / 2, (count + half) / 2
    if ranks == Ranks.SCIPY:
        low, high = round(low), round(high)
    return max(low - 1, 0.0), min(high, count - 1.0)


def _at_ranks(values: FloatArray, ranks: list[float]) -> list[float]:
    """Values at ranks, between two of them in proportion.

    >>> _at_ranks(np.array([4.0, 1.0, 2.0]), [0.0, 1.5])
    [1.0, 3.0]
    """
    at = np.array(ranks)
    below, above = np.floor(at).astype(int), np.ceil(at).astype(int)
    # a tenth of the time of putting all of them in order
    ordered = np.partition(values, np.concatenate([below, above]))
    found = ordered[below] + (at - below) * (ordered[above] - ordered[below])
    return [float(one) for one in found]


def smallest_detectable_change(
    values: FloatArray, uncertainties: FloatArray | None = None
) -> float:
    """Change between two values that chance alone rarely makes.

    Parameters
    ----------
    values : shape=(n,), n >= 3
        In order of time.
    uncertainties : shape=(n,) or None
        Half the width of each value's own 95 % interval: the scatter is not taken as
        smaller than what the readings themselves are unsure by.

    Examples
    --------
    >>> round(smallest_detectable_change(np.array([0.0, 1, 0, 1, 0, 1])), 2)
    1.96
    """
    differences = np.diff(np.asarray(values, dtype=np.float64))
    squared = float(differences @ differences) / len(differences)
    sem = np.sqrt(squared / 2)
    if uncertainties is not None and len(uncertainties):
        sem = max(sem, float(np.median(uncertainties)) / Z95)
    return detectable_change(float(sem))


def detectable_change(sem: float) -> float:
    """1.96 · sqrt 2 · SEM.

    >>> round(detectable_change(10 * (1 - 0.90) ** 0.5), 2)  # SD 10, ICC 0.90
    8.77
    """
    return Z95 * float(np.sqrt(2)) * sem
