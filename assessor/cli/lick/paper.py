"""``assessor lick print``: tab fit to be handed out."""

from __future__ import annotations

from collections.abc import Sequence
from importlib.util import find_spec
from pathlib import Path

import click

from assessor.cli.lick.files import force_option, out_option, refuse_wrong_out
from assessor.cli.lick.writing import listed
from assessor.cli.terminal import bad_files, show, write

SUFFIXES = (".svg", ".pdf", ".png")


paper_option = click.option(
    "--paper",
    "paper_name",
    type=click.Choice(["a4", "letter"]),
    default="a4",
    show_default=True,
    help="Size of the sheet.",
)
staff_option = click.option(
    "--staff", is_flag=True, help="Write the five-line staff over the tab."
)


@click.command("print")
@click.argument("lick_path", metavar="FILE")
@out_option
@paper_option
@staff_option
@force_option
def paper(lick_path: str, out: Path, paper_name: str, staff: bool, force: bool) -> None:
    """Print the lick in FILE as tab: .svg, .pdf or .png.

    A lick of several pages makes one .pdf, or .svg and .png files with numbers.
    """
    refuse_wrong_out(out, SUFFIXES, force=force)
    refuse_without_typst(out)
    refuse_without_verovio(staff=staff)
    from assessor import lick
    from assessor.figures import PAPERS, pages

    with bad_files():
        asked = lick.read(lick_path)
    drawn = pages(asked, paper_name, staff=staff)
    contents: list[str | bytes] = list(drawn)
    if out.suffix.lower() != ".svg":
        from assessor.figures.typeset import pdf, pngs

        sheet = PAPERS[paper_name]
        pdf_asked = out.suffix.lower() == ".pdf"
        if pdf_asked:
            contents = [pdf(drawn, sheet, asked.title)]
        else:
            contents = list(pngs(drawn, sheet))
    files = _numbered(out, len(contents))
    for file in files:
        refuse_wrong_out(file, SUFFIXES, force=force)
    _write_all(files, contents)
    show("".join(f"{file}\n" for file in files))
    show(listed(f"changed or left out on reading {lick_path}", asked.notices))


def _write_all(files: Sequence[Path], contents: Sequence[str | bytes]) -> None:
    """Write every page, or none of them."""
    for number, (file, content) in enumerate(zip(files, contents, strict=True)):
        try:
            write(file, content)
        except click.UsageError:
            for earlier in files[:number]:
                earlier.unlink(missing_ok=True)
            raise


def refuse_without_typst(out: Path, instead: str = ".svg") -> None:
    """Refuse PDF and PNG where what makes them is not installed; name what is left."""
    if out.suffix.lower() != instead and find_spec("typst") is None:
        message = (
            f"{out.suffix} needs typst, which comes with the extra: assessor[print]; "
            f"{instead} needs nothing"
        )
        raise click.BadParameter(message, param_hint="--out")


def refuse_without_verovio(*, staff: bool) -> None:
    """Refuse a staff where what engraves it is not installed."""
    if staff and find_spec("verovio") is None:
        message = "a staff needs verovio, which comes with the extra: assessor[staff]"
        raise click.BadParameter(message, param_hint="--staff")


def _numbered(out: Path, count: int) -> list[Path]:
    """Names of so many files: the name itself, or with -1, -2, … before its ending."""
    if count == 1:
        return [out]
    return [out.with_name(f"{out.stem}-{k}{out.suffix}") for k in range(1, count + 1)]
