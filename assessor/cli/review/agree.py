"""``assessor review agree``: how far to trust the tool."""

from __future__ import annotations

import click

from assessor.cli.terminal import bad_files, show


@click.command()
@click.argument("out", metavar="OUT")
def agree(out: str) -> None:
    """Say how far tool and teacher agree on takes judged blind."""
    with bad_files():
        from assessor.report.class_agreement import agreement_lines
        from assessor.review.summary import read_class

        lines = agreement_lines(read_class(out))
    nothing = [
        "No take was judged blind yet, before anything else was said of it: assessor "
        "review correct … --blind"
    ]
    show("\n".join(lines or nothing) + "\n")
