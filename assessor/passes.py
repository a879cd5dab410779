"""Which runs through the lick a take holds: found by voting.

Every pair of an event and a written note that agree in pitch votes for a tempo and a
starting time (a Hough transform: Duda & Hart, Commun. ACM 15, 1972, with lines
``event time = offset + ratio * written time``).  A run through the lick, or a part
of it, is a peak of the votes; what one run explains is taken away and the next is
looked for.  Runs that continue each other are one pass with a pause; a run that goes
back in the lick starts a new pass.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from assessor.kernels import PITCHES
from assessor.onset import Events
from assessor.tuning import FloatArray

IntArray = npt.NDArray[np.intp]

TEMPO_RATIOS = (0.4, 1.6)  # played over written tempo
TEMPO_STEP = 0.015  # natural logarithm
OFFSET_BIN_S = 0.04
SUPPORT_S = 0.09  # an event this near its place supports the run
VOTE_PROBABILITY = 0.2
FULL_SHARE = 0.4  # of the lick's notes must support a run
PART_NOTES = 5  # or this many of a part of it ...
START_NOTES = 3.5  # ... fewer when it is the lick's beginning, as restarts are ...
PART_SHARE = 0.65  # ... and the part is this densely supported
GAP_PENALTY = 0.35  # an unsupported note weighs this against a supported one
WINDOW_S = 120.0  # of a long take, searched at a time
LONGEST_PAUSE_S = 8.0  # inside one pass
TRANSPOSITIONS = 24  # semitones, up and down
AS_WRITTEN_BONUS = 1.25  # a moved take must win by this much
MISTUNED_CENTS = 65.0  # a semitone off and tuned back by this is mistuned, not moved


@dataclass(frozen=True)
class Run:
    """A stretch of the take that follows a stretch of the lick at one tempo.

    Attributes
    ----------
    ratio : float
        Played seconds per written second.
    offset_s : float
        Where written time 0 falls in the take.
    first, last : int
        Notes of the lick that it covers.
    start_s, end_s : float
        Times of its first and last supporting event.
    support : float
        Sum of the probabilities of the supported notes.
    """

    ratio: float
    offset_s: float
    first: int
    last: int
    start_s: float
    end_s: float
    support: float

    def place(self, written_s: FloatArray) -> FloatArray:
        """Where the run puts written times in the take, seconds."""
        return self.offset_s + self.ratio * written_s


Chain = tuple[Run, ...]


def find(
    written_s: FloatArray, midi_numbers: IntArray, events: Events
) -> tuple[int, list[Chain]]:
    """Transposition of the take, and its passes as chains of runs in order of time.

    Parameters
    ----------
    written_s : shape=(n,)
        Written onsets in seconds.
    midi_numbers : shape=(n,)
        Written pitches, all inside `PITCHES` or left without a vote.
    """
    best: tuple[float, int, list[Run]] = (0.0, 0, [])
    for transposition in _likely_transpositions(midi_numbers, events):
        runs = find_runs(written_s, midi_numbers + transposition, events)
        support = sum(run.support for run in runs)
        if transposition == 0 or is_mistuned(transposition, events.tuning_cents):
            support *= AS_WRITTEN_BONUS
        if support > best[0]:
            best = (support, transposition, runs)
    return best[1], chain(best[2], written_s)


def is_mistuned(transposition: int, tuning_cents: float) -> bool:
    """Say whether a shift and a tuning offset are one guitar plainly out of tune.

    Tuning is heard within a semitone only: 55 cents sharp looks like a semitone up
    and 45 cents flat.
    """
    return abs(100 * transposition + tuning_cents) <= MISTUNED_CENTS


def _likely_transpositions(midi_numbers: IntArray, events: Events) -> list[int]:
    """0 and the two shifts that most pairs of neighbouring notes agree on."""
    sure = events.log_probability[:, 0] < np.log(0.5)
    heard = PITCHES[events.log_probability[sure, 1:].argmax(axis=1)]
    if len(heard) < 2 or len(midi_numbers) < 2:
        return [0]
    steps = np.diff(heard)[:, None] == np.diff(midi_numbers)[None, :]
    shift = heard[:-1, None] - midi_numbers[None, :-1]
    agreed = shift[steps & (np.abs(shift) <= TRANSPOSITIONS)]
    votes = np.bincount(agreed + TRANSPOSITIONS, minlength=2 * TRANSPOSITIONS + 1)
    ranked = [int(t) - TRANSPOSITIONS for t in np.argsort(-votes, kind="stable")[:3]]
    near = [t for t in (-1, 1) if is_mistuned(t, events.tuning_cents)]
    moved = [t for t in ranked if votes[t + TRANSPOSITIONS] and t not in (0, *near)]
    return [0, *near, *moved][:3]


def find_runs(
    written_s: FloatArray, midi_numbers: IntArray, events: Events
) -> list[Run]:
    """All runs, looked for window by window.

    A window is several times as long as the slowest run; what begins in its last
    part is left to the next one.
    """
    if not len(events):
        return []
    longest_s = float(np.ptp(written_s)) / TEMPO_RATIOS[0] + LONGEST_PAUSE_S
    window_s = max(WINDOW_S, 4 * longest_s)
    start_s, end_s = float(events.times_s[0]), float(events.times_s[-1])
    runs: list[Run] = []
    while True:
        near = events.between(start_s, start_s + window_s)
        found = _runs_among(written_s, midi_numbers, near)
        if start_s + window_s >= end_s:
            return runs + found
        kept_until_s = start_s + window_s - longest_s
        kept = [run for run in found if run.start_s < kept_until_s]
        runs += kept
        start_s = max([kept_until_s, *(run.end_s + 0.06 for run in kept)])


def _runs_among(
    written_s: FloatArray, midi_numbers: IntArray, events: Events
) -> list[Run]:
    """Runs among some events, strongest first."""
    pairs = _Pairs.of(written_s, midi_numbers, events)
    runs: list[Run] = []
    failures = 0
    while failures < 3 and pairs.left():
        ratio, offset_s = pairs.peak()
        run = pairs.run_at(ratio, offset_s)
        if run is None:
            pairs.forget_line(ratio, offset_s)
            failures += 1
        else:
            pairs.forget_span(run.start_s - 0.06, run.end_s + 0.06)
            runs.append(run)
            failures = 0
    return runs


class _Pairs:
    """Event–note pairs that agree in pitch, and their votes."""

    def __init__(
        self,
        written_s: FloatArray,
        event_s: FloatArray,
        note: IntArray,
        weight: FloatArray,
    ) -> None:
        self.written_s = written_s
        self.event_s = event_s
        self.note = note
        self.weight = weight
        self.alive = np.ones(len(weight), np.bool_)
        low, high = 1 / TEMPO_RATIOS[1], 1 / TEMPO_RATIOS[0]
        steps = int(np.ceil(np.log(high / low) / TEMPO_STEP)) + 1
        self.ratios = np.geomspace(low, high, steps)
        offsets = self.event_s - self.ratios[:, None] * written_s[self.note]
        self.first_offset_s = float(offsets.min(initial=np.inf)) - OFFSET_BIN_S
        if not len(weight):
            self.first_offset_s = 0.0
        place = (offsets - self.first_offset_s) / OFFSET_BIN_S
        self.bin = place.astype(np.intp)
        self.part = (place - self.bin).astype(np.float32)
        self.bins = int(self.bin.max(initial=0)) + 3
        self.votes = np.zeros(len(self.ratios) * self.bins, np.float32)
        self._vote(np.arange(len(weight)), 1.0)

    @classmethod
    def of(
        cls, written_s: FloatArray, midi_numbers: IntArray, events: Events
    ) -> _Pairs:
        """Pair every event with every note it may be."""
        column = midi_numbers - PITCHES[0]
        inside = (column >= 0) & (column < len(PITCHES))
        column = np.where(inside, column, 0)
        probability = np.exp(events.log_probability[:, 1 + column]) * inside
        event, note = np.nonzero(probability > VOTE_PROBABILITY)
        weight = probability[event, note]
        return cls(written_s, events.times_s[event], note, weight)

    def left(self) -> bool:
        """Say whether enough pairs are alive for a run."""
        return int(self.alive.sum()) >= min(len(self.written_s), 3)

    def _vote(self, which: IntArray, sign: float) -> None:
        """Add or take away the votes of some pairs, shared between two bins."""
        row = (np.arange(len(self.ratios)) * self.bins)[:, None]
        index = row + self.bin[:, which]
        part = self.part[:, which]
        weight = (sign * self.weight[which]).astype(np.float32)
        size = len(self.votes)
        lower = np.bincount(index.ravel(), (weight * (1 - part)).ravel(), size)
        upper = np.bincount(index.ravel() + 1, (weight * part).ravel(), size)
        self.votes += (lower + upper).astype(np.float32)

    def _forget(self, which: npt.NDArray[np.bool_]) -> None:
        gone = np.nonzero(which & self.alive)[0]
        self._vote(gone, -1.0)
        self.alive[gone] = False

    def forget_span(self, start_s: float, end_s: float) -> None:
        """Take away everything heard between two times."""
        self._forget((self.event_s >= start_s) & (self.event_s <= end_s))

    def forget_line(self, ratio: float, offset_s: float) -> None:
        """Take away what lies on a line that was no run."""
        self._forget(self._near(ratio, offset_s))

    def _near(self, ratio: float, offset_s: float) -> npt.NDArray[np.bool_]:
        residual = self.event_s - offset_s - ratio * self.written_s[self.note]
        return np.abs(residual) < SUPPORT_S

    def peak(self) -> tuple[float, float]:
        """Ratio and offset with the most votes, near tempi preferred a little."""
        votes = self.votes.reshape(len(self.ratios), self.bins)
        smooth = votes.copy()
        smooth[:, 1:] += 0.5 * votes[:, :-1]
        smooth[:, :-1] += 0.5 * votes[:, 1:]
        smooth *= (1 - 0.02 * np.abs(np.log(self.ratios)))[:, None]
        row, column = divmod(int(smooth.argmax()), self.bins)
        around = votes[row, max(column - 1, 0) : column + 2]
        at = np.arange(max(column - 1, 0), column + 2)[: len(around)]
        place = float(around @ at / max(around.sum(), 1e-9))
        return float(self.ratios[row]), self.first_offset_s + place * OFFSET_BIN_S

    def run_at(self, ratio: float, offset_s: float) -> Run | None:
        """The densest stretch of notes on a line, or None if it is too thin."""
        near = np.nonzero(self.alive & self._near(ratio, offset_s))[0]
        count = len(self.written_s)
        support = np.zeros(count)
        np.maximum.at(support, self.note[near], self.weight[near])
        first, last = _densest(np.where(support > 0, support, -GAP_PENALTY))
        total = float(support[first : last + 1].sum())
        full = total >= max(FULL_SHARE * count, 0.7 * min(count, 3))
        least = START_NOTES if first == 0 else PART_NOTES
        part = total >= max(least, PART_SHARE * (last - first + 1))
        if not full and not part:
            return None
        inside = near[(self.note[near] >= first) & (self.note[near] <= last)]
        times_s = self.event_s[inside]
        return Run(
            ratio, offset_s, first, last, float(times_s.min()), float(times_s.max()),
            total,
        )  # fmt: skip


def _densest(values: FloatArray) -> tuple[int, int]:
    """First and last index of the stretch with the greatest sum (Kadane)."""
    best, best_span, total, start = -np.inf, (0, 0), 0.0, 0
    for i, value in enumerate(values):
        if total <= 0:
            total, start = 0.0, i
        total += value
        if total > best:
            best, best_span = total, (start, i)
    return best_span


def chain(runs: list[Run], written_s: FloatArray) -> list[Chain]:
    """Join runs that continue each other; runs inside another are dropped."""
    kept: list[Run] = []
    for run in sorted(runs, key=lambda r: -r.support):
        middle = (run.start_s + run.end_s) / 2
        if not any(other.start_s <= middle <= other.end_s for other in kept):
            kept.append(run)
    chains: list[list[Run]] = []
    for run in sorted(kept, key=lambda r: r.start_s):
        if chains and _continues(chains[-1][-1], run, written_s):
            chains[-1].append(run)
        else:
            chains.append([run])
    return [tuple(c) for c in chains]


def _continues(before: Run, after: Run, written_s: FloatArray) -> bool:
    """Say whether a run goes on where another stopped, after at most a pause."""
    if after.first < before.last - 1 or after.last <= before.last:
        return False
    due_s = before.ratio * (written_s[after.first] - written_s[before.last])
    return bool(after.start_s - before.end_s - due_s <= LONGEST_PAUSE_S)
