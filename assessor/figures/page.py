"""Whole pages: title, tempo, tuning, then one system of tab under the other."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from assessor.figures import signs
from assessor.figures.svg import element, words
from assessor.figures.tab import FONTS, systems
from assessor.lick.notation import Lick
from assessor.lick.sheet_signs import plain_number

MARGIN_PT = 45.0
TITLE_SIZE, LEAST_TITLE_SIZE = 19.0, 10.0
TEXT_SIZE = 9.5
GAP_PT = 16.0  # between systems
EM_SHARE = 0.66  # mean width of a bold letter of common fonts


@dataclass(frozen=True)
class Paper:
    """A size of paper, with the units SVG writes it in.

    Attributes
    ----------
    width, height : float
        In points.
    written_width, written_height : str
        As they are known.
    """

    width: float
    height: float
    written_width: str
    written_height: str


# ISO 216 and ANSI/ASME Y14.1.
PAPERS = {
    "a4": Paper(595.28, 841.89, "210mm", "297mm"),
    "letter": Paper(612.0, 792.0, "8.5in", "11in"),
}


def pages(lick: Lick, paper: str = "a4", *, staff: bool = False) -> tuple[str, ...]:
    """A lick on as many pages as it needs.

    Parameters
    ----------
    lick : Lick
    paper : str
        Key of `PAPERS`.
    staff : bool
        As `assessor.figures.tab.systems` has it, also for its error.

    Returns
    -------
    tuple of str
        Whole SVG documents.
    """
    sheet = PAPERS[paper]
    width = sheet.width - 2 * MARGIN_PT
    heading, y = _heading(lick, width)
    sheets: list[list[str]] = [[heading]]
    y += MARGIN_PT
    for picture in systems(lick, width, staff=staff):
        if y + picture.height > sheet.height - MARGIN_PT and len(sheets[-1]) > 1:
            sheets.append([])
            y = MARGIN_PT
        sheets[-1].append(_moved(picture.svg, MARGIN_PT, y))
        y += picture.height + GAP_PT
    sheets[0][0] = _moved(heading, MARGIN_PT, MARGIN_PT)
    return tuple(
        _document(parts, sheet, _footer(lick, number, len(sheets), sheet))
        for number, parts in enumerate(sheets, 1)
    )


def strip(lick: Lick, width: float) -> str:
    """All systems of a lick under one another, without a heading, as one SVG.

    Parameters
    ----------
    width : float
        In points.
    """
    pictures = systems(lick, width)
    parts, y = [], 0.0
    for picture in pictures:
        parts.append(_moved(picture.svg, 0, y))
        y += picture.height + GAP_PT
    return _svg(parts, max(p.width for p in pictures) + 1, y - GAP_PT)


def strips(lick: Lick, width: float, *, staff: bool = False) -> tuple[str, ...]:
    """Each system of a lick as one SVG, for who puts them on pages."""
    return tuple(
        _svg([picture.svg], width + 1, picture.height)
        for picture in systems(lick, width, staff=staff)
    )


def _svg(
    parts: list[str],
    width: float,
    height: float,
    written: tuple[str, str] | None = None,
) -> str:
    """SVG element of a size in points, unless it is written in other units."""
    size = written or (f"{width:.2f}pt", f"{height:.2f}pt")
    return element(
        "svg",
        *parts,
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {width:.2f} {height:.2f}",
        color="#000",
        width=size[0],
        height=size[1],
    )


def _document(parts: list[str], sheet: Paper, footer: str) -> str:
    """One page on white paper."""
    white = element("rect", width="100%", height="100%", fill="#fff")
    written = (sheet.written_width, sheet.written_height)
    return _svg([white, *parts, footer], sheet.width, sheet.height, written) + "\n"


def _moved(svg: str, x: float, y: float) -> str:
    return element("g", svg, transform=f"translate({x:.2f} {y:.2f})")


def _heading(lick: Lick, width: float) -> tuple[str, float]:
    """Title, what it trains, tempo and tuning; and how high all that is."""
    title = lick.title or "Lick"
    fitting = width / (EM_SHARE * len(title))
    size = min(TITLE_SIZE, max(fitting, LEAST_TITLE_SIZE))
    y = size
    parts = [words(title, 0, y, size, font_weight="bold")]
    if lick.trains:
        y += 15
        fitting = width / (0.5 * len(lick.trains))
        style = {"font_style": "italic"}
        parts.append(words(lick.trains, 0, y, min(TEXT_SIZE, fitting), **style))
    y += 22
    parts += _facts(lick, width, y)
    return element("g", *parts, font_family=FONTS, fill="currentColor"), y + 12


def facts(lick: Lick, width: float) -> str:
    """Row of tempo, swing, tuning and capo, as one SVG of a width in points."""
    row = element("g", *_facts(lick, width, 12), font_family=FONTS, fill="currentColor")
    return _svg([row], width, 16)


def _facts(lick: Lick, width: float, y: float) -> Iterator[str]:
    """Tempo and swing on the left, tuning and capo on the right, above `y`."""
    yield signs.tempo(0, y, lick.tempo_bpm, 11)
    if lick.swing is not None:
        yield words(f"swing {plain_number(lick.swing)}:1", 60, y, TEXT_SIZE)
    tuning = f"{lick.tuning}" + (f" · capo {lick.capo}" if lick.capo else "")
    yield words(tuning, width, y, TEXT_SIZE, text_anchor="end")


def _footer(lick: Lick, number: int, count: int, sheet: Paper) -> str:
    """Which page of how many, where there are more than one."""
    if count == 1:
        return ""
    text = f"{lick.title} · {number} of {count}"
    style = {"text_anchor": "middle", "font_family": FONTS}
    return words(text, sheet.width / 2, sheet.height - 24, 8, **style)
