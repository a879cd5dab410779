"""The cheapest places for notes on the grid of their beats.

A Viterbi over the places that notation has for a note in a beat: on it, on its half, on
its sixteenths, or on triplets.  Each place has a price, the rarer the dearer, and
triplets and sixteenths in one beat cost more, so that a note played a little early is
written where the others make it likely.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from assessor.tuning import FloatArray

IntArray = npt.NDArray[np.intp]
_Way = tuple[int, int]

GRID = 12  # places in a beat
HALF = GRID // 2
# Cost of a place in nats; places not named are not used.
PLACES = {0: 0.0, 6: 0.4, 3: 1.0, 9: 1.0, 4: 1.2, 8: 1.2, 2: 3.0, 10: 3.0}
# Swung beats are divided in two and hardly further.
SWUNG_PLACES = {0: 0.0, 6: 0.4, 3: 4.0, 9: 4.0}
HALVES, TRIPLETS = frozenset({3, 6, 9}), frozenset({2, 4, 8, 10})
CHANGED = 1.0  # from halves to triplets or back
MIXED = 2.0  # and more when within one beat
OFF_BEAT_START = 6.0  # the first note not on a beat
MOST_COST = 10.0  # of one time, however far off
REACH = 4  # places to each side of where the interval points
BEAM = 24  # ways followed at once


def swung(place: IntArray | int, swing: float | None) -> FloatArray:
    """Where places sound, in places; the half of each beat moves with the swing.

    >>> swung(np.array([0, 3, 6, 12, 18]), 2.0)
    array([ 0.,  4.,  8., 12., 20.])
    """
    at = np.asarray(place, float)
    if swing is None:
        return at
    beat, part = np.divmod(at, GRID)
    middle = GRID * swing / (1 + swing)
    early, late = middle / HALF, (GRID - middle) / HALF
    moved = np.where(part < HALF, part * early, middle + (part - HALF) * late)
    return np.asarray(beat * GRID + moved)


def swung_table(swing: float | None) -> Callable[[int], float]:
    """Function that says where one place sounds, in places; quick to ask often."""
    one = [float(part) for part in swung(np.arange(GRID), swing)]
    return lambda place: place // GRID * GRID + one[place % GRID]


def bounded(deviations: float) -> float:
    """Cost of so many standard deviations."""
    return min(0.5 * deviations * deviations, MOST_COST)


def places(swing: float | None) -> dict[int, float]:
    """Places within a beat that are used, and their prices."""
    return PLACES if swing is None else SWUNG_PLACES


def cheapest(
    count: int,
    prices: dict[int, float],
    aim: Callable[[int, int], float],
    cost: Callable[[int, int, int], float],
    *,
    start: int | None = None,
) -> tuple[IntArray, float]:
    """Cheapest places of all notes, and what they cost.

    Parameters
    ----------
    count : int
        Notes.
    prices : dict
        Of the places within a beat that are used.
    aim : function of (note, place of the one before)
        About where the note lies.
    cost : function of (note, place of the one before, place)
        Of a note being there.
    start : int or None
        Place of the first note; None leaves it free within the first beat.
    """
    # A way is where it has got to: the place, and the kind of the last divided beat.
    ways: dict[_Way, float] = {
        (place, _kind(place)): OFF_BEAT_START * (place > 0) + price
        for place, price in prices.items()
        if start is None
    } or {(start or 0, _kind(start or 0)): 0.0}
    came_from: list[dict[_Way, _Way]] = []
    for k in range(1, count):
        after: dict[_Way, float] = {}
        back: dict[_Way, _Way] = {}
        for way, total in ways.items():
            for place in _near(prices, aim(k, way[0]), way[0]):
                reached = place, _kind(place) or way[1]
                new = total + _price(prices, way, place) + cost(k, way[0], place)
                if new < after.get(reached, np.inf):
                    after[reached], back[reached] = new, way
        kept = sorted(after, key=after.__getitem__)[:BEAM]
        ways = {way: after[way] for way in kept}
        came_from.append(back)
    last = min(ways, key=ways.__getitem__)
    path = [last]
    for back in reversed(came_from):
        path.append(back[path[-1]])
    return np.array([place for place, _ in path[::-1]]), ways[last]


def _near(prices: dict[int, float], aim: float, before: int) -> list[int]:
    """Places that notation has near an aim, after the one before; one at least."""
    low = max(int(np.ceil(aim - REACH)), before + 1)
    near = [p for p in range(low, int(aim + REACH) + 1) if p % GRID in prices]
    if near:
        return near
    after = range(before + 1, before + 1 + GRID)
    return [next(p for p in after if p % GRID in prices)]


def _kind(place: int) -> int:
    """How a place divides its beat: 1 in two or four, 2 in triplets, 0 either way."""
    place %= GRID
    return 1 if place in HALVES else 2 if place in TRIPLETS else 0


def _price(prices: dict[int, float], way: _Way, place: int) -> float:
    """Cost of a place, and of dividing beats now in triplets, now in halves."""
    before, kind = way
    price = prices[place % GRID]
    if _kind(place) and kind and _kind(place) != kind:
        same_beat = before // GRID == place // GRID and _kind(before)
        price += CHANGED + (MIXED if same_beat else 0.0)
    return price
