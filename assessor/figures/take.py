"""A pass as one picture: the tab, under it pitch, time and loudness beat by beat."""

from __future__ import annotations

from collections.abc import Iterator
from xml.sax.saxutils import escape

from assessor.figures.beats import Scene, places_along
from assessor.figures.lanes import LevelLane, TimeLane
from assessor.figures.picture import Picture, Table, canvas, followed, signed, told
from assessor.figures.pitch_lane import PitchLane
from assessor.figures.svg import element, path, words
from assessor.figures.tab import FONTS, TabPicture, systems
from assessor.measures.focus import say_place
from assessor.pitch import PerformedNote

WIDE_PT, MIDDLE_PT, NARROW_PT = 760.0, 500.0, 235.0
# A page holds a picture in each of these; one is seen, by the width of the window
LAYOUTS = {"wide": WIDE_PT, "middle": MIDDLE_PT, "narrow": NARROW_PT}
GAP_PT = 30.0  # between systems
HEAD_PT = 17.0  # a lane's word, above it
LANES = (
    (PitchLane, "Pitch: line played, grey wanted"),
    (TimeLane, "Time: ms early or late, grey allowed"),
    (LevelLane, "Loudness: bar picked, pin slurred"),
)


def take_picture(scene: Scene, width: float = WIDE_PT) -> Picture:
    """One pass under its tab.

    Parameters
    ----------
    scene : Scene
    width : float
        Of the picture in points; more bars fit a wider one.

    Returns
    -------
    Picture
        Each note is a ``<g class="note">`` that carries ``data-from`` and ``data-to``,
        seconds of the take; each system is `followed`.
    """
    parts, y = [], 0.0
    for tab in systems(scene.lick, width):
        svg, height = _system(scene, tab)
        moved = element("g", svg, transform=f"translate(0 {y:.1f})")
        parts.append(moved)
        y += height + GAP_PT
    title = f"{scene.lick.title}: tab, pitch, time and loudness of each note"
    body = element("g", *parts, font_family=FONTS)
    svg = canvas([body], width + 2, y - GAP_PT + 12, title)
    return Picture(svg, title, notes_table(scene))


def _system(scene: Scene, tab: TabPicture) -> tuple[str, float]:
    """One system with its lanes, and how high it is."""
    parts, y = [tab.svg], tab.height + 4
    bars = tab.bar_lines
    for make, word in LANES:
        lane = make(scene, tab)
        y += HEAD_PT
        lines = [path("M_,0 V_", x, lane.height, class_="grid") for x in bars]
        label = words(word, 20, -3.5, 8.5, class_="quiet")
        inner = [*lines, label, *lane.draw()]
        parts.append(element("g", *inner, transform=f"translate(0 {y:.1f})"))
        y += lane.height
    parts += _places_to_press(scene, tab, y)
    return followed(parts, places_along(scene.lick, tab), 0, y), y


def _places_to_press(scene: Scene, tab: TabPicture, height: float) -> Iterator[str]:
    """An unseen area over each note: press it to hear the take from there."""
    notes = scene.found.performed.notes
    starts = [tab.x_of_note(k) - 6 for k in tab.notes]
    ends = [*starts, tab.width][1:]
    for index, x, end in zip(tab.notes, starts, ends, strict=True):
        note = notes[index]
        from_s, to_s = _sounds(scene, note)
        text = _sentence(scene, note)
        room = {"width": max(end - x, 1), "height": height}
        area = element("rect", x=x, y=0, rx=3, **room)
        yield element(
            "g",
            element("title", escape(text)),
            area,
            class_="note",
            data_note=str(index),
            data_from=f"{from_s:.3f}",
            data_to=f"{to_s:.3f}",
            role="button",
            aria_label=text,
        )


def _sounds(scene: Scene, note: PerformedNote) -> tuple[float, float]:
    """From when to when a note sounds, or should."""
    if note.played is not None:
        return note.played.onset_s, note.played.offset_s
    times_s = scene.line.times_s
    return float(times_s[note.index]), float(times_s[note.index + 1])


def _sentence(scene: Scene, note: PerformedNote) -> str:
    """A note in words, for who cannot see the picture, and under the pointer."""
    written = scene.lick.notes[note.index]
    pieces = [
        f"{say_place(scene.lick, note.index)}: string {written.string}, "
        f"fret {written.fret}, {note.verdict}"
    ]
    for timing in scene.found.timing.notes:
        if timing.index == note.index:
            pieces.append(signed(timing.deviation.value, "ms"))
    said: list[str] = []
    for fault in scene.found.faults:
        # a late slur is a fault of time and of legato, in the same words
        if fault.index == note.index and not any(fault.what in text for text in said):
            said.append(fault.what)
    return "; ".join([", ".join(pieces), *said])


NOTE_HEAD = (
    "Note", "Place", "String", "Fret", "Found", "Onset, s", "Deviation, ms",
    "Pitch off, cents", "Level, dB", "Sounded",
)  # fmt: skip


def notes_table(scene: Scene) -> Table:
    """Every note of a pass in a row, that of a drill with the parent's note it is."""
    found, parent = scene.found, scene.lick.parent
    deviation = {n.index: n.deviation for n in found.timing.notes}
    cents = {n.index: n.intonation for n in found.bends.plain}
    cents |= {n.index: n.reached for n in found.bends.bent}
    rows = []
    for note in found.performed.notes:
        written, played = scene.lick.notes[note.index], note.played
        home = () if parent is None else (str(parent.notes[note.index] + 1),)
        rows.append(
            (
                str(note.index + 1),
                say_place(scene.lick, note.index),
                str(written.string),
                str(written.fret),
                str(note.verdict),
                f"{played.onset_s:.3f}" if played else "",
                told(deviation.get(note.index)),
                told(cents.get(note.index)),
                f"{played.level_db:.1f}" if played else "",
                str(played.sounded_by) if played else "",
                *home,
            )
        )
    head = NOTE_HEAD if parent is None else (*NOTE_HEAD, "Note of the parent")
    return Table(head, tuple(rows))
