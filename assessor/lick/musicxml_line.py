"""From the written bars of a MusicXML part to the line that is played.

Repeats are played out, ties joined, places on the fingerboard settled.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from itertools import groupby, pairwise

from assessor.errors import LickError, UnsupportedNotation
from assessor.lick.musicxml_bars import Bar, PartReader
from assessor.lick.musicxml_places import settled
from assessor.lick.musicxml_signs import Written, bend_of
from assessor.lick.notation import (
    Articulation,
    Lick,
    LickNote,
    Meter,
    TempoChange,
)
from assessor.lick.notices import Notices
from assessor.tuning import note_name

MOST_BARS = 10_000  # played out; an hour of music
MOST_NOTES = 20_000
TEMPO_BPM = 120.0  # where none is written, as in a Standard MIDI File


def lick_from(part: PartReader, notices: Notices, *, title: str, trains: str) -> Lick:
    """Make the lick of a part that was read.

    Raises
    ------
    LickError
        When there are no notes, too many, or a place that is not on the fingerboard.
    UnsupportedNotation
        When two notes sound together.
    """
    bars = [part.bars[i] for i in playing_order(part.bars)]
    meter = part.meter or Meter()
    if part.meter is None:
        notices.add("no time signature is written; 4/4 is taken")
    _check_lengths(part.bars, notices)
    notes = _joined(_laid_out(bars))
    if not notes:
        message = "the part holds no notes to play"
        raise LickError(message)
    if notes[-1].end_beats > MOST_BARS * meter.bar_beats:
        message = f"over {MOST_BARS} bars of {meter}; is this one lick?"
        raise LickError(message, line=notes[-1].line, measure=notes[-1].measure)
    tempo_bpm, changes = _tempos(part.bars, bars, notices)
    tuning, notes = settled(notes, part.tuning, part.capo, notices)
    notes = _with_sense(notes, notices)
    first = part.bars[0]
    pickup = first.length_beats < meter.bar_beats and (
        first.implicit or len(part.bars) > 1
    )
    lick_notes = tuple(_lick_note(note, notices) for note in notes)
    return Lick(
        title=title,
        tempo_bpm=tempo_bpm,
        meter=meter,
        tuning=tuning,
        notes=lick_notes,
        capo=part.capo,
        swing=part.swing,
        tempo_changes=changes,
        pickup_beats=first.length_beats if pickup else Fraction(0),
        trains=trains,
        notices=notices.lines(),
    )


def playing_order(bars: list[Bar]) -> list[int]:
    """Indices of the bars as repeats and endings have them played.

    A section is repeated as often as its backward sign says (twice when it says
    nothing), or as its endings count.

    Raises
    ------
    LickError
        When it comes to more than `MOST_BARS`.
    """
    order: list[int] = []
    start, run, index = 0, 1, 0
    while index < len(bars):
        bar = bars[index]
        leaves_endings = index > 0 and bars[index - 1].endings and not bar.endings
        if index != start and (bar.repeat_starts or leaves_endings):
            start, run = index, 1
        if not bar.endings or run in bar.endings:
            order.append(index)
            if len(order) > MOST_BARS:
                message = f"over {MOST_BARS} bars when repeats are played out"
                raise LickError(message, measure=bar.number)
            if bar.times and run < max(bar.times, _last_ending(bars, start)):
                index, run = start, run + 1
                continue
            if bar.times and not bar.endings:
                start, run = index + 1, 1
        index += 1
    return order


def _last_ending(bars: list[Bar], start: int) -> int:
    """Highest number among the endings of the section that starts at `start`."""
    numbers = [0]
    for has_endings, group in groupby(bars[start:], key=lambda bar: bool(bar.endings)):
        if has_endings:
            numbers += [max(bar.endings) for bar in group]
            break
    return max(numbers)


def _check_lengths(bars: list[Bar], notices: Notices) -> None:
    """Say which inner bars do not hold what their meter says."""
    for bar in bars[1:-1]:
        if bar.length_beats != bar.meter.bar_beats and not bar.implicit:
            notices.add("bars longer or shorter than their meter", bar.number)


def _starts(bars: list[Bar]) -> Iterator[tuple[Fraction, Bar]]:
    """Each bar with its place in the line."""
    at = Fraction(0)
    for bar in bars:
        yield at, bar
        at += bar.length_beats


def _laid_out(bars: list[Bar]) -> list[Written]:
    """Notes at their place in the line, in order."""
    notes = [
        replace(note, onset_beats=at + note.onset_beats)
        for at, bar in _starts(bars)
        for note in bar.notes
    ]
    if len(notes) > MOST_NOTES:
        message = f"{len(notes)} notes, at most {MOST_NOTES}; is this one lick?"
        raise LickError(message)
    notes.sort(key=lambda note: note.onset_beats)
    for before, after in pairwise(notes):
        if after.onset_beats < before.end_beats:
            names = (
                f"{note_name(before.midi_number)} and {note_name(after.midi_number)}"
            )
            message = f"{names} sound together; a lick is a single line: "
            message += "leave one voice of it"
            raise UnsupportedNotation(message, line=after.line, measure=after.measure)
    return notes


def _joined(notes: list[Written]) -> list[Written]:
    """Join each note with those it is tied to; the signs of all hold for the whole."""
    joined: list[Written] = []
    for note in notes:
        before = joined[-1] if joined else None
        if (
            before is not None
            and note.tied_from
            and before.tied_to
            and before.midi_number == note.midi_number
            and before.end_beats == note.onset_beats
        ):
            joined[-1] = replace(
                before,
                duration_beats=before.duration_beats + note.duration_beats,
                tied_to=note.tied_to,
                bends=before.bends + note.bends,
                vibrato=before.vibrato or note.vibrato,
                slide_out=note.slide_out or before.slide_out,
                let_ring=before.let_ring or note.let_ring,
            )
        else:
            joined.append(note)
    return joined


def _tempos(
    written: list[Bar], played: list[Bar], notices: Notices
) -> tuple[float, tuple[TempoChange, ...]]:
    """Tempo at the start, and its changes, each bar in the tempo it is written in."""
    in_force: dict[int, float] = {}
    tempo_bpm = next(
        (bar.tempos_bpm[min(bar.tempos_bpm)] for bar in written if bar.tempos_bpm), None
    )
    if tempo_bpm is None:
        notices.add(f"no tempo is written; {TEMPO_BPM:g} is taken")
        return TEMPO_BPM, ()
    for bar in written:
        in_force[id(bar)] = tempo_bpm
        if bar.tempos_bpm:
            tempo_bpm = bar.tempos_bpm[max(bar.tempos_bpm)]
    marks: dict[Fraction, float] = {}
    for at, bar in _starts(played):
        marks[at] = in_force[id(bar)]
        marks.update({at + place: bpm for place, bpm in bar.tempos_bpm.items()})
    changes: list[TempoChange] = []
    first = now = marks[Fraction(0)]
    for beat in sorted(marks):
        if marks[beat] != now:
            now = marks[beat]
            changes.append(TempoChange(beat, now))
    return first, tuple(changes)


def _with_sense(notes: list[Written], notices: Notices) -> list[Written]:
    """Turn slides from another string, which no hand can play, into picked notes."""
    sense = notes[:1]
    for before, note in pairwise(notes):
        if note.articulation is Articulation.SLIDE and before.string != note.string:
            notices.add("a slide to another string is read as picked", note.measure)
            note = replace(note, articulation=Articulation.PICK)
        sense.append(note)
    return sense


def _lick_note(note: Written, notices: Notices) -> LickNote:
    """Note of the lick, from one that is joined and has its place."""
    assert note.string is not None  # settled before
    assert note.fret is not None
    dead = note.articulation is Articulation.DEAD
    return LickNote(
        onset_beats=note.onset_beats,
        duration_beats=note.duration_beats,
        midi_number=note.midi_number,
        string=note.string,
        fret=note.fret,
        articulation=note.articulation,
        bend=None if dead else bend_of(note, notices),
        vibrato=note.vibrato and not dead,
        slide_in=note.slide_in,
        slide_out=note.slide_out,
        let_ring=note.let_ring,
        finger=note.finger,
        stroke=note.stroke,
    )
