"""From onsets in seconds to beats: the tempo, and each note's place in its beat.

Places are first chosen from interval to interval; then again around the player's own
local tempo, which the first pass made known.  Where no tempo is given, those that the
commonest intervals point to are tried; where no feel is given, straight and swung.

Known limits
------------
What is played evenly throughout may be sixteenths at one tempo, eighths at another or
triplets at a third: where no tempo is given, the usual one of those that fit is taken.
Thirty-seconds and quintuplets are not looked for.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from assessor.transcription.grid import (
    GRID,
    HALF,
    IntArray,
    bounded,
    cheapest,
    places,
    swung,
    swung_table,
)
from assessor.tuning import FloatArray
from assessor.warp import fit_tempo

# Standard deviation of an interval: what hands do, and a share for a changing tempo.
IOI_S, IOI_SHARE = 0.018, 0.03
LOOSE = 1.6  # times as wide while a tempo is looked for
PLACE_S = 0.012  # of a place around the local tempo, and its spread on top
PASSES = 3
LEAST_NOTES = 4  # that a local tempo can be read from
DOUBTFUL = 1.0  # nats by which another place is dearer at most

USUAL_BPM, USUAL_OCTAVES = 100.0, 0.5  # common practice; a standard deviation
SLOWEST_BPM, FASTEST_BPM = 42.0, 200.0
UNITS = (3, 4, 6, 8, 12, 18, 24)  # places an interval may last
USUAL_NOTES, DENSE = 2.0, 2.0  # notes in a beat, and how much it weighs
SIMPLE = 4.0  # weight of the mean price of the places, in the choice of a tempo
TRIED_NOTES = 96  # that tempos are tried on
TRIED_IOIS = 6
SAME_IOI = 1.12  # intervals nearer than this ratio are one

SWINGS = (1.5, 2.0, 3.0)  # tried where no feel is given
SWING_COST = 0.4  # nats; straight is the usual
FEWEST_SWUNG = 4  # notes on the half of a beat that show a swing
OTHERS_SHARE = 6  # times as many as notes on other parts of a beat
WRITTEN_SWINGS = (1.5, 5 / 3, 2.0, 2.5, 3.0)  # what is found is one of these


@dataclass(frozen=True)
class Feel:
    """What is known of the rhythm beforehand.

    Attributes
    ----------
    tempo_bpm : float or None
        Quarter notes a minute, roughly; None = find it.
    swings : tuple of (float or None)
        To be tried, long to short eighth; None is straight.
    start : Fraction or None
        Place of the first note in its beat, 0 to 1; None = find it.
    """

    tempo_bpm: float | None = None
    swings: tuple[float | None, ...] = (None, *SWINGS)
    start: Fraction | None = None


@dataclass(frozen=True)
class Rhythm:
    """Where notes stand.

    Attributes
    ----------
    beats : tuple of Fraction
        Of each onset; the first lies in the first beat.
    tempo_bpm : float
        As played, the mean over the take.
    swing : float or None
        Long to short eighth; None = straight.
    instead : tuple of (Fraction or None)
        For each note the beat it may as well stand on; None = it is clear.
    """

    beats: tuple[Fraction, ...]
    tempo_bpm: float
    swing: float | None
    instead: tuple[Fraction | None, ...]


def rhythm_of(onset_s: FloatArray, feel: Feel | None = None) -> Rhythm:
    """Find the beat of each onset, and tempo and swing where they are not given.

    Parameters
    ----------
    onset_s : shape=(n,), n >= 1
        In order.
    feel : Feel or None

    Examples
    --------
    >>> found = rhythm_of(np.array([0.0, 0.31, 0.6, 1.19, 1.8]), Feel(100))
    >>> [str(beat) for beat in found.beats], round(found.tempo_bpm)
    (['0', '1/2', '1', '2', '3'], 100)
    """
    feel = feel or Feel()
    start = None if feel.start is None else round(feel.start * GRID)
    if len(onset_s) == 1:
        first = Fraction(start or 0, GRID)
        return Rhythm((first,), feel.tempo_bpm or USUAL_BPM, None, (None,))
    beat_s, swing = _chosen(onset_s, feel, start)
    place, _ = _by_intervals(onset_s, beat_s, swing, start=start)
    if swing is not None and len(feel.swings) > 1:
        swing = _written_swing(onset_s, place, swing)
    for _ in range(PASSES):
        again = _by_tempo(onset_s, place, swing)
        if np.array_equal(again, place):
            break
        place = again
    beats = tuple(Fraction(int(p), GRID) for p in place)
    tempo_bpm = 60.0 / _beat_s(onset_s, place, swing)
    return Rhythm(beats, tempo_bpm, swing, _instead(onset_s, place, swing))


def _beat_s(onset_s: FloatArray, place: IntArray, swing: float | None) -> float:
    """Length of a beat, over the whole take."""
    return float(np.polyfit(swung(place, swing), onset_s, 1)[0]) * GRID


def _chosen(
    onset_s: FloatArray, feel: Feel, start: int | None
) -> tuple[float, float | None]:
    """Length of a beat and swing that fit best, most simply and usually."""
    tried = onset_s[:TRIED_NOTES]
    if feel.tempo_bpm:
        beats_s = [60.0 / feel.tempo_bpm]
    else:
        beats_s = _possible_beats(np.diff(tried))
    found: list[tuple[float, float, float | None]] = []
    for beat_s in beats_s:
        away = 0.0
        if not feel.tempo_bpm:
            away = float(np.log2(60.0 / beat_s / USUAL_BPM)) / USUAL_OCTAVES
        for swing in feel.swings:
            loose = 1.0 if feel.tempo_bpm else LOOSE
            place, cost = _by_intervals(tried, beat_s, swing, start=start, loose=loose)
            if swing is not None and len(feel.swings) > 1 and not _swings(place):
                continue
            prices = [places(swing)[int(p) % GRID] for p in place]
            # the price of all places is in the cost already: there it chooses places,
            # here their mean chooses a tempo, whatever the number of notes
            total = cost - sum(prices) + SIMPLE * float(np.mean(prices)) + away**2
            if not feel.tempo_bpm:
                total += DENSE * float(np.log2(_notes_a_beat(place) / USUAL_NOTES)) ** 2
            found.append((total + SWING_COST * (swing is not None), beat_s, swing))
    _, beat_s, swing = min(found, key=lambda one: one[0])
    return beat_s, swing


def _notes_a_beat(place: IntArray) -> float:
    """Notes in a beat, on average."""
    return (len(place) - 1) * GRID / float(place[-1] - place[0])


def _swings(place: IntArray) -> bool:
    """Say whether notes are divided as a swing has them: in two, often, and no more."""
    part = place % GRID
    halves = int(np.count_nonzero(part == HALF))
    others = int(np.count_nonzero((part != HALF) & (part != 0)))
    return bool(halves >= FEWEST_SWUNG and others * OTHERS_SHARE <= halves)


def _possible_beats(ioi_s: FloatArray) -> list[float]:
    """Lengths of a beat that the commonest intervals point to, seconds."""
    beats_s = [
        one_s * GRID / unit for one_s in _common_intervals(ioi_s) for unit in UNITS
    ]
    inside = [b for b in beats_s if SLOWEST_BPM <= 60.0 / b <= FASTEST_BPM]
    return inside or [60.0 / USUAL_BPM]


def _common_intervals(ioi_s: FloatArray) -> list[float]:
    """Medians of the commonest intervals, the commonest first."""
    ordered = np.sort(ioi_s[ioi_s > 0])
    if not len(ordered):
        return []
    groups = np.split(ordered, np.nonzero(ordered[1:] > SAME_IOI * ordered[:-1])[0] + 1)
    groups.sort(key=len, reverse=True)
    return [float(np.median(g)) for g in groups[:TRIED_IOIS]]


def _by_intervals(
    onset_s: FloatArray,
    beat_s: float,
    swing: float | None,
    *,
    start: int | None,
    loose: float = 1.0,
) -> tuple[IntArray, float]:
    """Places by the time from each note to the next; and what they cost."""
    ioi_s = np.diff(onset_s)
    spread_s = loose * (IOI_S + IOI_SHARE * ioi_s)
    steps = ioi_s * GRID / beat_s
    at = swung_table(swing)

    def cost(k: int, before: int, place: int) -> float:
        off_s = ioi_s[k - 1] - (at(place) - at(before)) * beat_s / GRID
        return bounded(off_s / spread_s[k - 1])

    return cheapest(
        len(onset_s),
        places(swing),
        lambda k, before: before + steps[k - 1],
        cost,
        start=start,
    )


def _by_tempo(onset_s: FloatArray, place: IntArray, swing: float | None) -> IntArray:
    """Places by the player's own local tempo, which earlier places made known."""
    if len(onset_s) < LEAST_NOTES:
        return place
    beat_s = _beat_s(onset_s, place, swing)
    fit = fit_tempo(swung(place, swing) * beat_s / GRID, onset_s)
    reach = np.arange(place[0] - 2 * GRID, place[-1] + 2 * GRID + 1)
    expected_s = fit.at(swung(reach, swing) * beat_s / GRID)
    spread_s = PLACE_S + fit.spread_s

    def cost(k: int, before: int, at: int) -> float:
        at_s = expected_s[np.clip(at - reach[0], 0, len(reach) - 1)]
        return bounded((onset_s[k] - at_s) / spread_s)

    return cheapest(
        len(onset_s),
        places(swing),
        lambda k, before: float(place[k]),
        cost,
        start=int(place[0]),
    )[0]


def _written_swing(onset_s: FloatArray, place: IntArray, swing: float) -> float:
    """Ratio that is written which the halves of the beats come nearest to."""
    beat_s = _beat_s(onset_s, place, swing)
    spreads = {}
    halves = place % GRID == HALF
    for ratio in WRITTEN_SWINGS:
        fit = fit_tempo(swung(place, ratio) * beat_s / GRID, onset_s)
        late_s = onset_s - fit.ratio * swung(place, ratio) * beat_s / GRID
        spreads[ratio] = abs(
            float(np.median(late_s[halves]) - np.median(late_s[~halves]))
        )
    return min(spreads, key=spreads.__getitem__)


def _instead(
    onset_s: FloatArray, place: IntArray, swing: float | None
) -> tuple[Fraction | None, ...]:
    """Another place for each note that is nearly as cheap, where there is one."""
    if len(onset_s) < LEAST_NOTES:
        return (None,) * len(onset_s)
    beat_s = _beat_s(onset_s, place, swing)
    fit = fit_tempo(swung(place, swing) * beat_s / GRID, onset_s)
    spread_s = PLACE_S + fit.spread_s
    prices = places(swing)
    found: list[Fraction | None] = [None]
    for k in range(1, len(place)):
        after = place[k + 1] if k + 1 < len(place) else place[k] + GRID
        around = range(int(place[k - 1]) + 1, int(after))
        near = [p for p in around if p % GRID in prices]
        off_s = onset_s[k] - fit.at(swung(np.array(near), swing) * beat_s / GRID)
        costs = {
            p: bounded(float(off) / spread_s) + prices[p % GRID]
            for p, off in zip(near, off_s, strict=True)
        }
        own = costs.pop(int(place[k]))
        other = min(costs, key=costs.__getitem__, default=None)
        doubtful = other is not None and costs[other] < own + DOUBTFUL
        found.append(Fraction(other or 0, GRID) if doubtful else None)
    return tuple(found)
