"""Notes that were heard and placed, as a lick: values, rests, strings and frets."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

import numpy as np

from assessor.errors import TranscriptionError
from assessor.lick.fretting import positions, solve
from assessor.lick.notation import (
    Articulation,
    Bend,
    Lick,
    LickNote,
    Meter,
    SlideEdge,
)
from assessor.pitch import PlayedNote
from assessor.tuning import STANDARD, Tuning, note_name

# A rest is written where the sound was stopped, not where it died away: it lost this
# much within this time, ...
STOPPED_DB, STOPPED_FRAMES = 10.0, 8
# ... and then it was quiet for as long.
LEAST_REST_BEATS, LEAST_REST_SHARE = Fraction(1, 2), 0.3
# Lengths a note before a rest may have, and a last note.
VALUES: tuple[Fraction, ...] = tuple(Fraction(n, 4) for n in (1, 2, 3, 4, 6, 8, 12, 16))

NEARLY = 1.15  # a last note may be written as so many times what was heard of it

COMMON_TIME = Meter(4, 4)
HAND_FRETS = 4  # under one hand, and one further either way (common practice)


@dataclass(frozen=True)
class Page:
    """What the lick is written for.

    Attributes
    ----------
    title : str
    meter : Meter
    tuning : Tuning
    capo : int
    pickup_beats : Fraction
    near_fret : int or None
        Where the hand is to be, as far as the notes let it.
    """

    title: str
    meter: Meter = COMMON_TIME
    tuning: Tuning = STANDARD
    capo: int = 0
    pickup_beats: Fraction = Fraction(0)
    near_fret: int | None = None


@dataclass(frozen=True)
class Sounded:
    """One note before it has a place on the neck.

    Attributes
    ----------
    played : PlayedNote
    onset_beats : Fraction
    midi_number : int
        Of the fretted note.
    articulation : Articulation
    bend, vibrato, slide_in, slide_out
        As in `LickNote`.
    """

    played: PlayedNote
    onset_beats: Fraction
    midi_number: int
    articulation: Articulation = Articulation.PICK
    bend: Bend | None = None
    vibrato: bool = False
    slide_in: SlideEdge | None = None
    slide_out: SlideEdge | None = None


def write_lick(
    notes: Sequence[Sounded], page: Page, *, tempo_bpm: float, swing: float | None
) -> Lick:
    """Lick that says what was played.

    Raises
    ------
    TranscriptionError
        When a note lies outside the neck of the given tuning.
    """
    lengths = _lengths(notes, page, tempo_bpm)
    notes = _only_possible_slurs(notes, lengths)
    places = [_places(note, k, page) for k, note in enumerate(notes)]
    articulations = [note.articulation for note in notes]
    fretting = solve(places, articulations, capo=page.capo)
    written = [
        LickNote(
            note.onset_beats,
            length,
            note.midi_number,
            string,
            fret,
            note.articulation,
            note.bend,
            note.vibrato,
            note.slide_in,
            note.slide_out,
        )
        for note, length, (string, fret) in zip(
            notes, lengths, fretting.places, strict=True
        )
    ]
    return Lick(
        page.title,
        tempo_bpm,
        page.meter,
        page.tuning,
        tuple(_off_string_picked(written)),
        capo=page.capo,
        swing=swing,
        pickup_beats=page.pickup_beats,
    )


# ------------------------------------------------------------------ lengths


def _lengths(notes: Sequence[Sounded], page: Page, tempo_bpm: float) -> list[Fraction]:
    """Length of each note in beats: to the next one, or to where it was stopped."""
    lengths = []
    for note, after in pairwise(notes):
        gap = after.onset_beats - note.onset_beats
        took_s = after.played.onset_s - note.played.onset_s
        sounded = float(gap) * (note.played.offset_s - note.played.onset_s) / took_s
        lengths.append(_before_rest(note.played, gap, sounded) or gap)
    last = notes[-1]
    sounded = (last.played.offset_s - last.played.onset_s) * tempo_bpm / 60
    return [*lengths, _last_length(last.onset_beats - page.pickup_beats, sounded, page)]


def _before_rest(
    played: PlayedNote, gap: Fraction, sounded_beats: float
) -> Fraction | None:
    """Length of a note that was stopped well before the next one; None = it was not."""
    silent = float(gap) - sounded_beats
    if silent < max(float(LEAST_REST_BEATS), LEAST_REST_SHARE * float(gap)):
        return None
    level_db = played.contour.level_db
    end = int(np.searchsorted(played.contour.times_s, played.offset_s))
    before = level_db[max(end - STOPPED_FRAMES, 0) : max(end - STOPPED_FRAMES, 0) + 2]
    after = level_db[end : end + 2]
    if not len(after) or before.max() - after.min() < STOPPED_DB:
        return None
    shorter = [v for v in VALUES if gap - v >= LEAST_REST_BEATS]
    if not shorter:
        return None
    return min(shorter, key=lambda v: abs(float(v) - sounded_beats))


def _last_length(beats: Fraction, sounded_beats: float, page: Page) -> Fraction:
    """Longest plain value that sounded, within its bar where that holds a beat."""
    bar = page.meter.bar_beats
    room = bar - beats % bar
    if room < 1:
        room += bar
    limit = min(float(room), max(sounded_beats * NEARLY, 0.5))
    return max((v for v in VALUES if v <= limit), default=VALUES[0])


# ------------------------------------------------------------------ fretting


def _places(note: Sounded, index: int, page: Page) -> list[tuple[int, int]]:
    """Where a note can be fretted; what moves is not on an open string."""
    found = positions(note.midi_number, page.tuning, capo=page.capo)
    if not found:
        at = f"{note.played.onset_s:.2f} s"
        message = (
            f"note {index + 1}, {note_name(note.midi_number)} at {at}, lies outside "
            f"the neck tuned to {page.tuning}"
            + (f" with a capo at fret {page.capo}" if page.capo else "")
            + "; give the tuning it was played in"
        )
        raise TranscriptionError(message)
    moves = note.bend or note.vibrato or note.slide_in or note.slide_out
    fretted = [place for place in found if place[1] > 0]
    there = fretted if moves and fretted else list(found)
    if page.near_fret is None:
        return there
    hand = range(page.near_fret - 1, page.near_fret + HAND_FRETS + 1)
    return [place for place in there if place[1] in hand] or there


def _only_possible_slurs(
    notes: Sequence[Sounded], lengths: Sequence[Fraction]
) -> list[Sounded]:
    """Slurs after a rest, or out of a pitch that is already there, are picked."""
    out: list[Sounded] = []
    for k, note in enumerate(notes):
        before = out[-1] if out else None
        joined = (
            before is not None
            and before.onset_beats + lengths[k - 1] == note.onset_beats
            and before.midi_number != note.midi_number
        )
        if note.articulation is not Articulation.PICK and not joined:
            note = replace(note, articulation=Articulation.PICK)
        out.append(note)
    return out


def _off_string_picked(notes: Sequence[LickNote]) -> list[LickNote]:
    """Slurs that found no place on the string before are picked after all."""
    out: list[LickNote] = []
    for note in notes:
        if note.slurred and note.string != out[-1].string:
            note = replace(note, articulation=Articulation.PICK)
        out.append(note)
    return out
