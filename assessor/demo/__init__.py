"""How a lick sounds: a string synthesis to listen to and to play along with.

`play` gives the sound of a lick at one tempo or a ladder of tempos, each repeated, with
a count-in, a click, and held notes under it; and when each note of it sounds.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from math import ceil

import numpy as np

from assessor.demo.backing import HELD_SWELL_S, click, held
from assessor.demo.counts import count_in_beats, counts, loop_beats
from assessor.demo.phrase import soundings
from assessor.demo.string import SAMPLE_RATE_HZ, Float32Array, sound
from assessor.lick.notation import Lick
from assessor.tuning import FloatArray

__all__ = [
    "SAMPLE_RATE_HZ",
    "Demo",
    "Manner",
    "click_track",
    "length_s",
    "play",
    "sound_file",
]

TAIL_S = 0.6  # heard after the last note
LOUDEST = 0.89  # -1 dB re full scale


@dataclass(frozen=True)
class Manner:
    """How a demo is to be played.

    Attributes
    ----------
    tempos_bpm : tuple of float
        Quarter notes a minute, one after the other; empty = as written.
    repeats : int
        Times the lick is played at each tempo, starting on bar lines.
    click : bool
        A click through the lick, the one louder.
    count_in_bars : int
        Bars of clicks before each tempo; an incomplete first bar is filled up.
    over_midi : tuple of tuple of int
        Notes that are held under the lick: those of each bar in turn, from the lick's
        first bar line and, after the last, from the start; alone, all the while.
    moved_cents : float
        The lick this much higher than written; what is held stays.
    """

    tempos_bpm: tuple[float, ...] = ()
    repeats: int = 1
    click: bool = True
    count_in_bars: int = 1
    over_midi: tuple[tuple[int, ...], ...] = ()
    moved_cents: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what cannot be played."""
        if any(not 0 < tempo < np.inf for tempo in self.tempos_bpm):
            message = f"a tempo is more than 0 bpm, not {self.tempos_bpm}"
            raise ValueError(message)
        if self.repeats < 1 or self.count_in_bars < 0:
            message = (
                f"{self.repeats} repeats and {self.count_in_bars} bars of count-in: "
                "at least 1 and 0"
            )
            raise ValueError(message)


@dataclass(frozen=True)
class Demo:
    """The sound of a lick.

    Attributes
    ----------
    samples : shape=(n,), float32
        Mono, never beyond 1, at `SAMPLE_RATE_HZ`.
    onsets_s : shape=(passes, notes)
        When each note starts, in each pass.
    """

    samples: Float32Array
    onsets_s: FloatArray

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return len(self.samples) / SAMPLE_RATE_HZ


USUAL = Manner()


def play(lick: Lick, manner: Manner = USUAL) -> Demo:
    """Play a lick.

    Parameters
    ----------
    lick : Lick
    manner : Manner
        At the written tempo, once, after one bar of clicks, unless said otherwise.

    Returns
    -------
    Demo

    Examples
    --------
    >>> from assessor.lick.notation import LickNote, Meter
    >>> from assessor.tuning import STANDARD
    >>> notes = (LickNote(Fraction(0), Fraction(1), 69, 1, 5),)
    >>> demo = play(Lick("A", 120, Meter(2, 4), STANDARD, notes))
    >>> demo.onsets_s
    array([[1.]])
    """
    placed: list[tuple[float, Float32Array]] = []
    onsets_s = []
    now_s = 0.0
    for tempo_bpm in manner.tempos_bpm or (lick.tempo_bpm,):
        asked = lick.at_tempo(tempo_bpm)
        strings = [
            (s.start_s, sound(s.moved(manner.moved_cents))) for s in soundings(asked)
        ]
        first, length = -count_in_beats(asked, manner.count_in_bars), loop_beats(asked)
        now_s -= asked.seconds(first)
        placed += _clicks(asked, now_s, first, Fraction(0))
        for again in range(manner.repeats - 1, -1, -1):
            end = length if again else _end_beats(asked)
            placed += [(now_s + start_s, samples) for start_s, samples in strings]
            if manner.click:
                placed += _clicks(asked, now_s, Fraction(0), end)
            if len(manner.over_midi) > 1:
                upto = end + asked.pickup_beats * bool(again)
                placed += _chords(asked, now_s, upto, manner.over_midi)
            onsets_s.append(asked.onsets_s() + now_s)
            now_s += asked.seconds(end)
    drone = manner.over_midi[0] if len(manner.over_midi) == 1 else ()
    return Demo(_mixed(placed, drone), np.array(onsets_s))


def length_s(lick: Lick, manner: Manner) -> float:
    """How long a demo will be, to its last bar line, in seconds.

    What is longer than that in it is the last string and what rings on.

    >>> from assessor.lick.notation import LickNote, Meter
    >>> from assessor.tuning import STANDARD
    >>> notes = (LickNote(Fraction(0), Fraction(1), 69, 1, 5),)
    >>> length_s(Lick("A", 120, Meter(2, 4), STANDARD, notes), Manner(repeats=3))
    4.0
    """
    first, length, end = (
        -count_in_beats(lick, manner.count_in_bars),
        loop_beats(lick),
        _end_beats(lick),
    )
    again = manner.repeats - 1
    return sum(
        again * asked.seconds(length) + asked.seconds(end) - asked.seconds(first)
        for asked in map(lick.at_tempo, manner.tempos_bpm or (lick.tempo_bpm,))
    )


def sound_file(samples: Float32Array, kind: str) -> bytes:
    """Content of a sound file of 16 bits, `kind` ``wav`` or ``flac``."""
    import soundfile

    stream = io.BytesIO()
    soundfile.write(
        stream, samples, SAMPLE_RATE_HZ, format=kind.upper(), subtype="PCM_16"
    )
    return stream.getvalue()


def click_track(lick: Lick, bars: int) -> Float32Array:
    """Clicks alone, shape=(n,), for so many whole bars of a lick.

    >>> from assessor.lick.notation import LickNote, Meter
    >>> from assessor.tuning import STANDARD
    >>> notes = (LickNote(Fraction(0), Fraction(1), 69, 1, 5),)
    >>> bars = click_track(Lick("A", 120, Meter(2, 4), STANDARD, notes), 3)
    >>> round(len(bars) / SAMPLE_RATE_HZ - TAIL_S, 1)  # the last of six, and its sound
    2.5
    """
    first = lick.pickup_beats
    end = first + bars * lick.meter.bar_beats
    return _mixed(_clicks(lick, -lick.seconds(first), first, end), ())


def _end_beats(lick: Lick) -> Fraction:
    """Beats to the bar line that ends the lick."""
    bar_beats, whole = (
        lick.meter.bar_beats,
        lick.notes[-1].end_beats - lick.pickup_beats,
    )
    return lick.pickup_beats + bar_beats * ceil(whole / bar_beats)


def _clicks(
    lick: Lick, start_s: float, first: Fraction, end: Fraction
) -> list[tuple[float, Float32Array]]:
    """Clicks on every count from beat `first` on, before beat `end`, placed.

    Parameters
    ----------
    start_s : float
        When beat 0 of the lick is heard.
    """
    return [
        (start_s + lick.seconds(beat), click(kind))
        for beat, kind in counts(lick, first, end)
    ]


def _chords(
    lick: Lick, start_s: float, end: Fraction, over_midi: tuple[tuple[int, ...], ...]
) -> Iterator[tuple[float, Float32Array]]:
    """What is held in each bar of a pass, before beat `end`, placed.

    Each fades while the next one swells.
    """
    bar, number = lick.pickup_beats, 0
    while bar < end:
        at_s, upto_s = (lick.seconds(b) for b in (bar, bar + lick.meter.bar_beats))
        samples = round((upto_s - at_s + HELD_SWELL_S) * SAMPLE_RATE_HZ)
        yield start_s + at_s, held(over_midi[number % len(over_midi)], samples)
        bar, number = bar + lick.meter.bar_beats, number + 1


def _mixed(
    placed: list[tuple[float, Float32Array]], held_midi: tuple[int, ...]
) -> Float32Array:
    """Everything added up, at most `LOUDEST`."""
    starts = [round(at_s * SAMPLE_RATE_HZ) for at_s, _ in placed]
    end = max(
        start + len(part) for start, (_, part) in zip(starts, placed, strict=True)
    )
    length = end + int(TAIL_S * SAMPLE_RATE_HZ)
    out = held(held_midi, length) if held_midi else np.zeros(length, np.float32)
    for start, (_, part) in zip(starts, placed, strict=True):
        out[start : start + len(part)] += part
    peak = max(float(out.max()), -float(out.min()), LOUDEST)
    out *= np.float32(LOUDEST / peak)
    return out
