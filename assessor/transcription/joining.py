"""Which heard notes are one note whose pitch moves.

A note that begins without an attack right after another is looked at closely: a
fretting finger changes the pitch from one 10 ms frame to the next two or three, a bend
or a slide takes at least four.  On sampled and recorded notes hammered on inside a
sounding string the pitch takes 10 to 30 ms from a fifth to four fifths of the way; the
bends took 40 to 90 ms.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import Enum

import numpy as np

from assessor.contour import track
from assessor.frames import FRAME_HOP_S
from assessor.spectrum import Spectrum
from assessor.transcription.hearing import HeardNote
from assessor.transcription.hidden import with_hidden
from assessor.tuning import FloatArray, hz_to_midi

WIDEST_SEMITONES = 7  # on one string and within one hand, with a shift
MISHEARD_SEMITONES = (12, 19, 24)  # partials of the string that sounds already
SURE = 0.6  # probability of an event that is no partial and no wide vibrato
SHAKEN_SEMITONES = 2
GRACE_S = 0.07  # sixteenths last as long at 214 beats a minute
DOUBTED, KNOCK_S = 0.6, (0.03, 0.25)  # probability; after a knock
LOOK_S = 0.16  # to each side of the change
GLIDE_FRAMES = 3.5  # from a fifth to four fifths; more is no jump
LOW, HIGH = 0.2, 0.8
# A bend of the bench and of phrases leaves its fret 45 to 138 ms after the pick (57
# of them), a slide leaves it when the next note is due: 9 in 10 later than 187 ms.
BEND_SEMITONES, BEND_LEAVES_S = 3, 0.155
# A slide goes from fret to fret and fast; a pre-bend is seldom so exact, nor so fast.
EXACT_SEMITONES, SLIDE_TAKES_S = 0.08, 0.105
EDGES = (0.1, 0.9)  # of a glide, where it is said to begin and to end
EDGE_FRAMES = 4  # that a pitch is read from


class Change(Enum):
    """How the pitch gets from one note to the next."""

    JUMP = "jump"
    GLIDE = "glide"
    NONE = "none"  # it never gets there, or was there before


@dataclass(frozen=True)
class Joined:
    """One note to be written, made of one heard note or more.

    Attributes
    ----------
    first : HeardNote
    pitches : tuple of int
        MIDI numbers the pitch was heard to move over, the first one first.
    slid_into : bool
        Its pitch was reached by a slide from the note before.
    """

    first: HeardNote
    pitches: tuple[int, ...]
    slid_into: bool = False

    @property
    def moving(self) -> bool:
        """Whether others were swallowed."""
        return len(self.pitches) > 1


def join(notes: Sequence[HeardNote], spectrum: Spectrum) -> tuple[Joined, ...]:
    """Swallow what is a bend, its release or a vibrato; mark slides."""
    notes = with_hidden(notes, spectrum)
    out: list[Joined] = []
    for k, note in enumerate(notes):
        change = Change.JUMP
        end_s = notes[k + 1].time_s if k + 1 < len(notes) else np.inf
        if out and note.soft:
            span_s = (out[-1].first.time_s, end_s)
            change = _soft_change(spectrum, note, out[-1], span_s)
        elif out and _is_knock(spectrum, note, out[-1], end_s):
            continue
        if change is not Change.NONE and note.soft and _is_grace(note, out):
            out[-1] = replace(out[-1], pitches=(*out[-1].pitches, note.midi_number))
        elif change is Change.JUMP:
            out.append(Joined(note, (note.midi_number,)))
        elif change is Change.GLIDE and _goes_on(note, out[-1]):
            out[-1] = replace(out[-1], pitches=(note.midi_number,))
        elif change is Change.NONE or _bent(spectrum, note, out[-1], end_s):
            there = note.midi_number if change is Change.GLIDE else out[-1].pitches[-1]
            out[-1] = replace(out[-1], pitches=(*out[-1].pitches, there))
        else:
            out.append(Joined(note, (note.midi_number,), slid_into=True))
    return tuple(out)


def _is_knock(
    spectrum: Spectrum, note: HeardNote, before: Joined, end_s: float
) -> bool:
    """Say whether something struck, a click, but the note before went on.

    It is heard as a note where the one before happens to be sharp or flat just then.
    """
    apart = abs(note.midi_number - before.pitches[-1])
    if note.probability > DOUBTED or not 0 < apart <= BEND_SEMITONES:
        return False
    first_s, last_s = note.time_s + KNOCK_S[0], note.time_s + KNOCK_S[1]
    low = int(first_s / FRAME_HOP_S)
    high = int(min(last_s, end_s - 2 * FRAME_HOP_S) / FRAME_HOP_S)
    frame = np.arange(low, min(max(high, low + 1), len(spectrum.frames)))
    nominal = np.full(len(frame), float(before.pitches[-1]))
    reach = np.tile([-apart - 0.5, apart + 0.5], (len(frame), 1))
    f0_hz, strength = track(spectrum, frame, nominal, reach)
    if not strength.any():
        return False
    at = float(np.median(hz_to_midi(f0_hz[strength > 0])))
    at -= spectrum.tuning_cents / 100
    return abs(at - before.pitches[-1]) < abs(at - note.midi_number)


def _is_grace(note: HeardNote, out: Sequence[Joined]) -> bool:
    """Say whether the pitch before was left too soon to be a note of its own."""
    return bool(out) and note.time_s - out[-1].first.time_s < GRACE_S


def _soft_change(
    spectrum: Spectrum,
    note: HeardNote,
    before: Joined,
    span_s: tuple[float, float],
) -> Change:
    """How the pitch gets to a note that was hardly struck."""
    sounding = before.pitches[-1]
    apart = abs(note.midi_number - sounding)
    if apart == 0 and before.moving:
        return Change.NONE
    struck = not note.is_step and note.probability > SURE
    if apart in MISHEARD_SEMITONES:
        return Change.JUMP if struck else Change.NONE
    if not 0 < apart <= WIDEST_SEMITONES:
        return Change.JUMP
    change = change_of(spectrum, note, sounding, span_s)
    if change is Change.NONE and struck and apart > SHAKEN_SEMITONES:
        return Change.JUMP  # the string before rings on
    return change


def _goes_on(note: HeardNote, before: Joined) -> bool:
    """Say whether a slide that was heard on one fret is on its way to another."""
    soon = note.time_s - before.first.time_s < SLIDE_TAKES_S
    return before.slid_into and not before.moving and soon


def _bent(spectrum: Spectrum, note: HeardNote, before: Joined, end_s: float) -> bool:
    """Say whether a glide is a bend or a release, not a slide.

    Up: by as much as fingers bend, and at once.  Down: back from where it was bent to,
    or, out of a pre-bend, not from fret to fret and not fast.
    """
    widest = max(*before.pitches, note.midi_number) - min(
        *before.pitches, note.midi_number
    )
    if widest > BEND_SEMITONES:
        return False
    if note.midi_number < before.pitches[-1] and before.moving:
        return True
    leaves_s, takes_s, size = _glide(spectrum, note, before, end_s)
    if note.midi_number > before.pitches[-1]:
        return leaves_s < BEND_LEAVES_S
    return abs(size - round(size)) > EXACT_SEMITONES or takes_s > SLIDE_TAKES_S


def _glide(
    spectrum: Spectrum, note: HeardNote, before: Joined, end_s: float
) -> tuple[float, float, float]:
    """When a pitch leaves, seconds after its onset, how long it takes, and how far."""
    first_s = before.first.time_s + 2 * FRAME_HOP_S
    low = int(np.ceil(first_s / FRAME_HOP_S))
    high = int(min(note.time_s + LOOK_S, end_s - 2 * FRAME_HOP_S) / FRAME_HOP_S)
    frame = np.arange(low, min(high, len(spectrum.frames)))
    if len(frame) < 3 * EDGE_FRAMES:
        return 0.0, 0.0, 0.0
    base = before.pitches[-1]
    way = note.midi_number - base
    reach = np.array([min(way, 0) - 1.5, max(way, 0) + 1.5])
    f0_hz, _ = track(
        spectrum,
        frame,
        np.full(len(frame), float(base)),
        np.tile(reach, (len(frame), 1)),
    )
    away = hz_to_midi(f0_hz)
    here = float(np.median(away[:EDGE_FRAMES]))
    there = float(np.median(away[-EDGE_FRAMES:]))
    size = there - here
    if abs(size) < 0.5:
        return 0.0, 0.0, size
    progress = (away - here) / size
    reached = int(np.flatnonzero(progress > EDGES[1])[0])
    left = np.flatnonzero(progress[:reached] < EDGES[0])
    leaves = int(left[-1]) if len(left) else 0
    leaves_s = float(frame[leaves]) * FRAME_HOP_S - before.first.time_s
    return leaves_s, (reached - leaves) * FRAME_HOP_S, size


def change_of(
    spectrum: Spectrum, note: HeardNote, from_midi: int, span_s: tuple[float, float]
) -> Change:
    """How the pitch gets to a note from one before, within a stretch of the take."""
    progress = _progress(spectrum, note, from_midi, span_s)
    there = np.flatnonzero(progress > HIGH)
    if not len(there):
        return Change.NONE
    before = np.flatnonzero(progress[: there[0]] < LOW)
    if not len(before):
        return Change.JUMP
    slow = there[0] - before[-1] > GLIDE_FRAMES
    return Change.GLIDE if slow else Change.JUMP


def _progress(
    spectrum: Spectrum, note: HeardNote, from_midi: int, span_s: tuple[float, float]
) -> FloatArray:
    """Share of the way that the pitch has gone, frame by frame, around the change."""
    low_s = max(note.time_s - LOOK_S, span_s[0] + 2 * FRAME_HOP_S, 0.0)
    high_s = min(note.time_s + LOOK_S, span_s[1])
    low = int(np.ceil(low_s / FRAME_HOP_S))
    high = min(int(high_s / FRAME_HOP_S) + 1, len(spectrum.frames))
    frame = np.arange(low, max(high, low))
    way = note.midi_number - from_midi
    reach = np.array([min(way, 0) - 1.0, max(way, 0) + 1.0])
    nominal = np.full(len(frame), float(from_midi))
    f0_hz, strength = track(spectrum, frame, nominal, np.tile(reach, (len(frame), 1)))
    heard = f0_hz[strength > 0]
    return np.asarray(
        (hz_to_midi(heard) - spectrum.tuning_cents / 100 - from_midi) / way
    )
