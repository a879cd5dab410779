"""String and fret of every note of a MusicXML line.

Where string and fret contradict the pitch, they win: they say what the hand does.  A
file that does not state its tuning is read in the tuning that explains all its notes,
if there is one, else in standard tuning.  Notes without a place get one from
`assessor.lick.fretting`.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace

from assessor.errors import LickError
from assessor.lick.fretting import FRETS, choose_fretting, positions
from assessor.lick.musicxml_signs import Written
from assessor.lick.notices import Notices
from assessor.tuning import STANDARD, Tuning, note_name

_OCTAVE = 12


def settled(
    notes: list[Written], stated: Tuning | None, capo: int, notices: Notices
) -> tuple[Tuning, list[Written]]:
    """Settle the tuning, and string, fret and pitch of every note.

    Raises
    ------
    LickError
        When a note has a string that is not there, or a pitch that no string reaches.
    """
    tuning = stated or _explaining(notes, capo, notices)
    notes = [_with_known_place(note, tuning, capo, notices) for note in notes]
    known_frets = [note.fret for note in notes if note.fret is not None]
    if len(known_frets) == len(notes):
        return tuning, notes
    frets = max([FRETS, *(fret + capo for fret in known_frets)])
    for note in notes:
        if not positions(note.midi_number, tuning, capo=capo, frets=frets):
            message = f"no string of {tuning} reaches {note_name(note.midi_number)}"
            message += f" (capo {capo})" if capo else ""
            raise _at(note, message)
    places = choose_fretting(
        [note.midi_number for note in notes],
        tuning,
        capo=capo,
        articulations=[note.articulation for note in notes],
        strings=[note.string for note in notes],
        frets=frets,
    )
    notices.add("string and fret are chosen where the file names none")
    return tuning, [
        replace(note, string=string, fret=fret)
        for note, (string, fret) in zip(notes, places, strict=True)
    ]


def _at(note: Written, message: str) -> LickError:
    """Error at a note."""
    return LickError(message, line=note.line, measure=note.measure)


def _explaining(notes: list[Written], capo: int, notices: Notices) -> Tuning:
    """Tuning in which each string, fret and pitch agree; standard if there is none.

    Pitches that are all whole octaves off are written in another octave: no guitar is
    tuned that way.
    """
    off: dict[int, set[int]] = defaultdict(set)
    for note in notes:
        if note.string is None or note.fret is None:
            continue
        if note.string > STANDARD.strings:
            message = (
                f"string {note.string}, but no <staff-tuning> says how it is tuned"
            )
            raise _at(note, message)
        place_midi = STANDARD.midi_number(note.string, note.fret, capo)
        off[note.string].add(note.midi_number - place_midi)
    everywhere = set().union(*off.values())
    if any(len(found) > 1 for found in off.values()) or everywhere <= {0}:
        return STANDARD
    if len(everywhere) == 1:
        (same,) = everywhere
        if same % _OCTAVE == 0:
            return STANDARD
        off = {string: {same} for string in range(1, STANDARD.strings + 1)}
    tuning = Tuning(
        tuple(
            midi_number + (next(iter(off[string])) if string in off else 0)
            for string, midi_number in enumerate(STANDARD.open_midi, start=1)
        )
    )
    notices.add(f"no tuning is written; {tuning} explains every note and is taken")
    return tuning


def _with_known_place(
    note: Written, tuning: Tuning, capo: int, notices: Notices
) -> Written:
    """Complete a note that names its string, its fret, or both."""
    if note.string is not None and note.string > tuning.strings:
        message = f"string {note.string} of an instrument with {tuning.strings} strings"
        raise _at(note, message)
    if note.string is not None and note.fret is not None:
        place_midi = tuning.midi_number(note.string, note.fret, capo)
        if place_midi != note.midi_number:
            text = "string and fret contradict the pitch, and are taken"
            notices.add(text, note.measure)
        if not 0 <= place_midi <= 127:
            message = f"fret {note.fret} on string {note.string} is beyond hearing"
            raise _at(note, message)
        return replace(note, midi_number=place_midi)
    if note.string is None and note.fret is None:
        return note
    for string, fret in positions(note.midi_number, tuning, capo=capo):
        if string == note.string or fret == note.fret:
            return replace(note, string=string, fret=fret)
    text = "a string or fret that cannot sound the pitch is left out"
    notices.add(text, note.measure)
    return replace(note, string=None, fret=None)
