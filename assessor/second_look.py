"""Every doubtful place heard again, knowing what was expected there.

The first hearing weighs all pitches alike.  Here one question is put to the sound:
do the partials of *this* pitch, those that no ringing or following note shares, grow
at *this* moment?  Notes that were really struck grow 25 to 43 dB there, absent ones
less than 7 (measured on the bench, see benchmarks/).

In order: listen for an attack where a doubtful note is due and warp again; take back
missed notes that grew; drop extra notes that did not; read wrong notes again; and
check that right notes settle where they are written.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from assessor.alignment import (
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
from assessor.attack import attack_db, hidden_rise
from assessor.evidence import Candidates
from assessor.frames import (
    FRAME_HOP_S,
    Float32Array,
)
from assessor.growth import Growth, fall_db, partial_growth
from assessor.kernels import PITCHES
from assessor.lick.notation import Articulation, Lick
from assessor.onset import Events, weigh
from assessor.spectrum import Spectrum
from assessor.warp import Written, closely, weigh_notes

DOUBTFUL = 0.3  # a right note with less evidence than this is heard again
LISTEN_S = 0.045  # around the place where a note is due
STRUCK_DB = 3.0  # error of prediction over its floor
STEP_WORTH_HEARING = 0.12
GROWN_DB, PEAKED_DB = 10.0, 6.0  # for a missed note to be taken back
EXTRA_GROWN_DB, EXTRA_PEAKED_DB = 4.0, 3.0  # for an extra note to stay
SHORT_S = 0.085  # a following note this near is in the window too
TELLING_DB = -30.0  # unshared partials weaker than this are no evidence
RESTRUCK_DB = 6.0  # attack of an extra note of a pitch that still rings
STRAY = 6  # semitones to each side in which a slid or bent note is looked for
NO_ODD_DB = -35.0  # odd partials weaker than this are not there
CLICK_FALL_DB = 18.0  # a knock falls by more than this in 55 ms, a note by less


@dataclass(frozen=True)
class _Ear:
    """What all the looks at one pass share."""

    spectrum: Spectrum
    written: Written
    slurred: tuple[bool, ...]


def confirm(
    alignment: Alignment, lick: Lick, events: Events, spectrum: Spectrum
) -> Alignment:
    """Hear every doubtful place of every pass again."""
    slurs = (Articulation.HAMMER_ON, Articulation.PULL_OFF)
    ear = _Ear(
        spectrum,
        Written.of(lick, alignment.transposition),
        tuple(n.articulation in slurs for n in lick.notes),
    )
    passes = tuple(
        calibrated(_confirm_pass(ear, events, found)) for found in alignment.passes
    )
    best = min(range(len(passes)), key=lambda i: passes[i].faults)
    return replace(alignment, passes=passes, best=best)


def _confirm_pass(ear: _Ear, events: Events, found: Pass) -> Pass:
    """All looks at one pass."""
    found = _listen_where_due(ear, events, found)
    if refit(ear.written, found) is None:
        return found
    matches = _take_back_missed(ear, found)
    extras = [e for e in found.extras if _is_note(ear, matches, found.matches, e)]
    matches = [_read_again(ear, matches, m) for m in matches]
    matches = [_steady_checked(ear, matches, m) for m in matches]
    return close_pass(ear.written, matches, extras, found.span_s)


# ------------------------------------------------------- listen where it is due


def _listen_where_due(ear: _Ear, events: Events, found: Pass) -> Pass:
    """Add events where doubtful notes are due, then warp again."""
    fit = refit(ear.written, found)
    if fit is None:
        return found
    near = events.between(*found.span_s)
    due_s = fit.at(ear.written.onset_s)
    heard = [
        candidate
        for match in found.matches
        if _is_doubtful(ear, near, match)
        for candidate in _heard_at(ear, near, match, float(due_s[match.index]))
    ]
    if not heard:
        return found
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
    return make_pass(ear.written, near, warped, expected, found.span_s)


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


def _take_back_missed(ear: _Ear, found: Pass) -> list[Match]:
    """Missed notes whose partials grew were played."""
    matches = list(found.matches)
    for match in found.matches:
        if match.verdict is Verdict.MISSED and match.time_s is None:
            matches[match.index] = _look_for(ear, list(found.matches), match)
    return matches


def _look_for(ear: _Ear, matches: list[Match], match: Match) -> Match:
    """Try moments around a missed note's place; two must show it."""
    k, midi = match.index, int(ear.written.midi[match.index])
    timed = [m for m in matches if m.time_s is not None]
    if k and _pitch(ear, matches[k - 1]) == midi:
        return match
    near = sorted(timed, key=lambda m: abs(m.index - k))[:2]
    lag_s = np.mean([float(m.time_s or 0) - m.expected_s for m in near])
    due_s = match.expected_s + float(lag_s)
    low = max((m.time_s or 0 for m in timed if m.index < k), default=-1.0)
    high = min((m.time_s or 0 for m in timed if m.index > k), default=np.inf)
    offsets = np.arange(-0.1, 0.101, 0.025) if ear.slurred[k] else _OFFSETS_S
    seen: list[tuple[float, float]] = []
    for offset_s in offsets:
        time_s = due_s + float(offset_s)
        if not low + 0.03 <= time_s <= high - 0.03:
            continue
        ringing = _sounding(ear, matches, k, time_s + 0.02)
        growth = partial_growth(ear.spectrum, time_s, midi, ringing)
        if growth and growth.grown_db > GROWN_DB and growth.peaked_db > PEAKED_DB:
            seen.append((growth.total_db, due_s + 0.8 * float(offset_s)))
    if len(seen) < 2:
        return match
    time_s, is_step = _sharpen(ear.spectrum, max(seen)[1])
    return replace(
        match,
        verdict=Verdict.RIGHT,
        probability=TAKEN_BACK,
        time_s=time_s,
        midi_number=midi,
        is_step=is_step,
    )


_OFFSETS_S = np.array([-0.04, -0.02, 0.0, 0.02, 0.04])
TAKEN_BACK = 0.9  # share of notes taken back that were really played, on the bench


def _sharpen(spectrum: Spectrum, around_s: float) -> tuple[float, bool]:
    """The attack or pitch step nearest to a rough time, and whether it is a step."""
    rise = hidden_rise(spectrum, around_s - LISTEN_S, around_s + LISTEN_S)
    if rise is not None and rise.strength_db > 4:
        return rise.time_s, False
    step_s, contrast = _best_step(spectrum, around_s, 0.035)
    return (step_s, True) if contrast > 0.15 else (around_s, True)


def _is_note(
    ear: _Ear, matches: list[Match], before: tuple[Match, ...], extra: ExtraNote
) -> bool:
    """Say whether an extra note grew, and is not a note just taken back."""
    for new, old in zip(matches, before, strict=True):
        taken_back = old.time_s is None and new.time_s is not None
        same = taken_back and new.midi_number == extra.midi_number
        if same and abs(float(new.time_s or 0) - extra.time_s) < 0.05:
            return False
    timed = [m for m in matches if m.time_s is not None]
    earlier = [m for m in timed if float(m.time_s or 0) < extra.time_s][-3:]
    soon = [m for m in timed if 0 < float(m.time_s or 0) - extra.time_s < SHORT_S]
    again = extra.midi_number in [_pitch(ear, m) for m in earlier[-2:]]
    if again and attack_db(ear.spectrum, extra.time_s) > RESTRUCK_DB:
        return True  # struck while it rings: its partials cannot grow much
    short = bool(soon)
    ringing = [_pitch(ear, m) for m in (*earlier, *soon)]
    growth = partial_growth(
        ear.spectrum, extra.time_s, extra.midi_number, ringing, short=short
    )
    if growth is None or growth.level_db < TELLING_DB:
        # an overtone of what rings: what is left unshared says nothing
        growth = partial_growth(
            ear.spectrum, extra.time_s, extra.midi_number, [], short=short
        )
    margin = 2.0 * short
    return growth is None or (
        growth.grown_db > EXTRA_GROWN_DB + margin
        and growth.peaked_db > EXTRA_PEAKED_DB + margin
    )


def _read_again(ear: _Ear, matches: list[Match], match: Match) -> Match:
    """A wrong note may be a knock, the right note after all, or an octave lower."""
    if match.verdict is not Verdict.WRONG or match.time_s is None:
        return match
    written, heard = int(ear.written.midi[match.index]), _pitch(ear, match)
    ringing = _sounding(ear, matches, match.index, match.time_s)
    far = abs(heard - written) > 7 and _room_after(matches, match) > 0.11
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


def _room_after(matches: list[Match], match: Match) -> float:
    """Seconds until the next matched note."""
    now = match.time_s or 0.0
    later = [m.time_s - now for m in matches if m.time_s and m.time_s > now]
    return min(later, default=np.inf)


def _steady_checked(ear: _Ear, matches: list[Match], match: Match) -> Match:
    """A right note whose sound settles elsewhere than written is a wrong one."""
    if match.verdict is not Verdict.RIGHT or ear.written.dead[match.index]:
        return match
    time_s = float(match.time_s or 0)
    room_s = min(_room_after(matches, match), 0.5)
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
