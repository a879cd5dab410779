"""A lick as MusicXML 4.0 with strings, frets, slurs, bends and vibrato."""

from __future__ import annotations

from fractions import Fraction
from math import ceil, lcm
from xml.etree.ElementTree import Element, SubElement, indent, tostring

from assessor.lick.notation import Articulation, BendKind, Lick, LickNote, SlideEdge

_STEPS = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
_EDGES = {
    SlideEdge.FROM_BELOW: "scoop",
    SlideEdge.FROM_ABOVE: "plop",
    SlideEdge.UP: "doit",
    SlideEdge.DOWN: "falloff",
}


def write(lick: Lick) -> bytes:
    """Write a lick as a partwise score of one part."""
    score = Element("score-partwise", version="4.0")
    _text(SubElement(score, "work"), "work-title", lick.title)
    listed = SubElement(SubElement(score, "part-list"), "score-part", id="P1")
    _text(listed, "part-name", "Guitar")
    part = SubElement(score, "part", id="P1")
    divisions = lcm(
        *(f.denominator for n in lick.notes for f in (n.onset_beats, n.duration_beats))
    )
    bar = lick.meter.bar_beats
    for k in range(ceil(lick.notes[-1].end_beats / bar)):
        measure = SubElement(part, "measure", number=str(k + 1))
        if k == 0:
            _attributes(measure, lick, divisions)
        _fill(measure, lick, (k * bar, (k + 1) * bar), divisions)
    indent(score)
    return b'<?xml version="1.0" encoding="UTF-8"?>\n' + tostring(score) + b"\n"


def _text(parent: Element, tag: str, text: object) -> Element:
    child = SubElement(parent, tag)
    child.text = str(text)
    return child


def _pitch(parent: Element, prefix: str, midi: int) -> None:
    name = _STEPS[midi % 12]
    _text(parent, f"{prefix}step", name[0])
    if len(name) > 1:
        _text(parent, f"{prefix}alter", 1)
    _text(parent, f"{prefix}octave", midi // 12 - 1)


def _attributes(measure: Element, lick: Lick, divisions: int) -> None:
    """Write divisions, meter, tab clef, tuning and tempo."""
    attributes = SubElement(measure, "attributes")
    _text(attributes, "divisions", divisions)
    time = SubElement(attributes, "time")
    _text(time, "beats", lick.meter.count)
    _text(time, "beat-type", lick.meter.unit)
    clef = SubElement(attributes, "clef")
    _text(clef, "sign", "TAB")
    _text(clef, "line", 5)
    staff = SubElement(attributes, "staff-details")
    _text(staff, "staff-lines", lick.tuning.strings)
    for line, midi in enumerate(reversed(lick.tuning.open_midi), start=1):
        _pitch(SubElement(staff, "staff-tuning", line=str(line)), "tuning-", midi)
    direction = SubElement(measure, "direction")
    kind = SubElement(direction, "direction-type")
    metronome = SubElement(kind, "metronome")
    _text(metronome, "beat-unit", "quarter")
    _text(metronome, "per-minute", f"{lick.tempo_bpm:g}")
    SubElement(direction, "sound", tempo=f"{lick.tempo_bpm:g}")


def _fill(
    measure: Element, lick: Lick, bar: tuple[Fraction, Fraction], divisions: int
) -> None:
    """Write what of the lick falls into one bar; ties reach over its lines."""
    at, end = bar
    for i, note in enumerate(lick.notes):
        if note.end_beats <= bar[0] or note.onset_beats >= end:
            continue
        start = max(note.onset_beats, bar[0])
        _rest(measure, start - at, divisions)
        at = min(note.end_beats, end)
        element = SubElement(measure, "note")
        _pitch(SubElement(element, "pitch"), "", note.midi_number)
        _text(element, "duration", (at - start) * divisions)
        ties = ["stop"] if note.onset_beats < bar[0] else []
        ties += ["start"] if note.end_beats > end else []
        for kind in ties:
            SubElement(element, "tie", type=kind)
        _text(element, "voice", 1)
        notations = SubElement(element, "notations")
        for kind in ties:
            SubElement(notations, "tied", type=kind)
        if "stop" not in ties:
            after = lick.notes[i + 1] if i + 1 < len(lick) else None
            _notations(notations, note, after)
    _rest(measure, end - at, divisions)


def _rest(measure: Element, beats: Fraction, divisions: int) -> None:
    if beats > 0:
        element = SubElement(measure, "note")
        SubElement(element, "rest")
        _text(element, "duration", beats * divisions)
        _text(element, "voice", 1)


def _notations(notations: Element, note: LickNote, after: LickNote | None) -> None:
    """Write string, fret and how the note is sounded."""
    technical = SubElement(notations, "technical")
    _text(technical, "string", note.string)
    _text(technical, "fret", note.fret)
    for kind, joined in (("stop", note), ("start", after)):
        if joined is None or not joined.slurred:
            continue
        if joined.articulation is Articulation.SLIDE:
            SubElement(
                notations, "slide", {"type": kind, "number": "1", "line-type": "solid"}
            )
        else:
            tag = str(joined.articulation).replace("_", "-")
            SubElement(technical, tag, type=kind, number="1")
    if note.bend is not None:
        _bend(technical, note)
    if note.vibrato:
        ornaments = SubElement(notations, "ornaments")
        SubElement(ornaments, "wavy-line", type="start", number="1")
        SubElement(ornaments, "wavy-line", type="stop", number="1")
    edges = [e for e in (note.slide_in, note.slide_out) if e is not None]
    if edges:
        articulations = SubElement(notations, "articulations")
        for edge in edges:
            SubElement(articulations, _EDGES[edge])


def _bend(technical: Element, note: LickNote) -> None:
    """Write one bend element up and, for a release, one down."""
    if note.bend is None:
        return
    alter = note.bend.target_cents / 100
    up = SubElement(technical, "bend")
    _text(up, "bend-alter", f"{alter:g}")
    if note.bend.kind in (BendKind.PREBEND, BendKind.PREBEND_RELEASE):
        SubElement(up, "pre-bend")
    if note.bend.kind in (BendKind.BEND_RELEASE, BendKind.PREBEND_RELEASE):
        down = SubElement(technical, "bend")
        _text(down, "bend-alter", f"{-alter:g}")
        SubElement(down, "release")
