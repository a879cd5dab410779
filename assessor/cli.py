"""The command line: the only place that prints.

Exit codes: 0 assessed; 1 assessed and outside tolerance, only with ``--enforce``;
2 wrong use; 3 a file that cannot be used.  What takes time to import is imported when a
command needs it.
"""

from __future__ import annotations

import contextlib
import json
import math
import os
import shutil
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any, TextIO

import click

from assessor.errors import AssessorError

if TYPE_CHECKING:
    from assessor.assessment import Assessment, Settings

OUTSIDE = 1
BAD_FILE = 3
INTERRUPTED = 130  # 128 + SIGINT, as shells have it

PIPE_WIDTH, WIDEST = 80, 120
PATIENCE_S = 1.0  # what takes longer is announced
RESULT_HEAD_BYTES = 200  # enough to know an earlier result by


class Number(click.FloatRange):
    """A number in a range; what is no number lies in none."""

    name = "number"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Convert as the parent does, and refuse NaN, which it lets pass."""
        number = float(super().convert(value, param, ctx))
        if math.isnan(number):
            self.fail(f"{value!r} is no number", param, ctx)
        return number


def _say_version(context: click.Context, _: click.Parameter, asked: bool) -> None:
    if asked:
        from assessor.report import tool_version

        click.echo(f"assessor {tool_version()}")
        context.exit()


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
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


@main.command()
@click.argument("take", metavar="TAKE")
@click.option(
    "--lick",
    "lick_path",
    metavar="LICK",
    required=True,
    help=("What should be played: a lick sheet (.lick), MusicXML or MIDI file."),
)
@click.option(
    "--json",
    "json_path",
    metavar="OUT",
    help=("Write everything measured as JSON; - prints it instead of the report."),
)
@click.option(
    "--tempo",
    "tempo_bpm",
    metavar="BPM",
    type=Number(20, 400),
    help=(
        "Tempo that was meant, quarter notes a minute, where it is not the written one."
    ),
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
def check(
    take: str,
    lick_path: str,
    json_path: str | None,
    tempo_bpm: float | None,
    click_s: float | None,
    tolerance_text: str,
    tracker: str,
    enforce: bool,
    colour: str,
) -> None:
    """Hold a recorded TAKE against its lick.

    Prints the tab with what happened under each note, readings with their tolerance,
    and the one thing to work on first.  TAKE is any sound file, or a video with sound.
    """
    _check_out(json_path, take, lick_path)
    settings = _settings(tempo_bpm, click_s, tolerance_text, tracker)
    try:
        with _patience(f"listening to {Path(take).name}"):
            assessment = _assess(take, lick_path, settings)
    except AssessorError as problem:
        click.echo(f"assessor: {problem}", err=True)
        sys.exit(BAD_FILE)
    except KeyboardInterrupt:
        sys.exit(INTERRUPTED)
    _show(assessment, json_path, colour)
    if enforce and not assessment.best_pass.inside:
        sys.exit(OUTSIDE)


def _settings(
    tempo_bpm: float | None, click_s: float | None, tolerance_text: str, tracker: str
) -> Settings:
    """Settings of an assessment; wrong words end the program."""
    from assessor.assessment import Settings, Tracker
    from assessor.measures.clock import Click
    from assessor.measures.tolerance import parse_tolerance

    try:
        tolerance = parse_tolerance(tolerance_text)
    except ValueError as problem:
        raise click.BadParameter(str(problem), param_hint="--tolerance") from problem
    beat = None if click_s is None else Click(click_s)
    return Settings(tempo_bpm, beat, tolerance, Tracker(tracker))


def _assess(take: str, lick_path: str, settings: Settings) -> Assessment:
    from assessor import lick, recording
    from assessor.assessment import assess
    from assessor.passes import TEMPO_RATIOS

    asked = lick.read(lick_path)
    # nothing shorter than its first note, played as fast as is looked for, can hold it
    shortest_s = float(asked.ends_s()[0]) / max(TEMPO_RATIOS)
    return assess(recording.read(take, shortest_s=shortest_s), asked, settings)


def _show(assessment: Assessment, json_path: str | None, colour: str) -> None:
    """Print the report, and write the result where it is asked for."""
    from assessor import report

    if json_path is not None:
        text = json.dumps(report.result(assessment), ensure_ascii=False, indent=1)
        if json_path == "-":
            _print(text + "\n")
            return
        _write(Path(json_path), text + "\n")
    painted = colour == "always" or (colour == "auto" and _wants_colour(sys.stdout))
    width = PIPE_WIDTH
    if sys.stdout.isatty():
        width = min(shutil.get_terminal_size().columns, WIDEST)
    text = report.terminal(assessment, width, colour=painted)
    if not _can_hold(sys.stdout, text):
        text = report.terminal(assessment, width, colour=painted, ascii_only=True)
    _print(text)


def _wants_colour(stream: TextIO) -> bool:
    """Colour for a terminal, unless the user's environment says no (NO_COLOR)."""
    plain = os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb"
    return stream.isatty() and not plain


def _can_hold(stream: TextIO, text: str) -> bool:
    """Say whether a stream's encoding has every character of a text."""
    try:
        text.encode(stream.encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return False
    return True


def _print(text: str) -> None:
    """Write to standard output; a reader that has gone away is no error."""
    try:
        sys.stdout.write(text)
        sys.stdout.flush()
    except BrokenPipeError:
        # the interpreter flushes once more at its end: give it somewhere to go
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _check_out(json_path: str | None, take: str, lick_path: str) -> None:
    """Refuse, before anything is heard, to write where no result should go."""
    if json_path is None or json_path == "-":
        return
    out = Path(json_path)
    problem = ""
    if out.is_dir() or not out.parent.is_dir():
        problem = "that is a folder, or its folder is not there; name a file"
    elif out.exists() and not _is_result(out):
        problem = "that file is no earlier result, and is not written over"
    if problem:
        message = f"{json_path}: {problem}"
        raise click.BadParameter(message, param_hint="--json")


def _is_result(file: Path) -> bool:
    """Say whether a file is an earlier result, or empty."""
    from assessor.report import FORMAT

    with file.open("rb") as stream:
        head = stream.read(RESULT_HEAD_BYTES)
    return not head or FORMAT.encode() in head


def _write(file: Path, text: str) -> None:
    """Write a whole file or none: beside it first, then in its place."""
    part = file.with_name(f"{file.name}.{os.getpid()}.part")
    try:
        part.write_text(text, encoding="utf-8")
        os.replace(part, file)
    except OSError as problem:
        part.unlink(missing_ok=True)
        message = f"{file}: cannot be written: {problem.strerror}"
        raise click.BadParameter(message, param_hint="--json") from problem


@contextlib.contextmanager
def _patience(what: str) -> Iterator[None]:
    """Tell a person at a terminal that it takes longer, and how long it has taken."""
    if not sys.stderr.isatty():
        yield
        return
    done, start_s = threading.Event(), time.monotonic()

    def tell() -> None:
        while not done.wait(PATIENCE_S):
            seconds = time.monotonic() - start_s
            print(f"\r{what} … {seconds:.0f} s", end="", file=sys.stderr, flush=True)

    teller = threading.Thread(target=tell, daemon=True)
    teller.start()
    try:
        yield
    finally:
        done.set()
        teller.join()
        print("\r\x1b[K", end="", file=sys.stderr, flush=True)
