"""Writes a lick in the format of a file's ending, and says what is not in it."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from assessor.cli.terminal import write

if TYPE_CHECKING:
    from assessor.lick.notation import Lick

LICK_SUFFIXES = (".lick", ".musicxml", ".xml", ".mxl", ".mid", ".midi")


def write_lick(lick: Lick, out: Path) -> tuple[str, ...]:
    """Write a lick whole or not at all.

    Returns
    -------
    tuple of str
        What the format could not hold, a line each.

    Raises
    ------
    LickError
        When the format cannot hold the lick at all; nothing is written.
    """
    from assessor.lick.conversion import convert

    converted = convert(lick, out.suffix.lower(), str(out))
    write(out, converted.data)
    return converted.lost


def listed(heading: str, lines: Iterable[str]) -> str:
    """Lines under a heading, nothing when there are none.

    >>> print(listed("not in it", ["fingers"]), end="")
    not in it:
      fingers
    """
    text = "".join(f"  {line}\n" for line in lines)
    return f"{heading}:\n{text}" if text else ""
