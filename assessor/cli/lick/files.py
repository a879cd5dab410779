"""Where lick commands write, and what they never write over."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import click

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
    problem = ""
    if out.is_dir() or not out.parent.is_dir():
        problem = "that is a folder, or its folder is not there; name a file"
    elif out.suffix.lower() not in suffixes:
        problem = f"the ending says the format; known are {', '.join(suffixes)}"
    elif out.exists() and not force:
        problem = "that file is already there; --force writes over it"
    if problem:
        message = f"{out}: {problem}"
        raise click.BadParameter(message, param_hint="--out")
