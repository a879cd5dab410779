"""The command line: the only place that prints.

Each command lives in a module of its own that is imported only when it is asked for:
what takes time to import must not slow down the others.
"""

from __future__ import annotations

import click

from assessor.cli.lazy import LazyGroup

# Command: (module of this package, one line of help).
COMMANDS = {
    "check": ("check", "Hold a recorded TAKE against its lick."),
    "record": ("record", "Record a take against a click, and check it at once."),
    "school": ("school", "A school's server: sign in, assignments, hand in."),
    "desk": ("desk", "A page to record and check takes in your browser."),
    "lick": ("lick", "Licks: read, search, move, drill, hear and print them."),
    "compare": ("compare", "Two results of one lick: what got better, what worse."),
    "progress": ("progress", "What changes over days and weeks, and what does not."),
    "practice": ("practice", "Plan the next practice, and log what was done."),
    "care": ("care", "Sound level, practice time and breaks: cautions."),
    "review": ("review", "A class of takes: assess, correct, answer."),
    "history": ("history", "Kept takes: list, export, import, renew, forget."),
}


def _say_version(context: click.Context, _: click.Parameter, asked: bool) -> None:
    if asked:
        from assessor.report import tool_version

        click.echo(f"assessor {tool_version()}")
        context.exit()


@click.group(
    cls=LazyGroup,
    package="assessor.cli",
    table=COMMANDS,
    context_settings={"help_option_names": ["-h", "--help"]},
)
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
