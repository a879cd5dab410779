"""The count-in and the click, frame by frame, for as long as the player plays."""

from __future__ import annotations

from fractions import Fraction
from math import floor

import numpy as np
import soxr

from assessor.capture.slate import ClickKind, Samples
from assessor.demo.backing import click
from assessor.demo.counts import count_in_beats, counts, loop_beats
from assessor.demo.string import SAMPLE_RATE_HZ
from assessor.lick.notation import Lick

LEAD_S = 0.5  # before the first count, while the devices settle
SOFTER = 0.4  # a click between the counts, against one on a count
SUBDIVISION = "subdivision"


class Clicks:
    """Clicks to a lick that is played over and over.

    Parameters
    ----------
    lick : Lick
        At the tempo asked for.
    kind : ClickKind
    count_in_bars : int
        Bars of clicks before; an incomplete first bar is filled up.
    parts : int
        Into how many parts a count is divided where the click is subdivided.
    sample_rate_hz : int

    Attributes
    ----------
    start_s : float
        When the lick may begin, in seconds from the first frame.
    sent_s : float
        When the first count of its first whole bar is sent out.
    pass_s : float
        From one start of the lick to the next.
    """

    def __init__(
        self,
        lick: Lick,
        kind: ClickKind,
        *,
        count_in_bars: int = 1,
        parts: int = 2,
        sample_rate_hz: int = SAMPLE_RATE_HZ,
    ) -> None:
        self.sample_rate_hz = sample_rate_hz
        before, length = count_in_beats(lick, count_in_bars), loop_beats(lick)
        self.start_s = LEAD_S - lick.seconds(-before)
        self.sent_s = self.start_s + lick.seconds(lick.pickup_beats)
        self.pass_s = lick.seconds(length)
        self._sounds = _sounds(sample_rate_hz)
        self._count_in = _placed(lick, -before, Fraction(0), 1)
        divided = parts if kind is ClickKind.SUBDIVIDED else 1
        self._loop = _placed(lick, Fraction(0), length, divided) if kind.goes_on else []

    @property
    def silent(self) -> bool:
        """True when there is nothing to hear at all."""
        return not (self._count_in or self._loop)

    def render(self, first: int, frames: int) -> Samples:
        """Sound of the frames from `first` on, shape=(frames,)."""
        out = np.zeros(frames, np.float32)
        for at_s, kind in self._around(first, frames):
            sound = self._sounds[kind]
            begin = round(at_s * self.sample_rate_hz) - first
            low, high = max(begin, 0), min(begin + len(sound), frames)
            if low < high:
                out[low:high] += sound[low - begin : high - begin]
        return out

    def _around(self, first: int, frames: int) -> list[tuple[float, str]]:
        """Clicks that may sound in these frames, and some beside them."""
        found = [(self.start_s + at_s, kind) for at_s, kind in self._count_in]
        if not self._loop:
            return found
        from_s = first / self.sample_rate_hz - self.start_s
        to_s = (first + frames) / self.sample_rate_hz - self.start_s
        # one more before: its last click may still sound
        turns = range(
            max(floor(from_s / self.pass_s) - 1, 0), floor(to_s / self.pass_s) + 1
        )
        return found + [
            (self.start_s + turn * self.pass_s + at_s, kind)
            for turn in turns
            for at_s, kind in self._loop
        ]


def _placed(
    lick: Lick, first: Fraction, end: Fraction, parts: int
) -> list[tuple[float, str]]:
    """Times and kinds of clicks, each count divided into parts."""
    count = Fraction(4, lick.meter.unit)
    found = []
    for beat, kind in counts(lick, first, end):
        found.append((lick.seconds(beat), kind))
        between = [beat + count * Fraction(k, parts) for k in range(1, parts)]
        found += [(lick.seconds(b), SUBDIVISION) for b in between if b < end]
    return found


def _sounds(sample_rate_hz: int) -> dict[str, Samples]:
    """Sound of each kind of click at a sampling rate."""
    sounds = {
        kind: np.asarray(
            soxr.resample(click(kind), SAMPLE_RATE_HZ, sample_rate_hz), np.float32
        )
        for kind in ("one", "group", "between")
    }
    sounds[SUBDIVISION] = np.float32(SOFTER) * sounds["between"]
    return sounds
