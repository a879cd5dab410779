"""Whole pages: title, tempo, tuning, then one system of tab under the other."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from unicodedata import east_asian_width
from xml.sax.saxutils import escape

from assessor.figures import signs
from assessor.figures.svg import element, words
from assessor.figures.tab import FONTS, systems
from assessor.lick.notation import Lick
from assessor.lick.sheet_signs import plain_number
from assessor.tuning import STANDARD

MARGIN_PT = 45.0
TITLE_SIZE, TEXT_SIZE = 19.0, 9.5
MOST_LINES = 4
LINE_STEP = 1.2  # from one line of a title to the next, in letters' heights
GAP_PT = 16.0  # between systems
# Widths of letters of common plain fonts, in heights of a letter, rather too wide.
NARROW, USUAL, CAPITAL, WIDE = 0.3, 0.57, 0.75, 1.0
BOLD = 1.08
FOOTER_LETTERS = 50  # of room for the title at the foot of a page


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
    name = element("title", escape(lick.title or "Lick"))
    white = element("rect", width="100%", height="100%", fill="#fff")
    return tuple(
        _document(
            [name, white, *parts, _footer(lick, number, len(sheets), sheet)], sheet
        )
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


def _document(parts: list[str], sheet: Paper) -> str:
    """One page as a file."""
    written = (sheet.written_width, sheet.written_height)
    return _svg(parts, sheet.width, sheet.height, written) + "\n"


def _moved(svg: str, x: float, y: float) -> str:
    return element("g", svg, transform=f"translate({x:.2f} {y:.2f})")


def _heading(lick: Lick, width: float) -> tuple[str, float]:
    """Title, what it trains, tempo and tuning; and how high all that is."""
    parts: list[str] = []
    y = 0.0
    for line in _wrapped(lick.title or "Lick", width / (TITLE_SIZE * BOLD)):
        y += TITLE_SIZE if not parts else TITLE_SIZE * LINE_STEP
        parts.append(words(line, 0, y, TITLE_SIZE, font_weight="bold"))
    for line in _wrapped(lick.trains, width / TEXT_SIZE):
        y += 15
        parts.append(words(line, 0, y, TEXT_SIZE, font_style="italic"))
    y += 22
    parts += _facts(lick, width, y)
    return element("g", *parts, font_family=FONTS, fill="currentColor"), y + 12


def _wrapped(text: str, room: float) -> list[str]:
    """Lines of a text, each as wide as `room` at most; in heights of a letter.

    What does not fit into `MOST_LINES` is left out, and `…` says so.

    >>> _wrapped("one and two and three", 5), _wrapped("WWWWWW", 4), _wrapped("", 9)
    (['one and', 'two and', 'three'], ['WWWW', 'WW'], [])
    """
    lines = [""]
    for word in text.split():
        for piece in _pieces(word, room):
            longer = f"{lines[-1]} {piece}".lstrip()
            if _width(longer) <= room:
                lines[-1] = longer
            else:
                lines.append(piece)
    if len(lines) > MOST_LINES:
        lines[MOST_LINES - 1 :] = [f"{lines[MOST_LINES - 1]} …"]
    return [line for line in lines if line]


def _pieces(word: str, room: float) -> list[str]:
    """A word, cut where it alone is wider than a line."""
    pieces = [""]
    for letter in word:
        if pieces[-1] and _width(pieces[-1] + letter) > room:
            pieces.append("")
        pieces[-1] += letter
    return pieces


def _width(text: str) -> float:
    """About how wide a text is."""
    return sum(
        NARROW if letter in "ijl.,:;'!|()[] "
        else WIDE if letter in "mwMW@%—" or east_asian_width(letter) in "WF"
        else CAPITAL if letter.isupper()
        else USUAL
        for letter in text
    )  # fmt: skip


def facts(lick: Lick, width: float) -> str:
    """Row of tempo, swing, tuning and capo, as one SVG of a width in points."""
    row = element("g", *_facts(lick, width, 12), font_family=FONTS, fill="currentColor")
    return _svg([row], width, 16)


def _facts(lick: Lick, width: float, y: float) -> Iterator[str]:
    """Tempo and swing on the left, tuning and capo on the right, above `y`."""
    yield signs.tempo(0, y, lick.tempo_bpm, 11)
    if lick.swing is not None:
        yield words(f"swing {plain_number(lick.swing)}:1", 60, y, TEXT_SIZE)
    tuning = "standard tuning" if lick.tuning == STANDARD else str(lick.tuning)
    tuning += f" · capo {lick.capo}" if lick.capo else ""
    yield words(tuning, width, y, TEXT_SIZE, text_anchor="end")


def _footer(lick: Lick, number: int, count: int, sheet: Paper) -> str:
    """Which page of how many, where there are more than one."""
    if count == 1:
        return ""
    title, *more = _wrapped(lick.title or "Lick", FOOTER_LETTERS)
    text = f"{title}{' …' * bool(more)} · {number} of {count}"
    style = {"text_anchor": "middle", "font_family": FONTS}
    return words(text, sheet.width / 2, sheet.height - 24, 8, **style)
