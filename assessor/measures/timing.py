"""When the notes were played, against a click or against the pass's own tempo.

Measured
--------
- *deviation* of a note (ms, and percent of the beat): played minus expected onset.
- *spread* (ms): standard deviation of the deviations.
- *offset* (ms): their median; only against a click, since an own tempo has none.
- *tempo* (bpm): of the steady tempo that fits the pass best.
- *drift* (bpm a minute) and *lag* (ms at the last note, against the tempo of the
  start) of a tempo that changes evenly; rushing = faster, dragging = slower.
- *hesitation* (ms) at shifts and string skips: the median extra length of the
  intervals that end in such a note, less that of all other intervals.
- *swing*: long over short eighth (Friberg & Sundstrom 2002), median over the pairs.

Conventions
-----------
+ late, + longer, + faster.  Notes judged right or wrong count; unsure ones do not.
The limit of a note is that of the written interval before it at the played tempo
(for the first note: after it).

`measures.clock` tells how the expected onsets are found, and what a jump is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from fractions import Fraction

import numpy as np

from assessor.lick import fingerboard
from assessor.lick.notation import Lick
from assessor.measures.clock import (
    MIN_NOTES,
    SMALLEST_S,
    Against,
    Click,
    Clock,
    Heard,
    click_clock,
    design_of,
    heard_notes,
    own_clock,
    own_line,
)
from assessor.measures.robust import (
    Fit,
    huber_fit,
    median_uncertainty,
    robust_sd,
    sd_uncertainty,
)
from assessor.measures.tolerance import Judgement, Limit, Reading, Tolerance
from assessor.pitch import PerformedPass
from assessor.tuning import FloatArray


class Tendency(StrEnum):
    """Where the tempo goes."""

    RUSHING = "rushing"
    DRAGGING = "dragging"
    STEADY = "steady"
    UNSURE = "unsure"


@dataclass(frozen=True)
class NoteTiming:
    """Deviation of one note.

    Attributes
    ----------
    index : int
        0-based place in the lick.
    deviation : Reading
        In ms, + late.
    beat_percent : float
        The same as a share of a quarter note at the played tempo.
    """

    index: int
    deviation: Reading
    beat_percent: float


@dataclass(frozen=True)
class Jump:
    """A place where the playing stopped and went on, or came in early.

    Attributes
    ----------
    index : int
        The note after it.
    extra_ms : float
        + waited, - came in early.
    """

    index: int
    extra_ms: float


@dataclass(frozen=True)
class Hesitation:
    """What the notes after a hand movement cost more than the others.

    Attributes
    ----------
    movement : str
        ``shift`` or ``string skip``.
    indices : tuple of int
        The notes it was measured on.
    extra : Reading
        In ms, median.
    worst : int
        Index of the note that took longest.
    worst_ms : float
        What that note alone took more than the median of the others.
    """

    movement: str
    indices: tuple[int, ...]
    extra: Reading
    worst: int
    worst_ms: float


@dataclass(frozen=True)
class Timing:
    """Everything about the time of one pass; None = too little to tell.

    Attributes
    ----------
    against : Against
    seconds_per_written : float
        Played seconds for one written second: below 1 = faster than written.
    duration_s : float
        From the first to the last note that counts.
    notes : tuple of NoteTiming
    tempo, spread, offset, drift, lag, swing : Reading or None
    jumps : tuple of Jump
    hesitations : tuple of Hesitation
    """

    against: Against
    seconds_per_written: float
    duration_s: float = 0.0
    notes: tuple[NoteTiming, ...] = ()
    tempo: Reading | None = None
    spread: Reading | None = None
    offset: Reading | None = None
    drift: Reading | None = None
    lag: Reading | None = None
    swing: Reading | None = None
    jumps: tuple[Jump, ...] = ()
    hesitations: tuple[Hesitation, ...] = ()

    @property
    def tendency(self) -> Tendency:
        """Rushing or dragging, when the drift is outside its limit for sure."""
        if self.drift is None or self.drift.judgement == Judgement.UNSURE:
            return Tendency.UNSURE
        if self.drift.judgement == Judgement.INSIDE:
            return Tendency.STEADY
        return Tendency.RUSHING if self.drift.value > 0 else Tendency.DRAGGING


def measure(
    lick: Lick,
    performed: PerformedPass,
    tolerance: Tolerance,
    click: Click | None = None,
) -> Timing:
    """Time of one pass through a lick.

    Parameters
    ----------
    lick : Lick
        At the tempo that was asked for.
    performed : PerformedPass
    tolerance : Tolerance
    click : Click or None
        None when the take was recorded without one.
    """
    heard = heard_notes(lick, performed)
    own = own_line(heard)
    clock = click_clock(lick, heard, click) if click else own_clock(heard, own)
    if clock is None:
        against = Against.CLICK if click else Against.OWN_TEMPO
        return Timing(against, 1 / performed.tempo_ratio)
    notes = _notes(lick, heard, clock, tolerance)
    drift, lag = _drift(lick, heard, own, tolerance)
    return Timing(
        clock.against,
        clock.seconds_per_written,
        float(heard.played_s[-1] - heard.played_s[0]),
        notes,
        tempo=_tempo(lick, own),
        spread=_spread(notes, clock),
        offset=_offset(notes, clock),
        drift=drift,
        lag=lag,
        swing=_swing(lick, heard, clock, tolerance),
        jumps=_jumps(heard, clock),
        hesitations=_hesitations(lick, heard, clock, tolerance),
    )


def _intervals_s(lick: Lick) -> FloatArray:
    """Written interval that ends in each note; for the first note, that after it."""
    if len(lick) == 1:
        return lick.ends_s() - lick.onsets_s()
    intervals_s = np.diff(lick.onsets_s())
    return np.concatenate([intervals_s[:1], intervals_s])


def _notes(
    lick: Lick, heard: Heard, clock: Clock, tolerance: Tolerance
) -> tuple[NoteTiming, ...]:
    beat_ms = 60e3 / lick.tempo_bpm * clock.seconds_per_written
    late_ms = 1000 * (heard.played_s - clock.expected_s)
    uncertainty_ms = 1000 * np.hypot(heard.uncertainty_s, clock.uncertainty_s)
    ioi_s = _intervals_s(lick) * clock.seconds_per_written
    notes = []
    for k, index in enumerate(heard.index.tolist()):
        limit = tolerance.limit_ms("timing", float(ioi_s[index]))
        deviation = Reading(
            float(late_ms[k]), "ms", float(uncertainty_ms[k]), limit=limit
        )
        notes.append(NoteTiming(index, deviation, float(100 * late_ms[k] / beat_ms)))
    return tuple(notes)


def _typical_limit(notes: Sequence[NoteTiming]) -> Limit:
    """The limit half of the notes are judged more strictly by."""
    limits = [note.deviation.limit for note in notes if note.deviation.limit]
    return sorted(limits, key=lambda limit: limit.value)[len(limits) // 2]


def _spread(notes: Sequence[NoteTiming], clock: Clock) -> Reading | None:
    jumped = set(clock.jump_at.tolist())
    late_ms = [n.deviation.value for k, n in enumerate(notes) if k not in jumped]
    # each jump takes a note and gives back the intercept it was fitted with
    degrees_of_freedom = len(notes) - clock.parameters
    if degrees_of_freedom < 2:
        return None
    deviations = np.array(late_ms)
    if clock.against == Against.CLICK:
        deviations = deviations - deviations.mean()
    sd = float(np.sqrt(deviations @ deviations / degrees_of_freedom))
    uncertainty = sd_uncertainty(sd, degrees_of_freedom)
    return Reading(sd, "ms", uncertainty, limit=_typical_limit(notes))


def _offset(notes: Sequence[NoteTiming], clock: Clock) -> Reading | None:
    if clock.against != Against.CLICK:
        return None
    late_ms = np.array([note.deviation.value for note in notes])
    known_ms = float(np.median([note.deviation.uncertainty for note in notes])) / 1.96
    sd_ms = max(robust_sd(late_ms), known_ms)
    uncertainty = median_uncertainty(sd_ms, len(notes))
    limit = _typical_limit(notes)
    return Reading(float(np.median(late_ms)), "ms", uncertainty, limit=limit)


def _tempo(lick: Lick, own: Fit | None) -> Reading | None:
    """Steady tempo of the pass; there is no norm for choosing one."""
    if own is None:
        return None
    pace = float(own.coefficients[-1])
    row = np.zeros(len(own.coefficients))
    row[-1] = 1.0
    tempo_bpm = lick.tempo_bpm / pace
    uncertainty = tempo_bpm * float(own.uncertainty(row)) / pace
    return Reading(tempo_bpm, "bpm", uncertainty, target=lick.tempo_bpm)


def _drift(
    lick: Lick, heard: Heard, own: Fit | None, tolerance: Tolerance
) -> tuple[Reading | None, Reading | None]:
    """Drift and lag of a tempo that changes evenly in time.

    Written time is then a parabola of played time, exactly: its slope is the
    played tempo over the written one, its curvature half the change a second.
    """
    stretches = heard.stretch.max(initial=0)
    if own is None or len(heard.index) < MIN_NOTES + 1 + stretches:
        return None, None
    since_s = heard.played_s - heard.played_s[0]
    duration_s = float(since_s[-1])
    design = design_of(heard.stretch, since_s, since_s**2)
    fit = huber_fit(design, heard.written_s, SMALLEST_S)
    start, curvature = fit.coefficients[-2:]
    if start <= 0:
        return None, None  # the fitted tempo turns round: it does not change evenly
    row = np.zeros(len(fit.coefficients))
    row[-1] = 1.0
    known = float(fit.uncertainty(row))
    to_bpm_min = 2 * 60 * lick.tempo_bpm
    limit = tolerance.drift(lick.tempo_bpm * float(start), duration_s)
    drift = Reading(
        float(curvature) * to_bpm_min, "bpm/min", known * to_bpm_min, limit=limit
    )
    to_lag_ms = -1000 * duration_s**2 / float(start)
    lag = Reading(float(curvature) * to_lag_ms, "ms", known * abs(to_lag_ms))
    return drift, lag


def _jumps(heard: Heard, clock: Clock) -> tuple[Jump, ...]:
    late_ms = 1000 * (heard.played_s - clock.expected_s)
    return tuple(
        Jump(int(heard.index[k]), float(late_ms[k])) for k in clock.jump_at.tolist()
    )


def _hesitations(
    lick: Lick, heard: Heard, clock: Clock, tolerance: Tolerance
) -> tuple[Hesitation, ...]:
    """For each kind of movement, what its notes cost more than all others."""
    follows = np.diff(heard.index) == 1
    written, played = np.diff(heard.written_s), np.diff(heard.played_s)
    extra_ms = 1000 * (played - clock.seconds_per_written * written)[follows]
    ends = heard.index[1:][follows]
    moves = {
        "shift": np.isin(ends, fingerboard.shifts(lick)),
        "string skip": np.isin(ends, fingerboard.string_skips(lick)),
    }
    plain = ~np.logical_or.reduce(list(moves.values()))
    if plain.sum() < MIN_NOTES - 1:
        return ()
    usual_ms, sd_ms = float(np.median(extra_ms[plain])), robust_sd(extra_ms[plain])
    usual_uncertainty = median_uncertainty(sd_ms, int(plain.sum()))
    found = []
    for movement, there in moves.items():
        if not there.any():
            continue
        cost_ms = extra_ms[there] - usual_ms
        own_sd_ms = max(robust_sd(cost_ms), sd_ms)
        uncertainty = median_uncertainty(own_sd_ms, len(cost_ms))
        ioi_s = float(np.median(written[follows][there])) * clock.seconds_per_written
        extra = Reading(
            float(np.median(cost_ms)),
            "ms",
            float(np.hypot(uncertainty, usual_uncertainty)),
            limit=tolerance.limit_ms("timing", ioi_s),
        )
        k = int(np.argmax(cost_ms))
        worst = int(ends[there][k])
        where = tuple(ends[there].tolist())
        found.append(Hesitation(movement, where, extra, worst, float(cost_ms[k])))
    return tuple(found)


def _swing(
    lick: Lick, heard: Heard, clock: Clock, tolerance: Tolerance
) -> Reading | None:
    """Long over short eighth, from the place of the off-beat in its beat."""
    at = {
        lick.notes[index].onset_beats: played_s
        for index, played_s in zip(heard.index.tolist(), heard.played_s, strict=True)
    }
    half = Fraction(1, 2)
    places = [
        (at[beat + half] - at[beat]) / (at[beat + 1] - at[beat])
        for beat in at
        if beat.denominator == 1 and beat + half in at and beat + 1 in at
        if at[beat] < at[beat + half] < at[beat + 1]
    ]
    if lick.swing is None or not places:
        return None
    place = float(np.median(places))
    beat_s = 60 / lick.tempo_bpm * clock.seconds_per_written
    known = float(np.median(heard.uncertainty_s)) * np.sqrt(2) / beat_s / 1.96
    sd = max(robust_sd(np.array(places)), known)
    uncertainty = median_uncertainty(sd, len(places)) / (1 - place) ** 2
    share = 1 / (1 + lick.swing)  # of the short eighth, as asked
    limit = tolerance.limit_ms("timing", beat_s * (1 - share))
    slope = 1 / share**2  # of the ratio against the place of the off-beat
    limit = replace(limit, value=limit.value / 1000 / beat_s * slope)
    ratio = place / (1 - place)
    return Reading(ratio, ":1", float(uncertainty), lick.swing, limit)
