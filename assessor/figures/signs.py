"""The signs of a tab, one function each: where to draw, and a piece of SVG back.

Drawn with lines and curves rather than taken from a music font, so that they look the
same everywhere.  Lengths in points; y grows downwards.
"""

from __future__ import annotations

from collections.abc import Iterator

from assessor.figures.svg import element, path, words
from assessor.lick.notation import Stroke

THIN, STRONG = 0.6, 1.0
HEAD_RX, HEAD_RY = 3.1, 2.3
STEM_X = -2.8  # a stem hangs from the left of its head
STEM_PT = 19.0
BEAM_PT, BEAM_STEP_PT = 2.4, 4.0
ARROW_PT = 4.2
WAVE_PT = 3.4  # half a wave

# Common names of bend sizes, in whole steps; others are written in cents.
BEND_NAMES = {50.0: "¼", 100.0: "½", 150.0: "¾", 200.0: "full", 250.0: "1¼"}
BEND_NAMES |= {300.0: "1½", 350.0: "1¾", 400.0: "2", 500.0: "2½"}

# What covers the strings behind a number; a page that is not white paints the class.
_PAPER = {"fill": "#fff", "class_": "paper"}
_LINE = {"fill": "none", "stroke": "currentColor"}


def bend_name(cents: float) -> str:
    """Size of a bend as players say it.

    >>> [bend_name(c) for c in (50, 100, 200, 300, 400, 125)]
    ['¼', '½', 'full', '1½', '2', '125 c']
    """
    return BEND_NAMES.get(cents, f"{cents:g} c")


def fret(text: str, x: float, y: float, size: float) -> str:
    """Fret number, the string behind it left out."""
    half = half_width(text, size)
    box = element(
        "rect",
        x=x - half - 0.6,
        y=y - 0.4 * size,
        width=2 * half + 1.2,
        height=0.8 * size,
        **_PAPER,
    )
    return box + words(text, x, y + 0.36 * size, size, text_anchor="middle")


def half_width(text: str, size: float) -> float:
    """Half of how wide a short text is; digits of common fonts are 0.56 em wide."""
    return 0.29 * size * len(text)


def dead(x: float, y: float) -> str:
    """Cross of a dead note."""
    box = element("rect", x=x - 4, y=y - 3.5, width=8, height=7, **_PAPER)
    d = "M_,_ l6,6 m0,-6 l-6,6"
    return box + path(d, x - 3, y - 3, stroke_width=1.2, **_LINE)


def arrow_head(x: float, y: float, *, up: bool) -> str:
    """Filled head whose point is at (x, y)."""
    back = ARROW_PT if up else -ARROW_PT
    d = "M_,_ l_,_ h_ z"
    return path(d, x, y, ARROW_PT / 2.2, back, -ARROW_PT / 1.1, fill="currentColor")


def bend_up(x: float, y: float, to_x: float, top_y: float) -> str:
    """Arrow from beside a fret number up to the bend's height."""
    d = "M_,_ Q_,_ _,_"
    line = path(
        d, x, y, to_x, y, to_x, top_y + ARROW_PT - 1, stroke_width=STRONG, **_LINE
    )
    return line + arrow_head(to_x, top_y, up=True)


def bend_before(x: float, y: float, top_y: float) -> str:
    """Upright arrow: pushed up before it sounds."""
    line = path("M_,_ V_", x, y, top_y + ARROW_PT - 1, stroke_width=STRONG, **_LINE)
    return line + arrow_head(x, top_y, up=True)


def bend_down(x: float, top_y: float, to_x: float, y: float) -> str:
    """Arrow from the bend's height down to the fret."""
    d = "M_,_ Q_,_ _,_"
    line = path(
        d, x, top_y, to_x, top_y, to_x, y - ARROW_PT + 1, stroke_width=STRONG, **_LINE
    )
    return line + arrow_head(to_x, y, up=False)


def wave(x: float, to_x: float, y: float) -> str:
    """Wavy line of a vibrato, whole waves only."""
    waves = max(2, int((to_x - x) / (2 * WAVE_PT)))
    d = "M_,_ q_,-3.6 _,0 t_,0" + f" t{WAVE_PT},0" * (2 * waves - 2)
    return path(d, x, y, WAVE_PT / 2, WAVE_PT, WAVE_PT, stroke_width=STRONG, **_LINE)


def arc(x: float, to_x: float, y: float, height: float) -> str:
    """Slur or tie: thin at its ends, bulging by `height` (up when positive)."""
    d = "M_,_ Q_,_ _,_ Q_,_ _,_ z"
    middle = (x + to_x) / 2
    outer, inner = y - 2 * height, y - 2 * height + (1.4 if height > 0 else -1.4)
    return path(
        d, x, y, middle, outer, to_x, y, middle, inner, x, y,
        fill="currentColor", stroke="currentColor", stroke_width=0.3,
    )  # fmt: skip


def letter(text: str, x: float, y: float, size: float) -> str:
    """Small italic letter with the string behind it left out."""
    box = element(
        "rect",
        x=x - 0.35 * size,
        y=y - 0.72 * size,
        width=0.7 * size,
        height=0.8 * size,
        **_PAPER,
    )
    style = {"text_anchor": "middle", "font_style": "italic"}
    return box + words(text, x, y, size, **style)


def slide(x: float, y: float, to_x: float, to_y: float) -> str:
    """Straight line from one place to another."""
    return path("M_,_ L_,_", x, y, to_x, to_y, stroke_width=STRONG, **_LINE)


def stroke(kind: Stroke, x: float, y: float) -> str:
    """What the picking hand does, standing on y."""
    if kind is Stroke.DOWN:
        roof = element(
            "rect", x=x - 3.2, y=y - 6.5, width=6.4, height=2, fill="currentColor"
        )
        d = "M_,_ v-6 m5.6,0 v6"
        return roof + path(d, x - 2.8, y, stroke_width=0.9, **_LINE)
    if kind is Stroke.UP:
        d = "M_,_ l2.6,6.5 l2.6,-6.5"
        return path(d, x - 2.6, y - 6.5, stroke_width=STRONG, **_LINE)
    names = {"thumb": "p", "index": "i", "middle": "m", "ring": "a"}
    style = {"text_anchor": "middle", "font_style": "italic"}
    return words(names[kind], x, y, 8.5, **style)


def head(x: float, y: float, letter_: str) -> str:
    """Note head: whole and half are hollow."""
    hollow = letter_ in "wh"
    paint = {"fill": "none" if hollow else "currentColor"}
    turn = f"rotate(-18 {x:.2f} {y:.2f})"
    return element(
        "ellipse", cx=x, cy=y, rx=HEAD_RX, ry=HEAD_RY, transform=turn,
        stroke="currentColor", stroke_width=1.0 if hollow else 0.5, **paint,
    )  # fmt: skip


def dots(x: float, y: float, count: int) -> Iterator[str]:
    """Dots behind a head or a rest."""
    for k in range(count):
        yield element(
            "circle", cx=x + 6 + 3.2 * k, cy=y - 0.5, r=0.95, fill="currentColor"
        )


def stem(x: float, y: float, end_y: float) -> str:
    """Stem from a head down."""
    return path("M_,_ V_", x + STEM_X, y + 0.6, end_y, stroke_width=0.9, **_LINE)


def flags(x: float, end_y: float, count: int) -> Iterator[str]:
    """Flags at the foot of a stem."""
    for k in range(count):
        foot = end_y - BEAM_STEP_PT * k
        d = "M_,_ c0.6,-3.2 6,-3.6 4.6,-9.4"
        yield path(d, x + STEM_X, foot, stroke_width=1.3, **_LINE)


def beam(x: float, to_x: float, end_y: float, level: int) -> str:
    """Beam of a level, 0 = the outermost, between the stems of two heads."""
    return element(
        "rect",
        x=x + STEM_X - 0.45,
        y=end_y - BEAM_STEP_PT * level - BEAM_PT,
        width=to_x - x + 0.9,
        height=BEAM_PT,
        fill="currentColor",
    )


def rest(x: float, y: float, letter_: str, flag_count: int) -> str:
    """Rest; `y` is the middle of the room it has."""
    if letter_ in "wh":
        top = y if letter_ == "w" else y - 2.6
        line = path("M_,_ h10", x - 5, y, stroke_width=THIN, **_LINE)
        box = {"x": x - 3.2, "y": top, "width": 6.4, "height": 2.6}
        return line + element("rect", fill="currentColor", **box)
    if letter_ == "q":
        d = "M_,_ l3.6,4.2 c-2.6,2 -2,3.6 0.6,6 c-3,-1.2 -4.4,0.6 -2,3"
        return path(
            d, x - 1.8, y - 7, stroke_width=1.5, stroke_linejoin="round", **_LINE
        )
    height = 4.2 * (flag_count + 1)
    top = y - height / 2
    out = path(
        "M_,_ l_,_", x + 2.6, top, -height / 3.2, height, stroke_width=1, **_LINE
    )
    for k in range(flag_count):
        at_y, back = top + 4.2 * k, 4.2 * k / 3.2
        out += path(
            "M_,_ q3,1.6 5.4,-1", x - 2.8 - back, at_y + 1, stroke_width=0.9, **_LINE
        )
        out += element(
            "circle", cx=x - 2.4 - back, cy=at_y + 0.4, r=1.3, fill="currentColor"
        )
    return out


def bracket(x: float, to_x: float, y: float) -> str:
    """Bracket of a tuplet without a beam, open in the middle, its hooks upwards."""
    gap = 5.0
    middle = (x + to_x) / 2
    d = "M_,_ v3.5 H_ M_,_ H_ v-3.5"
    return path(
        d, x, y - 3.5, max(middle - gap, x), min(middle + gap, to_x), y, to_x,
        stroke_width=THIN, **_LINE,
    )  # fmt: skip


def dashes(x: float, to_x: float, y: float) -> str:
    """Dashed line with a hook down: something lasts until here."""
    line = path(
        "M_,_ H_",
        x,
        y,
        max(to_x, x),
        stroke_width=THIN,
        stroke_dasharray="3 2",
        **_LINE,
    )
    return line + path("M_,_ v4", max(to_x, x), y, stroke_width=THIN, **_LINE)


def tempo(x: float, y: float, bpm: float, size: float) -> str:
    """Quarter note = so many a minute, its baseline at y."""
    small = element(
        "g",
        head(3, -2, "q"),
        path("M_,_ v-11", 5.9, -2.6, stroke_width=0.9, **_LINE),
        transform=f"translate({x:.2f} {y:.2f}) scale({size / 11:.3f})",
    )
    return small + words(f"= {bpm:g}", x + 0.95 * size, y, size)
