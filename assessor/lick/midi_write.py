"""Writes a lick as a Standard MIDI File, format 1: a tempo track and a guitar track.

Swing is played, bends and vibrato go on the pitch wheel with its range set by
registered parameter 0, slurred notes are softer.  Tuning, capo, pickup and purpose go
into text events.  What MIDI has no word for (string, fret, slurs, slides, dead notes)
is not written.
"""

from __future__ import annotations

import io
from dataclasses import replace
from fractions import Fraction
from math import ceil, lcm

import mido

from assessor.lick.midi_wheel import curve, range_semitones, wheel_value
from assessor.lick.midi_words import words_of
from assessor.lick.notation import Lick, LickNote

LEAST_TICKS_PER_BEAT = 960
MOST_TICKS_PER_BEAT = 32767  # 15 bits
# Where no exact number is small enough: every length of 1/n beats for n to 12 is whole.
NEAR_TICKS_PER_BEAT = 27720
PROGRAM = 27  # clean electric guitar, in General MIDI counted from 0
PICKED_VELOCITY = 88
SLURRED_VELOCITY = 68

# At one tick: a note ends, then the wheel moves, then the next note starts.
_OFF, _WHEEL, _ON = range(3)


def write(lick: Lick) -> bytes:
    """Write a lick as a Standard MIDI File.

    Parameters
    ----------
    lick : Lick

    Returns
    -------
    bytes
        Times are exact to the tick where a file of up to 32767 ticks to the quarter
        note can be (always for lengths of 1/n beats up to n = 12), else rounded.
    """
    ticks_per_beat = _ticks_per_beat(lick)
    file = mido.MidiFile(type=1, ticks_per_beat=ticks_per_beat)
    file.tracks.append(_tempo_track(lick, ticks_per_beat))
    file.tracks.append(_guitar_track(lick, ticks_per_beat))
    buffer = io.BytesIO()
    file.save(file=buffer)
    return buffer.getvalue()


def _ticks_per_beat(lick: Lick) -> int:
    """Fewest ticks, from `LEAST_TICKS_PER_BEAT` up, that make all times whole."""
    exact = lcm(
        *(n.onset_beats.denominator for n in lick.notes),
        *(n.duration_beats.denominator for n in lick.notes),
        *(change.beat.denominator for change in lick.tempo_changes),
    )
    ticks = exact * ceil(LEAST_TICKS_PER_BEAT / exact)
    return ticks if ticks <= MOST_TICKS_PER_BEAT else NEAR_TICKS_PER_BEAT


def _tempo_track(lick: Lick, ticks_per_beat: int) -> mido.MidiTrack:
    """Title, meter and tempo map."""
    track = mido.MidiTrack()
    track.append(mido.MetaMessage("track_name", name=_latin(lick.title)))
    for line in words_of(lick):
        track.append(mido.MetaMessage("text", text=_latin(line)))
    meter = lick.meter
    if meter.unit & (meter.unit - 1) == 0:  # the format knows only powers of two
        signature = {"numerator": meter.count, "denominator": meter.unit}
        track.append(mido.MetaMessage("time_signature", **signature))
    now = 0
    marks = [(Fraction(0), lick.tempo_bpm)]
    marks += [(change.beat, change.tempo_bpm) for change in lick.tempo_changes]
    for beat, tempo_bpm in marks:
        tick = round(beat * ticks_per_beat)
        tempo_us = min(round(60e6 / tempo_bpm), 2**24 - 1)
        track.append(mido.MetaMessage("set_tempo", tempo=tempo_us, time=tick - now))
        now = tick
    return track


def _latin(text: str) -> str:
    """Text in the characters that files of this format are read with."""
    return text.encode("latin-1", "replace").decode("latin-1")


def _guitar_track(lick: Lick, ticks_per_beat: int) -> mido.MidiTrack:
    """Notes and pitch wheel."""
    bends = [note.bend for note in lick.notes if note.bend is not None]
    semitones = range_semitones(bends)
    track = mido.MidiTrack()
    track.append(mido.MetaMessage("track_name", name="Guitar"))
    track.append(mido.Message("program_change", program=PROGRAM))
    # registered parameter 0: semitones, then cents
    for control, value in ((101, 0), (100, 0), (6, semitones), (38, 0)):
        track.append(mido.Message("control_change", control=control, value=value))
    events: list[tuple[int, int, mido.Message]] = []
    straight = replace(lick, tempo_bpm=60.0, tempo_changes=())  # a second is a beat
    for note in lick.notes:
        onset = round(straight.seconds(note.onset_beats) * ticks_per_beat)
        end = round(straight.seconds(note.end_beats) * ticks_per_beat)
        events += _note_events(note, (onset, max(end, onset + 1)))
        duration_s = lick.seconds(note.end_beats) - lick.seconds(note.onset_beats)
        events += _wheel_events(note, (onset, end), duration_s, semitones)
    now = 0
    for tick, _, message in sorted(events, key=lambda event: event[:2]):
        track.append(message.copy(time=tick - now))
        now = tick
    return track


def _note_events(
    note: LickNote, span: tuple[int, int]
) -> list[tuple[int, int, mido.Message]]:
    """Start and end of a note."""
    velocity = SLURRED_VELOCITY if note.slurred else PICKED_VELOCITY
    on = mido.Message("note_on", note=note.midi_number, velocity=velocity)
    off = mido.Message("note_off", note=note.midi_number, velocity=0)
    return [(span[0], _ON, on), (span[1], _OFF, off)]


def _wheel_events(
    note: LickNote, span: tuple[int, int], duration_s: float, semitones: int
) -> list[tuple[int, int, mido.Message]]:
    """Wheel over a note, back at rest when it ends."""
    onset, end = span
    points = curve(note.bend, note.vibrato, duration_s)
    if not points:
        return []
    events = [
        (
            round(onset + share * (end - onset)),
            _WHEEL,
            mido.Message("pitchwheel", pitch=wheel_value(cents, semitones)),
        )
        for share, cents in points
    ]
    return [*events, (end, _WHEEL, mido.Message("pitchwheel", pitch=0))]
