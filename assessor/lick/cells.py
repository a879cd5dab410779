"""The cells of a lick: groups of notes that come again, as they are or moved.

Two groups are the same cell when they have as many notes, in the same rhythm from onset
to onset, sounded in the same ways, and one of these holds, the first that does:

* *same*: the same strings and frets;
* *shape*: the hand's shape, moved along or across the strings;
* *intervals*: the same semitones from note to note, fingered otherwise;
* *along a scale*: the same strings from note to note, the same ups and downs, no step
  differing by more than `SCALE_SLACK_SEMITONES`, at the same place in the beat.

Cells hold `LEAST_NOTES` to `MOST_NOTES` notes.  Any scale has groups of three notes and
groups that only rise or only fall, which come again somewhere: they count while they
follow on themselves, and those that rise or fall only with the same strings and where
the line turns between them or they begin at the same place in the beat.
What is taken first is the cell that covers most notes of the lick; of equals, that with
the fewest notes along a scale only, then the shortest, then the first.

Known limits
------------
A cell that comes again backwards, with a note added, or in another rhythm is another
cell.  Only the first `MOST_SEARCHED` notes are searched.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import groupby, pairwise

import numpy as np
import numpy.typing as npt

from assessor.lick.notation import Articulation, Lick, LickNote

LEAST_NOTES = 3
MOST_NOTES = 16  # what is longer is a phrase
# The two sizes of a second, third ... in a scale differ by a semitone, in the harmonic
# minor by two.
SCALE_SLACK_SEMITONES = 2
MOST_SEARCHED = 600

IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]


class Likeness(StrEnum):
    """In what a group of notes is like the first of its cell."""

    SAME = "same"
    SHAPE = "shape"
    INTERVALS = "intervals"
    ALONG_A_SCALE = "along_a_scale"


@dataclass(frozen=True)
class Occurrence:
    """One place where a cell comes.

    Attributes
    ----------
    first : int
        Index of its first note.
    likeness : Likeness
        To the cell where it comes first.
    semitones : int
        Its first note above the cell's first note.
    frets : int
        Likewise on the neck, + = up.
    strings : int
        Likewise across it, + = to thinner strings.
    """

    first: int
    likeness: Likeness
    semitones: int
    frets: int
    strings: int


@dataclass(frozen=True)
class EqualSteps:
    """A chain of moves by the same step.

    Attributes
    ----------
    step : int
        Frets or semitones, as its maker says; not 0.
    times : int
        At least 2.
    first : int
        Position of the first of these moves among all of them.
    """

    step: int
    times: int
    first: int


@dataclass(frozen=True)
class Cell:
    """A group of notes that comes at least twice.

    Attributes
    ----------
    notes : int
        How many it holds.
    occurrences : tuple of Occurrence
        In order; they do not overlap.
    """

    notes: int
    occurrences: tuple[Occurrence, ...]

    @property
    def first(self) -> int:
        """Index of its first note where it comes first."""
        return self.occurrences[0].first

    def chains(self) -> tuple[EqualSteps, ...]:
        """Moves in equal steps along the same strings, in frets.

        Counted over occurrences that follow each other without a note between; the
        position of a move is that of the occurrence it leads from.
        """
        return tuple(
            chain for run in self._runs() for chain in equal_steps(*self._moves(run))
        )

    def _runs(self) -> Iterator[list[int]]:
        """Positions of occurrences that follow each other and keep their strings."""
        run = [0]
        for k, (before, after) in enumerate(pairwise(self.occurrences), start=1):
            follows = after.first == before.first + self.notes
            moved = Likeness.ALONG_A_SCALE not in (before.likeness, after.likeness)
            if not (follows and moved and after.strings == before.strings):
                yield run
                run = []
            run.append(k)
        yield run

    def _moves(self, run: Sequence[int]) -> tuple[list[int], int]:
        """Frets from each occurrence of a run to the next, and where the run starts."""
        frets = [self.occurrences[k].frets for k in run]
        return [b - a for a, b in pairwise(frets)], run[0]


def equal_steps(moves: Sequence[int], start: int = 0) -> tuple[EqualSteps, ...]:
    """Chains of at least two equal moves, none of them 0.

    Parameters
    ----------
    moves : sequence of int
    start : int
        Position of the first move.

    Examples
    --------
    >>> equal_steps([3, 3, 3, 0, 0, -3, -2])
    (EqualSteps(step=3, times=3, first=0),)
    """
    chains, at = [], start
    for step, same in groupby(moves):
        times = len(list(same))
        if step and times > 1:
            chains.append(EqualSteps(step, times, at))
        at += times
    return tuple(chains)


def find_cells(lick: Lick) -> tuple[Cell, ...]:
    """Cells of a lick, in the order of their first notes.

    Examples
    --------
    >>> from fractions import Fraction
    >>> from assessor.lick.notation import Meter
    >>> from assessor.tuning import STANDARD
    >>> places = [(3, 5), (2, 5), (2, 8), (3, 8), (2, 8), (2, 11), (3, 11), (2, 11),
    ...           (2, 14)]
    >>> notes = tuple(
    ...     LickNote(Fraction(k), Fraction(1), STANDARD.midi_number(s, f), s, f)
    ...     for k, (s, f) in enumerate(places)
    ... )
    >>> (cell,) = find_cells(Lick("three frets up", 90, Meter(), STANDARD, notes))
    >>> cell.notes, len(cell.occurrences), cell.chains()
    (3, 3, (EqualSteps(step=3, times=2, first=0),))
    """
    search = _Search(lick)
    cells = []
    free = np.ones(search.count, dtype=bool)
    while (found := search.best(free)) is not None:
        for occurrence in found.occurrences:
            free[occurrence.first : occurrence.first + found.notes] = False
        cells.append(found)
    return tuple(sorted(cells, key=lambda cell: cell.first))


class _Search:
    """How far any two places of a lick go on alike.

    `same_steps[likeness][i, j]` is the number of steps, from note to note, that the
    groups starting at notes i and j have in common.
    """

    def __init__(self, lick: Lick) -> None:
        self.notes: tuple[LickNote, ...] = lick.notes[:MOST_SEARCHED]
        self.count = len(self.notes)
        strings, frets, pitches = (
            np.diff([getattr(n, name) for n in self.notes])
            for name in ("string", "fret", "midi_number")
        )
        rhythm = _numbered(
            [
                (b.onset_beats - a.onset_beats, b.articulation, a.bend, b.bend)
                for a, b in pairwise(self.notes)
            ]
        )
        rhythms, crossings = _alike(rhythm), _alike(strings)
        near = np.abs(pitches[:, None] - pitches[None, :]) <= SCALE_SLACK_SEMITONES
        self.directions = np.sign(pitches)
        dead = _numbered([n.articulation is Articulation.DEAD for n in self.notes])
        phase = _numbered([(n.onset_beats - lick.pickup_beats) % 1 for n in self.notes])
        start, on_beat = _alike(dead), _alike(phase)
        self.same_steps = {
            Likeness.SHAPE: _runs(rhythms & crossings & _alike(frets), start),
            Likeness.INTERVALS: _runs(rhythms & _alike(pitches), start),
            Likeness.ALONG_A_SCALE: _runs(
                rhythms & crossings & _alike(np.sign(pitches)) & near,
                start & on_beat,
            ),
        }
        by_hand = [Likeness.SHAPE, Likeness.ALONG_A_SCALE]
        self.on_beat = on_beat
        self.steps_of_straight = np.maximum.reduce(
            [self.same_steps[k] for k in by_hand]
        )
        self.steps_of_turning = np.maximum.reduce([*self.same_steps.values()])

    def best(self, free: BoolArray) -> Cell | None:
        """Cell that covers most of the notes that are still free."""
        best, best_rank = None, (0, 0, 0)
        room = _free_ahead(free)
        for first in range(self.count):
            for length in range(LEAST_NOTES, min(MOST_NOTES, room[first]) + 1):
                cell = self._cell(first, length, room)
                rank = _rank(cell)
                if rank > best_rank:
                    best, best_rank = cell, rank
        return best

    def _cell(self, first: int, length: int, room: IntArray) -> Cell:
        """All free occurrences of the group of so many notes from `first` on.

        None for a group on one pitch.
        """
        directions = set(self.directions[first : first + length - 1].tolist()) - {0}
        turns = len(directions) > 1
        steps = self.steps_of_turning if turns else self.steps_of_straight
        alike = (steps[first] >= length - 1) & (room >= length) & bool(directions)
        if not turns:  # part of a longer run, unless it stands out
            before = np.append(0, self.directions)  # step that leads to each note
            alike &= self.on_beat[first] | ~np.isin(before, [*directions])
            alike[first] = bool(directions)
        must_follow = length == LEAST_NOTES or not turns
        occurrences, at = [], first
        for place in np.flatnonzero(alike[first:]) + first:
            if must_follow and place > at:
                break
            if place >= at:
                occurrences.append(self._occurrence(first, int(place), length))
                at = int(place) + length
        return Cell(length, tuple(occurrences))

    def _occurrence(self, first: int, place: int, length: int) -> Occurrence:
        one, other = self.notes[first], self.notes[place]
        likeness = next(
            kind
            for kind, steps in self.same_steps.items()
            if steps[first, place] >= length - 1
        )
        where = (other.string, other.fret)
        if likeness is Likeness.SHAPE and where == (one.string, one.fret):
            likeness = Likeness.SAME
        return Occurrence(
            place,
            likeness,
            other.midi_number - one.midi_number,
            other.fret - one.fret,
            one.string - other.string,
        )


def _rank(cell: Cell) -> tuple[int, int, int]:
    """What makes one cell better than another; (0, 0, 0) = no cell."""
    if len(cell.occurrences) < 2:
        return (0, 0, 0)
    loose = sum(o.likeness is Likeness.ALONG_A_SCALE for o in cell.occurrences)
    return (cell.notes * len(cell.occurrences), -loose * cell.notes, -cell.notes)


def _numbered(values: Sequence[object]) -> IntArray:
    """Equal numbers for equal values."""
    numbers: dict[object, int] = {}
    return np.array([numbers.setdefault(v, len(numbers)) for v in values], np.int64)


def _alike(values: IntArray) -> BoolArray:
    """Whether any two values are equal, shape=(n, n)."""
    alike: BoolArray = values[:, None] == values[None, :]
    return alike


def _runs(alike: BoolArray, start: BoolArray) -> IntArray:
    """For any two notes, how many steps from there on are alike, shape=(n, n).

    `alike` compares steps, shape=(n - 1, n - 1); `start` notes, shape=(n, n).
    """
    runs = np.zeros(start.shape, dtype=np.int64)
    for k in range(len(alike) - 1, -1, -1):
        runs[k, :-1] = np.where(alike[k], 1 + runs[k + 1, 1:], 0)
    return np.where(start, runs, 0)


def _free_ahead(free: BoolArray) -> IntArray:
    """How many notes from each on are free without a gap."""
    ahead = np.zeros(len(free) + 1, dtype=np.int64)
    for k in range(len(free) - 1, -1, -1):
        ahead[k] = ahead[k + 1] + 1 if free[k] else 0
    return ahead[:-1]
