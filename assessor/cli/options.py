"""Options that several commands declare alike."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import click

from assessor.cli.terminal import Number

Command = TypeVar("Command", bound=Callable[..., Any])

TEMPO = Number(20, 400)


def tempo_option(meaning: str) -> Callable[[Command], Command]:
    """``--tempo BPM``, and what it means to the command."""
    return click.option("--tempo", "tempo_bpm", metavar="BPM", type=TEMPO, help=meaning)
