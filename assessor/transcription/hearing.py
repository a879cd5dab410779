"""Which notes were played, where no lick says what to expect.

A Viterbi over the events of a take: each is nothing new, or a note of some pitch.  The
costs are those of the warp that knows a lick (natural logarithms of probabilities, a
price for hearing again what still rings); in place of the lick stands how often
melodies leap.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from assessor.kernels import PITCHES
from assessor.onset import Events
from assessor.tuning import FloatArray
from assessor.warp import RINGING, RINGING_FLOOR

# In nats, chosen on phrases of benchmarks/phrases.py (see benchmarks/transcribe.py).
LEAP_FREE = 12  # semitones
LEAP = 0.12  # for each semitone beyond
MISHEARD = 0.3  # an octave, a twelfth and a double octave away
SHORTEST_S = 0.045
SHORT = 2.0  # for a note that is over before this
# Without an attack: of 130 events inside bent and shaken notes of the bench and of
# phrases none rose by more, of 15 notes picked under ringing strings none by less.
CLEAR_FLUX, SOFT_RISE_DB = 1.2, 1.85


@dataclass(frozen=True)
class HeardNote:
    """A note on its way to paper.

    Attributes
    ----------
    time_s : float
        Of its event.
    midi_number : int
    is_step : bool
        Found by a change of pitch, without an attack.
    soft : bool
        Hardly struck: it may belong to the note before.
    probability : float
        Of this pitch, by the sound of this event alone.
    instead : int or None
        MIDI number that is next likely, None = nothing new.
    """

    time_s: float
    midi_number: int
    is_step: bool
    soft: bool
    probability: float = 1.0
    instead: int | None = None


def hear(events: Events) -> tuple[HeardNote, ...]:
    """The most likely notes, in order of time."""
    if not len(events):
        return ()
    note_cost = -events.log_probability[:, 1:]
    drop_cost = -events.log_probability[:, 0]
    steps = _leap_cost()
    dull = np.maximum(1 - events.attack, RINGING_FLOOR)
    pitches = len(PITCHES)
    # state p = the pitch that sounds; one more for silence at the start
    total = np.append(np.full(pitches, np.inf), 0.0)
    came_from = np.empty((len(events), pitches + 1), np.intp)
    struck = np.zeros((len(events), pitches + 1), np.bool_)
    last_s = np.full(pitches + 1, -np.inf)
    for j, time_s in enumerate(events.times_s):
        move = steps + np.append(total[:pitches], total[pitches])[:, None]
        move[np.arange(pitches), np.arange(pitches)] += RINGING * dull[j]
        move += SHORT * (time_s - last_s < SHORTEST_S)[:, None]
        best = move.argmin(axis=0)
        fresh = move[best, np.arange(pitches)] + note_cost[j]
        held = total + drop_cost[j]
        new = fresh < held[:pitches]
        came_from[j] = np.arange(pitches + 1)
        came_from[j, :pitches][new] = best[new]
        struck[j, :pitches] = new
        total = held
        total[:pitches][new] = fresh[new]
        last_s = last_s.copy()
        last_s[:pitches][new] = time_s
    return _traced_back(events, total, came_from, struck)


def _leap_cost() -> FloatArray:
    """Cost of each pitch after each, shape=(pitches + 1, pitches)."""
    apart = np.abs(PITCHES[:, None] - PITCHES[None, :])
    cost = LEAP * np.maximum(apart - LEAP_FREE, 0)
    cost = cost + MISHEARD * np.isin(apart, (12, 19, 24))
    return np.concatenate([cost, np.zeros((1, len(PITCHES)))])


def _traced_back(
    events: Events,
    total: FloatArray,
    came_from: np.ndarray[tuple[int, int], np.dtype[np.intp]],
    struck: np.ndarray[tuple[int, int], np.dtype[np.bool_]],
) -> tuple[HeardNote, ...]:
    """Notes on the cheapest way."""
    state = int(total.argmin())
    notes = []
    soft = (events.rise_db < SOFT_RISE_DB) & (events.flux < CLEAR_FLUX)
    soft |= events.candidates.is_step
    for j in range(len(events) - 1, -1, -1):
        if struck[j, state]:
            others = events.log_probability[j].copy()
            others[1 + state] = -np.inf
            second = int(others.argmax())
            notes.append(
                HeardNote(
                    float(events.times_s[j]),
                    int(PITCHES[state]),
                    bool(events.candidates.is_step[j]),
                    bool(soft[j]),
                    float(np.exp(events.log_probability[j, 1 + state])),
                    int(PITCHES[second - 1]) if second else None,
                )
            )
        state = int(came_from[j, state])
    return tuple(notes[::-1])
