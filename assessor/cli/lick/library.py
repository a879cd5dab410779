"""``assessor lick library``: licks to start with, found by what they are made of."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from assessor.cli.terminal import (
    bad_files,
    printable,
    say_words,
    show,
    width_of_terminal,
    wrong_value,
)
from assessor.words import plural

if TYPE_CHECKING:
    from assessor.lick.library import Entry, Library, Term

INDENT = 4
# Every lick has these; they are not worth a word in a list.
USUAL = {"tempo", "notes", "bars", "speed", "stretch", "eighths"}


@click.command()
@click.argument("query", metavar="[QUERY]...", nargs=-1)
@click.option(
    "--in",
    "folders",
    metavar="FOLDER",
    multiple=True,
    type=click.Path(path_type=Path),
    help="Licks of this folder, and those in it, in place of those that ship.",
)
@click.option("--json", "as_json", is_flag=True, help="Print it for programs to read.")
@click.option("--words", is_flag=True, help="List what can be searched for, and end.")
def library(
    query: tuple[str, ...], folders: tuple[Path, ...], as_json: bool, words: bool
) -> None:
    """List licks with what each trains; with a QUERY those that meet all of it.

    QUERY is what a lick has (skips, bends, slurs), a comparison in quotes ('tempo<100',
    'skips>=4'), a scale that holds every note (dorian, A minor pentatonic), or a word
    of its title, purpose or tuning.
    """
    from assessor.lick import library as shelf

    if words:
        say_words(_words())
        return
    with wrong_value("QUERY"):
        terms = shelf.parse_query(query)
    with bad_files():
        opened = [shelf.open_library(f) for f in folders or (shelf.shipped_folder(),)]
    found = [entry for each in opened for entry in shelf.search(each, terms)]
    if as_json:
        records = [_record(entry) for entry in found]
        show(json.dumps(records, indent=1, allow_nan=False) + "\n", as_is=True)
    else:
        _print(found, opened, terms)


def _words() -> str:
    """Everything that can be searched for, by name."""
    from assessor.lick.library import QUANTITIES
    from assessor.lick.scales import SCALES

    width = max(map(len, QUANTITIES)) + 2
    lines = [f"{name:{width}}{q.meaning}" for name, q in QUANTITIES.items()]
    lines += ["", "Scales, with a tonic before them or without:"]
    lines += textwrap.wrap(", ".join(SCALES), width_of_terminal())
    return "\n".join(lines) + "\n"


def _print(
    found: Sequence[Entry], opened: Sequence[Library], terms: Sequence[Term]
) -> None:
    """Each lick in a few lines, then how many; what cannot be read beside that."""
    lines = [line for entry in found for line in _lines(entry)]
    count = sum(len(each.entries) for each in opened)
    of = f"{len(found)} of " if terms else ""
    lines.append(of + plural(count, "lick"))
    if terms and not found:
        lines.append("Ask for less, or see with --words what can be asked for.")
    say_words("\n".join(lines) + "\n")
    for problem in (problem for each in opened for problem in each.unread):
        click.echo(printable(f"passed over: {problem}"), err=True)


def _lines(entry: Entry) -> list[str]:
    """Title, what it trains, what it has, and where it is."""
    lick, width = entry.lick, width_of_terminal()
    texts = [f"trains {lick.trains}"] if lick.trains else []
    texts.append(_facts(entry))
    indent = " " * INDENT
    lines = [lick.title]
    for text in texts:
        lines += textwrap.wrap(
            text,
            width,
            initial_indent=indent,
            subsequent_indent=indent,
            break_on_hyphens=False,
        )
    # on a line of its own, whole: to be copied
    return [*lines, indent + _shown(entry.path), ""]


def _facts(entry: Entry) -> str:
    """Notes, bars, tempo, and the quantities that not every lick has."""
    from assessor.lick.content_text import counted, short
    from assessor.lick.library import QUANTITIES

    values = {name: quantity.of(entry) for name, quantity in QUANTITIES.items()}
    special = {n: short(v) for n, v in values.items() if v and n not in USUAL}
    bars = f"{short(values['bars'])} bar{'' if values['bars'] == 1 else 's'}"
    text = f"{plural(len(entry.lick), 'note')}, {bars}, {short(values['tempo'])} bpm"
    return f"{text}; {counted(special)}" if special else text


def _shown(path: Path) -> str:
    """Path from here where it lies below, else as it is."""
    try:
        return str(path.resolve().relative_to(Path.cwd()))
    except (ValueError, OSError):
        return str(path)


def _record(entry: Entry) -> dict[str, object]:
    """One lick for programs."""
    from assessor.lick.library import QUANTITIES

    return {
        "path": str(entry.path),
        "title": entry.lick.title,
        "trains": entry.lick.trains,
        "scales": [str(scale) for scale, _ in entry.content.scales],
        "quantities": {name: each.of(entry) for name, each in QUANTITIES.items()},
    }
