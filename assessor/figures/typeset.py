"""Pages of SVG as PDF or PNG, by typst: one wheel, no program of the system.

typst comes with the extra ``print``; without it `typst` raises `ModuleNotFoundError`.
"""

from __future__ import annotations

import json
import re
import struct
import zlib
from collections.abc import Sequence
from typing import Any

from assessor.figures.page import Paper

PNG_PER_INCH = 200.0
PICTURE_PER_INCH = 150.0
PNG_HEAD = 33  # signature and header chunk (ISO/IEC 15948, 5.2 and 11.2.2)
PNG_MARK = b"Software\0assessor"


def pdf(svgs: Sequence[str], paper: Paper, title: str = "") -> bytes:
    """One PDF of all pages, its curves and text kept as such.

    Parameters
    ----------
    svgs : sequence of str
    paper : Paper
    title : str
        Of the document, in its properties.

    Raises
    ------
    ModuleNotFoundError
        When typst is not installed.
    """
    return compiled(_source(svgs, paper, title))


def compiled(files: dict[str, bytes]) -> bytes:
    """PDF of virtual files, of which the one called ``main`` is typst's source.

    What is not of the program's own making goes into files that `main` reads as data,
    never into `main`.  For the error see `pdf`.
    """
    return bytes(_typst().compile(files, format="pdf"))


def pngs(
    svgs: Sequence[str], paper: Paper, per_inch: float = PNG_PER_INCH
) -> tuple[bytes, ...]:
    """One PNG for each page; for the error see `pdf`."""
    made = _typst().compile(_source(svgs, paper), format="png", ppi=per_inch)
    return tuple(made) if isinstance(made, list) else (bytes(made),)


def picture_png(svg: str, per_inch: float = PICTURE_PER_INCH) -> bytes:
    """A picture on its own as PNG, marked as made by this program.

    Parameters
    ----------
    svg : str
        With a ``viewBox`` in points, as `assessor.figures.picture.alone` gives it.
    per_inch : float
        Pixels an inch.
    """
    found = re.search(r'viewBox="\S+ \S+ (\S+) (\S+)"', svg)
    assert found is not None
    paper = Paper(float(found[1]), float(found[2]), "", "")
    (made,) = pngs([svg], paper, per_inch)
    return made[:PNG_HEAD] + _chunk(b"tEXt", PNG_MARK) + made[PNG_HEAD:]


def _chunk(kind: bytes, content: bytes) -> bytes:
    """One chunk of a PNG: length, kind, content, check sum (ISO/IEC 15948, 5.3)."""
    check = zlib.crc32(kind + content)
    return struct.pack(">I", len(content)) + kind + content + struct.pack(">I", check)


def _typst() -> Any:
    """Import typst only when something is printed: it is large."""
    import typst

    return typst


def _source(svgs: Sequence[str], paper: Paper, title: str = "") -> dict[str, bytes]:
    """Virtual files: each picture a whole page."""
    size = f"width: {paper.width}pt, height: {paper.height}pt"
    pictures = "\n#pagebreak()\n".join(
        f'#image("{k}.svg", width: 100%, alt: title)' for k in range(len(svgs))
    )
    main = (
        '#let title = json("title.json")\n#set document(title: title, date: none)\n'
        f"#set page({size}, margin: 0pt)\n{pictures}"
    )
    files = {f"{k}.svg": svg.encode() for k, svg in enumerate(svgs)}
    return {"main": main.encode(), "title.json": json.dumps(title).encode()} | files
