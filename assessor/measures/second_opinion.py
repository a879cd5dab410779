"""Each note's pitch once more, by another tracker.

librosa's pYIN (Mauch & Dixon, ICASSP 2014) hears the whole of each pass, knowing
nothing of the lick but its range; its median over the steady part of a note is held
against ours over the same stretch.  More than 50 cents apart (the note-matching limit
of the MIREX evaluations) is a disagreement.

Known limits: pYIN follows one voice with a 93 ms window; short notes, and notes under
which another rings, are where it goes wrong first: a second opinion, no judge.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from assessor.lick.notation import Lick
from assessor.pitch import Performance, PerformedPass, PlayedNote
from assessor.recording import Recording
from assessor.tuning import FloatArray, hz_to_midi, midi_to_hz

RATE_HZ = 22050
FRAME_SAMPLES = 2048
HOP_SAMPLES = 220
AROUND_S = 0.2  # heard before and after each pass
BELOW_SEMITONES, ABOVE_SEMITONES = 5, 12  # around the written range, moved
HEAD_S, TAIL_S = 0.05, 0.03  # left out at both ends of a note
FEWEST_FRAMES = 3
AGREED_CENTS = 50.0


@dataclass(frozen=True)
class Disagreement:
    """A note that the two trackers hear at different pitches.

    Attributes
    ----------
    pass_index, index : int
        Which pass, and which note of the lick, from 0.
    own_midi, other_midi : float
        Medians over the steady part, MIDI numbers with their fraction.
    """

    pass_index: int
    index: int
    own_midi: float
    other_midi: float


@dataclass(frozen=True)
class SecondOpinion:
    """What another tracker says.

    Attributes
    ----------
    tracker : str
    agreed : int
        Notes on which both agree.
    unheard : int
        Notes too short, or without a pitch for one of the two.
    disagreements : tuple of Disagreement
    """

    tracker: str
    agreed: int
    unheard: int
    disagreements: tuple[Disagreement, ...]


def pyin(recording: Recording, lick: Lick, performance: Performance) -> SecondOpinion:
    """Hold the pitch of every played note against librosa's pYIN."""
    agreed, unheard, disagreements = 0, 0, []
    for pass_index, performed in enumerate(performance.passes):
        times_s, midi = _track(recording, lick, performance, performed)
        for note in performed.notes:
            if note.played is None:
                continue
            own, other = _medians(note.played, times_s, midi)
            if np.isnan(own) or np.isnan(other):
                unheard += 1
            elif 100 * abs(own - other) <= AGREED_CENTS:
                agreed += 1
            else:
                disagreements.append(Disagreement(pass_index, note.index, own, other))
    return SecondOpinion("pyin", agreed, unheard, tuple(disagreements))


def _track(
    recording: Recording, lick: Lick, performance: Performance, performed: PerformedPass
) -> tuple[FloatArray, FloatArray]:
    """Time and pitch (MIDI number, NaN = unvoiced) of the frames of one pass."""
    import librosa  # half a second to load: only who asks for it waits
    import soxr

    played = [note.played for note in performed.notes if note.played is not None]
    if not played:
        return np.zeros(0), np.zeros(0)
    start_s = max(min(note.onset_s for note in played) - AROUND_S, 0.0)
    end_s = max(note.offset_s for note in played) + AROUND_S
    rate_hz = recording.sample_rate_hz
    part = recording.samples[round(start_s * rate_hz) : round(end_s * rate_hz)]
    sound = soxr.resample(part, rate_hz, RATE_HZ)
    written = [note.midi_number + performance.transposition for note in lick.notes]
    f0_hz, _, _ = librosa.pyin(
        sound,
        sr=RATE_HZ,
        fmin=midi_to_hz(float(min(written) - BELOW_SEMITONES)),
        fmax=midi_to_hz(float(max(written) + ABOVE_SEMITONES)),
        frame_length=FRAME_SAMPLES,
        hop_length=HOP_SAMPLES,
    )
    times_s = start_s + np.arange(len(f0_hz)) * HOP_SAMPLES / RATE_HZ
    return times_s, hz_to_midi(np.asarray(f0_hz, dtype=np.float64))


def _medians(
    played: PlayedNote, times_s: FloatArray, midi: FloatArray
) -> tuple[float, float]:
    """Pitch of the steady part by us and by the other; NaN = too little to tell."""
    own = hz_to_midi(played.contour.f0_hz)
    pair = []
    for at_s, values in ((played.contour.times_s, own), (times_s, midi)):
        steady = (at_s >= played.onset_s + HEAD_S) & (at_s <= played.offset_s - TAIL_S)
        voiced = values[steady & np.isfinite(values)]
        enough = len(voiced) >= FEWEST_FRAMES
        pair.append(float(np.median(voiced)) if enough else float("nan"))
    return pair[0], pair[1]
