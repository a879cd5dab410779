"""``assessor check``: a recorded take held against its lick.

Exit code 1: assessed and outside tolerance, only with ``--enforce``.
"""

from __future__ import annotations

import io
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from assessor.cli import keeping
from assessor.cli.options import tempo_option
from assessor.cli.outputs import refuse_wrong_place, write_pictures
from assessor.cli.taken import Asked, assess_take, wish_with
from assessor.cli.terminal import (
    Number,
    bad_files,
    can_hold,
    patience,
    printable,
    show,
    wants_colour,
    width_of_terminal,
    write,
    wrong_value,
)

if TYPE_CHECKING:
    from assessor.assessment import Assessment, Settings

OUTSIDE = 1


@click.command()
@click.argument("take", metavar="TAKE")
@click.option(
    "--lick",
    "lick_path",
    metavar="LICK",
    help=(
        "What should be played: a lick sheet (.lick), MusicXML or MIDI file; a take "
        "recorded with assessor record knows it."
    ),
)
@click.option(
    "--json",
    "json_path",
    metavar="OUT",
    help=("Write everything measured as JSON; - prints it instead of the report."),
)
@click.option(
    "--html",
    "html_path",
    metavar="OUT",
    help="Write the report as one page with pictures and the take's sound.",
)
@click.option(
    "--without-sound",
    is_flag=True,
    help="Leave the sound out of the page: smaller, and nobody hears the take.",
)
@click.option(
    "--figure",
    "figure_path",
    metavar="OUT",
    help="Write the picture of the best pass, tab and all, as .svg or .png.",
)
@click.option(
    "--csv",
    "csv_path",
    metavar="OUT",
    help="Write every note of every pass as comma-separated values.",
)
@tempo_option(
    "Quarter notes a minute that were meant, where it is not the written tempo."
)
@click.option(
    "--click",
    "click_s",
    metavar="[SECONDS]",
    type=Number(-3600, 3600),
    is_flag=False,
    flag_value=0.0,
    help=(
        "The take was recorded to a click at that tempo, one click of it falling at "
        "this time of the take (0 when left out)."
    ),
)
@click.option(
    "--own-tempo",
    is_flag=True,
    help="Judge by your own tempo, also where the take says it was played to a click.",
)
@click.option(
    "--tolerance",
    "tolerance_text",
    metavar="NAME[,NUMBERS]",
    default="usual",
    show_default=True,
    help=(
        "wide, usual or tight, and own numbers: usual,timing=20ms,bend=15c (also slur, "
        "tempo, pitch, level, notes)."
    ),
)
@click.option(
    "--tracker",
    type=click.Choice(["own", "pyin"]),
    default="own",
    show_default=True,
    help=(
        "pyin: check each note's pitch with librosa's pYIN, and say where they differ."
    ),
)
@click.option(
    "--enforce",
    is_flag=True,
    help=("Exit with 1 when the best pass lies outside the tolerance."),
)
@click.option(
    "--colour",
    type=click.Choice(["auto", "always", "never"]),
    default="auto",
    show_default=True,
    help="Paint the report; auto: on a terminal, unless NO_COLOR is set.",
)
@keeping.keep_options
def check(
    take: str,
    lick_path: str | None,
    json_path: str | None,
    html_path: str | None,
    without_sound: bool,
    figure_path: str | None,
    csv_path: str | None,
    tempo_bpm: float | None,
    click_s: float | None,
    own_tempo: bool,
    tolerance_text: str,
    tracker: str,
    enforce: bool,
    colour: str,
    **kept: Any,
) -> None:
    """Hold a recorded TAKE against its lick.

    Prints the tab with what happened under each note, readings with their tolerance,
    and the one thing to work on first.  TAKE is any sound file, or a video with sound.
    """
    outputs = {
        "--json": json_path,
        "--html": html_path,
        "--figure": figure_path,
        "--csv": csv_path,
    }
    for option, file in outputs.items():
        refuse_wrong_place(option, file)
    wish = keeping.Wish(**kept)
    wish.check()
    if own_tempo and click_s is not None:
        message = "--own-tempo and --click exclude each other"
        raise click.UsageError(message)
    settings = parse_settings(tempo_bpm, click_s, tolerance_text, tracker)
    with bad_files(), patience(f"listening to {Path(take).name}"):
        taken = assess_take(Asked(take, lick_path, settings, own_tempo))
    assessment, heard = taken.assessment, taken.heard
    sound = None if without_sound else heard
    write_pictures(
        assessment, sound, html=html_path, figure=figure_path, table=csv_path
    )
    show_assessment(assessment, json_path, colour)
    if wish.keep:
        with bad_files():
            kept_as = wish_with(wish, taken.slate)
            said = keeping.keep(kept_as, assessment, heard, (take, lick_path or take))
        click.echo(printable(said), nl=False, err=json_path == "-")
    if enforce and not assessment.best_pass.inside:
        sys.exit(OUTSIDE)


def parse_settings(
    tempo_bpm: float | None, click_s: float | None, tolerance_text: str, tracker: str
) -> Settings:
    """Settings of an assessment; wrong words end the program."""
    from assessor.assessment import Settings, Tracker
    from assessor.measures.clock import Click
    from assessor.measures.tolerance import parse_tolerance

    with wrong_value("--tolerance"):
        tolerance = parse_tolerance(tolerance_text)
    beat = None if click_s is None else Click(click_s)
    return Settings(tempo_bpm, beat, tolerance, Tracker(tracker))


def _json(result: dict[str, object]) -> str:
    """Indented lines; an hour's are not held word by word, as by json.dumps."""
    text = io.StringIO()
    json.dump(result, text, ensure_ascii=False, indent=1)
    return text.getvalue() + "\n"


def show_assessment(assessment: Assessment, json_path: str | None, colour: str) -> None:
    """Print the report, and write the result where it is asked for."""
    from assessor import report

    if json_path is not None:
        text = _json(report.result(assessment))
        if json_path == "-":
            show(text, as_is=True)
            return
        write(Path(json_path), text)
    painted = colour == "always" or (colour == "auto" and wants_colour(sys.stdout))
    width = width_of_terminal()
    text = report.terminal(assessment, width, colour=painted)
    if not can_hold(sys.stdout, text):
        text = report.terminal(assessment, width, colour=painted, ascii_only=True)
    show(text)
