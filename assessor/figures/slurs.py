"""Slurred groups: the intervals as they were played, against those written."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from assessor.figures.beats import Scene
from assessor.figures.picture import (
    Gallery,
    Table,
    canvas,
    followed,
    signed,
    told,
    tone,
    triangle,
)
from assessor.figures.svg import element, path, words
from assessor.figures.tab import FONTS
from assessor.lick.notation import Articulation
from assessor.measures.focus import say_place
from assessor.measures.legato import SlurredGroup, SlurredNote

WIDTH_PT, HEIGHT_PT = 250.0, 96.0
LEFT, RIGHT = 46.0, 12.0
WRITTEN_Y, PLAYED_Y, ROW_PT = 28.0, 52.0, 12.0
TEXT_SIZE, HEAD_SIZE = 9.5, 10.5
HEAD = (
    "Group", "Note", "Interval off, ms", "Group spread, ms", "Unevenness, nPVI",
    "Slurs against picked, dB",
)  # fmt: skip
LETTERS = {
    Articulation.HAMMER_ON: "h",
    Articulation.PULL_OFF: "p",
    Articulation.SLIDE: "/",
}


def slur_pictures(scene: Scene) -> Gallery:
    """Every slurred group of a pass of which an interval was measured."""
    groups = [group for group in scene.found.legato.groups if group.notes]
    lengths = [
        sum(both)
        for group in groups
        for both in zip(*(_interval(scene, n) for n in group.notes), strict=True)
    ]
    # one scale for all, so that they can be compared
    scale = (WIDTH_PT - LEFT - RIGHT) / max([*lengths, 1.0])
    svgs = tuple(_panel(scene, group, scale) for group in groups)
    rows = tuple(row for group in groups for row in _rows(scene, group))
    return Gallery(svgs, "Slurred groups", Table(HEAD, rows))


def _panel(scene: Scene, group: SlurredGroup, scale: float) -> str:
    """Two rows of boxes, one box an interval: above as written, below as played."""
    intervals = [_interval(scene, note) for note in group.notes]
    place = say_place(scene.lick, group.indices[0])
    frets = _frets(scene, group)
    parts = [
        words(place, 2, 10, HEAD_SIZE, class_="strong"),
        words(frets, WIDTH_PT - RIGHT, 10, HEAD_SIZE, text_anchor="end"),
        words("written", 2, WRITTEN_Y + 9, TEXT_SIZE, class_="quiet"),
        words("played", 2, PLAYED_Y + 9, TEXT_SIZE, class_="quiet"),
    ]
    at_w = at_p = LEFT
    places = [(_along(scene, group.notes[0].index - 1), LEFT)]
    for note, (written_ms, played_ms) in zip(group.notes, intervals, strict=True):
        next_w, next_p = at_w + scale * written_ms, at_p + scale * played_ms
        parts += _boxes(note, (at_w, next_w), (at_p, next_p))
        at_w, at_p = next_w, next_p
        places.append((_along(scene, note.index), at_p))
    parts += _said(group)
    moved = followed(parts, places, PLAYED_Y - 3, PLAYED_Y + ROW_PT + 3)
    body = element("g", moved, font_family=FONTS)
    title = f"{place}: intervals of a slurred group, written and played"
    return canvas([body], WIDTH_PT, HEIGHT_PT, title)


def _along(scene: Scene, index: int) -> float:
    """How far along the notes the onset of one that sounds was."""
    played = scene.found.performed.notes[index].played
    assert played is not None
    return float(scene.line.along(played.onset_s))


def _interval(scene: Scene, note: SlurredNote) -> tuple[float, float]:
    """Written and played length in ms of the interval that ends in a slurred note."""
    notes = scene.found.performed.notes
    before, after = notes[note.index - 1].played, notes[note.index].played
    assert before is not None
    assert after is not None
    played_ms = 1000 * (after.onset_s - before.onset_s)
    return max(played_ms - note.interval.value, 0.0), max(played_ms, 0.0)


def _boxes(
    note: SlurredNote, written: tuple[float, float], played: tuple[float, float]
) -> Iterator[str]:
    """One interval twice, joined by a slanted line where both end."""
    kind = tone(note.interval)
    for (x, end), y, look in (
        (written, WRITTEN_Y, "wanted"),
        (played, PLAYED_Y, f"played {kind}"),
    ):
        box = {"width": max(end - x - 1.5, 1.0), "height": ROW_PT}
        yield element("rect", x=x, y=y, rx=1.5, class_=look, **box)
    d = "M_,_ L_,_"
    low = WRITTEN_Y + ROW_PT
    yield path(d, written[1] - 0.7, low, played[1] - 0.7, PLAYED_Y, class_="grid")
    middle = (played[0] + played[1]) / 2
    y = PLAYED_Y + ROW_PT + 11
    text = signed(note.interval.value)
    if kind != "quiet":
        way, word = ("right", "long") if kind == "high" else ("left", "short")
        text = f"{text} {word}"
        yield triangle(middle - 26, y - 2.8, way, 2.4, class_=kind)
    style = {"text_anchor": "middle", "class_": kind}
    yield words(text, middle, y, TEXT_SIZE, **style)


def _said(group: SlurredGroup) -> Iterator[str]:
    """Loudness of the group in words."""
    y = HEIGHT_PT - 6
    yield words("ms", 2, PLAYED_Y + ROW_PT + 11, TEXT_SIZE, class_="quiet")
    if group.level is not None:
        way = "louder" if group.level.value > 0 else "softer"
        kind = "strong" if tone(group.level) != "quiet" else "quiet"
        text = f"slurs {abs(group.level.value):.0f} dB {way} than picked"
        yield words(text, LEFT, y, TEXT_SIZE, class_=kind)


def _frets(scene: Scene, group: SlurredGroup) -> str:
    """Frets of a group as they are written in tab: 5h7p5."""
    notes = [scene.lick.notes[k] for k in group.indices]
    text = str(notes[0].fret)
    for before, note in pairwise(notes):
        letter = LETTERS[note.articulation]
        if letter == "/" and note.fret < before.fret:
            letter = "\\"
        text += f"{letter}{note.fret}"
    return text


def _rows(scene: Scene, group: SlurredGroup) -> Iterator[tuple[str, ...]]:
    """One row for each slurred note; the group's own readings in each."""
    for note in group.notes:
        yield (
            say_place(scene.lick, group.indices[0]),
            say_place(scene.lick, note.index),
            told(note.interval),
            told(group.spread),
            told(group.npvi),
            told(group.level),
        )
