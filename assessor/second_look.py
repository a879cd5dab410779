"""Every doubtful place heard again, knowing what was expected there.

The first hearing weighs all pitches alike.  Here one question is put to the sound:
do the partials of *this* pitch, those that no ringing or following note shares, grow
at *this* moment?  Notes that were really struck grow 25 to 43 dB there, absent ones
less than 7 (measured on the bench, see benchmarks/).

In order: listen for an attack where a doubtful note is due and warp again; read wrong
notes again; check that right notes settle where they are written; and judge what may be
an extra note, and every note that nothing was matched to.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from assessor import judging
from assessor.alignment import (
    TOUCHING_S,
    UNSURE_BELOW,
    Alignment,
    ExtraNote,
    Match,
    Pass,
    Verdict,
    calibrated,
    close_pass,
    make_pass,
    refit,
)
from assessor.attack import hidden_rise
from assessor.evidence import BoolArray, Candidates
from assessor.frames import (
    FRAME_HOP_S,
    Float32Array,
)
from assessor.growth import Growth, fall_db, partial_growth
from assessor.judging import Question, Scene
from assessor.kernels import PITCHES
from assessor.lick.notation import Articulation, Lick
from assessor.onset import Events, weigh
from assessor.spectrum import Spectrum
from assessor.tuning import FloatArray
from assessor.warp import Written, closely, weigh_notes

DOUBTFUL = 0.3  # a right note with less evidence than this is heard again
LISTEN_S = 0.045  # around the place where a note is due
STRUCK_DB = 3.0  # error of prediction over its floor
STEP_WORTH_HEARING = 0.12
TAKEN_BACK_BELOW = 0.3  # probability of having been missed
PLACED_DB = 10.0  # growth plus peak where a note taken back was played
SHORT_S = 0.085  # a following note this near is in the window too
STRAY = 6  # semitones to each side in which a slid or bent note is looked for
NO_ODD_DB = -35.0  # odd partials weaker than this are not there
CLICK_FALL_DB = 18.0  # a knock falls by more than this in 55 ms, a note by less


@dataclass(frozen=True)
class _Ear:
    """What all the looks at one pass share."""

    spectrum: Spectrum
    written: Written
    slurred: BoolArray

    @classmethod
    def of(cls, lick: Lick, transposition: int, spectrum: Spectrum) -> _Ear:
        """The lick where the take plays it, and the sound."""
        slurs = (Articulation.HAMMER_ON, Articulation.PULL_OFF)
        slurred = np.array([n.articulation in slurs for n in lick.notes])
        return cls(spectrum, Written.of(lick, transposition), slurred)


def confirm(
    alignment: Alignment, lick: Lick, events: Events, spectrum: Spectrum
) -> Alignment:
    """Hear every doubtful place of every pass again."""
    ear = _Ear.of(lick, alignment.transposition, spectrum)
    passes = tuple(_confirm_pass(ear, events, found) for found in alignment.passes)
    best = min(range(len(passes)), key=lambda i: passes[i].faults)
    return replace(alignment, passes=passes, best=best)


def doubts(
    alignment: Alignment, lick: Lick, events: Events, spectrum: Spectrum
) -> list[tuple[Scene, Pass]]:
    """Each pass as it is when its missed and extra notes come to be judged."""
    ear = _Ear.of(lick, alignment.transposition, spectrum)
    return [_heard_again(ear, events, found) for found in alignment.passes]


def _confirm_pass(ear: _Ear, events: Events, found: Pass) -> Pass:
    """All looks at one pass."""
    scene, found = _heard_again(ear, events, found)
    matches = [_judged(scene, match) for match in found.matches]
    taken_back = [
        new
        for new, old in zip(matches, found.matches, strict=True)
        if new.time_s is not None and old.time_s is None
    ]
    extras = [
        extra
        for extra in _judged_extras(scene, found)
        if not any(_is_same(extra, match) for match in taken_back)
    ]
    span_s = found.span_s
    return close_pass(ear.written, matches, extras, span_s, beside_s=TOUCHING_S)


def _heard_again(ear: _Ear, events: Events, found: Pass) -> tuple[Scene, Pass]:
    """Listen where notes are due, and read doubtful pitches again."""
    found, near = _listen_where_due(ear, events, found)
    matches = list(found.matches)
    if refit(ear.written, found) is not None:
        starts_s = np.sort(
            [m.time_s for m in matches if m.time_s is not None]
            + [e.time_s for e in found.extras]
        )
        matches = [_read_again(ear, matches, m, starts_s) for m in matches]
        matches = [_steady_checked(ear, matches, m, starts_s) for m in matches]
    found = calibrated(replace(found, matches=tuple(matches)))
    scene = Scene(ear.spectrum, ear.written, ear.slurred, near, found.matches)
    return scene, found


# ------------------------------------------------------- listen where it is due


def _listen_where_due(ear: _Ear, events: Events, found: Pass) -> tuple[Pass, Events]:
    """Add events where doubtful notes are due, then warp again."""
    near = events.between(*found.span_s)
    fit = refit(ear.written, found)
    if fit is None:
        return found, near
    due_s = fit.at(ear.written.onset_s)
    heard = [
        candidate
        for match in found.matches
        if _is_doubtful(ear, near, match)
        for candidate in _heard_at(ear, near, match, float(due_s[match.index]))
    ]
    if not heard:
        return found, near
    times_s, is_step, depth_db = map(np.array, zip(*heard, strict=True))
    order = np.argsort(times_s, kind="stable")
    added = Candidates(times_s[order], is_step[order], depth_db[order])
    merged = near.candidates.merged_with(added)
    expected_only = np.isin(merged.times_s, times_s)
    expected_only &= ~np.isin(merged.times_s, near.times_s)
    near = weigh(ear.spectrum, merged, expected_only)
    lattice = weigh_notes(ear.written, near, due_s)
    fit = lattice.fit(closely(ear.written, fit)) or fit
    expected = closely(ear.written, fit)
    warped = lattice.warp(expected)
    return make_pass(ear.written, near, warped, expected, found.span_s), near


def _is_doubtful(ear: _Ear, near: Events, match: Match) -> bool:
    """Say whether a note was missed, or is right on little evidence."""
    if match.time_s is None:
        return match.verdict is Verdict.MISSED
    if match.verdict is not Verdict.RIGHT:
        return False
    event = int(np.searchsorted(near.times_s, match.time_s))
    column = 1 + ear.written.midi[match.index] - PITCHES[0]
    return bool(near.log_probability[event, column] < np.log(DOUBTFUL))


def _heard_at(
    ear: _Ear, near: Events, match: Match, due_s: float
) -> list[tuple[float, bool, float]]:
    """Candidates near a due time: (time, is a step, depth in dB)."""
    away_s = np.abs(near.times_s - due_s).min(initial=np.inf)
    heard = []
    k, midi = match.index, ear.written.midi
    if not (k and midi[k - 1] == midi[k]):  # a ringing pitch predicts itself
        rise = hidden_rise(ear.spectrum, due_s - LISTEN_S, due_s + LISTEN_S)
        if rise is not None and rise.strength_db > STRUCK_DB:
            apart_s = np.abs(near.times_s - rise.time_s).min(initial=np.inf)
            if apart_s > 0.006:
                heard.append((rise.time_s, False, min(rise.strength_db, 30.0)))
    if away_s > 0.03:
        step_s, contrast = _best_step(ear.spectrum, due_s, 0.04)
        if contrast > STEP_WORTH_HEARING:
            heard.append((step_s, True, 0.0))
    return heard


def _best_step(
    spectrum: Spectrum, around_s: float, reach_s: float
) -> tuple[float, float]:
    """Time and contrast of the clearest pitch step near a time."""
    low = max(int((around_s - reach_s) / FRAME_HOP_S), 0)
    part = spectrum.pitch_step[low : int((around_s + reach_s) / FRAME_HOP_S) + 1]
    if not len(part):
        return around_s, 0.0
    best = int(part.argmax())
    return (low + best) * FRAME_HOP_S, float(part[best])


# ------------------------------------------------------------ growth of partials


def _sounding(ear: _Ear, matches: list[Match], index: int, time_s: float) -> list[int]:
    """Pitches of three notes before and of those that follow within `SHORT_S`."""
    before = range(max(index - 3, 0), index)
    after = range(index + 1, min(index + 3, len(matches)))
    soon = [
        i
        for i in after
        if (matches[i].time_s or matches[i].expected_s) < time_s + SHORT_S
    ]
    return [_pitch(ear, matches[i]) for i in (*before, *soon)]


def _pitch(ear: _Ear, match: Match) -> int:
    """Pitch heard, or written when nothing was heard."""
    if match.midi_number is None:
        return int(ear.written.midi[match.index])
    return match.midi_number


# ------------------------------------------------------------------- the looks


def _judged(scene: Scene, match: Match) -> Match:
    """A missed note with its true probability: below half not missed after all."""
    if match.verdict is not Verdict.MISSED:
        return match
    missed = judging.probability(Question.MISSED, judging.describe_missed(scene, match))
    if missed >= UNSURE_BELOW:
        return replace(match, probability=missed)
    if missed < TAKEN_BACK_BELOW and (place := _place(scene, match)):
        return replace(
            match,
            verdict=Verdict.RIGHT,
            probability=1 - missed,
            time_s=place[0],
            midi_number=int(scene.written.midi[match.index]),
            is_step=place[1],
        )
    return replace(match, verdict=Verdict.UNSURE, probability=1 - missed)


def _place(scene: Scene, match: Match) -> tuple[float, bool] | None:
    """When a note that nothing was matched to was played, and whether by a step.

    None where its partials grow nowhere near its place.
    """
    index, pitch = match.index, int(scene.written.midi[match.index])
    due_s, (low_s, high_s) = scene.due_s(index), scene.room_s(index)
    before = scene.midi[max(index - 3, 0) : index].tolist()
    best = None
    for offset_s in _SLURRED_OFFSETS_S if scene.slurred[index] else _OFFSETS_S:
        now_s = due_s + float(offset_s)
        if low_s + 0.03 <= now_s <= high_s - 0.03:
            growth = partial_growth(scene.spectrum, now_s, pitch, before)
            if growth and (best is None or growth.total_db > best[0]):
                best = (growth.total_db, due_s + 0.8 * float(offset_s))
    if best is None or best[0] < PLACED_DB:
        return None
    return _sharpen(scene.spectrum, best[1])


_OFFSETS_S = np.array([-0.04, -0.02, 0.0, 0.02, 0.04])
_SLURRED_OFFSETS_S = np.arange(-4, 5) * 0.025


def _sharpen(spectrum: Spectrum, around_s: float) -> tuple[float, bool]:
    """The attack or pitch step nearest to a rough time, and whether it is a step."""
    rise = hidden_rise(spectrum, around_s - LISTEN_S, around_s + LISTEN_S)
    if rise is not None and rise.strength_db > 4:
        return rise.time_s, False
    step_s, contrast = _best_step(spectrum, around_s, 0.035)
    return (step_s, True) if contrast > 0.15 else (around_s, True)


def _judged_extras(scene: Scene, found: Pass) -> list[ExtraNote]:
    """Extra notes and what may be some, each with its true probability."""
    doubtful = sorted([*found.extras, *found.faint], key=lambda e: e.time_s)
    judged = [
        replace(
            extra,
            probability=judging.probability(
                Question.EXTRA, judging.describe_extra(scene, extra)
            ),
        )
        for extra in doubtful
    ]
    return [extra for extra in judged if extra.probability >= UNSURE_BELOW]


def _is_same(extra: ExtraNote, taken_back: Match) -> bool:
    """Say whether an extra note is a note that was taken back."""
    away_s = abs(float(taken_back.time_s or 0) - extra.time_s)
    return taken_back.midi_number == extra.midi_number and away_s < 0.05


def _read_again(
    ear: _Ear, matches: list[Match], match: Match, starts_s: FloatArray
) -> Match:
    """A wrong note may be a knock, the right note after all, or an octave lower."""
    if match.verdict is not Verdict.WRONG or match.time_s is None:
        return match
    written, heard = int(ear.written.midi[match.index]), _pitch(ear, match)
    ringing = _sounding(ear, matches, match.index, match.time_s)
    far = abs(heard - written) > 7 and _room_after(starts_s, match) > 0.11
    if far and fall_db(ear.spectrum, match.time_s, heard) > CLICK_FALL_DB:
        return Match(
                match.index, Verdict.MISSED, match.probability, None, None,
                match.expected_s,
            )  # fmt: skip

    def look(midi_number: int, others: list[int]) -> Growth | None:
        return partial_growth(ear.spectrum, match.time_s or 0, midi_number, others)

    as_written, as_heard = look(written, [*ringing, heard]), look(heard, ringing)
    better = as_written and as_heard and as_written.total_db > as_heard.total_db
    if as_written and better and as_written.grown_db > 10 and as_written.peaked_db > 8:
        return replace(match, verdict=Verdict.RIGHT, midi_number=written)
    below = look(heard - 12, [*ringing, heard])
    if below and below.grown_db > 12 and below.peaked_db > 8 and below.level_db > -12:
        verdict = Verdict.RIGHT if heard - 12 == written else Verdict.WRONG
        return replace(match, verdict=verdict, midi_number=heard - 12)
    return match


def _room_after(starts_s: FloatArray, match: Match) -> float:
    """Seconds until anything else begins."""
    now_s = match.time_s or 0.0
    later_s = starts_s[np.searchsorted(starts_s, now_s, "right") :]
    return float(later_s[0]) - now_s if len(later_s) else np.inf


def _steady_checked(
    ear: _Ear, matches: list[Match], match: Match, starts_s: FloatArray
) -> Match:
    """A right note whose sound settles elsewhere than written is a wrong one."""
    if match.verdict is not Verdict.RIGHT or ear.written.dead[match.index]:
        return match
    time_s = float(match.time_s or 0)
    room_s = min(_room_after(starts_s, match), 0.5)
    if room_s < 0.08:
        return match
    lead_s = 0.045 if room_s > 0.12 else 0.03
    low = round((time_s + lead_s) / FRAME_HOP_S)
    high = max(round((time_s + room_s - 0.025) / FRAME_HOP_S), low + 1)
    salience = ear.spectrum.salience[low:high].astype(np.float32)
    column = _pitch(ear, match) - PITCHES[0]
    if not len(salience) or not STRAY <= column < len(PITCHES) - STRAY:
        return match
    if len(ear.written.starts[match.index]) > 1:
        return _arrived(ear, match, salience, column)
    short = room_s < 0.1
    for away in _suspects(salience.mean(axis=0), column):
        if _sits(ear, matches, match, away, short=short):
            midi_number = _pitch(ear, match) + away
            return replace(match, verdict=Verdict.WRONG, midi_number=midi_number)
    return match


def _arrived(ear: _Ear, match: Match, salience: Float32Array, column: int) -> Match:
    """A slide must reach the written pitch, and a bend must leave it.

    Where neither happens, one other pitch was played from beginning to end.
    """
    near = salience[:, column - STRAY : column + STRAY + 1].argmax(axis=1) - STRAY
    if len(near) < 5 or (near != near[0]).any() or near[0] == 0:
        return match
    allowed = ear.written.starts[match.index]
    held = allowed.get(int(near[0]), 1.0) == 0.0  # a pre-bend that is not released
    if held:
        return match
    midi_number = _pitch(ear, match) + int(near[0])
    return replace(match, verdict=Verdict.WRONG, midi_number=midi_number)


def _suspects(salience: Float32Array, column: int) -> list[int]:
    """The semitone beside, and the octave, where they explain the sound as well."""
    beside = max((-1, 1), key=lambda step: salience[column + step])
    suspects = [beside] if salience[column + beside] > salience[column] else []
    octave = column + 12
    if octave < len(salience) and salience[octave] > salience[column]:
        suspects.append(12)
    return suspects


def _sits(
    ear: _Ear, matches: list[Match], match: Match, away: int, *, short: bool
) -> bool:
    """Say whether the sound sits so many semitones from where it is thought to."""
    time_s, midi = float(match.time_s or 0), _pitch(ear, match)
    if away == 12:
        # an octave higher has no partial of its own; the written pitch has its odd ones
        odd = partial_growth(ear.spectrum, time_s, midi, [midi + 12], short=short)
        return odd is not None and odd.level_db < NO_ODD_DB and odd.peaked_db < 3
    here = partial_growth(ear.spectrum, time_s, midi, [], short=short)
    there = partial_growth(ear.spectrum, time_s, midi + away, [], short=short)
    if not here or not there or here.peaked_db >= 3 or there.peaked_db <= 6:
        return False
    ringing = _sounding(ear, matches, match.index, time_s)[-2:]
    return midi + away not in ringing or here.grown_db < 6
