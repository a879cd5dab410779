"""What a judgement looks at: the sound, the lick, and what was found of it so far."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from assessor.alignment import ExtraNote, Match
from assessor.evidence import BoolArray
from assessor.onset import Events
from assessor.spectrum import Spectrum
from assessor.tuning import FloatArray
from assessor.warp import IntArray, Written


@dataclass(frozen=True)
class Scene:
    """One pass with its doubts.

    Attributes
    ----------
    spectrum : Spectrum
    written : Written
        The lick where the take plays it.
    slurred : shape=(n,), bool
        Notes written as hammer-on or pull-off.
    events : Events
        Of the stretch of the take that holds the pass.
    matches : tuple of Match, length n
        As found so far.
    extras : tuple of ExtraNote
        Those of the first hearing.
    """

    spectrum: Spectrum
    written: Written
    slurred: BoolArray
    events: Events
    matches: tuple[Match, ...]
    extras: tuple[ExtraNote, ...]

    @cached_property
    def timed(self) -> list[Match]:
        """Notes that an event was matched to, in order."""
        return [m for m in self.matches if m.time_s is not None]

    @cached_property
    def times_s(self) -> FloatArray:
        """When they begin, shape=(len(timed),)."""
        return np.array([m.time_s for m in self.timed], float)

    @cached_property
    def midi(self) -> IntArray:
        """Pitch of each note as heard, or as written where none was, shape=(n,)."""
        heard = [m.midi_number for m in self.matches]
        return np.array(
            [
                w if h is None else h
                for w, h in zip(self.written.midi, heard, strict=True)
            ],
            np.intp,
        )

    @cached_property
    def clarity(self) -> FloatArray:
        """How clear the take is as a whole, shape=(5,).

        Events a note, how undecided they are (entropy in nats; share that may or may
        not be a note), how abruptly they begin (rise, flux).
        """
        if not len(self.times_s):
            return np.zeros(5)
        inside = self.events.between(self.times_s[0] - 0.01, self.times_s[-1] + 0.01)
        chance = np.exp(inside.log_probability)
        none = chance[:, 0]
        return np.array(
            [
                np.log((len(inside) + 1) / len(self.times_s)),
                -(chance * np.log(chance + 1e-9)).sum(axis=1).mean(),
                ((none > 0.1) & (none < 0.9)).mean(),
                np.median(np.clip(inside.rise_db, -5, 25)) / 10,
                np.log(0.05 + np.median(inside.flux)),
            ]
        )

    @cached_property
    def starts_s(self) -> FloatArray:
        """When anything begins, in order."""
        return np.sort([*self.times_s, *(e.time_s for e in self.extras)])

    def event_at(self, time_s: float) -> int:
        """Index of the event nearest to a time."""
        return int(np.argmin(np.abs(self.events.times_s - time_s)))

    def due_s(self, index: int) -> float:
        """When a note should begin, by the lag of the two matched notes nearest."""
        near = sorted(self.timed, key=lambda m: abs(m.index - index))[:2]
        lag_s = [float(m.time_s or 0) - m.expected_s for m in near]
        return self.matches[index].expected_s + float(np.mean(lag_s or [0.0]))

    def room_s(self, index: int) -> tuple[float, float]:
        """Times of the matched notes around a note; a second away without one."""
        due_s = self.due_s(index)
        before = [m.time_s for m in self.timed if m.index < index and m.time_s]
        after = [m.time_s for m in self.timed if m.index > index and m.time_s]
        return max(before, default=due_s - 1), min(after, default=due_s + 1)
