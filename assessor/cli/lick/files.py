"""Where lick commands write, and what they never write over."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import click

from assessor.cli.terminal import wrong_place

out_option = click.option(
    "-o",
    "--out",
    "out",
    metavar="OUT",
    required=True,
    type=click.Path(path_type=Path),
    help="File to write; its ending says which format.",
)
force_option = click.option(
    "--force", is_flag=True, help="Write over a file that is already there."
)


def refuse_wrong_out(out: Path, suffixes: Sequence[str], *, force: bool) -> None:
    """Refuse, before any work is done, to write where nothing should go."""
    problem = wrong_place(out)
    if not problem and out.suffix.lower() not in suffixes:
        problem = f"the ending says the format; known are {', '.join(suffixes)}"
    elif not problem and out.exists() and not force:
        problem = "that file is already there; --force writes over it"
    if problem:
        message = f"{out}: {problem}"
        raise click.BadParameter(message, param_hint="--out")
