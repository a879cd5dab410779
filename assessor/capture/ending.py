"""When a lick has been played so many times: by time and silence, not by ear.

From the first attack on, as long as the passes last at the tempo asked for; then, when
nothing new was struck for a while, it is over.  Whoever plays slower, stops or starts
again is still striking strings, and is waited for; longer where so few attacks were
heard that the passes cannot be whole.

Known limits: a click that the microphone hears counts as playing; then only a key or
the longest time ends a take.
"""

from __future__ import annotations

import numpy as np

from assessor.capture.slate import Ended, Samples
from assessor.lick.notation import Lick
from assessor.tuning import FloatArray

FRAME_S = 0.01
BEFORE_FRAMES = 6  # what a new attack must rise above
# Rise of power, 2 dB, of the sound or of its second difference, in which a bright pluck
# stands out from what rings.  Of the notes of the shipped takes this hears half to all.
RISE = 1.6
FAINT = 1e-3  # power against the loudest frame so far: 30 dB
SILENCE = np.array([1e-6, 1e-9])  # power: -60 dBFS; the same of a bright pluck
EARLY_S = 0.3  # a first note so much before its time is one all the same

QUIET_S = 2.0
QUIET_PAUSES = 1.5  # against the longest written pause
# Attacks heard of those written.  Softly picked ones under ringing strings are not
# heard by so simple an ear.
FEW = 0.4
FEW_WAIT = 4.0  # times as long
SLOWEST = 0.4  # of the tempo asked for, the slowest that is followed
HASTE = 0.9  # who plays a little faster need not wait
PATIENCE_S = 30.0
LONGEST_S = 2 * 3600.0


class Ending:
    """Watches a recording go by.

    Parameters
    ----------
    lick : Lick
        At the tempo asked for.
    passes : int
        Times it is to be played; 0 = until somebody stops.
    start_s, pass_s : float
        When it may begin, and from one start of it to the next.
    sample_rate_hz : int

    Attributes
    ----------
    first_s : float or None
        When the first attack was heard.
    """

    def __init__(
        self,
        lick: Lick,
        passes: int,
        *,
        start_s: float,
        pass_s: float,
        sample_rate_hz: int,
    ) -> None:
        onsets_s = lick.onsets_s()
        again_s = pass_s - float(onsets_s[-1] - onsets_s[0])
        pauses_s = [*np.diff(onsets_s), again_s]
        self.quiet_s = max(QUIET_S, QUIET_PAUSES * float(max(pauses_s)))
        self.playing_s = HASTE * (passes * pass_s - again_s)
        self.longest_s = min(
            start_s + PATIENCE_S + passes * pass_s / SLOWEST if passes else LONGEST_S,
            LONGEST_S,
        )
        self.attacks = FEW * passes * sum(not note.slurred for note in lick.notes)
        self.passes, self.start_s, self.pass_s = passes, start_s, pass_s
        self.first_s: float | None = None
        self._last_s, self._heard = 0.0, 0
        self._frame = round(FRAME_S * sample_rate_hz)
        self._rate_hz = sample_rate_hz
        self._waiting = np.zeros(0, np.float32)
        self._powers = np.full((BEFORE_FRAMES, 2), np.inf)
        self._loudest = SILENCE / FAINT
        self._frames = 0

    @property
    def now_s(self) -> float:
        """How much was taken in, to a frame."""
        return self._frames * self._frame / self._rate_hz

    def add(self, block: Samples) -> Ended | None:
        """Take in mono frames, shape=(n,); say whether it is over, and why."""
        sound = np.concatenate([self._waiting, block])
        whole = len(sound) // self._frame * self._frame
        self._waiting = sound[whole:]
        framed = sound[:whole].reshape(-1, self._frame)
        bent = np.diff(framed, n=2, axis=1)
        both = [np.einsum("ij,ij->i", one, one) for one in (framed, bent)]
        for powers in np.stack(both, axis=1) / self._frame:
            self._add_frame(powers)
        return self._verdict()

    def _add_frame(self, powers: FloatArray) -> None:
        self._frames += 1
        if self.now_s > self.start_s - EARLY_S:
            self._loudest = np.maximum(self._loudest, powers)
            rises = powers > RISE * self._powers.max(axis=0)
            if np.any(rises & (powers > FAINT * self._loudest)):
                self.first_s = self.now_s if self.first_s is None else self.first_s
                self._last_s = self.now_s
                self._heard += 1
        self._powers = np.vstack([self._powers[1:], powers])

    def _verdict(self) -> Ended | None:
        if self.now_s >= self.longest_s:
            return Ended.TIME
        if not self.passes or self.first_s is None:
            return None
        played = self.now_s - self.first_s >= self.playing_s
        wait_s = self.quiet_s * (FEW_WAIT if self._heard < self.attacks else 1)
        quiet = self.now_s - self._last_s >= wait_s
        return Ended.PASSES if played and quiet else None
