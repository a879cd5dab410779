"""Where the notes of a line are fretted, and where the hand is.

Conventions
-----------
Strings count from 1 = highest; frets count from the capo, 0 = open.  A *hand
position* is the fret of the index finger, at least 1.  The hand covers four frets,
one finger a fret, and stretches one fret further either way (common practice).

The cost of a fretting is the sum, over its notes and the ways from each to the next, of
what the constants ``…_COST`` say; the cheapest way through the whole line is found by
dynamic programming.

Known limits
------------
The hand model knows neither tempo nor rests: a shift costs the same however much
time there is for it.  Barring and rolling a finger across strings are free.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from assessor.lick.notation import SLURRED, Articulation, Lick
from assessor.tuning import FloatArray, Tuning, note_name

FRETS = 24  # two octaves, the most that common necks have

# The cost of a fretting, in units of its own: only the order that the costs give
# matters.  The rules are common practice.  The numbers were set so that textbook
# cases come out as players finger them (tests/test_fingerboard.py) and so that the
# strings a guitarist took in six short licks (79 notes) are met most often: 58 of 79.
SHIFT_COST = 1.0  # the hand leaves its position ...
SHIFT_COST_PER_FRET = 0.2  # ... and travels
STRETCH_COST = 0.8  # one fret beyond the four under the hand
CROSSING_COST = 0.3  # for each string crossed
SKIP_COST = 0.2  # more for each string jumped over
SLUR_OFF_STRING_COST = 20.0  # a slur cannot leave its string: only if nothing else can
OPEN_COST = 0.3  # an open string: no bend, no vibrato, hard to damp ...
OPEN_UP_NECK_COST = 2.5  # ... and out of place while the hand is beyond OPEN_HAND_FRET
OPEN_HAND_FRET = 4
THICK_COST = 0.1  # for each fret beyond THICK_FRET and string below the third
THICK_FRET = 9
HOME_COST = 0.05  # for each fret away from HOME_FRET, about where lead lines lie
HOME_FRET = 5
FINGER_COST = 0.01  # for each fret above the index finger: it takes the lowest fret
# For a line that is moved from strings it has.  Set so that a shape stays on its
# strings for a few frets and goes to others for an octave (tests/test_moves.py).
STRING_COST = 0.3  # a note leaves its string
PATTERN_COST = 3.0  # the change of string from note to note is not the written one
TOO_WIDE_COST = 20.0  # a hammer-on or pull-off that the hand cannot span

# From nut to bridge: the most common of the lengths in use, 25.5 inches (common
# practice); a short one is 628.
SCALE_LENGTH_MM = 648.0
# A little more than from the first fret to the fifth, 126 mm, which is the widest that
# methods ask of index and little finger (common practice).
REACH_MM = 130.0

_SPAN_FRETS = 3  # from the index finger to the little finger
_STRETCH_FRETS = 1

IntArray = npt.NDArray[np.int64]


def positions(
    midi_number: int, tuning: Tuning, *, capo: int = 0, frets: int = FRETS
) -> tuple[tuple[int, int], ...]:
    """Every place that sounds a pitch.

    Parameters
    ----------
    midi_number : int
        Sounding pitch.
    tuning : Tuning
    capo : int
        Fret of the capo.
    frets : int
        Frets of the neck, counted from the nut.

    Returns
    -------
    tuple of (string, fret)
        From the highest string down; empty when no string reaches the pitch.

    Examples
    --------
    >>> from assessor.tuning import STANDARD
    >>> positions(64, STANDARD)
    ((1, 0), (2, 5), (3, 9), (4, 14), (5, 19), (6, 24))
    """
    places = []
    for string in range(1, tuning.strings + 1):
        fret = midi_number - tuning.midi_number(string, 0, capo)
        if 0 <= fret <= frets - capo:
            places.append((string, fret))
    return tuple(places)


def distance_mm(fret: int, other: int, capo: int = 0) -> float:
    """Distance between two frets, counted from the capo; an open string has none.

    Fret n lies ``L (1 - 2 ** (-n / 12))`` from the nut (equal temperament).

    >>> round(distance_mm(1, 5), 1), distance_mm(0, 12)
    (126.2, 0.0)
    """
    if not fret or not other:
        return 0.0
    low, high = (2 ** (-(f + capo) / 12) for f in sorted((fret, other)))
    return SCALE_LENGTH_MM * (low - high)


@dataclass(frozen=True)
class Fretting:
    """Where the notes of a line are fretted, and where the hand is.

    Attributes
    ----------
    places : tuple of (string, fret)
    hands : tuple of int
        Fret of the index finger at each note.
    cost : float
        Of the whole line.
    """

    places: tuple[tuple[int, int], ...]
    hands: tuple[int, ...]
    cost: float


@dataclass(frozen=True)
class _Choices:
    """The ways to play one note: place and hand, shape=(n,) each, and their cost."""

    string: IntArray
    fret: IntArray
    hand: IntArray
    cost: FloatArray


def _choices(places: Sequence[tuple[int, int]], finger: int | None = None) -> _Choices:
    """Every place with every hand position that reaches it.

    `finger` 1 to 4 fixes the hand, but for a stretch of one fret either way; an open
    string leaves it free, and that costs nothing when it is the only place.
    """
    rows = []
    for string, fret in places:
        lowest, highest = fret - _SPAN_FRETS - _STRETCH_FRETS, fret + _STRETCH_FRETS
        if fret == 0:
            lowest, highest = 1, FRETS
        elif finger:
            lowest = fret - finger + 1 - _STRETCH_FRETS
            highest = lowest + 2 * _STRETCH_FRETS
        hands = range(max(1, lowest), max(1, highest) + 1)
        rows += [(string, fret, hand) for hand in hands]
    string_, fret_, hand_ = np.array(rows, dtype=np.int64).T
    cost = _own_cost(string_, fret_, hand_)
    if finger:
        at_rest = np.maximum(fret_ - finger + 1, 1)
        cost += STRETCH_COST * ((fret_ > 0) & (hand_ != at_rest))
    if len(places) == 1:
        cost[fret_ == 0] = 0.0
    return _Choices(string_, fret_, hand_, cost)


def _own_cost(string: IntArray, fret: IntArray, hand: IntArray) -> FloatArray:
    """Cost of each place in itself, whatever comes before it."""
    fretted = fret > 0
    reach = fret - hand
    stretched = fretted & ((reach < 0) | (reach > _SPAN_FRETS))
    thick = np.maximum(fret - THICK_FRET, 0) * np.maximum(string - 3, 0)
    open_cost = np.where(hand > OPEN_HAND_FRET, OPEN_UP_NECK_COST, OPEN_COST)
    in_place = HOME_COST * np.abs(fret - HOME_FRET) + FINGER_COST * np.abs(reach)
    cost: FloatArray = np.where(fretted, in_place, open_cost)
    return cost + STRETCH_COST * stretched + THICK_COST * thick


def _move_cost(
    before: _Choices,
    after: _Choices,
    articulation: Articulation,
    *,
    pattern: int | None = None,
    capo: int = 0,
) -> FloatArray:
    """Cost of going from each choice before to each after, shape=(before, after).

    `pattern` is the written change of string.
    """
    travel = after.hand[None, :] - before.hand[:, None]
    if articulation is Articulation.SLIDE:  # the finger takes the hand along
        travel = travel - (after.fret[None, :] - before.fret[:, None])
    travel = np.abs(travel)
    change = after.string[None, :] - before.string[:, None]
    crossed = np.abs(change)
    cost: FloatArray = (
        SHIFT_COST * (travel > 0)
        + SHIFT_COST_PER_FRET * travel
        + CROSSING_COST * crossed
        + SKIP_COST * np.maximum(crossed - 1, 0)
    )
    if articulation in SLURRED:
        cost = cost + SLUR_OFF_STRING_COST * (crossed > 0)
        if articulation is not Articulation.SLIDE:
            cost = cost + TOO_WIDE_COST * _too_wide(before.fret, after.fret, capo)
    if pattern is not None:
        cost = cost + PATTERN_COST * (change != pattern)
    return cost


def _too_wide(before: IntArray, after: IntArray, capo: int) -> npt.NDArray[np.bool_]:
    """Whether the hand cannot span two frets, shape=(before, after)."""
    at, to = (SCALE_LENGTH_MM * 2.0 ** (-(f + capo) / 12) for f in (before, after))
    fretted = (before > 0)[:, None] & (after > 0)[None, :]
    return fretted & (np.abs(at[:, None] - to[None, :]) > REACH_MM)


def _cheapest(
    choices: Sequence[_Choices],
    articulations: Sequence[Articulation],
    *,
    written: Sequence[int] | None = None,
    capo: int = 0,
) -> tuple[list[int], float]:
    """Index of the choice taken at each note on the cheapest way through (Viterbi).

    Also what that costs; `written` are the strings of the line before it is moved.
    """
    patterns: list[int | None] = [None] * (len(choices) - 1)
    if written is not None:
        patterns = [b - a for a, b in pairwise(written)]
    total = choices[0].cost
    came_from = []
    for (before, after), articulation, pattern in zip(
        pairwise(choices), articulations[1:], patterns, strict=True
    ):
        moving = _move_cost(before, after, articulation, pattern=pattern, capo=capo)
        ways = total[:, None] + moving
        # a move during an open string waits for the next fretted note, so that the
        # shift is found at the note it is made for
        ways = ways + 1e-3 * (
            (after.hand[None, :] != before.hand[:, None]) & (after.fret == 0)[None, :]
        )
        best = ways.argmin(axis=0)
        came_from.append(best)
        total = ways[best, np.arange(len(best))] + after.cost
    path = [int(total.argmin())]
    for best in reversed(came_from):
        path.append(int(best[path[-1]]))
    return path[::-1], float(total.min())


def solve(
    places: Sequence[Sequence[tuple[int, int]]],
    articulations: Sequence[Articulation],
    *,
    written: Sequence[int] | None = None,
    capo: int = 0,
) -> Fretting:
    """Cheapest of the given places through a line, with the hand at each note.

    Parameters
    ----------
    places : sequence of sequences of (string, fret)
        Where each note can be played; at least one note, none without a place.
    articulations : sequence of Articulation
    written : sequence of int or None
        String of each note in the line that is moved: kept where that is no dearer.
    capo : int
        Fret of the capo.

    Returns
    -------
    Fretting

    Examples
    --------
    Of two places for the second note, the one under the hand:

    >>> found = solve([[(3, 7)], [(2, 6), (4, 15)]], [Articulation.PICK] * 2)
    >>> found.places, found.hands
    (((3, 7), (2, 6)), (6, 6))
    """
    choices = []
    for index, there in enumerate(places):
        choice = _choices(there)
        if written is not None:
            left = choice.string != written[index]
            choice = replace(choice, cost=choice.cost + STRING_COST * left)
        choices.append(choice)
    path, cost = _cheapest(choices, articulations, written=written, capo=capo)
    taken = list(zip(choices, path, strict=True))
    return Fretting(
        tuple((int(c.string[k]), int(c.fret[k])) for c, k in taken),
        tuple(int(c.hand[k]) for c, k in taken),
        cost,
    )


def choose_fretting(
    midi_numbers: Sequence[int],
    tuning: Tuning,
    *,
    capo: int = 0,
    articulations: Sequence[Articulation] | None = None,
    strings: Sequence[int | None] | None = None,
    frets: int = FRETS,
) -> list[tuple[int, int]]:
    """Choose string and fret of each note of a line.

    The cheapest way through all notes, by the costs at the top of this module.

    Parameters
    ----------
    midi_numbers : sequence of int
        Sounding pitches.
    tuning : Tuning
    capo : int
        Fret of the capo.
    articulations : sequence of Articulation or None
        How each note is sounded: slurred notes stay on the string before.
    strings : sequence of (int or None) or None
        Strings that are already known.
    frets : int
        Frets of the neck, counted from the nut.

    Returns
    -------
    list of (string, fret)

    Raises
    ------
    ValueError
        When a note cannot be played; the message counts notes from 0.

    Examples
    --------
    The minor pentatonic box at the fifth fret:

    >>> from assessor.tuning import STANDARD
    >>> choose_fretting([69, 72, 69, 67, 64, 62, 60, 57], STANDARD)
    [(1, 5), (1, 8), (1, 5), (2, 8), (2, 5), (3, 7), (3, 5), (4, 7)]
    """
    if len(midi_numbers) == 0:
        return []
    articulations = articulations or [Articulation.PICK] * len(midi_numbers)
    strings = strings or [None] * len(midi_numbers)
    places = []
    for index, (midi_number, string) in enumerate(
        zip(midi_numbers, strings, strict=True)
    ):
        there = positions(midi_number, tuning, capo=capo, frets=frets)
        if string is not None:
            there = tuple(p for p in there if p[0] == string)
        if not there:
            where = "no string" if string is None else f"string {string} cannot"
            message = f"note {index}: {where} reach {note_name(midi_number)}"
            raise ValueError(message.replace("no string reach", "no string reaches"))
        places.append(there)
    return list(solve(places, articulations, capo=capo).places)


@lru_cache(maxsize=16)  # asked again for every wrong note of the same lick
def hand_positions(lick: Lick) -> tuple[int, ...]:
    """Fret of the index finger at each note.

    The same model as `choose_fretting`, with string and fret as written; a written
    fretting finger fixes the hand (finger 1 lies on the hand position, 2 one fret
    above, and so on), but for a stretch of one fret.  On an open string the hand stays
    where it was.

    Examples
    --------
    >>> from fractions import Fraction
    >>> from assessor.lick.notation import LickNote, Meter
    >>> from assessor.tuning import STANDARD
    >>> places = [(1, 5), (1, 8), (2, 5), (1, 8), (1, 11), (2, 8)]
    >>> notes = tuple(
    ...     LickNote(Fraction(i), Fraction(1), STANDARD.midi_number(s, f), s, f)
    ...     for i, (s, f) in enumerate(places)
    ... )
    >>> lick = Lick("three frets up", 90, Meter(), STANDARD, notes)
    >>> hand_positions(lick)
    (5, 5, 5, 8, 8, 8)
    """
    choices = [_choices([(n.string, n.fret)], n.finger) for n in lick.notes]
    path, _ = _cheapest(choices, [n.articulation for n in lick.notes])
    return tuple(int(c.hand[k]) for c, k in zip(choices, path, strict=True))
