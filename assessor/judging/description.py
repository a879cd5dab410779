"""What there is to be said of one doubtful finding, as numbers of about unit size.

Of each: how the warp weighed it and what the ear made of the event; whether the
partials of the pitch grow there, seen through a long and a short window, with the
partials that ringing strings share and without; how near the notes around are and in
what interval they stand to it; what the lick asks for there; how much of the sound the
pitch explains before and after; and how clear the take is as a whole.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from assessor.alignment import ExtraNote, Match, Verdict
from assessor.attack import attack_db, hidden_rise
from assessor.frames import FRAME_HOP_S, Float32Array
from assessor.growth import Growth, Moment, fall_db
from assessor.judging.scene import Scene
from assessor.kernels import PITCHES
from assessor.tuning import FloatArray

SOON_S, SOON_DUE_S = 0.085, 0.105  # a following note this near is in the window, too
LEAST_LOG = -12.0  # of a probability
OVERTONES = (12, 19, 24, 28, 31)  # semitones of partials 2 to 6
OFFSETS_S = np.arange(-3, 4) * 0.02  # around the place of a missed note
LISTEN_S = 0.045


def describe_extra(scene: Scene, extra: ExtraNote) -> Float32Array:
    """Describe an event that may be an extra note, shape=(features,)."""
    now_s, pitch = extra.time_s, extra.midi_number
    i = int(np.searchsorted(scene.times_s, now_s))
    before, after = scene.timed[max(i - 3, 0) : i][::-1], scene.timed[i : i + 2]
    gap_s = now_s - scene.times_s[i - 1] if i else 1.0
    room_s = scene.times_s[i] - now_s if i < len(scene.times_s) else 1.0
    near = [_pitch(scene, m) for m in before]
    later = scene.timed[i:]
    soon = [_pitch(scene, m) for m in later if (m.time_s or 0) - now_s < SOON_S]
    return np.concatenate(
        [
            _event(scene, extra, gap_s, room_s),
            *_growths(scene, now_s, pitch, [*near, *soon]),
            _interval(pitch, near[0] if near else None),
            _interval(pitch, near[1] if len(near) > 1 else None),
            _interval(pitch, _pitch(scene, after[0]) if after else None),
            _asked_between(scene, pitch, before[:1], after[:1]),
            [np.clip(fall_db(scene.spectrum, now_s, pitch), -10, 40) / 10],
            _explained(scene, pitch, now_s + 0.01, now_s + min(room_s, 0.09) - 0.01),
            scene.clarity,
        ]
    ).astype(np.float32)


def describe_missed(scene: Scene, match: Match) -> Float32Array:
    """Describe a note that no event was matched to, shape=(features,)."""
    index, pitch = match.index, int(scene.written.midi[match.index])
    due_s, (low_s, high_s) = scene.due_s(index), scene.room_s(index)
    before = scene.midi[max(index - 3, 0) : index][::-1].tolist()
    after = range(index + 1, min(index + 3, len(scene.matches)))
    written, last = scene.written, len(scene.matches) - 1
    asked = [
        scene.slurred[index],
        index > 0 and written.moving[index - 1],
        written.gliding[index],
        written.moving[index],
        index == 0,
        index == last,
    ]
    return np.concatenate(
        [
            [_log_odds(match.probability)],
            _log_s(due_s - low_s, high_s - due_s, high_s - low_s),
            _interval(pitch, before[0] if before else None),
            _interval(pitch, before[1] if len(before) > 1 else None),
            _interval(pitch, int(scene.midi[index + 1]) if index < last else None),
            asked,
            _best_growth(scene, match, before, after),
            _events_near(scene, pitch, due_s, 0.03),
            _events_near(scene, pitch, due_s, 0.08),
            _explained(scene, pitch, due_s - 0.02, min(due_s + 0.12, high_s)),
            _risen(scene, due_s, low_s, high_s),
            scene.clarity,
        ]
    ).astype(np.float32)


def describe_pitch(scene: Scene, match: Match, pitch: int) -> Float32Array:
    """Describe one pitch that a matched note may have, shape=(features,)."""
    now_s, index = float(match.time_s or 0), match.index
    written, heard = int(scene.written.midi[index]), int(scene.midi[index])
    rival = heard if pitch == written else written
    near = scene.midi[max(index - 3, 0) : index][::-1].tolist()
    later = scene.starts_s[np.searchsorted(scene.starts_s, now_s, "right") :]
    room_s = float(later[0]) - now_s if len(later) else 1.0
    i = int(np.searchsorted(scene.times_s, now_s, "right"))
    after = scene.timed[i : i + 2]
    soon = [_pitch(scene, m) for m in after if (m.time_s or 0) - now_s < SOON_S]
    gap_s = now_s - scene.times_s[i - 2] if i > 1 else 1.0
    events, j = scene.events, scene.event_at(now_s)
    chance = events.log_probability[j]
    column = 1 + pitch - PITCHES[0]
    other = np.delete(chance[1:], column - 1).max()
    rises_db = [events.rise_db[j], attack_db(scene.spectrum, now_s)]
    look = Moment.of(scene.spectrum, now_s)
    settled = _explained(scene, pitch, now_s + 0.045, now_s + min(room_s, 0.5) - 0.025)
    return np.concatenate(
        [
            [_log_odds(match.probability), match.verdict is Verdict.RIGHT],
            np.clip([chance[0], chance[column], other], LEAST_LOG, 0) / 4,
            [np.log(0.02 + events.flux[j])],
            np.clip(rises_db, -10, 30) / 10,
            [match.is_step, pitch == written, pitch == heard],
            _log_s(gap_s, room_s, abs(now_s - match.expected_s)),
            *_growths(scene, now_s, pitch, [*near, *soon]),
            _growth(look.growth(pitch, [*near, *soon, rival])),
            _growth(look.growth(rival, [*near, *soon])),
            _growth(look.growth(rival, [*near, *soon, pitch])),
            _interval(pitch, near[0] if near else None),
            _interval(pitch, near[1] if len(near) > 1 else None),
            _interval(pitch, _pitch(scene, after[0]) if after else None),
            _interval(pitch, rival),
            [scene.slurred[index], scene.written.moving[index]],
            [np.clip(fall_db(scene.spectrum, now_s, pitch), -10, 40) / 10],
            _explained(scene, pitch, now_s + 0.01, now_s + min(room_s, 0.09) - 0.01),
            settled[:3],
            scene.clarity,
        ]
    ).astype(np.float32)


# ----------------------------------------------------------------- the event


def _event(scene: Scene, extra: ExtraNote, gap_s: float, room_s: float) -> FloatArray:
    """Say what the ear made of an event, shape=(16,)."""
    events, now_s = scene.events, extra.time_s
    j = scene.event_at(now_s)
    heard = events.log_probability[j]
    column = 1 + extra.midi_number - PITCHES[0]
    other = np.delete(heard[1:], column - 1).max()
    log = np.clip([heard[0], heard[column], other], LEAST_LOG, 0) / 4
    edge_s = np.concatenate([[now_s - 1], events.times_s, [now_s + 1]])
    nothing = np.exp(np.pad(events.log_probability[:, 0], 1))
    return np.concatenate(
        [
            [_log_odds(extra.probability)],
            log,
            [np.log(0.02 + events.flux[j])],
            np.clip([events.rise_db[j], attack_db(scene.spectrum, now_s)], -10, 30)
            / 10,
            [extra.is_step],
            _log_s(gap_s, room_s, gap_s + room_s),
            _log_s(now_s - edge_s[j], edge_s[j + 2] - now_s),
            [nothing[j], nothing[j + 2]],
        ]
    )


def _events_near(
    scene: Scene, pitch: int, due_s: float, within_s: float
) -> Sequence[float]:
    """Say which event near a time is likeliest this pitch, shape=(5,)."""
    events = scene.events.between(due_s - within_s, due_s + within_s)
    if not len(events):
        return LEAST_LOG / 4, -0.75, 0.0, 0.0, 1.0
    heard = events.log_probability[:, 1 + pitch - PITCHES[0]]
    j = int(heard.argmax())
    away_s = np.abs(scene.times_s - events.times_s[j]).min(initial=1.0)
    return (
        max(float(heard[j]), LEAST_LOG) / 4,
        max(float(events.log_probability[j, 0]), LEAST_LOG) / 4,
        float(np.log(0.02 + events.flux[j])),
        float(np.clip(events.rise_db[j], -10, 30)) / 10,
        float(away_s < 0.003),  # another note has it
    )


# ------------------------------------------------------------ growth of partials


def _growths(
    scene: Scene, now_s: float, pitch: int, ringing: list[int]
) -> list[FloatArray]:
    """Growth at one moment: long and short windows, ringing left out and not."""
    looks = [Moment.of(scene.spectrum, now_s, short=short) for short in (False, True)]
    return [
        _growth(look.growth(pitch, others))
        for look in looks
        for others in (ringing, [])
    ]


def _growth(growth: Growth | None) -> FloatArray:
    """Numbers of a growth; zeros where nothing can be said, shape=(4,)."""
    if growth is None:
        return np.zeros(4)
    return np.array(
        [
            1.0,
            np.clip(growth.grown_db, -10, 40) / 10,
            np.clip(growth.peaked_db, -10, 40) / 10,
            np.clip(growth.level_db, -60, 0) / 20,
        ]
    )


def _best_growth(
    scene: Scene, match: Match, before: list[int], after: range
) -> FloatArray:
    """Greatest growth around the place of a missed note, shape=(19,).

    Of three ways to look (long, long with all partials, short): the best moment, the
    mean of grown plus peaked, and the second best of it.
    """
    index, pitch = match.index, int(scene.written.midi[match.index])
    due_s, (low_s, high_s) = scene.due_s(index), scene.room_s(index)
    starts = {i: scene.matches[i].time_s or scene.matches[i].expected_s for i in after}
    seen = []
    for now_s in due_s + OFFSETS_S:
        if low_s + 0.02 <= now_s <= high_s - 0.02:
            soon = [int(scene.midi[i]) for i in after if starts[i] < now_s + SOON_DUE_S]
            ringing = [*before, *soon]
            wide = Moment.of(scene.spectrum, now_s)
            narrow = Moment.of(scene.spectrum, now_s, short=True)
            seen.append(
                [
                    _growth(wide.growth(pitch, ringing)),
                    _growth(wide.growth(pitch, [])),
                    _growth(narrow.growth(pitch, ringing)),
                ]
            )
    if not seen:
        return np.zeros(19)
    parts = [np.array([len(seen) / len(OFFSETS_S)])]
    for way in np.moveaxis(np.array(seen), 1, 0):
        total = way[:, 1] + way[:, 2]
        second = np.sort(total)[-min(2, len(total))]
        parts += [way[total.argmax()], np.array([total.mean(), second])]
    return np.concatenate(parts)


# ---------------------------------------------------------------- what is around


def _pitch(scene: Scene, match: Match) -> int:
    return int(scene.midi[match.index])


def _interval(pitch: int, other: int | None) -> FloatArray:
    """In what interval a pitch stands to another, one-hot by kind, shape=(6,)."""
    if other is None:
        return np.zeros(6)
    apart = pitch - other
    return np.array(
        [
            apart == 0,
            abs(apart) == 1,
            abs(apart) == 2,
            apart in OVERTONES,
            -apart in OVERTONES[:3],
            abs(apart) > 12,
        ],
        float,
    )


def _asked_between(
    scene: Scene, pitch: int, before: Sequence[Match], after: Sequence[Match]
) -> FloatArray:
    """Say what the lick asks for between two matched notes, shape=(6,)."""
    written = scene.written
    first = before[0].index if before else 0
    last = after[0].index if after else len(written.midi) - 1
    inside = written.midi[first + 1 : last]
    return np.array(
        [
            written.moving[first],
            written.gliding[last],
            scene.slurred[last],
            len(inside) > 0,
            pitch in inside,
            bool(before) and before[0].midi_number != written.midi[first],
        ],
        float,
    )


def _explained(scene: Scene, pitch: int, start_s: float, end_s: float) -> FloatArray:
    """How much of the sound a pitch explains, beside the best, shape=(5,).

    Mean, greatest, and share of frames where it is the best; mean of the 70 ms before
    and greatest of the 400 ms before.
    """
    low = max(round(start_s / FRAME_HOP_S), 0)
    high = max(low + 2, round(end_s / FRAME_HOP_S))
    first = max(low - 40, 0)
    salience = scene.spectrum.salience[first:high].astype(np.float32)
    if len(salience) <= low - first:
        return np.zeros(5)
    own = salience[:, pitch - PITCHES[0]]
    share = own / (salience.max(axis=1) + 1e-6)
    after, past = share[low - first :], share[: max(low - 2 - first, 1)]
    return np.array(
        [
            after.mean(),
            after.max(),
            (after > 0.9999).mean(),
            past[-7:].mean(),
            past.max(),
        ]
    )


def _risen(scene: Scene, due_s: float, low_s: float, high_s: float) -> FloatArray:
    """Whether anything begins where a note is due, shape=(4,)."""
    rise = hidden_rise(scene.spectrum, due_s - LISTEN_S, due_s + LISTEN_S)
    found = (0.0, 0.0)
    if rise is not None:
        found = (np.clip(rise.strength_db, -5, 30) / 10, abs(rise.time_s - due_s) * 20)
    end_s = min(due_s + 0.08, max(high_s, due_s + 0.02))
    start_s = np.array([due_s, due_s - 0.04, due_s, low_s])
    stop_s = np.array([due_s + 0.04, due_s, end_s, low_s + 0.06])
    level_db = 10 * np.log10(scene.spectrum.power(start_s, stop_s) + 1e-9)
    gain_db = np.clip([level_db[0] - level_db[1], level_db[2] - level_db[3]], -20, 20)
    return np.array([*found, *gain_db / 10])


def _log_s(*spans_s: float) -> FloatArray:
    """Logarithms of spans of time."""
    return np.log(np.clip(spans_s, 0.01, 0.8))


def _log_odds(probability: float) -> float:
    inside = min(max(probability, 1e-5), 1 - 1e-5)
    return float(np.log(inside / (1 - inside)))
