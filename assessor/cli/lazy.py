"""Groups of commands that import a command only when it is asked for."""

from __future__ import annotations

from collections.abc import Mapping
from importlib import import_module
from typing import Any

import click


class LazyGroup(click.Group):
    """A group that knows its commands by name.

    Parameters
    ----------
    package : str
        Where the modules lie.
    table : mapping
        Command to its module, which holds a function of the module's name, and one
        line of help; in the order they are listed.
    """

    def __init__(
        self,
        *args: Any,
        package: str,
        table: Mapping[str, tuple[str, str]],
        **others: Any,
    ) -> None:
        super().__init__(*args, **others)
        self.package, self.table = package, table

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names, in the order of the table."""
        return list(self.table)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import one command."""
        if cmd_name not in self.table:
            return None
        name = self.table[cmd_name][0]
        module = import_module(f"{self.package}.{name}")
        command: click.Command = getattr(module, name)
        return command

    def format_commands(
        self, ctx: click.Context, formatter: click.HelpFormatter
    ) -> None:
        """List the commands without importing them."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, text) for name, (_, text) in self.table.items()])
