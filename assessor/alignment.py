"""Where in a take the lick was played, pass by pass and note by note.

Each pass found by voting is warped onto the events around it: one dynamic
programming over notes and events in which a note is *right*, *wrong* or *missed* and
an event is a note, an *extra* note or nothing.  All costs are natural logarithms of
probabilities, so what the ear is unsure of is decided together with what the lick
makes likely and where the player's own tempo puts it.  The same lattice, summed
instead of minimised, gives each verdict its probability.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from assessor import dtw, passes
from assessor.errors import AlignmentError
from assessor.lick.notation import (
    Articulation,
    BendKind,
    Lick,
    LickNote,
    SlideEdge,
)
from assessor.onset import BoolArray, Events
from assessor.spectrum import PITCHES
from assessor.tuning import FloatArray

IntArray = npt.NDArray[np.intp]
Span = tuple[float, float]

# Costs in nats, chosen on the bench's development seeds (see benchmarks/).
MISSED = -np.log(0.003)
WRONG = -np.log(0.02)
EXTRA = -np.log(0.05)
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
BAND_S = 1.5  # a wrong note's pitch is weighed this near its place
NEVER = 1e3
LEAST_RIGHT_SHARE = 0.4  # below this, it is not this lick
FREE_CELLS = 30_000  # notes times events; longer takes must be found by voting
FREE_RIGHT_SHARE = 0.6  # order alone proves less
TWICE_S = 0.06  # nobody plays two extra notes of one pitch this near
UNREACHED_NOTES = 3  # as many missed at an end were not played to, not missed


class Verdict(StrEnum):
    """What was found for one written note."""

    RIGHT = "right"
    WRONG = "wrong"
    MISSED = "missed"
    UNSURE = "unsure"  # never counted against the player


@dataclass(frozen=True)
class Match:
    """What the take holds for one written note of one pass.

    Attributes
    ----------
    index : int
        0-based place of the note in the lick.
    verdict : Verdict
    probability : float
        Probability that the verdict is true, 0 to 1.
    time_s : float or None
        Time of the event it was matched to; None when missed.
    midi_number : int or None
        Chromatic pitch heard, with the transposition; None when missed.
    expected_s : float
        Where the pass's own tempo puts the note, seconds in the take.
    is_step : bool
        Found by a change of pitch, without an attack.
    """

    index: int
    verdict: Verdict
    probability: float
    time_s: float | None
    midi_number: int | None
    expected_s: float
    is_step: bool = False


@dataclass(frozen=True)
class ExtraNote:
    """A note in the take that the lick does not ask for."""

    time_s: float
    midi_number: int
    probability: float
    is_step: bool = False


@dataclass(frozen=True)
class Pass:
    """One run through the lick.

    Attributes
    ----------
    matches : tuple of Match
        One for each written note, in order.
    extras : tuple of ExtraNote
        In order of time.
    tempo_ratio : float
        Played over written tempo, > 1 = faster.
    complete : bool
        False when the run starts late or breaks off; the notes that were not played
        to have verdict `UNSURE` and no time.
    span_s : (float, float)
        Stretch of the take that was searched for it.
    """

    matches: tuple[Match, ...]
    extras: tuple[ExtraNote, ...]
    tempo_ratio: float
    complete: bool
    span_s: tuple[float, float]

    @property
    def right(self) -> int:
        """Number of right notes."""
        return sum(m.verdict is Verdict.RIGHT for m in self.matches)

    @property
    def faults(self) -> int:
        """Number of wrong, missed, unreached and extra notes."""
        return len(self.matches) - self.right + len(self.extras)


@dataclass(frozen=True)
class Alignment:
    """Every pass found in a take.

    Attributes
    ----------
    passes : tuple of Pass
        In order of time; at least one.
    best : int
        Index of the pass with the fewest faults.
    tuning_cents : float
        The instrument's offset from A4 = 440 Hz, + sharp.
    transposition : int
        Semitones by which the whole take is moved against the lick.
    """

    passes: tuple[Pass, ...]
    best: int
    tuning_cents: float
    transposition: int


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
    """

    onset_s: FloatArray
    end_s: FloatArray
    midi: IntArray
    moving: BoolArray
    gliding: BoolArray
    starts: tuple[dict[int, float], ...]

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
        )

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


def align(lick: Lick, events: Events) -> Alignment:
    """Find every pass of a lick in a take and warp it onto the events.

    Raises
    ------
    AlignmentError
        When the take does not hold the lick.
    """
    plain = Written.of(lick)
    transposition, chains = passes.find(plain.onset_s, plain.midi, events)
    written = Written.of(lick, transposition)
    spans = _spans(chains, written)
    found = [
        align_pass(written, events, span, _place(chain, written))
        for chain, span in zip(chains, spans, strict=True)
    ]
    kept = [p for p in found if _holds_lick(p)] or _ignoring_time(plain, events)
    if not kept:
        raise _not_this_lick(lick, events, found)
    best = min(range(len(kept)), key=lambda i: kept[i].faults)
    return Alignment(tuple(kept), best, events.tuning_cents, transposition)


def _holds_lick(found: Pass) -> bool:
    """Say whether a pass is the lick and not something like it."""
    reached = [m for m in found.matches if m.verdict is not Verdict.UNSURE]
    return found.right >= max(LEAST_RIGHT_SHARE * len(reached), min(3, len(reached)))


def _ignoring_time(written: Written, events: Events) -> list[Pass]:
    """The one pass of a take too uneven for voting: order alone, then its tempo."""
    if len(written.midi) * len(events) > FREE_CELLS:
        return []
    span_s = (-np.inf, np.inf)
    anywhere = Expectation(written.onset_s[None], np.inf)
    found = decode(written, events, span_s, anywhere)
    fit = refit(written, found.matches)
    if fit is None or found.right < FREE_RIGHT_SHARE * len(written.midi):
        return []
    slowest, fastest = passes.TEMPO_RATIOS
    if not slowest <= 1 / fit.ratio <= fastest:
        return []
    return [settle(written, events, found)]


def _not_this_lick(lick: Lick, events: Events, found: list[Pass]) -> AlignmentError:
    """Say how little of the lick was heard."""
    heard = int((events.log_probability[:, 0] < np.log(0.5)).sum())
    matched = max((p.right for p in found), default=0)
    message = (
        f"this take is not the lick {lick.title!r}: {heard} notes were heard and at "
        f"most {matched} of the lick's {len(lick)} fit; check that take and lick "
        "belong together and that the guitar is louder than what is around it"
    )
    return AlignmentError(message, len(lick), heard, matched)


def _spans(chains: list[passes.Chain], written: Written) -> list[tuple[float, float]]:
    """Stretch of the take that belongs to each pass, seconds."""
    spans = []
    for i, runs in enumerate(chains):
        start = min(runs[0].start_s, runs[0].place(written.onset_s)[0]) - BAND_S
        end = max(runs[-1].end_s, runs[-1].place(written.end_s)[-1]) + BAND_S
        if i:
            start = max(start, (chains[i - 1][-1].end_s + runs[0].start_s) / 2)
        if i + 1 < len(chains):
            end = min(end, (runs[-1].end_s + chains[i + 1][0].start_s) / 2)
        spans.append((start, end))
    return spans


def _place(runs: passes.Chain, written: Written) -> FloatArray:
    """Where a chain of runs puts each written note, shape=(n,), seconds."""
    place_s = runs[0].place(written.onset_s)
    for run in runs[1:]:
        place_s[run.first :] = run.place(written.onset_s)[run.first :]
    return place_s


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


def refit(written: Written, matches: tuple[Match, ...]) -> TempoFit | None:
    """Tempo fit of the right notes; None with fewer than four."""
    right = [m for m in matches if m.verdict is Verdict.RIGHT]
    if len(right) < 4:
        return None
    index = [m.index for m in right]
    played_s = np.array([m.time_s for m in right], float)
    return fit_tempo(written.onset_s[index], played_s)


# --------------------------------------------------------------------- warp


def align_pass(
    written: Written, events: Events, span_s: Span, place_s: FloatArray
) -> Pass:
    """Warp one pass: from where voting puts the notes to the player's own tempo."""
    ratio = float(np.median(np.diff(place_s) / np.diff(written.onset_s)))
    scale_s = max(0.04, 0.15 * written.typical_ioi_s * ratio)
    voted = Expectation(place_s[None], scale_s, beyond=0.0)
    found = decode(written, events, span_s, voted)
    fit = refit(written, found.matches)
    if fit is None:
        return found
    loose = Expectation(fit.variants(written.onset_s), scale_s)
    return settle(written, events, decode(written, events, span_s, loose))


def settle(written: Written, events: Events, found: Pass) -> Pass:
    """Warp again with the tempo of the right notes and the player's own spread."""
    fit = refit(written, found.matches)
    if fit is None:
        return found
    return decode(written, events, found.span_s, expectation(written, fit))


def expectation(written: Written, fit: TempoFit) -> Expectation:
    """Where a tempo fit expects the notes, as tightly as the player plays."""
    widest = max(0.02, 0.12 * written.typical_ioi_s * fit.ratio)
    scale_s = float(np.clip(1.2 * fit.spread_s, 0.012, widest))
    return Expectation(fit.variants(written.onset_s), scale_s)


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


@dataclass(frozen=True)
class _Costs:
    """Costs in nats of what each event may be for each note.

    ``right, wrong, wrong_pitch`` have shape (n, events); ``extra, extra_pitch,
    drop`` have shape (n + 1, events), row k lying between notes k - 1 and k.
    """

    right: FloatArray
    wrong: FloatArray
    wrong_pitch: IntArray
    extra: FloatArray
    extra_pitch: IntArray
    drop: FloatArray


def decode(
    written: Written, events: Events, span_s: Span, expected: Expectation
) -> Pass:
    """Cheapest warp of the notes onto the events of a span, with probabilities."""
    events = events.between(*span_s)
    band_s = max(BAND_S, expected.scale_s)
    costs = _musical_costs(written, events, expected.times_s[0], band_s)
    time = expected.cost(events.times_s)
    missed = np.full((len(written.midi), 1), MISSED)
    hard = dtw.Lattice(
        np.minimum(costs.right, costs.wrong) + time,
        np.minimum(costs.extra, costs.drop),
        missed,
    )
    soft = dtw.Lattice(
        -np.logaddexp(-costs.right, -costs.wrong) + time,
        -np.logaddexp(-costs.extra, -costs.drop),
        missed,
    )
    path, _ = dtw.cheapest_path(hard)
    matches, extras = _read_path(written, events, expected, costs, path, soft)
    return make_pass(written, matches, extras, span_s)


def _musical_costs(
    written: Written, events: Events, place_s: FloatArray, band_s: float
) -> _Costs:
    """What the lick and the ear make likely, before time is looked at."""
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
        low = np.searchsorted(events.times_s, place_s[before] - band_s)
        high = np.searchsorted(events.times_s, place_s[after] + band_s)
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
    right = np.stack(
        [
            np.min([cost - pitch[:, _column(m + d)] for d, cost in starts.items()], 0)
            for m, starts in zip(written.midi, written.starts, strict=True)
        ]
    )
    return _Costs(right, wrong, wrong_pitch, extra, extra_pitch, drop)


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


def _read_path(
    written: Written,
    events: Events,
    expected: Expectation,
    costs: _Costs,
    path: list[tuple[int, int]],
    soft: dtw.Lattice,
) -> tuple[list[Match], list[ExtraNote]]:
    """Turn a cheapest path into matches and extra notes."""
    posterior = dtw.diagonal_posterior(soft)
    share = np.exp(-np.logaddexp(0, costs.right - costs.wrong))
    right_p = (posterior * share).sum(axis=1)
    wrong_p = posterior.sum(axis=1) - right_p
    taken = posterior.sum(axis=0)
    place_s = expected.times_s[0]
    step = events.candidates.is_step
    matches = [
        Match(k, Verdict.MISSED, 1 - right_p[k] - wrong_p[k], None, None, place_s[k])
        for k in range(len(written.midi))
    ]
    extras = []
    for (i, j), (i2, j2) in pairwise(path):
        if i2 > i and j2 > j:
            right = costs.right[i, j] <= costs.wrong[i, j]
            midi = written.midi[i] if right else PITCHES[costs.wrong_pitch[i, j]]
            matches[i] = Match(
                i,
                Verdict.RIGHT if right else Verdict.WRONG,
                float(right_p[i] if right else wrong_p[i]),
                float(events.times_s[j]),
                int(midi),
                float(place_s[i]),
                bool(step[j]),
            )
        elif j2 > j and costs.extra[i, j] < costs.drop[i, j]:
            share_extra = 1 / (1 + np.exp(costs.extra[i, j] - costs.drop[i, j]))
            extras.append(
                ExtraNote(
                    float(events.times_s[j]),
                    int(PITCHES[costs.extra_pitch[i, j]]),
                    float((1 - min(taken[j], 1)) * share_extra),
                    bool(step[j]),
                )
            )
    return matches, extras


def make_pass(
    written: Written, matches: list[Match], extras: list[ExtraNote], span_s: Span
) -> Pass:
    """Close a pass: what was not played to is not missed, what is outside not extra."""
    played = [m.index for m in matches if m.time_s is not None]
    first, last = (played[0], played[-1]) if played else (0, -1)
    unreached = set(range(first)) if first >= UNREACHED_NOTES else set()
    if len(matches) - 1 - last >= UNREACHED_NOTES:
        unreached |= set(range(last + 1, len(matches)))
    closed = tuple(
        Match(m.index, Verdict.UNSURE, 1.0, None, None, m.expected_s)
        if m.index in unreached
        else m
        for m in matches
    )
    ratio = _ratio(written, closed)
    counted = [e for e in extras if _counts(e, closed, written, ratio)]
    inside = tuple(e for e in counted if not _heard_twice(e, counted))
    return Pass(closed, inside, 1 / ratio, not unreached, span_s)


def _ratio(written: Written, matches: tuple[Match, ...]) -> float:
    """Played seconds per written second, median over matched notes."""
    timed = [m for m in matches if m.time_s is not None]
    if len(timed) < 2:
        return 1.0
    index = [m.index for m in timed]
    return fit_tempo(
        written.onset_s[index], np.array([m.time_s for m in timed], float)
    ).ratio


def _heard_twice(extra: ExtraNote, extras: list[ExtraNote]) -> bool:
    """Say whether a surer extra note of the same pitch begins at about this time."""
    return any(
        other.midi_number == extra.midi_number
        and abs(other.time_s - extra.time_s) < TWICE_S
        and (other.probability, other.time_s) > (extra.probability, extra.time_s)
        for other in extras
    )


def _counts(
    extra: ExtraNote, matches: tuple[Match, ...], written: Written, ratio: float
) -> bool:
    """Say whether an extra note lies inside the pass and beside no matched one."""
    times_s = [m.time_s for m in matches if m.time_s is not None]
    if not times_s:
        return False
    last = max(m.index for m in matches if m.time_s is not None)
    held_s = ratio * (written.end_s[last] - written.onset_s[last])
    if not times_s[0] - 0.06 < extra.time_s < times_s[-1] + held_s:
        return False
    return not any(-0.04 < extra.time_s - t < 0.035 for t in times_s)
