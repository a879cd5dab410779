"""``assessor lick show``: clean tab of a lick, and what it is made of."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import click

from assessor.cli.options import tempo_option
from assessor.cli.terminal import (
    bad_files,
    say_words,
    width_of_terminal,
    wrong_value,
)
from assessor.cli.terminal import show as say
from assessor.lick.hands import SPAN_FRETS

if TYPE_CHECKING:
    from assessor.lick.scales import Chord, Scale


@click.command()
@click.argument("lick_path", metavar="FILE")
@click.option(
    "--key",
    "key_text",
    metavar="KEY",
    help="Key or scale it is meant in: Am, 'F# dorian'; by its notes when left out.",
)
@click.option(
    "--chord",
    "chord_text",
    metavar="CHORD",
    help="Chord it is played over, such as Am7: names the notes outside it.",
)
@tempo_option("Quarter notes a minute to reckon with; as written when left out.")
@click.option(
    "--span",
    "span_frets",
    metavar="FRETS",
    type=click.IntRange(2, 12),
    default=SPAN_FRETS,
    show_default=True,
    help="Frets a hand may cover before it is cautioned, both ends counted.",
)
@click.option("--json", "as_json", is_flag=True, help="Print it for programs to read.")
def show(
    lick_path: str,
    key_text: str | None,
    chord_text: str | None,
    tempo_bpm: float | None,
    span_frets: int,
    as_json: bool,
) -> None:
    """Show the lick in FILE as clean tab, and what it is made of.

    Range, intervals, cells and how they move, shifts, string skips, slurs, key and
    scales, what it asks of the hands, and what they should be careful with.
    """
    from assessor import lick
    from assessor.lick.content import content_of

    scale, chord = _scale(key_text), _chord(chord_text)
    with bad_files():
        asked = lick.read(lick_path)
    if tempo_bpm is not None:
        asked = asked.at_tempo(tempo_bpm)
    content = content_of(asked, scale=scale, chord=chord, span_frets=span_frets)
    if as_json:
        from assessor.lick.content_json import record_of

        record = record_of(asked, content)
        say(json.dumps(record, indent=1, allow_nan=False) + "\n", as_is=True)
        return
    from assessor.lick.content_text import text_of

    say_words(text_of(asked, content, width_of_terminal()))


def _scale(text: str | None) -> Scale | None:
    """Scale by its name."""
    from assessor.lick.scales import parse_scale

    if text is None:
        return None
    with wrong_value("--key"):
        return parse_scale(text)


def _chord(text: str | None) -> Chord | None:
    """Chord by its symbol."""
    from assessor.lick.scales import parse_chord

    if text is None:
        return None
    with wrong_value("--chord"):
        return parse_chord(text)
