"""``assessor review``: a class of takes, assessed, corrected and answered."""

from __future__ import annotations

import click

from assessor.cli.lazy import LazyGroup

COMMANDS = {
    "run": ("run", "Assess every take in a folder; `run` may be left out."),
    "serve": ("serve", "Hear takes and overrule in your browser, one after another."),
    "list": ("takes", "List takes, with the names to correct them by."),
    "correct": ("correct", "Say what a take is instead of what was found."),
    "agree": ("agree", "How far tool and teacher agree on takes judged blind."),
    "answer": ("answer", "Write one file a player, to send back."),
    "forget": ("forget", "Really delete what is kept of a player."),
}


class WithDefault(LazyGroup):
    """A group whose first word may be left out: then it is ``run``."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Put ``run`` before what is no command of the group."""
        if args and args[0] not in self.table and args[0] not in ("-h", "--help"):
            args = ["run", *args]
        return super().parse_args(ctx, args)


@click.group(cls=WithDefault, package="assessor.cli.review", table=COMMANDS)
def review() -> None:
    """Assess a class of takes, correct what was found, and answer.

    assessor review FOLDER --lick LICK -o OUT assesses every take in FOLDER and writes
    OUT/class.html.  (A folder called like a command is given as ./correct.)
    """
