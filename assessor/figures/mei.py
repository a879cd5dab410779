"""Bars of a lick as MEI 5, the open music notation that verovio engraves.

Written an octave above what sounds, as guitar music is (common practice); with a capo,
what sounds is written, not what is fretted.  The key signature is the one that needs
fewest signs in all, its own counted.  Slurs are written; bends stand in the tab.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from xml.etree.ElementTree import Element, SubElement, tostring

from assessor.figures.rhythm import Bar, Value, bars_of, beamed, tuplets
from assessor.lick.notation import Articulation, Lick

_NAMESPACE = "http://www.music-encoding.org/ns/mei"
_ID = "{http://www.w3.org/XML/1998/namespace}id"
_DURATIONS = {"w": 1, "h": 2, "q": 4, "e": 8, "s": 16, "t": 32, "x": 64}
_SIGNS = {-2: "ff", -1: "f", 0: "n", 1: "s", 2: "x"}
_KEYS = (0, 1, -1, 2, -2, 3, -3, 4, -4, 5, -5, 6)
_NAMES = "FCGDAEB"  # along the line of fifths, F = -1
LOW_OPEN_MIDI = 48  # first strings below it are those of bass guitars


@dataclass(frozen=True)
class Spelling:
    """A written pitch.

    Attributes
    ----------
    name : str
        A capital letter.
    alter : int
        1 = sharp, -1 = flat; 2 and -2 where the key has the sign already.
    octave : int
        Scientific.
    """

    name: str
    alter: int
    octave: int


def spelled(midi_number: int, fifths: int) -> Spelling:
    """How a pitch is written in a key of so many sharps (or, below 0, flats).

    What is not of the key is written with the five signs that players see most: in C
    major F#, C#, G#, Bb and Eb.

    >>> [spelled(n, 0).name for n in (61, 63, 66, 68, 70)]
    ['C', 'E', 'F', 'G', 'B']
    >>> spelled(60, 7)
    Spelling(name='B', alter=1, octave=3)
    """
    lowest = fifths - 3
    place = lowest + (7 * midi_number - lowest) % 12
    alter, letter = divmod(place + 1, 7)
    return Spelling(_NAMES[letter], alter, (midi_number - alter) // 12 - 1)


def key_alter(name: str, fifths: int) -> int:
    """What a key signature makes of a letter.

    >>> key_alter("F", 1), key_alter("B", -1), key_alter("C", 1)
    (1, -1, 0)
    """
    return (fifths - 1 - _NAMES.index(name)) // 7 + 1


def key_of(lick: Lick) -> int:
    """Key signature with the fewest signs: sharps, or flats below 0."""
    bars = bars_of(lick)
    return min(
        _KEYS,
        key=lambda fifths: (
            abs(fifths) + sum(len(_accidentals(lick, bar, fifths)) for bar in bars)
        ),
    )


def _accidentals(lick: Lick, bar: Bar, fifths: int) -> dict[int, str]:
    """Signs to be written in a bar, by the place of their value in it.

    A sign holds to the end of its bar; a note that is tied on needs none.
    """
    held: dict[tuple[str, int], int] = {}
    out = {}
    for place, value in enumerate(bar.values):
        if value.index is None or not value.starts:
            continue
        pitch = spelled(lick.notes[value.index].midi_number, fifths)
        key = pitch.name, pitch.octave
        if held.get(key, key_alter(pitch.name, fifths)) != pitch.alter:
            out[place] = _SIGNS[pitch.alter]
            held[key] = pitch.alter
    return out


def written(lick: Lick, bars: Sequence[Bar], *, first: bool, last: bool) -> str:
    """One system as an MEI document.

    Parameters
    ----------
    lick : Lick
    bars : sequence of Bar
    first, last : bool
        The system begins the lick, so has its meter; or ends it.

    Returns
    -------
    str
        Every value has the ``xml:id`` that `value_id` gives it.
    """
    fifths = key_of(lick)
    root = Element("mei", xmlns=_NAMESPACE, meiversion="5.0")
    parent = root
    for tag in ("music", "body", "mdiv", "score"):
        parent = SubElement(parent, tag)
    group = SubElement(SubElement(parent, "scoreDef"), "staffGrp")
    SubElement(group, "staffDef", _staff(lick, fifths, meter=first))
    section = SubElement(parent, "section")
    for bar in bars:
        measure = SubElement(section, "measure")
        if last and bar is bars[-1]:
            measure.set("right", "end")
        layer = SubElement(SubElement(measure, "staff", n="1"), "layer", n="1")
        _Layer(lick, bar, fifths).write(layer)
        _arcs(measure, lick, bar, bars)
    return tostring(root, encoding="unicode")


def value_id(bar: Bar, place: int) -> str:
    """Name of a value in the document."""
    return f"v{bar.number}-{place}"


def _staff(lick: Lick, fifths: int, *, meter: bool) -> dict[str, str]:
    """Clef, key and meter."""
    low = lick.tuning.open_midi[0] < LOW_OPEN_MIDI
    staff = {
        "n": "1",
        "lines": "5",
        "clef.shape": "F" if low else "G",
        "clef.line": "4" if low else "2",
        "clef.dis": "8",
        "clef.dis.place": "below",
    }
    if fifths:
        staff["keysig"] = f"{abs(fifths)}{'s' if fifths > 0 else 'f'}"
    if meter:
        staff["meter.count"] = str(lick.meter.count)
        staff["meter.unit"] = str(lick.meter.unit)
    return staff


@dataclass(frozen=True)
class _Span:
    """Values from one place of a bar to another that stand in one element."""

    first: int
    last: int
    tag: str
    attributes: dict[str, str]


class _Layer:
    """Values of one bar while they are written."""

    def __init__(self, lick: Lick, bar: Bar, fifths: int) -> None:
        self.lick, self.bar, self.fifths = lick, bar, fifths
        self.accidentals = _accidentals(lick, bar, fifths)
        self.spans = _nested(bar, lick)

    def write(self, layer: Element) -> None:
        """Write every value, inside its beams and tuplets."""
        open_spans: list[tuple[_Span, Element]] = []
        for place, value in enumerate(self.bar.values):
            for span in (s for s in self.spans if s.first == place):
                parent = open_spans[-1][1] if open_spans else layer
                inner = SubElement(parent, span.tag, span.attributes)
                open_spans.append((span, inner))
            self._value(open_spans[-1][1] if open_spans else layer, place, value)
            while open_spans and open_spans[-1][0].last == place:
                open_spans.pop()

    def _value(self, parent: Element, place: int, value: Value) -> None:
        """One note or rest."""
        written = {_ID: value_id(self.bar, place), "dur": str(_DURATIONS[value.letter])}
        if value.dots:
            written["dots"] = str(value.dots)
        if value.index is None:
            SubElement(parent, "rest", written)
            return
        note = self.lick.notes[value.index]
        pitch = spelled(note.midi_number, self.fifths)
        written |= {"pname": pitch.name.lower(), "oct": str(pitch.octave)}
        if place in self.accidentals:
            written["accid"] = self.accidentals[place]
        if note.articulation is Articulation.DEAD:
            written["head.shape"] = "x"
        SubElement(parent, "note", written)


def _nested(bar: Bar, lick: Lick) -> list[_Span]:
    """Beams and tuplets, the longer first; a beam that crosses a tuplet is left out."""
    place = {value.beat: k for k, value in enumerate(bar.values)}
    spans = []
    for group in tuplets(bar):
        assert group[0].tuplet is not None
        actual, normal = map(str, group[0].tuplet)
        ends = place[group[0].beat], place[group[-1].beat]
        spans.append(_Span(*ends, "tuplet", {"num": actual, "numbase": normal}))
    for group in beamed(bar, lick):
        beam = _Span(place[group[0].beat], place[group[-1].beat], "beam", {})
        if not any(_cross(beam, span) for span in spans):
            spans.append(beam)
    return sorted(spans, key=lambda span: (span.first, -span.last))


def _cross(one: _Span, other: _Span) -> bool:
    """Overlap, neither inside the other."""
    low, high = sorted((one, other), key=lambda span: (span.first, -span.last))
    return high.first <= low.last < high.last


def _arcs(measure: Element, lick: Lick, bar: Bar, bars: Sequence[Bar]) -> None:
    """Ties and slurs that begin in a bar; out of the system, a tie that is let ring."""
    following = list(_following(bar, bars))
    for (here, value), (there, after) in pairwise(following):
        if not here.startswith(f"v{bar.number}-"):
            break
        if value.tied:
            SubElement(measure, "tie", startid=f"#{here}", endid=f"#{there}")
        joined = after.index is not None and after.starts and value.index is not None
        if joined and after.index is not None and lick.notes[after.index].slurred:
            SubElement(measure, "slur", startid=f"#{here}", endid=f"#{there}")
    if bar is bars[-1] and following[-1][1].tied:
        beats = (bar.end - bar.start) * lick.meter.unit / 4
        end = f"0m+{float(beats) + 1:g}"
        SubElement(measure, "lv", startid=f"#{following[-1][0]}", tstamp2=end)


def _following(bar: Bar, bars: Sequence[Bar]) -> Iterator[tuple[str, Value]]:
    """Values of a system from a bar on, with their names."""
    for later in bars:
        if later.number >= bar.number:
            for place, value in enumerate(later.values):
                yield value_id(later, place), value
