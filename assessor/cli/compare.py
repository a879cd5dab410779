"""``assessor compare``: two results side by side."""

from __future__ import annotations

import shutil
import sys

import click

from assessor.cli.check import PIPE_WIDTH, WIDEST
from assessor.cli.terminal import bad_files, can_hold, show


@click.command()
@click.argument("first", metavar="A.json")
@click.argument("second", metavar="B.json")
def compare(first: str, second: str) -> None:
    """Say what got better from result A to result B, and what worse.

    Both are files that ``assessor check --json`` wrote for the same lick; their best
    passes are compared.  A difference smaller than its uncertainty is told as such.
    """
    from assessor.report.compare import comparison, read_result
    from assessor.report.text import ASCII

    width = PIPE_WIDTH
    if sys.stdout.isatty():
        width = min(shutil.get_terminal_size().columns, WIDEST)
    with bad_files():
        text = comparison(read_result(first), read_result(second), width)
    if not can_hold(sys.stdout, text):
        text = text.translate(ASCII).encode("ascii", "replace").decode()
    show(text)
