"""``assessor lick convert``: from one lick format to another."""

from __future__ import annotations

from pathlib import Path

import click

from assessor.cli.lick.files import force_option, out_option, refuse_wrong_out
from assessor.cli.lick.writing import LICK_SUFFIXES, listed, write_lick
from assessor.cli.terminal import bad_files, show
from assessor.words import plural


@click.command()
@click.argument("lick_path", metavar="FILE")
@out_option
@force_option
def convert(lick_path: str, out: Path, force: bool) -> None:
    """Write the lick in FILE as a sheet (.lick), MusicXML (.musicxml, .mxl) or .mid.

    Whatever the new file does not hold is listed.
    """
    refuse_wrong_out(out, LICK_SUFFIXES, force=force)
    from assessor import lick

    with bad_files():
        asked = lick.read(lick_path)
        lost = write_lick(asked, out)
    text = f"{out}: {asked.title}, {plural(len(asked), 'note')}\n"
    text += listed(f"changed or left out on reading {lick_path}", asked.notices)
    text += listed(f"not in {out}, or not as it was", lost)
    show(text)
