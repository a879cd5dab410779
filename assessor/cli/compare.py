"""``assessor compare``: two results side by side."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from assessor.cli.outputs import refuse_wrong_place
from assessor.cli.terminal import bad_files, can_hold, show, width_of_terminal, write


@click.command()
@click.argument("first", metavar="A.json")
@click.argument("second", metavar="B.json")
@click.option(
    "--html", "html_path", metavar="OUT", help="Write the comparison as a page, too."
)
def compare(first: str, second: str, html_path: str | None) -> None:
    """Say what got better from result A to result B, and what worse.

    Both are files that ``assessor check --json`` wrote for the same lick; their best
    passes are compared.  A difference smaller than its uncertainty is told as such.
    """
    from assessor.report.compare import comparison, read_result
    from assessor.report.text import ASCII

    refuse_wrong_place("--html", html_path)
    width = width_of_terminal()
    with bad_files():
        before, after = read_result(first), read_result(second)
        text = comparison(before, after, width)
    if html_path is not None:
        from assessor.report.compare_page import compare_page

        write(Path(html_path), compare_page(before, after))
    if not can_hold(sys.stdout, text):
        text = text.translate(ASCII).encode("ascii", "replace").decode()
    show(text)
