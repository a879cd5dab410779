"""Where notes were expected: on a click, or on the pass's own steady tempo.

The own tempo is one straight line of onset against written time over the whole
pass, by Huber's estimator.  Where the playing stops and goes on (a *jump*: an
interval off by much more than the others, with the notes on both sides in time
among themselves) the line starts anew at the same slope, so that a pause costs the
note after it and no other.  With a click nothing starts anew: the click goes on.

Known limits
------------
Against an own tempo a constant lateness cannot be seen.  Below four notes there is
no own tempo.  A lick starts on any count of the click, so only what remains modulo
one count is lateness.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from assessor.alignment import Verdict
from assessor.lick.notation import Lick
from assessor.measures.robust import Fit, huber_fit, robust_sd
from assessor.pitch import PerformedPass
from assessor.tuning import FloatArray

IntArray = npt.NDArray[np.int_]

# No trend can be told from chance with fewer (Kendall's S cannot reach a one-sided
# 5 % level below four points).
MIN_NOTES = 4
# A jump is longer than any uneven playing: beyond this, and beyond so many robust
# standard deviations of the pass's own intervals.  Own choice.
JUMP_S = 0.15
JUMP_SDS = 6.0
JUMP_NEIGHBOURS = 3  # notes on either side that must be there to tell
# No onset is known better than this: the smallest scale of a fit.
SMALLEST_S = 1e-4
# Played seconds for one written: with less, nobody played.
LEAST_PACE = 0.01


class Against(StrEnum):
    """What the notes are held against."""

    CLICK = "click"
    OWN_TEMPO = "own tempo"


@dataclass(frozen=True)
class Click:
    """The click a take was recorded to.

    Attributes
    ----------
    offset_s : float
        Time of any click in the take.
    tempo_bpm : float or None
        Quarter notes a minute; None = the tempo of the lick.
    """

    offset_s: float = 0.0
    tempo_bpm: float | None = None


@dataclass(frozen=True)
class Heard:
    """The notes that count, as arrays of one length, in seconds.

    `stretch` numbers the stretches between jumps.
    """

    index: IntArray
    played_s: FloatArray
    uncertainty_s: FloatArray
    written_s: FloatArray
    stretch: IntArray

    def jump_at(self) -> IntArray:
        """Positions in the arrays of the notes that start a new stretch."""
        return np.flatnonzero(np.diff(self.stretch)) + 1


@dataclass(frozen=True)
class Clock:
    """Where each heard note was expected, by a click or an own tempo.

    Attributes
    ----------
    against : Against
    expected_s, uncertainty_s : shape=(n,)
        One for each heard note.
    seconds_per_written : float
        Played seconds for one written second: below 1 = faster than written.
    jump_at : shape=(jumps,)
        Positions of the notes after a jump.
    parameters : int
        How many numbers were fitted to the onsets.
    """

    against: Against
    expected_s: FloatArray
    uncertainty_s: FloatArray
    seconds_per_written: float
    jump_at: IntArray
    parameters: int


def heard_notes(lick: Lick, performed: PerformedPass) -> Heard:
    """Collect the onsets of the notes that are surely right or surely wrong."""
    rows = [
        (note.index, note.played.onset_s, note.played.onset_uncertainty_s)
        for note in performed.notes
        if note.played is not None and note.verdict in (Verdict.RIGHT, Verdict.WRONG)
    ]
    index = np.array([row[0] for row in rows], dtype=np.int_)
    played_s = np.array([row[1] for row in rows], dtype=np.float64)
    uncertainty_s = np.array([row[2] for row in rows], dtype=np.float64)
    written_s = lick.onsets_s()[index]
    stretch = _stretches(played_s, written_s)
    return Heard(index, played_s, uncertainty_s, written_s, stretch)


def _stretches(played_s: FloatArray, written_s: FloatArray) -> IntArray:
    """Number of the stretch between jumps each note lies in, shape=(n,)."""
    stretch = np.zeros(len(played_s), dtype=np.int_)
    if len(stretch) < MIN_NOTES:
        return stretch
    written, played = np.diff(written_s), np.diff(played_s)
    pace = _weighted_median(played / written, written)
    extra_s = played - pace * written
    least_s = max(JUMP_S, JUMP_SDS * robust_sd(extra_s))
    behind_s = played_s - pace * written_s
    for k in np.flatnonzero(np.abs(extra_s) > least_s) + 1:
        if not JUMP_NEIGHBOURS <= k <= len(behind_s) - JUMP_NEIGHBOURS:
            continue
        before = np.median(behind_s[k - JUMP_NEIGHBOURS : k])
        after = np.median(behind_s[k : k + JUMP_NEIGHBOURS])
        # a single note out of place moves no median, so it is no jump of the clock
        stretch[k:] += abs(after - before) > least_s
    return stretch


def _weighted_median(values: FloatArray, weights: FloatArray) -> float:
    order = np.argsort(values)
    reached = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(reached, reached[-1] / 2)])


def design_of(stretch: IntArray, *slopes: FloatArray) -> FloatArray:
    """One intercept for each stretch, then the slopes; shape=(n, p)."""
    intercepts = stretch[:, None] == np.arange(stretch.max() + 1)
    return np.column_stack([intercepts.astype(np.float64), *slopes])


def own_line(heard: Heard) -> Fit | None:
    """Onset against written time: intercepts, then seconds per written second.

    None when there are too few notes, or their times do not advance.
    """
    if len(heard.index) < MIN_NOTES + heard.stretch.max(initial=0):
        return None
    design = design_of(heard.stretch, heard.written_s)
    fit = huber_fit(design, heard.played_s, SMALLEST_S)
    return fit if fit.coefficients[-1] > LEAST_PACE else None


def own_clock(heard: Heard, own: Fit | None) -> Clock | None:
    """Expect every note where the fitted line puts it."""
    if own is None:
        return None
    design = design_of(heard.stretch, heard.written_s)
    expected_s = heard.played_s - own.residuals
    starts_s = own.coefficients[:-1]
    # the note after a jump is expected where the stretch before it would put it
    for k in heard.jump_at():
        expected_s[k] -= starts_s[heard.stretch[k]] - starts_s[heard.stretch[k - 1]]
    # the line is taken as fitted: only what is unknown of the onsets moves it
    leverage = np.einsum("ij,ji->i", design, np.linalg.pinv(design))
    known_s = float(np.median(heard.uncertainty_s)) * np.sqrt(np.maximum(leverage, 0))
    return Clock(
        Against.OWN_TEMPO,
        expected_s,
        known_s,
        float(own.coefficients[-1]),
        heard.jump_at(),
        design.shape[1],
    )


def click_clock(lick: Lick, heard: Heard, click: Click) -> Clock | None:
    """Put every written note on the click; the lick starts on the likeliest count."""
    if not len(heard.index):
        return None
    tempo_bpm = click.tempo_bpm or lick.tempo_bpm
    pace = lick.tempo_bpm / tempo_bpm
    count_s = 60 / tempo_bpm * 4 / lick.meter.unit
    on_count_s = click.offset_s - lick.seconds(lick.pickup_beats) * pace
    start_s = float(np.median(heard.played_s - heard.written_s * pace))
    start_s = on_count_s + count_s * round((start_s - on_count_s) / count_s)
    expected_s = start_s + heard.written_s * pace
    none = np.zeros(0, dtype=np.int_)
    return Clock(Against.CLICK, expected_s, 0 * expected_s, pace, none, 1)
