"""Tab whose notes can be pressed to hear the lick from there."""

from __future__ import annotations

from collections.abc import Iterator
from xml.sax.saxutils import escape

from assessor.figures.beats import places_along
from assessor.figures.picture import canvas, followed
from assessor.figures.svg import element
from assessor.figures.tab import FONTS, TabPicture, systems
from assessor.lick.notation import Articulation, BendKind, Lick, SlideEdge, Stroke
from assessor.measures.focus import say_place
from assessor.tuning import note_name

GAP_PT = 14.0  # between systems

_ARTICULATIONS = {
    Articulation.HAMMER_ON: "hammered on",
    Articulation.PULL_OFF: "pulled off",
    Articulation.SLIDE: "slid into",
}
_BENDS = {
    BendKind.BEND: "bent up",
    BendKind.BEND_RELEASE: "bent up and let down",
    BendKind.PREBEND: "bent before it sounds",
    BendKind.PREBEND_RELEASE: "bent before it sounds and let down",
}
_STEPS: dict[float, str] = {
    50: "a quarter step", 100: "a half step", 150: "three quarters of a step",
    200: "a whole step", 300: "one and a half steps", 400: "two steps",
}  # fmt: skip
_EDGES = {
    SlideEdge.FROM_BELOW: "slid into from below",
    SlideEdge.FROM_ABOVE: "slid into from above",
    SlideEdge.UP: "slid away upwards",
    SlideEdge.DOWN: "slid away downwards",
}
_STROKES = {
    Stroke.DOWN: "pick down", Stroke.UP: "pick up", Stroke.THUMB: "thumb",
    Stroke.INDEX: "index finger", Stroke.MIDDLE: "middle finger",
    Stroke.RING: "ring finger",
}  # fmt: skip
_FINGERS = ("the thumb", "finger 1", "finger 2", "finger 3", "finger 4")


def playable_tab(lick: Lick, width: float, *, name: str, staff: bool = False) -> str:
    """A lick's tab as one SVG.

    Parameters
    ----------
    lick : Lick
    width : float
        Of the picture in points; more bars fit a wider one.
    name : str
        What the picture shows, for who cannot see it.
    staff : bool
        As `assessor.figures.tab.systems` has it, also for its error.

    Returns
    -------
    str
        Each note is a ``<g class="note">`` with its number as ``data-note``, and says
        itself; each system is `followed`.
    """
    parts, y = [], 0.0
    for tab in systems(lick, width, staff=staff):
        pieces = [tab.svg, *_places_to_press(lick, tab)]
        svg = followed(pieces, places_along(lick, tab), 0, tab.height)
        parts.append(element("g", svg, transform=f"translate(0 {y:.1f})"))
        y += tab.height + GAP_PT
    body = element("g", *parts, font_family=FONTS)
    return canvas([body], width + 2, y, name)


def _places_to_press(lick: Lick, tab: TabPicture) -> Iterator[str]:
    """An unseen area over each note."""
    starts = [tab.x_of_note(k) - 6 for k in tab.notes]
    ends = [*starts, tab.width][1:]
    for index, x, end in zip(tab.notes, starts, ends, strict=True):
        text = say_note(lick, index)
        room = {"width": max(end - x, 1), "height": tab.height}
        yield element(
            "g",
            element("title", escape(text)),
            element("rect", x=x, y=0, rx=3, **room),
            class_="note",
            data_note=str(index),
            role="button",
            aria_label=text,
        )


def say_note(lick: Lick, index: int) -> str:
    """All that is written of a note, in words.

    >>> from fractions import Fraction
    >>> from assessor.lick.notation import Bend, LickNote, Meter
    >>> from assessor.tuning import STANDARD
    >>> bend = Bend(BendKind.BEND, 200.0)
    >>> note = LickNote(Fraction(0), Fraction(1), 62, 3, 7, bend=bend, finger=3)
    >>> say_note(Lick("", 90, Meter(), STANDARD, (note,)), 0)
    'bar 1, beat 1: D4, string 3, fret 7, bent up a whole step, finger 3'
    """
    note = lick.notes[index]
    if note.articulation is Articulation.DEAD:
        what = [f"muted, string {note.string}"]
    else:
        place = f"string {note.string}, fret {note.fret}"
        what = [f"{note_name(note.midi_number)}, {place}"]
    what += [_ARTICULATIONS.get(note.articulation, "")]
    if note.bend is not None:
        cents = note.bend.target_cents
        what += [f"{_BENDS[note.bend.kind]} {_STEPS.get(cents, f'{cents:g} cents')}"]
    what += ["with vibrato" * note.vibrato, "rings on" * note.let_ring]
    what += [_EDGES[edge] for edge in (note.slide_in, note.slide_out) if edge]
    if note.stroke is not None:
        what += [_STROKES[note.stroke]]
    if note.finger is not None:
        what += [_FINGERS[note.finger]]
    return f"{say_place(lick, index)}: {', '.join(filter(None, what))}"
