"""``assessor review list``: takes, with the names to correct them by."""

from __future__ import annotations

from typing import Any

import click

from assessor.cli.terminal import bad_files, show


@click.command("list")
@click.argument("out", metavar="OUT")
def takes(out: str) -> None:
    """List the takes of a review with the names to correct them by."""
    with bad_files():
        from assessor.report.class_rows import why_doubtful
        from assessor.review.summary import doubtful, read_class

        found = read_class(out)
        why = {take.take_id: why_doubtful(take) for take in doubtful(found)}
        lines = [
            f"{take.take_id[:8]}  {take.player:10}  {_mark(take)}  "
            f"{take.planned.name}  {why.get(take.take_id, '')}".rstrip()
            for take in found.takes
        ]
    show("\n".join(lines or ["There is no take in this review"]) + "\n")


def _mark(take: Any) -> str:
    mark = take.shown.mark if take.shown else None
    return "  –" if mark is None else f"{mark:3.0f}"
