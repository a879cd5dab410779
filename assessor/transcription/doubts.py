"""What may be written otherwise, so that it is looked at first."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from assessor.growth import CLICK_FALL_DB, fall_db
from assessor.kernels import PITCHES
from assessor.lick.notation import Articulation, Lick
from assessor.onset import Events
from assessor.sounding import SURE
from assessor.spectrum import Spectrum
from assessor.transcription.hearing import HeardNote
from assessor.transcription.listening import CLEAR, Heard
from assessor.transcription.rhythm import Rhythm
from assessor.transcription.runs import Runs, alike
from assessor.transcription.single import DOUBTFUL_SHARE
from assessor.tuning import note_name

UNHEARD = 0.4  # probability of a note that was not written, but may have been one
NEAR_S = 0.05  # an event as near to a note is that note
# A stroke without a pitch: so clear an attack, as far from every note.  Among 787 notes
# of the bench and 925 of its degraded takes one was told of, in a take with a click.
STROKE_FLUX, STROKE_APART_S = 2.0, 0.08
FALL_SEEN_S = 0.11  # a note that is followed sooner tells nothing of its own fall
OFF_TEMPO = 0.1  # share by which a given tempo may be missed


@dataclass(frozen=True)
class Doubt:
    """Something that may be written otherwise.

    Attributes
    ----------
    index : int or None
        0-based place of the note in the lick; None where there is none.
    time_s : float
        In the take.
    message : str
    """

    index: int | None
    time_s: float
    message: str


def note_doubts(part: Heard, lick: Lick) -> Iterator[Doubt]:
    """Notes whose pitch, technique or stroke is not sure."""
    for k, (joined, technique) in enumerate(
        zip(part.joined, part.techniques, strict=True)
    ):
        time_s = part.played[k].onset_s
        heard = joined.first
        if heard.probability < CLEAR:
            yield Doubt(k, time_s, _other_pitch(heard))
        if part.share[k] < DOUBTFUL_SHARE:
            yield Doubt(k, time_s, "maybe two notes at once")
        if technique.doubt:
            yield Doubt(k, time_s, technique.doubt)
        picked = lick.notes[k].articulation is Articulation.PICK
        if 1 - SURE < part.slurred[k] < SURE:
            written = "picked" if picked else "slurred"
            yield Doubt(k, time_s, f"picked or slurred, written as {written}")
        elif part.slurred[k] >= SURE and picked and not technique.slide_in:
            message = "sounds slurred, but not from the note before; written as picked"
            yield Doubt(k, time_s, message)


def _other_pitch(heard: HeardNote) -> str:
    """What a doubtful note may be instead."""
    if heard.instead is None:
        return "maybe no note"
    return f"maybe {note_name(heard.instead)}"


def rhythm_doubts(rhythm: Rhythm, part: Heard, asked: float | None) -> Iterator[Doubt]:
    """Notes that may stand elsewhere, and a tempo that is not the one given."""
    for k, (beat, other) in enumerate(zip(rhythm.beats, rhythm.instead, strict=True)):
        if other is not None:
            way = "earlier" if other < beat else "later"
            message = f"maybe {abs(other - beat)} of a beat {way}"
            yield Doubt(k, part.played[k].onset_s, message)
    if asked and abs(rhythm.tempo_bpm / asked - 1) > OFF_TEMPO:
        message = f"played at {rhythm.tempo_bpm:.0f} beats a minute, not at {asked:g}"
        yield Doubt(None, part.played[0].onset_s, message)


def left_out(events: Events, part: Heard) -> Iterator[Doubt]:
    """Events between the notes that may be notes as well."""
    probability = 1 - np.exp(events.log_probability[:, 0])
    onset_s = part.onset_s
    swallowed = [
        (one.onset_s, one.offset_s)
        for one, joined in zip(part.played, part.joined, strict=True)
        if joined.moving
    ]
    for j in np.flatnonzero(probability > UNHEARD):
        time_s = float(events.times_s[j])
        inside = onset_s[0] < time_s < onset_s[-1] + NEAR_S
        known = np.abs(onset_s - time_s).min() < NEAR_S
        if inside and not known and not any(a < time_s < b for a, b in swallowed):
            pitch = int(events.log_probability[j, 1:].argmax())
            yield Doubt(None, time_s, f"maybe another note here, {_name(pitch)}")


def dead_strokes(events: Events, part: Heard, spectrum: Spectrum) -> Iterator[Doubt]:
    """Strokes that may be on a muted string: without a pitch, or gone at once."""
    onset_s = part.onset_s
    nothing = events.log_probability[:, 0] >= np.log(1 - UNHEARD)
    struck = nothing & (events.flux >= STROKE_FLUX) & ~events.candidates.is_step
    last_s = -np.inf
    for time_s in events.times_s[struck].tolist():
        inside = onset_s[0] < time_s < onset_s[-1]
        apart_s = min(np.abs(onset_s - time_s).min(), time_s - last_s)
        if inside and apart_s > STROKE_APART_S:
            last_s = time_s
            yield Doubt(None, time_s, "maybe a dead stroke here, which is not written")
    for k, time_s in enumerate(onset_s.tolist()):
        room_s = onset_s[k + 1] - time_s if k + 1 < len(onset_s) else np.inf
        told = room_s > FALL_SEEN_S and not part.joined[k].first.soft
        if told and fall_db(spectrum, time_s, part.midi[k]) > CLICK_FALL_DB:
            yield Doubt(k, time_s, "gone at once, maybe a dead stroke")


def _name(column: int) -> str:
    """Note name of a column of the evidence."""
    return note_name(int(PITCHES[column]))


def other_runs(heard: Heard, runs: Runs, written: int) -> Iterator[Doubt]:
    """Notes that most of the other passes have otherwise."""
    if written < 0 or len(runs.spans) < 3:
        return
    midi = heard.midi
    first, end = runs.spans[written]
    own = midi[first:end]
    others = [midi[a:b] for a, b in runs.spans if (a, b) != (first, end)]
    same = [o for o in others if len(o) == len(own) and alike(o, own) < 1]
    for k, pitch in enumerate(own):
        there = [o[k] for o in same]
        if len(there) > len(others) / 2 and len(set(there)) == 1 and there[0] != pitch:
            message = f"{note_name(there[0])} in most other passes"
            yield Doubt(k, float(heard.onset_s[first + k]), message)
