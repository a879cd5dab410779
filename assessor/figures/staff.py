"""One system on the five-line staff, engraved by verovio, and where its values stand.

verovio comes with the extra ``staff``; without it `verovio` raises
`ModuleNotFoundError`.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from typing import Any
from xml.etree import ElementTree as ET

from assessor.figures.mei import value_id, written
from assessor.figures.rhythm import Bar
from assessor.figures.svg import element
from assessor.lick.notation import Lick

SPACE_PT = 4.8  # from one line of the staff to the next
UNITS_PER_SPACE = 180.0  # of verovio's pictures, at its usual size
UNITS_PER_PAGE_UNIT = 10.0
PT_PER_UNIT = SPACE_PT / UNITS_PER_SPACE
HALF_HEAD_UNITS = 106.0  # half of how wide a note head is
# Above its highest sign and under its lowest, for what a path's points do not tell.
EDGE_UNITS = 110.0

_SVG = "{http://www.w3.org/2000/svg}"
_NUMBERS = re.compile(r"-?\d+(?:\.\d+)?")
_MOVED = re.compile(r"translate\((-?[\d.]+), (-?[\d.]+)\)")


@dataclass(frozen=True)
class Staff:
    """An engraved system; lengths in points from its upper left corner.

    Attributes
    ----------
    svg : str
        A ``<g>`` element in the current colour.
    height : float
    top, bottom : float
        The highest and the lowest line.
    places : dict of Fraction to float
        Middle of each value, by its beat.
    bar_lines : tuple of float
        The end of every bar.
    """

    svg: str
    height: float
    top: float
    bottom: float
    places: dict[Fraction, float]
    bar_lines: tuple[float, ...]


def engraved(
    lick: Lick, bars: Sequence[Bar], width: float, *, first: bool, last: bool
) -> Staff:
    """Engrave one system.

    Parameters
    ----------
    lick : Lick
    bars : sequence of Bar
    width : float
        In points; the bars fill it.
    first, last : bool
        The system begins the lick, or ends it.

    Raises
    ------
    ModuleNotFoundError
        When verovio is not installed.
    """
    tree = ET.fromstring(_picture(written(lick, bars, first=first, last=last), width))
    heads = {g.get("id"): g for g in tree.iter(f"{_SVG}g") if g.get("id")}
    places = {
        value.beat: _middle(heads[value_id(bar, k)]) * PT_PER_UNIT
        for bar in bars
        for k, value in enumerate(bar.values)
    }
    lines = [g for g in tree.iter(f"{_SVG}g") if g.get("class") == "barLine"]
    staff = next(g for g in tree.iter(f"{_SVG}g") if g.get("class") == "staff")
    rows = [_points(e)[0][1] for e in staff.findall(f"{_SVG}path")]
    low, high = _extent(tree)
    content = "".join(_plain(tree))
    moved = f"scale({PT_PER_UNIT:.5f}) translate(0 {-low:.0f})"
    return Staff(
        element(
            "g", content, transform=moved, fill="currentColor", stroke="currentColor"
        ),
        (high - low) * PT_PER_UNIT,
        (rows[0] - low) * PT_PER_UNIT,
        (rows[-1] - low) * PT_PER_UNIT,
        places,
        tuple(_right(line) * PT_PER_UNIT for line in lines),
    )


@lru_cache(maxsize=1)
def _verovio() -> Any:
    """verovio, imported only when a staff is asked for: it is large."""
    import verovio

    verovio.enableLog(verovio.LOG_OFF)
    return verovio


def _picture(mei: str, width: float) -> str:
    """SVG of one system, whose bars fill a width in points."""
    toolkit = _verovio().toolkit()
    margins = {f"pageMargin{side}": 0 for side in ("Left", "Right", "Top", "Bottom")}
    toolkit.setOptions(
        margins
        | {
            "pageWidth": int(width / PT_PER_UNIT / UNITS_PER_PAGE_UNIT),
            "adjustPageHeight": True,
            "breaks": "encoded",
            "minLastJustification": 0,
            "header": "none",
            "footer": "none",
            "svgRemoveXlink": True,
            "svgViewBox": True,
        }
    )
    loaded = toolkit.loadData(mei)
    assert loaded, mei
    return str(toolkit.renderToSVG(1))


def _middle(head: ET.Element) -> float:
    """Middle of a note or rest, from where its first sign is drawn."""
    return _place(next(head.iter(f"{_SVG}use")))[0] + HALF_HEAD_UNITS


def _place(use: ET.Element) -> tuple[float, float]:
    """Where a sign of the music font is drawn."""
    found = _MOVED.match(use.get("transform", ""))
    assert found is not None
    return float(found[1]), float(found[2])


def _points(drawn: ET.Element) -> list[tuple[float, float]]:
    """Points of a path or polygon, those that only steer a curve too."""
    flat = [
        float(n) for n in _NUMBERS.findall(drawn.get("d") or drawn.get("points") or "")
    ]
    return list(zip(flat[::2], flat[1::2], strict=True))


def _right(line: ET.Element) -> float:
    """Right edge of a bar line."""
    last = line.findall(f"{_SVG}path")[-1]
    return _points(last)[0][0] + float(last.get("stroke-width", 0)) / 2


def _drawn(tree: ET.Element) -> Iterator[ET.Element]:
    """What is to be seen, in order; not the glyphs themselves."""
    (page,) = (g for g in tree.iter(f"{_SVG}g") if g.get("class") == "page-margin")
    names = {f"{_SVG}{tag}" for tag in ("use", "path", "polygon", "ellipse", "rect")}
    hidden = {
        inner
        for g in page.iter(f"{_SVG}g")
        if "placeholder" in g.get("class", "")
        for inner in g
    }
    yield from (e for e in page.iter() if e.tag in names and e not in hidden)


def _extent(tree: ET.Element) -> tuple[float, float]:
    """Highest and lowest that anything is drawn."""
    ys = []
    for drawn in _drawn(tree):
        if drawn.tag == f"{_SVG}use":
            ys.append(_place(drawn)[1])
        elif drawn.tag in (f"{_SVG}path", f"{_SVG}polygon"):
            ys += [y for _, y in _points(drawn)]
    return min(ys) - EDGE_UNITS, max(ys) + EDGE_UNITS


def _plain(tree: ET.Element) -> Iterator[str]:
    """The picture without names, style and links, so that many fit on one page."""
    glyphs = {
        f"#{g.get('id')}": g[0].get("d", "")
        for defs in tree.iter(f"{_SVG}defs")
        for g in defs
    }
    for drawn in _drawn(tree):
        if drawn.tag == f"{_SVG}use":
            x, y = _place(drawn)
            transform = f"translate({x:g} {y:g}) scale(.72 -.72)"
            glyph = glyphs[drawn.get("href", "")]
            yield element("path", d=glyph, transform=transform, stroke="none")
        else:
            tag = drawn.tag.removeprefix(_SVG)
            kept = ("d", "points", "stroke-width", "cx", "cy", "rx", "ry", "x", "y",
                    "width", "height")  # fmt: skip
            yield element(tag, **{k: v for k, v in drawn.items() if k in kept})
