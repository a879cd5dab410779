"""``assessor lick handout``: licks with a teacher's words, on paper or to be heard."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from assessor.cli.lick.files import force_option, out_option, refuse_wrong_out
from assessor.cli.lick.paper import (
    paper_option,
    refuse_without_typst,
    refuse_without_verovio,
    staff_option,
)
from assessor.cli.lick.writing import listed
from assessor.cli.terminal import bad_files, patience, show, write
from assessor.words import plural

if TYPE_CHECKING:
    from assessor.report.handout import Handout

SUFFIXES = (".pdf", ".html")
BYTES_PER_KB = 1000


@click.command()
@click.argument("text_path", metavar="DOC.md")
@out_option
@paper_option
@staff_option
@click.option(
    "--without-sound",
    is_flag=True,
    help="Leave the sound out of the page: smaller, to be looked at only.",
)
@force_option
def handout(
    text_path: str,
    out: Path,
    paper_name: str,
    staff: bool,
    without_sound: bool,
    force: bool,
) -> None:
    """Make a hand-out of DOC.md: a .pdf for paper, or one .html page with sound.

    DOC.md is your own text in Markdown; a line ![](NAME.lick) of its own puts a lick
    there, ![Its title](NAME.lick "60 bpm") with a title and a tempo.
    """
    refuse_wrong_out(out, SUFFIXES, force=force)
    refuse_without_typst(out, instead=".html")
    refuse_without_verovio(staff=staff)
    from assessor.report import handout as handouts

    with bad_files():
        made = handouts.read(text_path)
    with patience(f"making {out.name}"):
        content = (
            _page(made, staff=staff, sound=not without_sound)
            if out.suffix.lower() == ".html"
            else _paper(made, paper_name, staff=staff)
        )
    write(out, content)
    size_kb = len(content) / BYTES_PER_KB
    show(f"{out}: {plural(len(made.licks), 'lick')}, {size_kb:.0f} kB\n")
    for one in made.licks:
        heading = f"changed or left out on reading lick {one.heading}"
        show(listed(heading, one.lick.notices))


def _page(made: Handout, *, staff: bool, sound: bool) -> bytes:
    from assessor.report.handout_page import page

    return page(made, staff=staff, sound=sound).encode()


def _paper(made: Handout, paper_name: str, *, staff: bool) -> bytes:
    from assessor.report.handout_paper import pdf

    return pdf(made, paper_name, staff=staff)
