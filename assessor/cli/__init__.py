"""The command line: the only place that prints.

Each command lives in a module of its own that is imported only when it is asked for:
what takes time to import must not slow down the others.
"""

from __future__ import annotations

from importlib import import_module

import click

# Command: (module of this package, one line of help).
COMMANDS = {
    "check": ("check", "Hold a recorded TAKE against its lick."),
    "compare": ("compare", "Two results of one lick: what got better, what worse."),
    "progress": ("progress", "What changes over days and weeks, and what does not."),
    "practice": ("practice", "Plan the next practice, and log what was done."),
    "care": ("care", "Sound level, practice time and breaks: cautions."),
    "history": ("history", "Kept takes: list, export, import, renew, forget."),
}


class Commands(click.Group):
    """A group that knows its commands by name and imports them on demand."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names, in the order of a player's day."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import one command."""
        if cmd_name not in COMMANDS:
            return None
        module = import_module(f"assessor.cli.{COMMANDS[cmd_name][0]}")
        command: click.Command = getattr(module, cmd_name.replace("-", "_"))
        return command

    def format_commands(
        self, ctx: click.Context, formatter: click.HelpFormatter
    ) -> None:
        """List the commands without importing them."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, text) for name, (_, text) in COMMANDS.items()])


def _say_version(context: click.Context, _: click.Parameter, asked: bool) -> None:
    if asked:
        from assessor.report import tool_version

        click.echo(f"assessor {tool_version()}")
        context.exit()


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.option(
    "--version",
    is_flag=True,
    expose_value=False,
    is_eager=True,
    callback=_say_version,
    help="Show the version and exit.",
)
def main() -> None:
    """An honest ear for single-note guitar practice."""
