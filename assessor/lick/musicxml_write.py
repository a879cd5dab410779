"""Writes a lick as MusicXML 4.0: partwise, one part, one tablature staff.

Source: MusicXML 4.0 schema, W3C, June 2021.  Notes are split at bar lines and into
values that can be drawn, and tied.  ``bend-alter`` of a release is negative.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from itertools import groupby, pairwise
from math import lcm
from typing import NamedTuple

from lxml import etree

from assessor.lick.musicxml_elements import Element
from assessor.lick.notation import (
    Articulation,
    BendKind,
    Lick,
    LickNote,
    SlideEdge,
    Stroke,
    TempoChange,
)
from assessor.lick.parentage import keys_of
from assessor.tuning import note_name

_DOCTYPE = (
    '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" '
    '"http://www.musicxml.org/dtds/partwise.dtd">'
)
_NOT_XML = re.compile("[^\t\n\r -\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
_VALUES = (  # name and length in quarter notes
    ("maxima", Fraction(32)),
    ("long", Fraction(16)),
    ("breve", Fraction(8)),
    ("whole", Fraction(4)),
    ("half", Fraction(2)),
    ("quarter", Fraction(1)),
    ("eighth", Fraction(1, 2)),
    ("16th", Fraction(1, 4)),
    ("32nd", Fraction(1, 8)),
    ("64th", Fraction(1, 16)),
    ("128th", Fraction(1, 32)),
    ("256th", Fraction(1, 64)),
)
_JOIN_TAGS = {
    Articulation.HAMMER_ON: "hammer-on",
    Articulation.PULL_OFF: "pull-off",
    Articulation.SLIDE: "slide",
}
_EDGE_TAGS = {
    SlideEdge.FROM_BELOW: "scoop",
    SlideEdge.FROM_ABOVE: "plop",
    SlideEdge.UP: "doit",
    SlideEdge.DOWN: "falloff",
}
_STROKES = {
    Stroke.UP: ("up-bow", None),
    Stroke.DOWN: ("down-bow", None),
    Stroke.THUMB: ("pluck", "p"),
    Stroke.INDEX: ("pluck", "i"),
    Stroke.MIDDLE: ("pluck", "m"),
    Stroke.RING: ("pluck", "a"),
}


class _Value(NamedTuple):
    """A length that can be drawn: value, dots, and the tuplet it belongs to."""

    beats: Fraction
    name: str | None
    dots: int
    actual: int
    normal: int


def _values(beats: Fraction) -> list[_Value]:
    """Values that add up to a length, the longest first.

    >>> [(v.name, v.dots) for v in _values(Fraction(5, 2))]
    [('half', 0), ('eighth', 0)]
    >>> [(v.name, v.actual, v.normal) for v in _values(Fraction(1, 3))]
    [('eighth', 3, 2)]
    """
    actual = beats.denominator
    while actual % 2 == 0:
        actual //= 2
    normal = 1 << (actual.bit_length() - 1) if actual > 1 else 1
    rest = beats * actual / normal  # as drawn
    values = []
    for name, length in _VALUES:
        for dots, dotted in ((2, length * 7 / 4), (1, length * 3 / 2), (0, length)):
            while dotted <= rest:
                real = dotted * normal / actual
                values.append(_Value(real, name, dots, actual, normal))
                rest -= dotted
    if rest:  # shorter than anything that can be drawn
        values.append(_Value(rest * normal / actual, None, 0, 1, 1))
    return values


@dataclass(frozen=True)
class _Piece:
    """A stretch of one note, or of a rest, inside one bar and of one value."""

    onset_beats: Fraction
    value: _Value
    index: int | None
    first: bool = True
    last: bool = True

    @property
    def end_beats(self) -> Fraction:
        return self.onset_beats + self.value.beats


def _bar_ends(lick: Lick) -> list[Fraction]:
    """End of each bar, until every note is in one."""
    bar = lick.meter.bar_beats
    ends = [lick.pickup_beats or bar]
    while ends[-1] < lick.notes[-1].end_beats:
        ends.append(ends[-1] + bar)
    return ends


def _pieces(lick: Lick, ends: list[Fraction]) -> Iterator[_Piece]:
    """Notes and rests in order, cut at the bar lines."""
    at = Fraction(0)
    for index, note in enumerate(lick.notes):
        yield from _cut(at, note.onset_beats, ends, None)
        yield from _cut(note.onset_beats, note.end_beats, ends, index)
        at = note.end_beats
    yield from _cut(at, ends[-1], ends, None)


def _cut(
    start: Fraction, stop: Fraction, ends: list[Fraction], index: int | None
) -> Iterator[_Piece]:
    """Cut one stretch at the bar lines and into values."""
    inside = [end for end in ends if start < end < stop]
    edges = [start, *inside, stop] if stop > start else []
    pieces = []
    for left, right in pairwise(edges):
        at = left
        for value in _values(right - left):
            pieces.append(_Piece(at, value, index))
            at += value.beats
    for place, piece in enumerate(pieces):
        yield _Piece(
            piece.onset_beats,
            piece.value,
            index,
            first=place == 0,
            last=place == len(pieces) - 1,
        )


def write(lick: Lick) -> bytes:
    """Write a lick as an uncompressed MusicXML 4.0 file.

    Notices are not written.

    Parameters
    ----------
    lick : Lick

    Returns
    -------
    bytes
        UTF-8; `assessor.lick.musicxml.read` gives the same lick back.
    """
    ends = _bar_ends(lick)
    pieces = list(_pieces(lick, ends))
    changes = [c for c in lick.tempo_changes if c.beat < ends[-1]]
    divisions = lcm(
        *(p.value.beats.denominator for p in pieces),
        *((c.beat - p.onset_beats).denominator for c, p in _at_pieces(changes, pieces)),
    )
    root = etree.Element("score-partwise", version="4.0")
    _add(_add(root, "work"), "work-title", lick.title)
    identification = _add(root, "identification")
    _add(_add(identification, "encoding"), "software", "assessor")
    fields = [("trains", lick.trains)] if lick.trains else []
    fields += keys_of(lick.parent)
    if fields:
        miscellaneous = _add(identification, "miscellaneous")
        for name, text in fields:
            _add(miscellaneous, "miscellaneous-field", text, name=name)
    score_part = _add(_add(root, "part-list"), "score-part", id="P1")
    _add(score_part, "part-name", "Guitar")
    part = _add(root, "part", id="P1")
    _Writer(lick, divisions, changes).measures(part, ends, pieces)
    return etree.tostring(
        root,
        encoding="UTF-8",
        xml_declaration=True,
        pretty_print=True,
        doctype=_DOCTYPE,
    )


def _at_pieces(
    changes: list[TempoChange], pieces: list[_Piece]
) -> Iterator[tuple[TempoChange, _Piece]]:
    """Each tempo change with the piece that it falls into."""
    for change in changes:
        yield (
            change,
            next(p for p in pieces if p.onset_beats <= change.beat < p.end_beats),
        )


def _add(parent: Element, tag: str, text: object = None, **attributes: str) -> Element:
    """Append a child."""
    child = etree.SubElement(parent, tag, attributes)
    child.text = None if text is None else _NOT_XML.sub("", str(text))
    return child


def _decimal(value: float, over: int = 1) -> str:
    """Plain decimal of a quotient, to read back the same; XSD knows no exponent."""
    return format((Decimal(repr(value)) / over).normalize(), "f")


@dataclass(frozen=True)
class _Writer:
    """Writes the measures of one lick."""

    lick: Lick
    divisions: int
    changes: list[TempoChange]

    def measures(
        self, part: Element, ends: list[Fraction], pieces: list[_Piece]
    ) -> None:
        """Write all measures."""
        has_pickup = self.lick.pickup_beats > 0
        tempo_at: dict[Fraction, list[TempoChange]] = {}
        for change, piece in _at_pieces(self.changes, pieces):
            tempo_at.setdefault(piece.onset_beats, []).append(change)
        bars = groupby(pieces, key=lambda piece: bisect_right(ends, piece.onset_beats))
        for bar, inside in bars:
            measure = _add(part, "measure", number=str(bar + (not has_pickup)))
            if bar == 0:
                if has_pickup:
                    measure.set("implicit", "yes")
                self._attributes(measure)
                self._tempo(measure, self.lick.tempo_bpm, Fraction(0), swing=True)
            for piece in inside:
                for change in tempo_at.get(piece.onset_beats, []):
                    offset = change.beat - piece.onset_beats
                    self._tempo(measure, change.tempo_bpm, offset)
                self._note(measure, piece)

    def _attributes(self, measure: Element) -> None:
        """Write divisions, meter, clef, tuning and capo."""
        lick = self.lick
        attributes = _add(measure, "attributes")
        _add(attributes, "divisions", self.divisions)
        _add(_add(attributes, "key"), "fifths", 0)
        time = _add(attributes, "time")
        _add(time, "beats", lick.meter.count)
        _add(time, "beat-type", lick.meter.unit)
        clef = _add(attributes, "clef")
        _add(clef, "sign", "TAB")
        _add(clef, "line", min(5, lick.tuning.strings))
        details = _add(attributes, "staff-details")
        _add(details, "staff-lines", lick.tuning.strings)
        for line, midi_number in enumerate(reversed(lick.tuning.open_midi), start=1):
            tuning = _add(details, "staff-tuning", line=str(line))
            _pitch(tuning, midi_number, "tuning-")
        if lick.capo:
            _add(details, "capo", lick.capo)

    def _tempo(
        self,
        measure: Element,
        tempo_bpm: float,
        offset: Fraction,
        *,
        swing: bool = False,
    ) -> None:
        """Write a metronome mark with its sound."""
        direction = _add(measure, "direction", placement="above")
        metronome = _add(_add(direction, "direction-type"), "metronome")
        _add(metronome, "beat-unit", "quarter")
        _add(metronome, "per-minute", f"{tempo_bpm:g}")
        if offset:
            _add(direction, "offset", offset * self.divisions, sound="yes")
        sound = _add(direction, "sound", tempo=_decimal(tempo_bpm))
        if swing and self.lick.swing is not None:
            ratio = Fraction(self.lick.swing).limit_denominator(1000)
            swinging = _add(sound, "swing")
            _add(swinging, "first", ratio.numerator)
            _add(swinging, "second", ratio.denominator)
            _add(swinging, "swing-type", "eighth")

    def _note(self, measure: Element, piece: _Piece) -> None:
        """Write one note, piece of a note, or rest."""
        element = _add(measure, "note")
        note = None if piece.index is None else self.lick.notes[piece.index]
        if note is None:
            _add(element, "rest")
        else:
            _pitch(_add(element, "pitch"), note.midi_number, "")
        value = piece.value
        _add(element, "duration", value.beats * self.divisions)
        ties = [] if note is None else _ties(piece)
        for tie in ties:
            _add(element, "tie", type=tie)
        _add(element, "voice", 1)
        if value.name is not None:
            _add(element, "type", value.name)
            for _ in range(value.dots):
                _add(element, "dot")
            if value.actual > 1:
                modification = _add(element, "time-modification")
                _add(modification, "actual-notes", value.actual)
                _add(modification, "normal-notes", value.normal)
        if note is None or piece.index is None:
            return
        if note.articulation is Articulation.DEAD:
            _add(element, "notehead", "x")
        notations = _add(element, "notations")
        for tie in ties:
            _add(notations, "tied", type=tie)
        following = self.lick.notes[piece.index + 1 : piece.index + 2]
        _signs(notations, piece, note, following[0] if following else None)


def _ties(piece: _Piece) -> list[str]:
    """Types of the ties at a piece of a note."""
    return ["stop"] * (not piece.first) + ["start"] * (not piece.last)


def _pitch(parent: Element, midi_number: int, prefix: str) -> None:
    """Write step, alteration and octave of a pitch, with sharps."""
    name = note_name(midi_number)
    _add(parent, f"{prefix}step", name[0])
    if "#" in name:
        _add(parent, f"{prefix}alter", 1)
    _add(parent, f"{prefix}octave", midi_number // 12 - 1)


def _signs(
    notations: Element, piece: _Piece, note: LickNote, following: LickNote | None
) -> None:
    """Write string and fret, and the signs of a note's start and of its end."""
    technical = _add(notations, "technical")
    _add(technical, "string", note.string)
    _add(technical, "fret", note.fret)
    articulations = []
    if piece.first:
        _join(notations, technical, note, "stop")
        _fingers(technical, note)
        _bend(technical, note)
        if note.vibrato:
            ornaments = _add(notations, "ornaments")
            for kind in ("start", "stop"):
                _add(ornaments, "wavy-line", type=kind)
        articulations.append(note.slide_in)
    if piece.last:
        if following is not None:
            _join(notations, technical, following, "start")
        if note.let_ring:
            _add(notations, "tied", type="let-ring")
        articulations.append(note.slide_out)
    edges = [edge for edge in articulations if edge is not None]
    if edges:
        parent = _add(notations, "articulations")
        for edge in edges:
            _add(parent, _EDGE_TAGS[edge])


def _join(notations: Element, technical: Element, note: LickNote, kind: str) -> None:
    """Write one end of the sign that joins `note` to the note before it."""
    tag = _JOIN_TAGS.get(note.articulation)
    if tag == "slide":
        _add(notations, tag, type=kind, number="1")
    elif tag is not None:
        _add(technical, tag, type=kind, number="1")


def _fingers(technical: Element, note: LickNote) -> None:
    """Write fretting finger and picking stroke."""
    if note.finger is not None:
        _add(technical, "fingering", note.finger or "T")
    if note.stroke is not None:
        tag, text = _STROKES[note.stroke]
        _add(technical, tag, text)


def _bend(technical: Element, note: LickNote) -> None:
    """Write a bend, its release as a second one."""
    if note.bend is None:
        return
    semitones = _decimal(note.bend.target_cents, 100)
    bend = _add(technical, "bend")
    _add(bend, "bend-alter", semitones)
    if note.bend.kind in (BendKind.PREBEND, BendKind.PREBEND_RELEASE):
        _add(bend, "pre-bend")
    if note.bend.kind in (BendKind.BEND_RELEASE, BendKind.PREBEND_RELEASE):
        bend = _add(technical, "bend")
        _add(bend, "bend-alter", f"-{semitones}")
        _add(bend, "release")
