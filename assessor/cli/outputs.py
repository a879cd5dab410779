"""Files a command writes beside what it prints, and what they may be written over."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

import click

from assessor.cli.terminal import write, wrong_place

if TYPE_CHECKING:
    from assessor.assessment import Assessment
    from assessor.recording import Recording

HEAD_BYTES = 200  # enough to know an earlier output by
# What an option writes, and what stands in the head of an earlier one.
WRITES = {
    "--json": "result",
    "--html": "page",
    "--csv": "table",
    "--figure": "picture",
    "FILE": "export",  # the argument of history export
}
MARKS = {
    "--json": "assessor-result",
    "--html": 'name="generator" content="assessor"',
    "--csv": "pass,note,place,string,fret",
    "FILE": "assessor-history",
}
PRINTED = ("--json", "FILE")  # what may be `-`, standard output
FIGURE_MARKS = {".svg": 'class="picture"', ".png": "Software\0assessor"}


def refuse_wrong_place(option: str, file: str | None) -> None:
    """Refuse, before anything is heard, to write where no output should go."""
    if file is None or (option in PRINTED and file == "-"):
        return
    out = Path(file)
    problem = wrong_place(out) or _wrong_file(option, out)
    if problem:
        message = f"{file}: {problem}"
        raise click.BadParameter(message, param_hint=option)


def _wrong_file(option: str, out: Path) -> str:
    """What speaks against a file's name, or against writing over it."""
    if option == "--figure" and out.suffix.lower() not in FIGURE_MARKS:
        return "a picture is written as .svg or .png"
    if option == "--figure" and _lacks_typst(out):
        return "PNG needs typst, which comes with the extra: assessor[print]"
    if out.exists() and not _is_earlier(out, _mark(option, out)):
        return f"that file is no earlier {WRITES[option]}, and is not written over"
    return ""


def _lacks_typst(out: Path) -> bool:
    """Say whether a PNG is asked for that cannot be made."""
    return out.suffix.lower() == ".png" and find_spec("typst") is None


def _mark(option: str, out: Path) -> str:
    """What stands in the head of an earlier output."""
    return MARKS.get(option) or FIGURE_MARKS[out.suffix.lower()]


def _is_earlier(file: Path, mark: str) -> bool:
    """Say whether a file is an earlier output, or empty."""
    with file.open("rb") as stream:
        head = stream.read(HEAD_BYTES)
    return not head or mark.encode() in head


def write_pictures(
    assessment: Assessment,
    sound: Recording | None,
    *,
    html: str | None,
    figure: str | None,
    table: str | None,
) -> None:
    """Write the page, the picture of the best pass, and the table of notes.

    Parameters
    ----------
    assessment : Assessment
    sound : Recording or None
        To be heard in the page; None leaves it out.
    html, figure, table : str or None
        Files to write; None writes none.  A figure is SVG or PNG by its name.
    """
    if html is not None:
        from assessor.report.page import page

        write(Path(html), page(assessment, sound))
    if figure is not None:
        from assessor.figures.beats import scene
        from assessor.figures.picture import alone
        from assessor.figures.take import take_picture

        drawn = alone(take_picture(scene(assessment, assessment.best)).svg)
        write(Path(figure), painted(drawn, figure))
    if table is not None:
        from assessor.report.notes_csv import notes_csv

        write(Path(table), notes_csv(assessment))


def painted(svg: str, file: str) -> str | bytes:
    """Picture as its file's name asks for it, SVG or PNG."""
    if not file.lower().endswith(".png"):
        return svg
    from assessor.figures.typeset import picture_png

    return picture_png(svg)
