"""What every picture of a take is made of: colours, tones, and the table behind it."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from assessor.figures.svg import element, path
from assessor.measures.tolerance import Judgement, Reading

# Blue and orange differ for every kind of colour vision; all texts in them have a
# contrast of 4.5 to 1 and more on their page (WCAG 2.2, success criterion 1.4.3).
COLOURS = """
:root{--paper:#fff;--ink:#16181c;--quiet:#5c626b;--line:#c9cdd3;--wanted:#e3e6ea;\
--band:#edeff2;--low:#1c5fb8;--high:#9a4700;color-scheme:light dark}
@media (prefers-color-scheme:dark){:root{--paper:#14161a;--ink:#e9ebee;\
--quiet:#a4abb5;--line:#454b54;--wanted:#30353d;--band:#23272d;--low:#79b3ff;\
--high:#ffa552}}
@media print{:root{--paper:#fff;--ink:#000;--quiet:#444;--line:#bbb;\
--wanted:#e3e6ea;--band:#edeff2;--low:#1c5fb8;--high:#9a4700}}
"""

SHAPES = """
svg.picture{color:var(--ink);fill:var(--ink);display:block}
.picture .paper{fill:var(--paper)}
.picture .low{fill:var(--low)}.picture .high{fill:var(--high)}
.picture .quiet{fill:var(--quiet)}.picture .strong{font-weight:bold}
.picture .grid{stroke:var(--line);stroke-width:.5;fill:none}
.picture .zero{stroke:var(--quiet);stroke-width:.6;fill:none}
.picture .band{fill:var(--band)}
.picture .wanted{fill:var(--wanted)}
.picture .shape{stroke:var(--wanted);fill:none;stroke-linejoin:round}
.picture .missed{fill:none;stroke:var(--ink);stroke-width:.9}
.picture .extra{fill:none;stroke:var(--ink);stroke-width:.9;stroke-dasharray:2.4 1.8}
.picture .target{fill:none;stroke:var(--quiet);stroke-width:.9;stroke-dasharray:5 2.5}
.picture .curve,.picture .stem{fill:none;stroke:var(--ink);stroke-width:1.3;\
stroke-linejoin:round;stroke-linecap:round}
.picture .stem{stroke-width:1}
.picture .curve.low,.picture .stem.low{stroke:var(--low);fill:none}
.picture .curve.high,.picture .stem.high{stroke:var(--high);fill:none}
.picture .note rect{fill:none;pointer-events:all}
.picture .whisker{stroke:var(--ink);stroke-width:2.4;fill:none}
.picture .open{fill:var(--paper);stroke:var(--ink);stroke-width:1.4}
.picture .now{stroke:var(--ink);stroke-width:1.2;fill:none}
.picture .clear{stroke:var(--paper);stroke-width:2.5;paint-order:stroke;\
stroke-linejoin:round}
.picture .stem.quiet{stroke:var(--quiet);fill:none}
"""


EDGE_PT = 10  # of paper around a picture alone


@dataclass(frozen=True)
class Table:
    """The numbers behind a picture, as text.

    Attributes
    ----------
    head : tuple of str
        One word for each column, with its unit.
    rows : tuple of tuple of str
    """

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class Picture:
    """A picture, and what says the same in words.

    Attributes
    ----------
    svg : str
        A whole ``<svg>`` element.
    title : str
        What it shows, in a few words.
    table : Table
    """

    svg: str
    title: str
    table: Table


def canvas(parts: list[str], width: float, height: float, title: str) -> str:
    """Whole ``<svg>`` element that scales to the room it is given."""
    return element(
        "svg",
        *parts,
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {width:.0f} {height:.0f}",
        class_="picture",
        role="group",
        aria_label=title,
    )


def followed(
    parts: list[str], places: Iterable[tuple[float, float]], top: float, foot: float
) -> str:
    """Pieces with a line that a player of sound can move through them.

    Parameters
    ----------
    parts : list of str
    places : iterable of (float, float)
        How far along the notes of the lick (3.5 is half way through the fourth), and
        the x where that is; the line runs evenly between.
    top, foot : float
        Ends of the line.
    """
    line = path("M0,_ V_", top, foot, class_="now", visibility="hidden")
    written = " ".join(f"{along:.3f},{x:.1f}" for along, x in places)
    return element("g", *parts, line, class_="system", data_places=written)


def alone(svg: str) -> str:
    """Picture as a file of its own, in the light page's colours, on white paper.

    The colours are written out: few programs but browsers know custom properties.
    """
    light = dict(re.findall(r"--(\w+):(#\w+)", COLOURS.split("@media")[0]))
    style = re.sub(r"var\(--(\w+)\)", lambda found: light[found[1]], SHAPES)
    head, _, body = svg.partition(">")
    width, height = re.findall(r'viewBox="0 0 (\S+) (\S+)"', head)[0]
    size = {"width": int(width) + 2 * EDGE_PT, "height": int(height) + 2 * EDGE_PT}
    box = f'viewBox="{-EDGE_PT} {-EDGE_PT} {size["width"]} {size["height"]}"'
    head = re.sub(r'viewBox="[^"]*"', box, head)
    paper = element("rect", x=-EDGE_PT, y=-EDGE_PT, class_="paper", **size)
    return f"{head}>{element('style', style)}{paper}{body}\n"


def tone(reading: Reading | None) -> str:
    """Class of a reading: ``low`` or ``high`` when it is outside, else ``quiet``."""
    if reading is None or reading.judgement != Judgement.OUTSIDE:
        return "quiet"
    return "high" if reading.deviation > 0 else "low"


def triangle(x: float, y: float, way: str, size: float, **attributes: str) -> str:
    """Filled triangle around a place, pointing ``left``, ``right``, ``up``, ``down``.

    >>> triangle(0, 0, "up", 2)
    '<path d="M-2,1.6 L2,1.6 L0,-2 Z"/>'
    """
    s, b = size, 0.8 * size
    corners = {
        "up": ((-s, b), (s, b), (0, -s)),
        "down": ((-s, -b), (s, -b), (0, s)),
        "left": ((b, -s), (b, s), (-s, 0)),
        "right": ((-b, -s), (-b, s), (s, 0)),
    }[way]
    points = [f"{x + dx:.4g},{y + dy:.4g}" for dx, dy in corners]
    d = "M{} L{} L{} Z".format(*points)
    return element("path", d=d, **attributes)


def signed(value: float, unit: str = "") -> str:
    """Rounded number with its sign.

    >>> signed(12.4, "ms"), signed(-0.2)
    ('+12 ms', '0')
    """
    digits = f"{value:+.0f}"
    digits = "0" if float(digits) == 0 else digits.replace("-", "−")
    return f"{digits} {unit}".strip()


def told(reading: Reading | None) -> str:
    """Cell of a table: deviation with uncertainty and judgement; empty for None."""
    if reading is None:
        return ""
    digits = 0 if reading.uncertainty >= 1 else 1
    known = f"{signed(reading.deviation)} ±{reading.uncertainty:.{digits}f}"
    return f"{known}, {reading.judgement}" if reading.limit else known


@dataclass(frozen=True)
class Gallery:
    """Small pictures of one kind, with one table behind them all.

    Attributes
    ----------
    svgs : tuple of str
    title : str
    table : Table
    """

    svgs: tuple[str, ...]
    title: str
    table: Table
