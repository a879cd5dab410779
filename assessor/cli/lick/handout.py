"""``assessor lick handout``: licks with a teacher's words, on paper or to be heard."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from assessor.cli.lick.files import force_option, out_option, refuse_wrong_out
from assessor.cli.lick.paper import paper_option, refuse_without_typst
from assessor.cli.terminal import bad_files, patience, show, write

if TYPE_CHECKING:
    from assessor.report.handout import Handout

SUFFIXES = (".pdf", ".html")
BYTES_PER_KB = 1000


@click.command()
@click.argument("text_path", metavar="DOC.md")
@out_option
@paper_option
@click.option(
    "--without-sound",
    is_flag=True,
    help="Leave the sound out of the page: smaller, to be looked at only.",
)
@force_option
def handout(
    text_path: str, out: Path, paper_name: str, without_sound: bool, force: bool
) -> None:
    """Make a hand-out of DOC.md: a .pdf for paper, or one .html page with sound.

    DOC.md is your own text in Markdown; a line ![](NAME.lick) of its own puts a lick
    there, ![Its title](NAME.lick "60 bpm") with a title and a tempo.
    """
    refuse_wrong_out(out, SUFFIXES, force=force)
    refuse_without_typst(out, instead=".html")
    from assessor.report import handout as handouts

    with bad_files():
        made = handouts.read(text_path)
    with patience(f"making {out.name}"):
        content = _content(made, out, paper_name, sound=not without_sound)
    write(out, content)
    count = len(made.licks)
    size_kb = len(content) / BYTES_PER_KB
    show(f"{out}: {count} lick{'' if count == 1 else 's'}, {size_kb:.0f} kB\n")


def _content(made: Handout, out: Path, paper_name: str, *, sound: bool) -> bytes:
    """Whole file, as its ending says."""
    if out.suffix.lower() == ".html":
        from assessor.report.handout_page import page

        return page(made, sound=sound).encode()
    from assessor.report.handout_paper import pdf

    return pdf(made, paper_name)
