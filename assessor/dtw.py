"""The warping kernel: shortest and likeliest paths through a cost lattice.

Arrays only; nothing here knows music.  A lattice has nodes ``(i, j)`` for
``0 <= i <= n`` and ``0 <= j <= m`` and three kinds of moves:

* *diagonal* ``(i, j) -> (i+1, j+1)``, costs ``shape=(n, m)``;
* *across* ``(i, j) -> (i, j+1)``, costs ``shape=(n+1, m)``;
* *down* ``(i, j) -> (i+1, j)``, costs ``shape=(n, 1)`` or ``(n, m+1)``.

Classic dynamic time warping with steps (1,1), (1,0), (0,1) is the special case in
which each move costs what the cell it enters costs (`classic`); note-level warping
gives the three moves different meanings: matched, skipped in the one sequence,
skipped in the other.  Costs are finite; use a large number for "never".

Source: Sakoe & Chiba 1978 and Müller, Fundamentals of Music Processing, 2015,
ch. 3, for the recursion; the running-minimum form of the *across* moves makes each
row one vectorised scan.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isclose

import numpy as np

from assessor.tuning import FloatArray


@dataclass(frozen=True)
class Lattice:
    """Costs of the three kinds of moves (see the module docstring)."""

    diagonal: FloatArray
    across: FloatArray
    down: FloatArray

    def __post_init__(self) -> None:
        """Check the three shapes against each other."""
        n, m = self.diagonal.shape
        if self.across.shape != (n + 1, m):
            message = f"across has shape {self.across.shape}, not {(n + 1, m)}"
            raise ValueError(message)
        if self.down.shape not in ((n, 1), (n, m + 1)):
            message = f"down has shape {self.down.shape}, not {(n, 1)} or {(n, m + 1)}"
            raise ValueError(message)

    def reversed(self) -> Lattice:
        """Return the same lattice walked from the end to the start."""
        return Lattice(
            self.diagonal[::-1, ::-1], self.across[::-1, ::-1], self.down[::-1, ::-1]
        )


def classic(cost: FloatArray) -> Lattice:
    """Lattice whose shortest path plus ``cost[0, 0]`` is the DTW cost of `cost`.

    Parameters
    ----------
    cost : shape=(n, m)
        Local cost of pairing element i of one sequence with j of the other.
    """
    return Lattice(cost[1:, 1:], cost[:, 1:], cost[1:, :])


def accumulate(lattice: Lattice) -> FloatArray:
    """Cost of the cheapest path from (0, 0) to every node, shape=(n+1, m+1)."""
    n, m = lattice.diagonal.shape
    total = np.empty((n + 1, m + 1))
    total[0] = np.concatenate([[0.0], np.cumsum(lattice.across[0])])
    for i in range(n):
        reached = total[i] + lattice.down[i]
        np.minimum(reached[1:], total[i, :-1] + lattice.diagonal[i], out=reached[1:])
        run = np.concatenate([[0.0], np.cumsum(lattice.across[i + 1])])
        total[i + 1] = np.minimum.accumulate(reached - run) + run
    return total


def cheapest_path(lattice: Lattice) -> tuple[list[tuple[int, int]], float]:
    """Nodes of a cheapest path from (0, 0) to (n, m), and its cost.

    Ties are broken in favour of *across*, then *diagonal*.
    """
    total = accumulate(lattice)
    i, j = lattice.diagonal.shape
    cost = float(total[i, j])
    path = [(i, j)]
    while i or j:
        here = float(total[i, j])
        if j and _leads(total[i, j - 1] + lattice.across[i, j - 1], here):
            j -= 1
        elif (
            j
            and i
            and _leads(total[i - 1, j - 1] + lattice.diagonal[i - 1, j - 1], here)
        ):
            i, j = i - 1, j - 1
        else:
            i -= 1
        path.append((i, j))
    return path[::-1], cost


def _leads(cost: float, total: float) -> bool:
    """Say whether a move of this accumulated cost is on a cheapest path."""
    return isclose(cost, total, rel_tol=1e-9, abs_tol=1e-7)


def _log_sums(lattice: Lattice) -> FloatArray:
    """Log of the summed weights exp(-cost) of all paths from (0, 0) to each node."""
    n, m = lattice.diagonal.shape
    total = np.empty((n + 1, m + 1))
    total[0] = -np.concatenate([[0.0], np.cumsum(lattice.across[0])])
    for i in range(n):
        reached = total[i] - lattice.down[i]
        np.logaddexp(reached[1:], total[i, :-1] - lattice.diagonal[i], out=reached[1:])
        run = np.concatenate([[0.0], np.cumsum(lattice.across[i + 1])])
        total[i + 1] = np.logaddexp.accumulate(reached + run) - run
    return total


def diagonal_posterior(lattice: Lattice) -> FloatArray:
    """Probability that each diagonal move is taken, shape=(n, m).

    A path weighs ``exp(-cost)``; the forward–backward sums over all paths
    (Rabiner 1989, eq. 37, on a lattice without self-loops in time).
    """
    forward = _log_sums(lattice)
    backward = _log_sums(lattice.reversed())[::-1, ::-1]
    through = forward[:-1, :-1] - lattice.diagonal + backward[1:, 1:]
    return np.exp(np.minimum(through - forward[-1, -1], 0.0))
