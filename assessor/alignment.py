"""Where in a take the lick was played, pass by pass and note by note.

Each pass found by voting is warped onto the events around it, first where voting
puts its notes, then at the player's own tempo, then as tightly as the player plays.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from assessor import passes
from assessor.errors import AlignmentError
from assessor.lick.notation import Lick
from assessor.onset import Events
from assessor.tuning import FloatArray
from assessor.warp import (
    BAND_S,
    LEAST_FIT_NOTES,
    Expectation,
    TempoFit,
    Warped,
    Written,
    closely,
    fit_tempo,
    weigh_notes,
)

Span = tuple[float, float]

# Of the lick; with less than this right in every pass it is another one.
LEAST_RIGHT_SHARE, MOVED_RIGHT_SHARE = 0.4, 0.6
LIKELY_TEMPO_RATIOS = (0.6, 1.4)
# Faults allowed for each right note: as many; fewer where chance has more room.
ODD_TEMPO_FAULTS = 0.85
MOVED_FAULTS = 0.5
FREE_CELLS = 30_000  # notes times events; longer takes must be found by voting
FREE_RIGHT_SHARE = 0.6  # order alone proves less
TWICE_S = 0.06  # nobody plays one pitch twice this near
# An event this long before or after a matched note is that note, heard twice.
BESIDE_S = (0.04, 0.035)
TOUCHING_S = (0.018, 0.018)  # it cannot be another, however closely one listens
# From the warp's own log odds that a note is right to true ones, (slope, offset):
# logistic calibration (Platt 1999) on the training phrases; benchmarks/trust.py prints
# the reliability.
CALIBRATION = (1.29, 2.75)
UNSURE_BELOW = 0.5  # probability of a fault that is not reported as one
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
    faint : tuple of ExtraNote
        Events that may be extra notes: worth a second look, counted nowhere.
    """

    matches: tuple[Match, ...]
    extras: tuple[ExtraNote, ...]
    tempo_ratio: float
    complete: bool
    span_s: tuple[float, float]
    faint: tuple[ExtraNote, ...] = ()

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


def align(lick: Lick, events: Events) -> Alignment:
    """Find every pass of a lick in a take and warp it onto the events.

    Raises
    ------
    AlignmentError
        When the take does not hold the lick.
    """
    if not len(events):
        raise _not_this_lick(lick, events, [])
    plain = Written.of(lick)
    transposition, chains = passes.find(plain.onset_s, plain.midi, events)
    written = Written.of(lick, transposition)
    spans = _spans(chains, written)
    found = [
        align_pass(written, events, span, _place(chain, written))
        for chain, span in zip(chains, spans, strict=True)
    ]
    moved = transposition and not passes.is_mistuned(transposition, events.tuning_cents)
    kept = [p for p in found if _holds_lick(p, written, moved=bool(moved))]
    if not kept:
        found += _ignoring_time(plain, events)
        kept = [p for p in found if _holds_lick(p, plain, moved=False)]
    least = (MOVED_RIGHT_SHARE if moved else LEAST_RIGHT_SHARE) * len(lick)
    if max((p.right for p in kept), default=0) < least:
        raise _not_this_lick(lick, events, found)
    best = min(range(len(kept)), key=lambda i: kept[i].faults)
    return Alignment(tuple(kept), best, events.tuning_cents, transposition)


def _holds_lick(found: Pass, written: Written, *, moved: bool) -> bool:
    """Say whether a pass is the lick and not something like it.

    By chance a third of some other lick fits, more of it at an odd tempo or in
    another place of the neck (takes held against licks of other takes).  One pitch
    again and again, as of a metronome, is no lick of several.
    """
    reached = [m for m in found.matches if m.verdict is not Verdict.UNSURE]
    faults = len(reached) - found.right + len(found.extras)
    slow, fast = LIKELY_TEMPO_RATIOS
    odd = not slow <= found.tempo_ratio <= fast
    share = (ODD_TEMPO_FAULTS if odd else 1.0) * (MOVED_FAULTS if moved else 1.0)
    pitches = {m.midi_number for m in found.matches if m.verdict is Verdict.RIGHT}
    if len(pitches) < min(2, len(set(written.midi.tolist()))):
        return False
    least = min(3, len(found.matches))
    return found.right >= least and faults <= max(found.right * share, 1)


def _ignoring_time(written: Written, events: Events) -> list[Pass]:
    """The one pass of a take too uneven for voting: order alone, then its tempo."""
    if len(written.midi) * len(events) > FREE_CELLS:
        return []
    anywhere = np.linspace(0, events.times_s[-1], len(written.midi))
    lattice = weigh_notes(written, events, anywhere)
    order = lattice.warp(Expectation(written.onset_s[None], np.inf))
    fit = lattice.fit(Expectation(written.onset_s[None], np.inf))
    if fit is None or order.right.sum() < FREE_RIGHT_SHARE * len(written.midi):
        return []
    slowest, fastest = passes.TEMPO_RATIOS
    if not slowest <= 1 / fit.ratio <= fastest:
        return []
    expected = closely(written, fit)
    span_s = (float(events.times_s[0]), float(events.times_s[-1]))
    return [make_pass(written, events, lattice.warp(expected), expected, span_s)]


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


def _spans(chains: list[passes.Chain], written: Written) -> list[Span]:
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


def align_pass(
    written: Written, events: Events, span_s: Span, place_s: FloatArray
) -> Pass:
    """Warp one pass: from where voting puts the notes to the player's own tempo."""
    near = events.between(*span_s)
    lattice = weigh_notes(written, near, place_s)
    ratio = _median_slope(written.onset_s, place_s)
    scale_s = max(0.04, 0.15 * written.typical_ioi_s * ratio)
    expected = Expectation(place_s[None], scale_s, beyond=0.0)
    fit = lattice.fit(expected)
    if fit is not None:
        expected = Expectation(fit.variants(written.onset_s), scale_s)
        expected = closely(written, lattice.fit(expected) or fit)
    return make_pass(written, near, lattice.warp(expected), expected, span_s)


def refit(written: Written, found: Pass) -> TempoFit | None:
    """Tempo fit of the right notes of a pass; None with too few."""
    right = [m for m in found.matches if m.verdict is Verdict.RIGHT]
    if len(right) < LEAST_FIT_NOTES:
        return None
    played_s = np.array([m.time_s for m in right], float)
    return fit_tempo(written.onset_s[[m.index for m in right]], played_s)


def make_pass(
    written: Written,
    events: Events,
    warped: Warped,
    expected: Expectation,
    span_s: Span,
) -> Pass:
    """Give a warp its verdicts."""
    matches = [
        _match(k, written, events, warped, float(expected.times_s[0][k]))
        for k in range(len(written.midi))
    ]
    clear, faint = (
        [
            ExtraNote(
                float(events.times_s[j]), midi, p, bool(events.candidates.is_step[j])
            )
            for j, midi, p in found
        ]
        for found in (warped.extras, warped.faint)
    )
    found = close_pass(written, matches, clear, span_s)
    every = sorted([*clear, *faint], key=lambda e: e.time_s)
    doubtful = close_pass(written, matches, every, span_s, beside_s=TOUCHING_S).extras
    return replace(found, faint=tuple(e for e in doubtful if e not in found.extras))


def _match(
    k: int, written: Written, events: Events, warped: Warped, expected_s: float
) -> Match:
    """Verdict on note k: no fault where its pitch cannot be heard."""
    event = int(warped.event[k])
    if written.unheard[k] or (written.dead[k] and event < 0):
        return Match(k, Verdict.UNSURE, 1.0, None, None, expected_s)
    right_p = float(warped.right_probability[k])
    wrong_p = float(warped.wrong_probability[k])
    if event < 0:
        missed_p = 1 - right_p - wrong_p
        return Match(k, Verdict.MISSED, missed_p, None, None, expected_s)
    right = bool(warped.right[k])
    midi_number = int(warped.midi[k])
    if written.dead[k]:
        right, right_p, midi_number = True, right_p + wrong_p, int(written.midi[k])
    return Match(
        k,
        Verdict.RIGHT if right else Verdict.WRONG,
        right_p if right else wrong_p,
        float(events.times_s[event]),
        midi_number,
        expected_s,
        bool(events.candidates.is_step[event]),
    )


def close_pass(
    written: Written,
    matches: list[Match],
    extras: list[ExtraNote],
    span_s: Span,
    *,
    beside_s: Span = BESIDE_S,
) -> Pass:
    """Close a pass: what was not played to is not missed, what is outside not extra.

    `beside_s` is how near before and after a matched note nothing else can begin.
    """
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
    counted = [e for e in extras if _counts(e, closed, written, ratio, beside_s)]
    inside = tuple(e for e in counted if not _heard_twice(e, counted))
    return Pass(closed, inside, 1 / ratio, not unreached, span_s)


def _ratio(written: Written, matches: tuple[Match, ...]) -> float:
    """Played seconds per written second, by the matched notes."""
    timed = [m for m in matches if m.time_s is not None]
    played_s = np.array([m.time_s for m in timed], float)
    return _median_slope(written.onset_s[[m.index for m in timed]], played_s)


def _median_slope(written_s: FloatArray, played_s: FloatArray) -> float:
    """Median slope from each note to the second after it; 1 with fewer than two notes.

    Between neighbours it would follow a feel other than the written one.
    """
    if len(written_s) < 2:
        return 1.0
    reach = min(2, len(written_s) - 1)
    apart_s = written_s[reach:] - written_s[:-reach]
    took_s = played_s[reach:] - played_s[:-reach]
    return max(float(np.median(took_s / apart_s)), 0.01)


def _heard_twice(extra: ExtraNote, extras: list[ExtraNote]) -> bool:
    """Say whether a surer extra note of the same pitch begins at about this time."""
    return any(
        other.midi_number == extra.midi_number
        and abs(other.time_s - extra.time_s) < TWICE_S
        and (other.probability, other.time_s) > (extra.probability, extra.time_s)
        for other in extras
    )


def _counts(
    extra: ExtraNote,
    matches: tuple[Match, ...],
    written: Written,
    ratio: float,
    beside_s: Span,
) -> bool:
    """Say whether an extra note lies inside the pass and beside no matched one."""
    timed = [m for m in matches if m.time_s is not None]
    if not timed:
        return False
    first_s, last_s = float(timed[0].time_s or 0), float(timed[-1].time_s or 0)
    last = timed[-1].index
    held_s = ratio * (written.end_s[last] - written.onset_s[last])
    if not first_s - 0.06 < extra.time_s < last_s + held_s:
        return False
    before_s, after_s = beside_s
    for match in timed:
        away_s = extra.time_s - float(match.time_s or 0)
        same = match.midi_number == extra.midi_number
        if -before_s < away_s < after_s or (same and abs(away_s) < TWICE_S):
            return False
    return True


def calibrated(match: Match) -> Match:
    """Give a right note its true probability."""
    if match.verdict is not Verdict.RIGHT:
        return match
    slope, offset = CALIBRATION
    inside = min(max(match.probability, 1e-4), 1 - 1e-6)
    odds = slope * np.log(inside / (1 - inside)) + offset
    return replace(match, probability=float(1 / (1 + np.exp(-odds))))
