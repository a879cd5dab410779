"""The signs on a MusicXML note: how it is sounded, bent, fingered and picked.

Conventions
-----------
From the MusicXML 4.0 schema (W3C, June 2021): string 1 is the highest; a release
carries a negative ``bend-alter``, and a bend with its release is two ``bend``
elements; ``hammer-on``, ``pull-off``, ``slide`` and ``glissando`` name their first
note by ``start`` and their last by ``stop``; ``up-bow`` and ``down-bow`` are also the
strokes of a pick.  A ``wavy-line`` is vibrato on every note from its start to its
stop, both included.  A plain ``slur`` says nothing about how a note is sounded and is
read as phrasing.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from fractions import Fraction
from typing import NamedTuple

from assessor.lick.musicxml_elements import (
    Element,
    integer,
    measure_of,
    number,
    required,
    text_of,
    unsupported,
)
from assessor.lick.notation import (
    Articulation,
    Bend,
    BendKind,
    SlideEdge,
    Stroke,
)
from assessor.lick.notices import Notices

MOST_FRETS = 36  # three octaves, more than any neck has
MOST_STRINGS = 9  # as `assessor.tuning.Tuning`

_JOINS = {
    "hammer-on": Articulation.HAMMER_ON,
    "pull-off": Articulation.PULL_OFF,
    "slide": Articulation.SLIDE,
    "glissando": Articulation.SLIDE,
}
_SLIDES_IN = {"scoop": SlideEdge.FROM_BELOW, "plop": SlideEdge.FROM_ABOVE}
_SLIDES_OUT = {"doit": SlideEdge.UP, "falloff": SlideEdge.DOWN}
_STROKES = {"up-bow": Stroke.UP, "down-bow": Stroke.DOWN}
_PLUCKS = {
    "p": Stroke.THUMB,
    "i": Stroke.INDEX,
    "m": Stroke.MIDDLE,
    "a": Stroke.RING,
}
_FINGERS = {"t": 0, "0": 0, "1": 1, "2": 2, "3": 3, "4": 4}
_DEAD_HEADS = ("x", "cross")
# Ornaments that sound notes of their own.
_LEFT_OUT = (
    "trill-mark",
    "turn",
    "delayed-turn",
    "inverted-turn",
    "delayed-inverted-turn",
    "vertical-turn",
    "inverted-vertical-turn",
    "shake",
    "mordent",
    "inverted-mordent",
    "schleifer",
    "tremolo",
    "haydn",
)


class BendMark(NamedTuple):
    """One ``bend`` element: ``bend``, ``pre-bend`` or ``release``, and how far."""

    kind: str
    semitones: Fraction


@dataclass
class Written:
    """One note as it is written, not yet joined to the notes it is tied to.

    Attributes
    ----------
    measure : str
        Number as printed.
    line : int or None
        Line of the file.
    onset_beats, duration_beats : Fraction
        In quarter notes, the onset from the start of the bar.
    midi_number : int
        Sounding pitch, from ``pitch`` and ``transpose``.
    string, fret : int or None
        As written.
    tied_from, tied_to : bool
        Goes on from the note before; goes on into the next.
    """

    measure: str
    line: int | None
    onset_beats: Fraction
    duration_beats: Fraction
    midi_number: int
    string: int | None = None
    fret: int | None = None
    tied_from: bool = False
    tied_to: bool = False
    articulation: Articulation = Articulation.PICK
    bends: list[BendMark] = field(default_factory=list)
    vibrato: bool = False
    slide_in: SlideEdge | None = None
    slide_out: SlideEdge | None = None
    let_ring: bool = False
    finger: int | None = None
    stroke: Stroke | None = None

    @property
    def end_beats(self) -> Fraction:
        """Where the note ends."""
        return self.onset_beats + self.duration_beats


class SignReader:
    """Reads signs note by note in the order of the file, keeping what is open."""

    def __init__(self, notices: Notices) -> None:
        self._notices = notices
        self._open: dict[tuple[str, str], Written | None] = {}
        self._waves: set[str] = set()
        self._trills: set[str] = set()

    def read(self, element: Element, note: Written) -> None:
        """Put the signs of a ``note`` element on the note."""
        for sign in element.iterfind("notations/technical/*"):
            self._technical(sign, note)
        for sign in element.iterfind("notations/articulations/*"):
            note.slide_in = _SLIDES_IN.get(str(sign.tag), note.slide_in)
            note.slide_out = _SLIDES_OUT.get(str(sign.tag), note.slide_out)
        note.let_ring = any(
            tied.get("type") == "let-ring"
            for tied in element.iterfind("notations/tied")
        )
        note.vibrato = self._vibrato(element)
        self._joins(element, note)
        head = element.find("notehead")
        if head is not None and text_of(head) in _DEAD_HEADS:
            note.articulation = Articulation.DEAD

    def pass_over(self, element: Element) -> None:
        """See a note that is left out: what starts there ends on a picked note."""
        for key in _joins_of(element, "stop"):
            self._open.pop(key, None)
        for key in _joins_of(element, "start"):
            self._open[key] = None

    def close(self) -> None:
        """Settle the signs that never ended."""
        for (tag, _), note in self._open.items():
            if note is None:
                continue
            if _JOINS[tag] is Articulation.SLIDE:
                note.slide_out = SlideEdge.DOWN
                text = "a slide without an end is read as sliding away downwards"
            else:
                text = f"a {tag} without an end is left out"
            self._notices.add(text, note.measure)

    def _technical(self, sign: Element, note: Written) -> None:
        """Read one child of ``technical``."""
        tag = str(sign.tag)
        if tag == "string":
            note.string = integer(sign, 1, MOST_STRINGS)
        elif tag == "fret":
            note.fret = integer(sign, 0, MOST_FRETS)
        elif tag in _STROKES:
            note.stroke = _STROKES[tag]
        elif tag == "bend":
            self._bend(sign, note)
        elif tag == "tap":
            note.articulation = Articulation.HAMMER_ON
            self._notices.add("taps are read as hammer-ons", note.measure)
        elif tag == "harmonic":
            message = (
                "a harmonic has no fretted pitch to judge; write it as a plain note"
            )
            raise unsupported(message, sign)
        elif tag in ("fingering", "pluck"):
            self._finger(sign, note)

    def _finger(self, sign: Element, note: Written) -> None:
        """Read the finger of either hand; others than the model knows are left out."""
        word = text_of(sign).lower()
        if sign.tag == "fingering" and word in _FINGERS:
            note.finger = _FINGERS[word]
        elif sign.tag == "pluck" and word in _PLUCKS:
            note.stroke = _PLUCKS[word]
        elif word:
            text = f"the {sign.tag} {word[:10]!r} is left out"
            self._notices.add(text, note.measure)

    def _bend(self, sign: Element, note: Written) -> None:
        """Read one ``bend`` element."""
        if sign.find("with-bar") is not None:
            self._notices.add("bends with the bar are left out", note.measure)
            return
        semitones = number(required(sign, "bend-alter"))
        kind = "bend"
        if sign.find("pre-bend") is not None:
            kind = "pre-bend"
        elif sign.find("release") is not None or semitones < 0:
            kind = "release"
        note.bends.append(BendMark(kind, abs(semitones)))

    def _joins(self, element: Element, note: Written) -> None:
        """Read hammer-ons, pull-offs and slides, ends before beginnings."""
        for key in _joins_of(element, "stop"):
            articulation = _JOINS[key[0]]
            if key not in self._open and articulation is Articulation.SLIDE:
                note.slide_in = SlideEdge.FROM_BELOW
                text = "a slide without a beginning is read as sliding in from below"
                self._notices.add(text, note.measure)
                continue
            before = self._open.pop(key, note)
            if before is not None:
                note.articulation = self._direction(articulation, before, note)
        for key in _joins_of(element, "start"):
            self._open[key] = note

    def _direction(
        self, articulation: Articulation, before: Written, note: Written
    ) -> Articulation:
        """Turn a hammer-on that goes down into a pull-off, and the other way round."""
        upwards = note.midi_number > before.midi_number
        if articulation is Articulation.HAMMER_ON and (
            note.midi_number < before.midi_number
        ):
            turned = Articulation.PULL_OFF
        elif articulation is Articulation.PULL_OFF and upwards:
            turned = Articulation.HAMMER_ON
        else:
            return articulation
        text = (
            "a hammer-on to a lower or pull-off to a higher note is read as the other"
        )
        self._notices.add(text, note.measure)
        return turned

    def _vibrato(self, element: Element) -> bool:
        """Tell whether a wavy line that is no trill runs over the note."""
        trilled = False
        for sign in element.iterfind("notations/ornaments/*"):
            if sign.tag in _LEFT_OUT:
                trilled = trilled or sign.tag == "trill-mark"
                self._notices.add(f"the {sign.tag} is left out", measure_of(element))
        wavy = bool(self._waves)
        for sign in element.iterfind("notations/ornaments/wavy-line"):
            line = sign.get("number", "1")
            if sign.get("type") == "start":
                (self._trills if trilled else self._waves).add(line)
            wavy = wavy or line in self._waves
            if sign.get("type") == "stop":
                self._trills.discard(line)
                self._waves.discard(line)
        return wavy


def _joins_of(element: Element, kind: str) -> Iterable[tuple[str, str]]:
    """Tag and number of the joining signs of a note that start or stop there."""
    for path in ("notations/technical/*", "notations/*"):
        for sign in element.iterfind(path):
            if sign.tag in _JOINS and sign.get("type") == kind:
                yield str(sign.tag), sign.get("number", "1")


def bend_of(note: Written, notices: Notices) -> Bend | None:
    """Bend that the marks on a note add up to.

    A release alone is read as a pre-bend and release.  A note that is bent more than
    once keeps its widest bend; a release of part of the bend is read as a whole one.
    """
    ups = [mark for mark in note.bends if mark.kind != "release"]
    downs = [mark for mark in note.bends if mark.kind == "release"]
    if not note.bends:
        return None
    if not ups:
        text = "a release without a bend is read as pre-bend and release"
        notices.add(text, note.measure)
    elif len(ups) > 1 or len(downs) > 1:
        text = "a note bent more than once keeps its widest bend"
        notices.add(text, note.measure)
    elif downs and 0 < downs[0].semitones < ups[0].semitones:
        notices.add("a part release is read as a whole one", note.measure)
    cents = float(100 * max(mark.semitones for mark in ups or downs))
    kind = {
        ("bend", False): BendKind.BEND,
        ("bend", True): BendKind.BEND_RELEASE,
        ("pre-bend", False): BendKind.PREBEND,
        ("pre-bend", True): BendKind.PREBEND_RELEASE,
    }[ups[0].kind if ups else "pre-bend", bool(downs)]
    try:
        return Bend(kind, cents)
    except ValueError as error:
        notices.add(f"{error}: left out", note.measure)
        return None
