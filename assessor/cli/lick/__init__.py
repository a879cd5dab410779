"""``assessor lick``: everything a lick is good for before anyone plays it."""

from __future__ import annotations

import click

from assessor.cli.lazy import LazyGroup

# Command: (module of this package, one line of help).
LICK_COMMANDS = {
    "from-take": ("from_take", "Write down what was played once, to be corrected."),
    "show": ("show", "Clean tab of a lick, and what it is made of."),
    "library": ("library", "Licks to start with, searched by what they train."),
    "move": ("move", "Another key, octave, position or set of strings; a chain."),
    "convert": ("convert", "Write a lick as a sheet, MusicXML or MIDI."),
    "drill": ("drill", "Practice forms of a lick: cells, shifts, from the end, …"),
    "hear": ("hear", "Play a lick: a demo with a click, at any tempo."),
    "print": ("paper", "Tab to be handed out: SVG, PDF or PNG."),
    "handout": ("handout", "Your words and several licks: PDF, or HTML with sound."),
}


@click.group(cls=LazyGroup, package="assessor.cli.lick", table=LICK_COMMANDS)
def lick() -> None:
    """Licks: read, search, move, drill, hear and print them."""
