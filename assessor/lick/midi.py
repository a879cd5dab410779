"""Standard MIDI Files: reads a single line, and writes a lick.

What is read
------------
Formats 0 and 1.  The first track with pitched notes; the drum channel (10) never.
Several channels of a track are read together when they make one line (a string to a
channel is common for guitars); when they sound together, the first is taken if they
play different programs.  Notes that overlap the next are cut.  Times are exact
fractions of the file's ticks.  String and fret are chosen by
`assessor.lick.fretting`; a MIDI file knows neither, nor slurs.  Where no text event
says the tuning it is standard, or the nearest lower one that reaches every note.

Source: Standard MIDI Files 1.0, MIDI Manufacturers Association; tempo without a tempo
event is 120 there, the meter 4/4.
"""

from __future__ import annotations

import io
import re
import struct
from collections import defaultdict
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from pathlib import PurePath
from typing import Any

import mido
from mido.midifiles.meta import KeySignatureError

from assessor.errors import LickError, UnsupportedNotation
from assessor.lick.fretting import choose_fretting, positions
from assessor.lick.midi_wheel import Wheel, sign_of
from assessor.lick.midi_words import read_words
from assessor.lick.midi_write import write
from assessor.lick.notation import Lick, LickNote, Meter, TempoChange
from assessor.lick.notices import Notices
from assessor.tuning import STANDARD, Tuning, note_name

__all__ = ["read", "write"]

MOST_BYTES = 2**20  # some hours of a single line
MOST_NOTES = 20_000
MOST_BARS = 10_000
TEMPO_RANGE_BPM = (5.0, 1000.0)
USUAL_TEMPO_US = 500_000  # microseconds to the quarter note: 120

# Two notes struck closer than this, in quarter notes, and sounding together are one
# chord: 21 ms at 120, about the least by which the ear can tell which came first.
CHORD_BEATS = Fraction(1, 24)

DROP_D = Tuning((64, 59, 55, 50, 45, 38))
MOST_LOWERED = 12  # frets, all strings alike: a baritone and a little more

_DRUMS = 9
_NO_INTEGER = re.compile(rb"[\x80-\xff]{4096}")
_UNPRINTABLE = re.compile(r"[\x00-\x1f\x7f-\x9f]+")


def read(data: bytes, path: str) -> Lick:
    """Read a lick from the bytes of a Standard MIDI File.

    Parameters
    ----------
    data : bytes
    path : str
        The file's name, for messages; its stem is the title when the file has none.

    Returns
    -------
    Lick
        With a notice for what was left out or changed.

    Raises
    ------
    LickError
        When the file is no Standard MIDI File, or broken.
    UnsupportedNotation
        When it holds chords, with the bar.
    """
    try:
        return _read(data, path)
    except LickError as error:
        error.path = path
        raise


@dataclass(frozen=True)
class _Sound:
    """A note in ticks."""

    onset: int
    end: int
    midi_number: int
    channel: int


@dataclass
class _Track:
    """What one track holds, in ticks."""

    name: str
    sounds: list[_Sound]
    wheels: dict[int, Wheel]
    programs: dict[int, int]
    tempos_us: list[tuple[int, int]]
    meters: list[tuple[int, Meter]]
    texts: list[str]


def _read(data: bytes, path: str) -> Lick:
    """Read, with errors that do not yet know the path."""
    file = _parsed(data)
    notices = Notices()
    tracks = [_track(messages, notices) for messages in file.tracks]
    with_notes = [track for track in tracks if track.sounds]
    if not with_notes:
        message = "the file holds no pitched notes"
        raise LickError(message)
    track = with_notes[0]
    if len(with_notes) > 1:
        others = ", ".join(other.name or "unnamed" for other in with_notes[1:])
        notices.add(f"track {track.name or 'unnamed'!r} is read; left out: {others}")
    ticks = file.ticks_per_beat
    meters = sorted(
        (pair for each in tracks for pair in each.meters), key=lambda pair: pair[0]
    )
    meter = meters[0][1] if meters else Meter()
    if any(other != meter for _, other in meters):
        notices.add(f"the meter changes; bar lines are kept as {meter}")
    words = read_words(text for each in tracks for text in each.texts)
    if words.pickup_beats >= meter.bar_beats:  # somebody else's words
        words = replace(words, pickup_beats=Fraction(0))
    bars = _Bars(ticks, meter, words.pickup_beats)
    sounds = _single_line(track, bars, notices)
    tempo_bpm, changes = _tempos(tracks, ticks, sounds[-1].end)
    tuning = words.tuning or _lowered(sounds, words.capo, notices)
    guitar = _Guitar(tuning, words.capo)
    return Lick(
        title=tracks[0].name or PurePath(path).stem,
        tempo_bpm=tempo_bpm,
        meter=meter,
        tuning=tuning,
        notes=_lick_notes(sounds, track.wheels, bars, guitar, notices),
        capo=words.capo,
        tempo_changes=changes,
        pickup_beats=words.pickup_beats,
        trains=words.trains,
        parent=words.parent(len(sounds)),
        notices=notices.lines(),
    )


def _parsed(data: bytes) -> Any:
    """File as mido reads it, its many exceptions turned into one."""
    if len(data) > MOST_BYTES:
        message = f"{len(data)} bytes, at most {MOST_BYTES} can be read; "
        message += "is this one lick?"
        raise LickError(message)
    if not data.startswith(b"MThd"):
        message = "no Standard MIDI File: it does not start with 'MThd'"
        raise LickError(message)
    if _NO_INTEGER.search(data):  # mido would build a number of thousands of digits
        message = "no Standard MIDI File: a number of over 4096 bytes"
        raise LickError(message)
    try:
        file = mido.MidiFile(file=io.BytesIO(data))
    except EOFError as error:
        message = "the MIDI file ends in the middle; save or copy it again"
        raise LickError(message) from error
    except (
        AttributeError,
        KeySignatureError,
        LookupError,
        OSError,
        TypeError,
        ValueError,
        struct.error,
    ) as error:
        message = f"no Standard MIDI File, or a broken one: {error}"
        raise LickError(message) from error
    if file.type not in (0, 1):
        message = f"MIDI format {file.type}; formats 0 and 1 hold one piece of music"
        raise UnsupportedNotation(message)
    if file.ticks_per_beat <= 0:
        message = "time in film frames; only ticks to the quarter note can be read"
        raise UnsupportedNotation(message)
    return file


def _track(messages: Any, notices: Notices) -> _Track:
    """Follow the messages of one track."""
    track = _Track("", [], defaultdict(Wheel), {}, [], [], [])
    sounding: dict[tuple[int, int], int] = {}
    tick = 0
    for message in messages:
        tick += message.time
        if message.type == "track_name" and not track.name:
            track.name = _UNPRINTABLE.sub(" ", message.name).strip()
        elif message.type == "text":
            track.texts.append(message.text)
        elif message.type == "set_tempo":
            track.tempos_us.append((tick, message.tempo))
        elif message.type == "time_signature":
            if message.numerator == 0 or message.denominator > 128:
                notices.add("a meter that does not add up is left out")
            else:
                meter = Meter(message.numerator, message.denominator)
                track.meters.append((tick, meter))
        elif message.is_meta or getattr(message, "channel", _DRUMS) == _DRUMS:
            continue
        elif message.type in ("note_on", "note_off"):
            _sound(message, tick, sounding, track)
        elif message.type == "program_change":
            track.programs.setdefault(message.channel, message.program)
        else:
            track.wheels[message.channel].feed(tick, message)
    if sounding:
        notices.add("notes that never end are ended with their track")
    for (channel, midi_number), onset in sounding.items():
        if tick > onset:
            track.sounds.append(_Sound(onset, tick, midi_number, channel))
    track.sounds.sort(key=lambda sound: (sound.onset, sound.midi_number))
    return track


def _sound(
    message: Any, tick: int, sounding: dict[tuple[int, int], int], track: _Track
) -> None:
    """Start or end a note; one struck again before it ended ends there."""
    key = (message.channel, message.note)
    onset = sounding.pop(key, None)
    if onset is not None and tick > onset:
        track.sounds.append(_Sound(onset, tick, message.note, message.channel))
    if message.type == "note_on" and message.velocity > 0:
        sounding[key] = tick


@dataclass(frozen=True)
class _Bars:
    """Ticks as beats and bars."""

    ticks_per_beat: int
    meter: Meter
    pickup_beats: Fraction

    def beats(self, tick: int) -> Fraction:
        return Fraction(tick, self.ticks_per_beat)

    def bar(self, tick: int) -> str:
        """Number of the bar, from 1; a pickup is bar 0."""
        beats = self.beats(tick) - self.pickup_beats
        return str(beats // self.meter.bar_beats + 1)


def _single_line(track: _Track, bars: _Bars, notices: Notices) -> list[_Sound]:
    """Notes of one line, one after the other.

    Raises
    ------
    UnsupportedNotation
        When two of them are struck together.
    """
    sounds = track.sounds
    channels = sorted({sound.channel for sound in sounds})
    programs = {track.programs.get(channel, 0) for channel in channels}
    if len(programs) > 1 and _chord(sounds, bars) is not None:
        kept = sounds[0].channel
        sounds = [sound for sound in sounds if sound.channel == kept]
        others = ", ".join(str(c + 1) for c in channels if c != kept)
        notices.add(f"channel {kept + 1} is read; left out: {others}")
    chord = _chord(sounds, bars)
    if chord is not None:
        names = " and ".join(note_name(sound.midi_number) for sound in chord)
        message = f"{names} are struck together; a lick is a single line: "
        message += "leave one note of it"
        raise UnsupportedNotation(message, measure=bars.bar(chord[1].onset))
    if len(sounds) > MOST_NOTES or sounds[-1].end > (
        MOST_BARS * bars.meter.bar_beats * bars.ticks_per_beat
    ):
        message = f"over {MOST_NOTES} notes or {MOST_BARS} bars; is this one lick?"
        raise LickError(message)
    line = []
    for sound, after in pairwise([*sounds, None]):
        if after is not None and sound is not None and after.onset < sound.end:
            notices.add("notes that overlap the next are cut", bars.bar(sound.onset))
            sound = replace(sound, end=after.onset)
        if sound is not None:
            line.append(sound)
    return line


def _chord(sounds: list[_Sound], bars: _Bars) -> tuple[_Sound, _Sound] | None:
    """First two notes that are struck together."""
    for before, after in pairwise(sounds):
        apart = bars.beats(after.onset - before.onset)
        if after.onset < before.end and apart < CHORD_BEATS:
            return before, after
    return None


def _tempos(
    tracks: list[_Track], ticks_per_beat: int, end: int
) -> tuple[float, tuple[TempoChange, ...]]:
    """Tempo at the start, and its changes before `end`."""
    marks = {0: USUAL_TEMPO_US}
    for track in tracks:
        marks.update(track.tempos_us)
    first = now = _tempo_bpm(marks[0])
    changes = []
    for tick in sorted(tick for tick in marks if 0 < tick < end):
        tempo_bpm = _tempo_bpm(marks[tick])
        if tempo_bpm != now:
            now = tempo_bpm
            changes.append(TempoChange(Fraction(tick, ticks_per_beat), now))
    return first, tuple(changes)


def _tempo_bpm(tempo_us: int) -> float:
    """Tempo in quarter notes a minute: the roundest that the file can mean.

    A file holds whole microseconds: 652174 is 92, not 91.99999.

    >>> _tempo_bpm(652174), _tempo_bpm(648649), _tempo_bpm(500001)
    (92.0, 92.5, 119.9998)
    """
    exact = 60e6 / tempo_us if tempo_us else float("inf")
    slowest, fastest = TEMPO_RANGE_BPM
    if not slowest <= exact <= fastest:
        message = f"a tempo of {tempo_us} microseconds to the quarter note; "
        message += f"{slowest:g} to {fastest:g} quarter notes a minute can be read"
        raise LickError(message)
    for digits in range(6):
        if round(60e6 / round(exact, digits)) == tempo_us:
            return round(exact, digits)
    return exact


@dataclass(frozen=True)
class _Guitar:
    """What the notes are fretted on."""

    tuning: Tuning
    capo: int


def _lowered(sounds: list[_Sound], capo: int, notices: Notices) -> Tuning:
    """Standard tuning, or the nearest lower one in use that reaches every note."""
    lowest = min(sound.midi_number for sound in sounds) - capo
    if lowest >= STANDARD.open_midi[-1]:
        return STANDARD
    tunings = [DROP_D]
    tunings += [
        Tuning(tuple(midi_number - down for midi_number in STANDARD.open_midi))
        for down in range(1, MOST_LOWERED + 1)
    ]
    for tuning in tunings:
        if lowest >= tuning.open_midi[-1]:
            notices.add(f"the tuning is guessed from the lowest note: {tuning}")
            return tuning
    return STANDARD  # reaches it no more than the others: said where it is fretted


def _lick_notes(
    sounds: list[_Sound],
    wheels: dict[int, Wheel],
    bars: _Bars,
    guitar: _Guitar,
    notices: Notices,
) -> tuple[LickNote, ...]:
    """Notes of the lick, on the fingerboard, with what the wheel says."""
    tuning, capo = guitar.tuning, guitar.capo
    for sound in sounds:
        if not positions(sound.midi_number, tuning, capo=capo):
            message = f"no string of {tuning} reaches {note_name(sound.midi_number)}"
            raise LickError(message, measure=bars.bar(sound.onset))
    midi_numbers = [sound.midi_number for sound in sounds]
    places = choose_fretting(midi_numbers, tuning, capo=capo)
    notices.add("string and fret are chosen: a MIDI file names none")
    notes = []
    for sound, (string, fret) in zip(sounds, places, strict=True):
        sign = sign_of(wheels[sound.channel].over(sound.onset, sound.end))
        if sign.unclear:
            text = "what the pitch wheel does is no bend and no vibrato: left out"
            notices.add(text, bars.bar(sound.onset))
        notes.append(
            LickNote(
                onset_beats=bars.beats(sound.onset),
                duration_beats=bars.beats(sound.end - sound.onset),
                midi_number=sound.midi_number,
                string=string,
                fret=fret,
                bend=sign.bend,
                vibrato=sign.vibrato,
            )
        )
    return tuple(notes)
