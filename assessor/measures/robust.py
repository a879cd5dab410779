"""Medians and fits that a few bad notes cannot turn, with their uncertainty.

Arrays and numbers only; knows no music.  Every uncertainty is half the width of
the 95 % interval, from Student's t at the degrees of freedom there are.
"""

from __future__ import annotations

from dataclasses import dataclass
from statistics import median

import numpy as np
from scipy.special import stdtrit

from assessor.tuning import FloatArray

MAD_TO_SD = 1.4826  # of a normal distribution
MEDIAN_TO_MEAN_SE = 1.2533  # sqrt(pi / 2): a median is that much less certain
HUBER_K = 1.345  # 95 % efficient on normal errors (Huber 1981)
MOST_ITERATIONS = 30
SETTLED_WEIGHT = 1e-3  # weights lie between 0 and 1; a smaller change moves nothing


def t95(degrees_of_freedom: int) -> float:
    """Two-sided 95 % quantile of Student's t.

    >>> round(t95(10), 3)
    2.228
    """
    return float(stdtrit(degrees_of_freedom, 0.975))


def robust_sd(values: FloatArray) -> float:
    """Standard deviation from the median absolute deviation; shape=(n,), n >= 1."""
    return MAD_TO_SD * float(np.median(np.abs(values - np.median(values))))


def median_uncertainty(sd: float, count: int) -> float:
    """Uncertainty of the median of `count` >= 1 values that scatter by `sd`.

    >>> round(median_uncertainty(1.0, 1), 2), round(median_uncertainty(1.0, 101), 2)
    (1.96, 0.25)
    """
    if count == 1:
        return 1.96 * sd
    return t95(count - 1) * MEDIAN_TO_MEAN_SE * sd / float(np.sqrt(count))


def sd_uncertainty(sd: float, degrees_of_freedom: int) -> float:
    """Uncertainty of a standard deviation of normal values.

    >>> round(sd_uncertainty(10.0, 50), 2)
    1.96
    """
    return 1.96 * sd / float(np.sqrt(2 * degrees_of_freedom))


@dataclass(frozen=True)
class Fit:
    """Result of `huber_fit`.

    Attributes
    ----------
    coefficients : shape=(p,)
    covariance : shape=(p, p)
    residuals : shape=(n,)
        Observed minus fitted.
    degrees_of_freedom : int
        n - p.
    """

    coefficients: FloatArray
    covariance: FloatArray
    residuals: FloatArray
    degrees_of_freedom: int

    def uncertainty(self, row: FloatArray) -> FloatArray:
        """Uncertainty of the fitted value for a row, or rows, of the design."""
        variance = np.einsum("...i,ij,...j->...", row, self.covariance, row)
        spread: FloatArray = t95(self.degrees_of_freedom) * np.sqrt(variance)
        return spread


def huber_fit(design: FloatArray, observed: FloatArray, floor: float) -> Fit:
    """Linear fit by Huber's M-estimator, iteratively reweighted.

    Parameters
    ----------
    design : shape=(n, p), n > p
    observed : shape=(n,)
    floor : float
        Smallest scale of the residuals taken seriously, in the unit of `observed`.

    Notes
    -----
    Covariance after Huber, Robust Statistics, Wiley 1981, eq. 7.6.3, without its
    small-sample factor.  With no residual beyond the corner it is least squares.
    """
    n, p = design.shape
    weights = np.ones(n)
    for _ in range(MOST_ITERATIONS):
        root = np.sqrt(weights)
        solution = np.linalg.lstsq(design * root[:, None], observed * root, rcond=None)
        coefficients = np.asarray(solution[0], dtype=np.float64)
        residuals = observed - design @ coefficients
        # around zero, not the median: half of n - p values are fitted to be small
        # of so few values, `statistics` is several times faster than numpy
        spread = MAD_TO_SD * median(np.abs(residuals).tolist()) * np.sqrt(n / (n - p))
        corner = HUBER_K * max(spread, floor)
        before, weights = weights, corner / np.maximum(np.abs(residuals), corner)
        if np.abs(weights - before).max() <= SETTLED_WEIGHT:
            break
    inside = float(np.mean(np.abs(residuals) <= corner))
    psi = residuals * weights
    variance = float(psi @ psi) / (n - p) / inside**2
    covariance = variance * np.linalg.pinv(design.T @ design)
    return Fit(coefficients, covariance, residuals, n - p)
