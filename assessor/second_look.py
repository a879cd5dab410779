"""Every doubtful place heard again, knowing what was expected there.

The first hearing weighs all pitches alike.  Here it is known which note is due where.
In order: listen for an attack where a doubtful note is due, and warp again; judge which
pitch a doubtful note has; judge the notes that nothing was matched to, and what may be
an extra one (`judging`).
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
from assessor.growth import partial_growth
from assessor.judging import Question, Scene
from assessor.kernels import PITCHES
from assessor.lick.notation import Articulation, Lick
from assessor.onset import Events, weigh
from assessor.spectrum import Spectrum
from assessor.warp import Written, closely, weigh_notes

DOUBTFUL = 0.3  # a right note with less evidence than this is heard again
LISTEN_S = 0.045  # around the place where a note is due
STRUCK_DB = 3.0  # error of prediction over its floor
STEP_WORTH_HEARING = 0.12
TAKEN_BACK_BELOW = 0.3  # probability of having been missed
PLACED_DB = 10.0  # growth plus peak where a note taken back was played
SURE = 0.9  # a right note with less evidence may have another pitch
NOTHING = 0.15  # with no pitch as likely as this nothing was played
SETTLING_S = 0.08  # a shorter note never settles
# Around the place of a note taken back; a slur comes less on time.
OFFSETS_S = np.array([-0.04, -0.02, 0.0, 0.02, 0.04])
SLURRED_OFFSETS_S = np.arange(-4, 5) * 0.025
ARRIVED_FRAMES = 4
STAYED = 0.95  # share of a note's salience in one other pitch: it never moved
STRAY = 6  # semitones to each side in which a slid or bent note is looked for


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


@dataclass(frozen=True)
class Doubts:
    """A pass on the way through the second look.

    Attributes
    ----------
    listened : Scene
        Before doubtful pitches are judged.
    read : Scene
        After that, before missed and extra notes are.
    found : Pass
        As `read` shows it.
    """

    listened: Scene
    read: Scene
    found: Pass


def doubts(
    alignment: Alignment, lick: Lick, events: Events, spectrum: Spectrum
) -> list[Doubts]:
    """Each pass as it comes to be judged; what nets learn from."""
    ear = _Ear.of(lick, alignment.transposition, spectrum)
    return [_doubts(ear, events, found) for found in alignment.passes]


def _confirm_pass(ear: _Ear, events: Events, found: Pass) -> Pass:
    """All looks at one pass."""
    doubts = _doubts(ear, events, found)
    scene, found = doubts.read, doubts.found
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


def _doubts(ear: _Ear, events: Events, found: Pass) -> Doubts:
    """Listen where notes are due, then judge doubtful pitches."""
    found, near = _listen_where_due(ear, events, found)

    def scene() -> Scene:
        return Scene(
            ear.spectrum, ear.written, ear.slurred, near, found.matches, found.extras
        )

    listened = scene()
    matches = tuple(_arrived(listened, _read(listened, m)) for m in found.matches)
    found = replace(found, matches=matches)
    return Doubts(listened, scene(), found)


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


# ------------------------------------------------------------------- which pitch


def _read(scene: Scene, match: Match) -> Match:
    """The pitch of a doubtful note judged; nothing was played if none is likely."""
    pitches = possible_pitches(scene, match)
    if not pitches:
        return calibrated(match)
    chance = {
        pitch: judging.probability(
            Question.PITCH, judging.describe_pitch(scene, match, pitch)
        )
        for pitch in pitches
    }
    best = max(chance, key=lambda pitch: chance[pitch])
    if chance[best] < NOTHING:
        return Match(match.index, Verdict.MISSED, 0.5, None, None, match.expected_s)
    probability = chance[best] / max(sum(chance.values()), 1.0)
    right, unsure = best == scene.written.midi[match.index], probability < UNSURE_BELOW
    verdict = Verdict.RIGHT if right else Verdict.WRONG
    return replace(
        match,
        verdict=Verdict.UNSURE if unsure else verdict,
        midi_number=best,
        probability=1 - probability if unsure and not right else probability,
    )


def possible_pitches(scene: Scene, match: Match) -> list[int]:
    """Pitches a matched note may have; none where there is no doubt.

    The written and the heard one, the likeliest two of the event, the octave below,
    and neighbours that explain the sound better once it has settled.
    """
    if match.time_s is None or scene.written.dead[match.index]:
        return []
    written, heard = int(scene.written.midi[match.index]), int(match.midi_number or 0)
    chance = scene.events.log_probability[scene.event_at(match.time_s), 1:]
    suspects = _suspects(scene, match)
    if match.verdict is Verdict.RIGHT:
        moves = len(scene.written.starts[match.index]) > 1
        sure = chance[heard - PITCHES[0]] > np.log(SURE) and not suspects
        if moves or sure:
            return []
    likeliest = (PITCHES[np.argsort(-chance)[:2]]).tolist()
    every = {written, heard, heard - 12, *likeliest, *suspects}
    return sorted(p for p in every if PITCHES[0] <= p <= PITCHES[-1])


def _settled(scene: Scene, match: Match) -> Float32Array:
    """Salience of a note after its attack, until the next, shape=(n, pitches)."""
    now_s = float(match.time_s or 0)
    later_s = scene.starts_s[np.searchsorted(scene.starts_s, now_s, "right") :]
    room_s = min(float(later_s[0]) - now_s if len(later_s) else np.inf, 0.5)
    low = round((now_s + (0.045 if room_s > 0.12 else 0.03)) / FRAME_HOP_S)
    high = max(round((now_s + room_s - 0.025) / FRAME_HOP_S), low + 1)
    if room_s < SETTLING_S:
        high = low
    return scene.spectrum.salience[low:high].astype(np.float32)


def _suspects(scene: Scene, match: Match) -> list[int]:
    """The semitone beside, and the octave, where they explain the sound as well."""
    salience = _settled(scene, match)
    column = int(match.midi_number or 0) - PITCHES[0]
    if not len(salience) or not 0 < column < len(PITCHES) - 1:
        return []
    mean = salience.mean(axis=0)
    near = [away for away in (-1, 1, 12) if column + away < len(mean)]
    return [
        int(PITCHES[column + away])
        for away in near
        if mean[column + away] > mean[column]
    ]


def _arrived(scene: Scene, match: Match) -> Match:
    """A slide must reach the written pitch, and a bend must leave it.

    Where neither happens, one other pitch was played from beginning to end: its event
    says so and nearly all of the salience, that of the silence after it being little.
    """
    allowed = scene.written.starts[match.index]
    if match.verdict is not Verdict.RIGHT or len(allowed) == 1:
        return match
    salience, column = _settled(scene, match), int(match.midi_number or 0) - PITCHES[0]
    low = max(column - STRAY, 0)
    part = salience[:, low : column + STRAY + 1]
    if len(part) < 5:
        return match
    share = np.bincount(part.argmax(axis=1), part.max(axis=1), part.shape[1])
    stayed = int(share.argmax())
    away = stayed + low - column
    if away == 0 or share[stayed] < STAYED * share.sum():
        return match
    chance = scene.events.log_probability[scene.event_at(match.time_s or 0.0), 1:]
    if chance[column + away] < chance[column]:
        return match
    if allowed.get(away, 1.0) == 0.0:  # a pre-bend that is not released
        return match
    midi_number = int(PITCHES[column + away])
    return replace(match, verdict=Verdict.WRONG, midi_number=midi_number)


# -------------------------------------------------------- missed and extra notes


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
    for offset_s in SLURRED_OFFSETS_S if scene.slurred[index] else OFFSETS_S:
        now_s = due_s + float(offset_s)
        if low_s + 0.03 <= now_s <= high_s - 0.03:
            growth = partial_growth(scene.spectrum, now_s, pitch, before)
            if growth and (best is None or growth.total_db > best[0]):
                best = (growth.total_db, due_s + 0.8 * float(offset_s))
    if best is None or best[0] < PLACED_DB:
        return _arrival(scene, index) if scene.written.gliding[index] else None
    return _sharpen(scene.spectrum, best[1])


def _arrival(scene: Scene, index: int) -> tuple[float, bool] | None:
    """When a note that was slid into is reached: its pitch is the clearest and stays.

    Nearest to where it is due; nothing grows at once there.
    """
    room = (np.array(scene.room_s(index)) / FRAME_HOP_S).astype(int)
    column = int(scene.written.midi[index]) - PITCHES[0]
    low = max(column - STRAY, 0)
    salience = scene.spectrum.salience[slice(*room), low : column + STRAY + 1]
    there = np.append(salience.argmax(axis=1) == column - low, False)
    begun = np.flatnonzero(there & ~np.append(False, there[:-1]))
    left = np.flatnonzero(~there)
    stays = left[np.searchsorted(left, begun)] - begun >= ARRIVED_FRAMES
    reached_s = (room[0] + begun[stays]) * FRAME_HOP_S
    if not len(reached_s):
        return None
    return float(min(reached_s, key=lambda s: abs(s - scene.due_s(index)))), True


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
