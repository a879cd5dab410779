"""The lick sheet: our plain-text format for licks, tab as a guitarist types it.

`docs/lick-sheet.md` is the grammar.  `read` goes one way: header, systems (which
line is which), strings (frets and what is written on them), bars (note values with
the fret under each), joins, repeats, lick.  `write` is its opposite.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction

from assessor.errors import LickError
from assessor.lick.notation import (
    Articulation,
    Lick,
    LickNote,
    TempoChange,
)
from assessor.lick.sheet_bars import BarReader, BarText, Item
from assessor.lick.sheet_header import Header, Source, read_header
from assessor.lick.sheet_layout import System
from assessor.lick.sheet_systems import read_systems
from assessor.lick.sheet_tab import Entry, Sign, StringReader, slide_in, slide_out
from assessor.lick.sheet_writing import tab_systems, write

__all__ = ["System", "read", "tab_systems", "write"]


def read(text: str, path: str) -> Lick:
    r"""Lick written on a lick sheet.

    Parameters
    ----------
    text : str
        The whole sheet.
    path : str
        Its file as the user named it, for messages and for a missing title.

    Returns
    -------
    Lick
        Repeats written out, ties joined.

    Raises
    ------
    LickError
        At the first thing that cannot be read, with its line and column.
    UnsupportedNotation
        When two notes are to sound at once.

    Examples
    --------
    >>> lick = read(r'''
    ... tempo: 90
    ... meter: 2/4
    ...
    ...    e e q       e3 e3 e3 q
    ... e|-----------|-------------|
    ... B|-5h7-8b10~-|-8-p7--------|
    ... G|-----------|-------9-/11-|
    ... D|-----------|-------------|
    ... A|-----------|-------------|
    ... E|-----------|-------------|
    ... ''', "two-bars.lick")
    >>> [str(note.onset_beats) for note in lick.notes]
    ['0', '1/2', '1', '2', '7/3', '8/3', '3']
    >>> lick.notes[1].articulation, lick.notes[2].bend.target_cents
    (<Articulation.HAMMER_ON: 'hammer_on'>, 200.0)
    """
    source = Source(path, tuple(text.removeprefix("\ufeff").splitlines()))
    header, start = read_header(source)
    systems = read_systems(source, start, header.tuning)
    if not systems:
        message = (
            "no tab; write a rhythm row over "
            f"{header.tuning.strings} tab lines under the header"
        )
        raise LickError(message, path)
    entries: list[Entry] = []
    for string in range(1, header.tuning.strings + 1):
        signs = (sign for system in systems for sign in system.signs[string - 1])
        entries += StringReader(source, string).read(signs)
    bars = BarReader(source).read(systems, entries)
    _check_lengths(source, header, bars)
    _settle_joins(source, bars)
    return _lick(source, header, list(_played(source, bars, header)))


def _check_lengths(source: Source, header: Header, bars: Sequence[BarText]) -> None:
    """Refuse a bar that does not fill its meter; the last may be shorter."""
    for number, bar in enumerate(bars, start=1):
        first = number == 1 and header.pickup_beats > 0
        allowed = header.pickup_beats if first else header.meter.bar_beats
        if bar.beats == allowed or (number == len(bars) and bar.beats < allowed):
            continue
        what = "the pickup" if first else f"a bar of {header.meter}"
        message = (
            f"bar {number} lasts {_mixed(bar.beats)} quarter notes, {what} lasts "
            f"{_mixed(allowed)}; change a note value, or look for a missing bar line"
        )
        if number == 1 and bar.beats < allowed and not first:
            message += f" (for a pickup write `pickup: {_mixed(bar.beats)}`)"
        raise source.error(message, bar.place)


def _mixed(beats: Fraction) -> str:
    """Fraction the way people say it.

    >>> _mixed(Fraction(7, 2)), _mixed(Fraction(4)), _mixed(Fraction(1, 3))
    ('3 1/2', '4', '1/3')
    """
    whole, part = divmod(beats, 1)
    return " ".join(str(number) for number in (whole, part) if number) or "0"


def _settle_joins(source: Source, bars: Sequence[BarText]) -> None:
    """Find out what each h, p and slide joins, now that the order is known."""
    before: Entry | None = None
    for item in (item for bar in bars for item in bar.items):
        if item.mark.kind == "rest":
            before = None
        elif item.entry is not None:
            if item.entry.join is not None:
                _settle(source, item.entry, item.entry.join, before)
            before = item.entry


def _settle(source: Source, entry: Entry, join: Sign, before: Entry | None) -> None:
    """Settle one sign that leads into `entry` from the note `before` it in time."""
    origin = entry.joined_from
    if origin is None or origin is not before:
        _settle_apart(source, entry, join)
        return
    up = {"h": True, "/": True, "p": False, "\\": False}[join.text]
    if entry.articulation is Articulation.DEAD or origin.slide_out is not None:
        message = f"`{join.text}` leads into a dead note, or out of a slide to nowhere"
        raise source.error(message, join.place)
    if entry.fret == origin.fret or (entry.fret > origin.fret) is not up:
        message = (
            f"`{join.text}` leads {'up' if up else 'down'} the string, but fret "
            f"{origin.fret} is followed by fret {entry.fret}; h and / lead up, "
            "p and \\ lead down"
        )
        raise source.error(message, join.place)
    slurs = {"h": Articulation.HAMMER_ON, "p": Articulation.PULL_OFF}
    entry.articulation = slurs.get(join.text, Articulation.SLIDE)


def _settle_apart(source: Source, entry: Entry, join: Sign) -> None:
    """Settle a sign with no note right before on its string: from or to nowhere."""
    leads_in = entry.touches_join and not join.touches
    leads_out = join.touches and not entry.touches_join
    slide = join.text in "/\\"
    if join.text == "h" and leads_in:
        entry.articulation = Articulation.HAMMER_ON
    elif slide and leads_in:
        entry.slide_in = slide_in(join)
    elif slide and leads_out and entry.joined_from is not None:
        entry.joined_from.slide_out = slide_out(join)
    else:
        message = (
            f"`{join.text}` joins fret {entry.fret} to no note: the one right before "
            "it in time is on another string, or a rest"
        )
        raise source.error(message, join.place)


def _played(source: Source, bars: Sequence[BarText], header: Header) -> Iterator[Item]:
    """Items in the order they are played, repeats written out."""
    part: list[BarText] = []
    open_place = None
    tied_on = False
    for bar in bars:
        if bar.opens:
            if open_place is not None:
                message = "a repeat starts here inside another; close that with `:|`"
                raise source.error(message, bar.place)
            yield from _items(part)
            part, open_place = [], bar.place
        if tied_on and bar.opens:
            message = "a tie leads over the start of a repeat; write the note again"
            raise source.error(message, bar.place)
        part.append(bar)
        tied_on = bar.tied_on
        if bar.times > 1:
            _check_part(source, part, header)
            for _ in range(bar.times):
                yield from _items(part)
            part, open_place = [], None
    if open_place is not None:
        message = "the repeat that starts here has no end; write `:|` over its bar line"
        raise source.error(message, open_place)
    yield from _items(part)


def _items(bars: Sequence[BarText]) -> Iterator[Item]:
    """Values and rests of some bars."""
    return (item for bar in bars for item in bar.items)


def _check_part(source: Source, part: Sequence[BarText], header: Header) -> None:
    """Refuse a repeated part that would not join its own start."""
    if part[-1].tied_on:
        message = "a tie leads out of the repeat that ends here; write the note again"
        raise source.error(message, part[-1].place)
    beats = sum((bar.beats for bar in part), Fraction(0))
    if beats % header.meter.bar_beats:
        message = (
            f"the repeated part lasts {_mixed(beats)} quarter notes, which is no whole "
            f"number of bars of {header.meter}; fill its last bar with rests"
        )
        raise source.error(message, part[-1].place)


def _lick(source: Source, header: Header, items: Sequence[Item]) -> Lick:
    """Put the notes in time."""
    at = Fraction(0)
    struck: list[tuple[Fraction, Fraction, Entry]] = []
    tempo_changes: list[TempoChange] = []
    tied = False
    for item in items:
        if item.tempo is not None:
            if at == 0:
                message = "the lick starts here; write its tempo as `tempo:` above"
                raise source.error(message, item.tempo.place)
            tempo_changes.append(TempoChange(at, item.tempo.number))
        if item.entry is not None:
            struck.append((at, item.mark.beats, item.entry))
        elif tied:
            onset, beats, entry = struck[-1]
            struck[-1] = (onset, beats + item.mark.beats, entry)
        at += item.mark.beats
        tied = item.mark.tied
    if not struck:
        message = "the sheet holds rests only; a lick has at least one note"
        raise LickError(message, source.path)
    return Lick(
        title=header.title,
        tempo_bpm=header.tempo_bpm,
        meter=header.meter,
        tuning=header.tuning,
        notes=tuple(_note(header, *each) for each in struck),
        capo=header.capo,
        swing=header.swing,
        tempo_changes=tuple(tempo_changes),
        pickup_beats=header.pickup_beats,
        trains=header.trains,
        parent=header.parent(source, len(struck)),
    )


def _note(header: Header, onset: Fraction, beats: Fraction, entry: Entry) -> LickNote:
    """Note of the lick from a fret of the sheet."""
    return LickNote(
        onset_beats=onset,
        duration_beats=beats,
        midi_number=header.tuning.midi_number(entry.string, entry.fret, header.capo),
        string=entry.string,
        fret=entry.fret,
        articulation=entry.articulation,
        bend=entry.bend,
        vibrato=entry.vibrato,
        slide_in=entry.slide_in,
        slide_out=entry.slide_out,
        let_ring=entry.let_ring,
        finger=entry.finger,
        stroke=entry.stroke,
    )
