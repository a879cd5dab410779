"""Files a command writes beside what it prints, and what they may be written over."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from assessor.cli.terminal import write

if TYPE_CHECKING:
    from assessor.assessment import Assessment
    from assessor.recording import Recording

HEAD_BYTES = 200  # enough to know an earlier output by
# What stands in the head of an earlier output of an option.
MARKS = {
    "--json": "assessor-result",
    "--html": 'name="generator" content="assessor"',
    "--figure": 'class="picture"',
    "--csv": "pass,note,place,string,fret",
}


def refuse_wrong_place(option: str, file: str | None) -> None:
    """Refuse, before anything is heard, to write where no output should go."""
    if file is None or (option == "--json" and file == "-"):
        return
    out = Path(file)
    problem = ""
    if out.is_dir() or not out.parent.is_dir():
        problem = "that is a folder, or its folder is not there; name a file"
    elif out.exists() and not _is_earlier(out, MARKS[option]):
        what = option.removeprefix("--").replace("json", "result")
        problem = f"that file is no earlier {what}, and is not written over"
    if problem:
        message = f"{file}: {problem}"
        raise click.BadParameter(message, param_hint=option)


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
        Files to write; None writes none.
    """
    if html is not None:
        from assessor.report.page import page

        write(Path(html), page(assessment, sound))
    if figure is not None:
        from assessor.figures.beats import scene
        from assessor.figures.picture import alone
        from assessor.figures.take import take_picture

        drawn = take_picture(scene(assessment, assessment.best))
        write(Path(figure), alone(drawn.svg))
    if table is not None:
        from assessor.report.notes_csv import notes_csv

        write(Path(table), notes_csv(assessment))
