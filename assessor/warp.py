"""The note-level warp: written notes onto the events of one stretch of a take.

One dynamic programming over notes and events in which a note is *right*, *wrong* or
*missed* and an event is a note, an *extra* note or nothing.  All costs are natural
logarithms of probabilities, so what the ear is unsure of is decided together with
what the lick makes likely and where the player's own tempo puts it.  The same
lattice, summed instead of minimised, gives each finding its probability.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from assessor import dtw
from assessor.evidence import BoolArray
from assessor.kernels import PITCHES
from assessor.lick.notation import Articulation, BendKind, Lick, LickNote, SlideEdge
from assessor.onset import Events
from assessor.tuning import FloatArray

IntArray = npt.NDArray[np.intp]

# Costs in nats, chosen on the training phrases of benchmarks/ (see DEVELOPERS.md).
MISSED = -np.log(0.003)
WRONG = -np.log(0.05)
EXTRA = -np.log(0.08)
FAINT = 5.0  # an event is worth a second look up to so much against its being a note
WRONG_REACH = 5.0  # semitones: a wrong note costs 1 more for each of these
OCTAVE_COST = 2.0  # octave, twelfth and double octave are more often misheard
EXTRA_REACH = 0.3  # per semitone beyond three from every note around
RINGING = 3.0  # against hearing a note anew that was just played and still rings
RINGING_FLOOR = 0.33  # share of it that even a clear attack does not lift
TIME_CAP = 5.0  # the price of a late note grows to this, and slowly beyond
TIME_BEYOND = 0.1
BENT_DROP = 0.05  # a weak event inside a bent or shaken note is dropped at this cost
SLIDE_REACH = 5  # semitones a slide from nowhere may start away
SLID_START = 0.7  # cost of a start away from the fret
BENT_START = 1.0
KNOCK, KNOCK_FLUX = 1.0, 0.6  # a dead note is an attack; its pitch is nothing new
BAND_S = 1.5  # a wrong note's pitch is weighed this near its place
NEVER = 1e3
LEAST_FIT_NOTES = 4  # right notes for a tempo


@dataclass(frozen=True)
class Written:
    """The lick as arrays, moved to where the take plays it.

    Attributes
    ----------
    onset_s, end_s : shape=(n,)
        Written times in seconds.
    midi : shape=(n,)
        Written pitch plus the transposition.
    moving : shape=(n,), bool
        The pitch is meant to move inside the note.
    gliding : shape=(n,), bool
        The note is reached by a slide from the one before.
    starts : tuple of dict, length n
        Semitones from the written pitch at which a note may begin, with their cost
        in nats: slides from nowhere, pre-bends and quick bends.
    dead : shape=(n,), bool
        A knock: any pitch will do.
    """

    onset_s: FloatArray
    end_s: FloatArray
    midi: IntArray
    moving: BoolArray
    gliding: BoolArray
    starts: tuple[dict[int, float], ...]
    dead: BoolArray

    @classmethod
    def of(cls, lick: Lick, transposition: int = 0) -> Written:
        """Arrays of a lick."""
        return cls(
            lick.onsets_s(),
            lick.ends_s(),
            np.array([n.midi_number for n in lick.notes]) + transposition,
            np.array([n.moves for n in lick.notes]),
            np.array([n.articulation is Articulation.SLIDE for n in lick.notes]),
            tuple(_starts(n) for n in lick.notes),
            np.array([n.articulation is Articulation.DEAD for n in lick.notes]),
        )

    @property
    def unheard(self) -> BoolArray:
        """Notes outside the pitches that are listened for, shape=(n,)."""
        return (self.midi < PITCHES[0]) | (self.midi > PITCHES[-1])

    @property
    def typical_ioi_s(self) -> float:
        """Median inter-onset interval as written, seconds."""
        return float(np.median(np.diff(self.onset_s))) if len(self.onset_s) > 1 else 0.5


def _starts(note: LickNote) -> dict[int, float]:
    """Where the pitch of a note may begin: semitones from the fret, cost in nats."""
    starts = {0: 0.0}
    if note.slide_in in _SLIDE_SIGN:
        sign = _SLIDE_SIGN[note.slide_in]
        starts |= {sign * step: SLID_START for step in range(1, SLIDE_REACH + 1)}
    if note.bend is not None:
        held = note.bend.kind in (BendKind.PREBEND, BendKind.PREBEND_RELEASE)
        cost = 0.0 if held else BENT_START
        top = int(np.ceil(note.bend.target_cents / 100))
        starts |= dict.fromkeys(range(1, top + 1), cost)
    return starts


_SLIDE_SIGN: dict[SlideEdge | None, int] = {
    SlideEdge.FROM_BELOW: -1,
    SlideEdge.FROM_ABOVE: 1,
}


# -------------------------------------------------------------------- tempo


@dataclass(frozen=True)
class TempoFit:
    """A pass's own tempo with a lag that may jump.

    Attributes
    ----------
    ratio : float
        Played seconds per written second.
    written_s, lag_s : shape=(m,)
        Knots: played time minus ``ratio * written time`` at matched notes.
    spread_s : float
        Robust standard deviation of the residuals.
    """

    ratio: float
    written_s: FloatArray
    lag_s: FloatArray
    spread_s: float

    def at(self, written_s: FloatArray) -> FloatArray:
        """Expected time in the take, seconds, the lag interpolated."""
        lag_s = np.interp(written_s, self.written_s, self.lag_s)
        return self.ratio * written_s + lag_s

    def variants(self, written_s: FloatArray) -> FloatArray:
        """Expected times, shape=(3, n): lag interpolated, of before, of after.

        Around a hesitation either side may be the true one.
        """
        last = len(self.written_s) - 1
        left = np.searchsorted(self.written_s, written_s + 1e-9) - 1
        right = np.searchsorted(self.written_s, written_s - 1e-9)
        before = self.lag_s[np.clip(left, 0, last)]
        after = self.lag_s[np.clip(right, 0, last)]
        line = self.ratio * written_s
        return np.stack([self.at(written_s), line + before, line + after])


def fit_tempo(written_s: FloatArray, played_s: FloatArray) -> TempoFit:
    """Tempo from the median of neighbouring slopes, lag as a running median of five.

    Parameters
    ----------
    written_s, played_s : shape=(n,), n >= 2
        Matched notes in order.
    """
    slopes = []
    for reach in (1, 2, 3):
        apart = written_s[reach:] - written_s[:-reach]
        took = played_s[reach:] - played_s[:-reach]
        slopes.append(took[apart > 1e-6] / apart[apart > 1e-6])
    ratio = float(np.median(np.concatenate(slopes)))
    lag_s = played_s - ratio * written_s
    padded = np.pad(lag_s, 2, mode="reflect" if len(lag_s) > 2 else "edge")
    windows = np.lib.stride_tricks.sliding_window_view(padded, 5)
    steps = np.median(windows, axis=1)
    smooth = steps.copy()
    calm = np.abs(steps[2:] - steps[:-2]) < 0.06
    mean = (steps[:-2] + steps[1:-1] + steps[2:]) / 3
    smooth[1:-1] = np.where(calm, mean, steps[1:-1])
    spread_s = 1.48 * float(np.median(np.abs(lag_s - smooth)))
    return TempoFit(ratio, written_s, smooth, max(spread_s, 0.006))


# --------------------------------------------------------------------- time


@dataclass(frozen=True)
class Expectation:
    """When each note is expected.

    Attributes
    ----------
    times_s : shape=(variants, n)
        The nearest variant counts; the first is reported.
    scale_s : float
        Deviation that costs one nat.
    beyond : float
        Cost per `scale_s` beyond `TIME_CAP`.
    """

    times_s: FloatArray
    scale_s: float
    beyond: float = TIME_BEYOND

    def cost(self, played_s: FloatArray) -> FloatArray:
        """Cost of playing each note at each time, shape=(n, events)."""
        away = np.abs(played_s - self.times_s[:, :, None]).min(axis=0) / self.scale_s
        return np.minimum(away, TIME_CAP) + self.beyond * np.maximum(away - TIME_CAP, 0)


def closely(written: Written, fit: TempoFit) -> Expectation:
    """Where a tempo fit expects the notes, as tightly as the player plays."""
    widest = max(0.02, 0.12 * written.typical_ioi_s * fit.ratio)
    scale_s = float(np.clip(1.2 * fit.spread_s, 0.012, widest))
    return Expectation(fit.variants(written.onset_s), scale_s)


# --------------------------------------------------------------------- warp


@dataclass(frozen=True)
class Warped:
    """What one warp found.

    Attributes
    ----------
    event : shape=(n,), int
        Event of each note; -1 = missed.
    right : shape=(n,), bool
    midi : shape=(n,), int
        Pitch heard; the written one where right or missed.
    right_probability, wrong_probability : shape=(n,)
    extras : tuple of (event, midi number, probability)
        Events left over that are more likely a note than nothing.
    faint : tuple of (event, midi number, probability)
        Events left over that may be a note all the same.
    """

    event: IntArray
    right: BoolArray
    midi: IntArray
    right_probability: FloatArray
    wrong_probability: FloatArray
    extras: tuple[tuple[int, int, float], ...]
    faint: tuple[tuple[int, int, float], ...] = ()


@dataclass(frozen=True)
class Lattice:
    """Notes of a lick against the events of a stretch of the take, weighed once.

    ``right, wrong, wrong_pitch`` have shape (n, events); ``extra, extra_pitch,
    drop`` have shape (n + 1, events), row k lying between notes k - 1 and k.
    Costs in nats, before time is looked at.
    """

    written: Written
    events: Events
    right: FloatArray
    wrong: FloatArray
    wrong_pitch: IntArray
    extra: FloatArray
    extra_pitch: IntArray
    drop: FloatArray

    def fit(self, expected: Expectation) -> TempoFit | None:
        """Tempo of the right notes of the cheapest warp; None with too few."""
        event = np.full(len(self.written.midi), -1)
        for i, j in self._steps(expected):
            if i is not None and self.right[i, j] <= self.wrong[i, j]:
                event[i] = j
        right = np.nonzero(event >= 0)[0]
        if len(right) < LEAST_FIT_NOTES:
            return None
        return fit_tempo(self.written.onset_s[right], self.events.times_s[event[right]])

    def warp(self, expected: Expectation) -> Warped:
        """Cheapest warp, with the probability of each finding."""
        count = len(self.written.midi)
        posterior = dtw.diagonal_posterior(self._lattice(expected, soft=True))
        share = np.exp(-np.logaddexp(0, self.right - self.wrong))
        right_p = (posterior * share).sum(axis=1)
        taken = posterior.sum(axis=0)
        event, right = np.full(count, -1), np.zeros(count, np.bool_)
        midi = self.written.midi.copy()
        extras: list[tuple[int, int, float]] = []
        faint: list[tuple[int, int, float]] = []
        row = 0
        for i, j in self._steps(expected):
            if i is not None:
                event[i], row = j, i + 1
                right[i] = self.right[i, j] <= self.wrong[i, j]
                if not right[i]:
                    midi[i] = PITCHES[self.wrong_pitch[i, j]]
                continue
            against = self.extra[row, j] - self.drop[row, j]
            if against < FAINT:
                free = 1 - min(float(taken[j]), 1.0)
                midi_number = int(PITCHES[self.extra_pitch[row, j]])
                found = (j, midi_number, free / (1 + np.exp(against)))
                (extras if against < 0 else faint).append(found)
        wrong_p = posterior.sum(axis=1) - right_p
        return Warped(event, right, midi, right_p, wrong_p, tuple(extras), tuple(faint))

    def _lattice(self, expected: Expectation, *, soft: bool) -> dtw.Lattice:
        """Costs of the three moves, alternatives minimised or summed (`soft`)."""

        def either(one: FloatArray, other: FloatArray) -> FloatArray:
            return -np.logaddexp(-one, -other) if soft else np.minimum(one, other)

        return dtw.Lattice(
            either(self.right, self.wrong) + expected.cost(self.events.times_s),
            either(self.extra, self.drop),
            np.full((len(self.written.midi), 1), MISSED),
        )

    def _steps(self, expected: Expectation) -> list[tuple[int | None, int]]:
        """(note or None, event) for every event on the cheapest path, in order."""
        path, _ = dtw.cheapest_path(self._lattice(expected, soft=False))
        return [
            (i if after_i > i else None, j)
            for (i, j), (after_i, after_j) in pairwise(path)
            if after_j > j
        ]


def weigh_notes(written: Written, events: Events, place_s: FloatArray) -> Lattice:
    """What the lick and the ear make likely, whatever the time.

    Parameters
    ----------
    place_s : shape=(n,)
        Rough place of each note: the pitch of a wrong or extra note is weighed
        within `BAND_S` of it only.
    """
    count, heard = len(written.midi), len(events)
    none = events.log_probability[:, 0]
    pitch = events.log_probability[:, 1:]
    column = _column(written.midi)
    wrong_prior = _wrong_prior()
    dull = 1 - events.attack  # no clear attack: what still rings is no new note
    wrong = np.full((count, heard), NEVER)
    wrong_pitch = np.zeros((count, heard), np.intp)
    extra = np.tile(EXTRA - pitch.max(axis=1), (count + 1, 1))
    extra_pitch = np.tile(pitch.argmax(axis=1), (count + 1, 1))
    drop = np.tile(-none, (count + 1, 1))
    weak = (events.flux < 0.6) | ((events.rise_db < 4) & (events.flux < 1.2))
    for k in range(count + 1):
        before, after = max(k - 1, 0), min(k, count - 1)
        low = np.searchsorted(events.times_s, place_s[before] - BAND_S)
        high = np.searchsorted(events.times_s, place_s[after] + BAND_S)
        near = slice(low, high)
        rows = np.arange(high - low)
        if k < count:
            score = pitch[near] + wrong_prior[column[k]]
            ringing = set(column[max(k - 2, 0) : k]) - {column[k]}
            score[:, list(ringing)] -= RINGING * dull[near, None]
            wrong_pitch[k, near] = score.argmax(axis=1)
            wrong[k, near] = WRONG - score[rows, wrong_pitch[k, near]]
        score = pitch[near] - _far_from(column[max(k - 2, 0) : k + 2])
        same = list(set(column[max(k - 2, 0) : k + 1]))
        score[:, same] -= RINGING * np.maximum(dull[near], RINGING_FLOOR)[:, None]
        extra_pitch[k, near] = score.argmax(axis=1)
        extra[k, near] = EXTRA - score[rows, extra_pitch[k, near]]
        if (k and written.moving[k - 1]) or (k < count and written.gliding[k]):
            drop[k] = np.where(weak, np.minimum(drop[k], BENT_DROP), drop[k])
    wrong[:, events.expected_only] = NEVER
    extra[:, events.expected_only] = NEVER
    drop[:, events.expected_only] = _not_the_due(column, pitch[events.expected_only])
    right = np.stack(
        [
            np.min([cost - pitch[:, _column(m + d)] for d, cost in starts.items()], 0)
            for m, starts in zip(written.midi, written.starts, strict=True)
        ]
    )
    knock = np.where(events.flux > KNOCK_FLUX, KNOCK, NEVER)
    right[written.dead] = np.minimum(right[written.dead], knock)
    return Lattice(written, events, right, wrong, wrong_pitch, extra, extra_pitch, drop)


def _not_the_due(column: IntArray, pitch: FloatArray) -> FloatArray:
    """Cost of dropping events that can only be a note that is due there.

    Minus the logarithm of the probability that they are neither of the notes around
    row k, shape=(n + 1, events).  What else they may be is no question.
    """
    around = np.concatenate([column[:1], column, column[-1:]])
    due = np.maximum(pitch[:, around[:-1]], pitch[:, around[1:]])
    return -np.log(-np.expm1(np.minimum(due, -1e-9))).T


def _column(midi: IntArray) -> IntArray:
    """Column of a pitch, kept inside what the ear hears."""
    return np.clip(midi - PITCHES[0], 0, len(PITCHES) - 1)


def _wrong_prior() -> FloatArray:
    """Log prior of a wrong pitch given the written one, shape=(pitches, pitches).

    Scaled so that a neighbour within a few frets costs about nothing beyond `WRONG`.
    """
    apart = np.abs(PITCHES[:, None] - PITCHES[None, :])
    misheard = np.isin(apart, (12, 19, 24))
    weight = np.exp(-apart / WRONG_REACH - OCTAVE_COST * misheard)
    np.fill_diagonal(weight, 0)
    weight /= weight.sum(axis=1, keepdims=True)
    return np.log(20 * weight + 1e-12)


def _far_from(columns: IntArray) -> FloatArray:
    """Cost of each pitch as an extra note, by distance from the notes around."""
    apart = np.abs(np.arange(len(PITCHES))[:, None] - columns[None, :]).min(axis=1)
    return EXTRA_REACH * np.maximum(apart - 3, 0)
