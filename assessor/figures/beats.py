"""Where the beats of a lick fell in a pass: from seconds of the take to beats."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from assessor.assessment import Assessment, PassAssessment
from assessor.figures.tab import TabPicture
from assessor.lick.notation import Lick
from assessor.pitch import PlayedNote
from assessor.tuning import FloatArray, hz_to_midi

LEAST_STEP_S = 1e-4  # keeps the times rising where a measure puts two notes together


@dataclass(frozen=True)
class BeatLine:
    """Expected times of a pass against beats; both rise.

    Attributes
    ----------
    times_s, beats : shape=(n,)
        Every written onset and the end of the last note.
    """

    times_s: FloatArray
    beats: FloatArray

    def beat(self, time_s: FloatArray | float) -> FloatArray:
        """Beat that was due at a time; carried on before the first and after the last.

        Examples
        --------
        >>> line = BeatLine(np.array([1.0, 1.5, 2.0]), np.array([0.0, 1.0, 2.0]))
        >>> line.beat(np.array([0.5, 1.25, 3.0])).tolist()
        [-1.0, 0.5, 4.0]
        """
        t, b = self.times_s, self.beats
        times = np.asarray(time_s, dtype=np.float64)
        out = np.interp(times, t, b)
        first = (b[1] - b[0]) / (t[1] - t[0])
        last = (b[-1] - b[-2]) / (t[-1] - t[-2])
        out = np.where(times < t[0], b[0] + (times - t[0]) * first, out)
        return np.where(times > t[-1], b[-1] + (times - t[-1]) * last, out)

    def along(self, time_s: FloatArray | float) -> FloatArray:
        """How far along the notes a time is: 3.5 is half way through the fourth.

        Examples
        --------
        >>> line = BeatLine(np.array([1.0, 1.5, 2.0]), np.array([0.0, 1.0, 3.0]))
        >>> line.along(np.array([0.5, 1.25, 1.75])).tolist()
        [0.0, 0.5, 1.5]
        """
        counts = np.arange(len(self.times_s), dtype=np.float64)
        return np.asarray(np.interp(time_s, self.times_s, counts))


def beat_line(lick: Lick, found: PassAssessment) -> BeatLine:
    """Expected times as the timing measure has them: onset minus deviation.

    Notes without a deviation stand between their neighbours as written; a pass without
    any is placed by the tempo it was followed with.
    """
    notes = found.performed.notes
    due = {
        note.index: played.onset_s - note.deviation.value / 1000
        for note in found.timing.notes
        if (played := notes[note.index].played) is not None
    }
    if len(due) < 2:
        due = {note.index: note.expected_s for note in notes}
    written_s = np.append(lick.onsets_s(), lick.ends_s()[-1])
    beats = [float(n.onset_beats) for n in lick.notes]
    beats.append(float(lick.notes[-1].end_beats))
    known = sorted(due)
    expected_s = _spread(
        written_s,
        written_s[known],
        np.array([due[k] for k in known]),
        found.timing.seconds_per_written,
    )
    steps = LEAST_STEP_S * np.arange(len(expected_s))
    rising = np.maximum.accumulate(expected_s - steps) + steps
    return BeatLine(rising, np.array(beats))


def _spread(
    written_s: FloatArray, known_s: FloatArray, due_s: FloatArray, pace: float
) -> FloatArray:
    """Times of all written places, from those that are known, at a pace outside."""
    out = np.interp(written_s, known_s, due_s)
    out = np.where(
        written_s < known_s[0], due_s[0] + (written_s - known_s[0]) * pace, out
    )
    return np.where(
        written_s > known_s[-1], due_s[-1] + (written_s - known_s[-1]) * pace, out
    )


def places_along(lick: Lick, tab: TabPicture) -> Iterator[tuple[float, float]]:
    """How far along the notes, and where in a system: its onsets and its two ends."""
    beats = [*(float(n.onset_beats) for n in lick.notes)]
    beats.append(float(lick.notes[-1].end_beats))
    low, high = (float(beat) for beat in tab.beats)
    first, last = max(low, beats[0]), min(high, beats[-1])
    counts = np.arange(len(beats))
    for beat in sorted({first, last, *(b for b in beats if first < b < last)}):
        yield float(np.interp(beat, beats, counts)), tab.x_of_beat(beat)


@dataclass(frozen=True)
class Scene:
    """One pass, as all pictures of it need it.

    Attributes
    ----------
    lick : Lick
    found : PassAssessment
    line : BeatLine
    tuning_cents : float
        Of the guitar; taken out of every pitch that is drawn.
    transposition : int
        Likewise, in semitones.
    """

    lick: Lick
    found: PassAssessment
    line: BeatLine
    tuning_cents: float
    transposition: int

    def midi(self, played: PlayedNote) -> FloatArray:
        """Contour as MIDI numbers of the written lick, shape=(n,), NaN = unvoiced."""
        base = self.tuning_cents / 100 + self.transposition
        return hz_to_midi(played.contour.f0_hz) - base

    def fretted(self, played: PlayedNote) -> int:
        """Pitch heard, as a MIDI number of the written lick."""
        return played.midi_number - self.transposition


def scene(assessment: Assessment, number: int) -> Scene:
    """Pass `number` (0-based) of an assessment."""
    found = assessment.passes[number]
    return Scene(
        assessment.lick,
        found,
        beat_line(assessment.lick, found),
        assessment.tuning_cents,
        assessment.transposition,
    )
