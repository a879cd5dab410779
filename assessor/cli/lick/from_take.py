"""``assessor lick from-take``: what was played once, as a lick to be corrected."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from textwrap import wrap
from typing import TYPE_CHECKING, Any

import click

from assessor.cli.lick.files import force_option, refuse_wrong_out
from assessor.cli.lick.writing import LICK_SUFFIXES, listed, write_lick
from assessor.cli.options import tempo_option
from assessor.cli.terminal import Number, bad_files, patience, show, write, wrong_value
from assessor.words import plural

if TYPE_CHECKING:
    from assessor.lick.notation import Lick
    from assessor.transcription import Feel, Page, Transcription, Wishes

SHEET_SUFFIX = ".lick"
ALL_PASSES = "all"


@click.command(name="from-take")
@click.argument("take_path", metavar="TAKE")
@click.option(
    "-o",
    "--out",
    "out",
    metavar="OUT",
    type=click.Path(path_type=Path),
    help="File to write; its ending says which format. Left out: the sheet is shown.",
)
@tempo_option("Quarter notes a minute that were meant, roughly; found when left out.")
@click.option("--meter", metavar="METER", default="4/4", show_default=True)
@click.option(
    "--pickup",
    metavar="BEATS",
    help="Quarter notes from the first note to the first bar line: 1, 1/2, 1 1/2.",
)
@click.option(
    "--feel",
    metavar="FEEL",
    help='straight, or a swing such as "swing 2:1"; found when left out.',
)
@click.option(
    "--tuning",
    metavar="TUNING",
    default="standard",
    show_default=True,
    help='By name, or as notes from the lowest string up: "D2 A2 D3 G3 B3 E4".',
)
@click.option("--capo", metavar="FRET", default="0", show_default=True)
@click.option(
    "--near",
    "near_fret",
    metavar="FRET",
    type=click.IntRange(1, 24),
    help="Where the index finger was, as far as the notes let it be.",
)
@click.option("--title", metavar="TEXT", help="The name of TAKE when left out.")
@click.option(
    "--pass",
    "which",
    metavar="N",
    help="Which run through the phrase, counted from 1, or all; the one most like "
    "the others when left out.",
)
@click.option(
    "--from", "start_s", metavar="S", type=Number(0), default=0.0, help="From second S."
)
@click.option(
    "--to", "end_s", metavar="S", type=Number(0), help="To second S of the take."
)
@force_option
def from_take(
    take_path: str, out: Path | None, force: bool, which: str | None, **asked: Any
) -> None:
    """Write down what is played in TAKE, a recording of one guitar, note by note.

    Out comes a lick with rhythm, strings and frets, bends, slurs, slides and vibrato,
    and a list of what is not sure, to be corrected by hand.
    """
    if out is not None:
        refuse_wrong_out(out, LICK_SUFFIXES, force=force)
    number = _pass_number(which)
    from assessor import recording
    from assessor.errors import TranscriptionError
    from assessor.transcription import transcribe

    with bad_files():
        wishes = replace(_wishes(take_path, asked), which=number)
        with patience("listening"):
            take = recording.read(take_path)
            try:
                found = transcribe(take, wishes)
            except TranscriptionError as problem:
                problem.path = take_path
                raise
        if out is None:
            show(_sheet(found, wishes, take_path))
            return
        lost = _write(found, wishes, out, take_path)
    show(_summary(found, out, wishes) + listed(f"not in {out}, or not as it was", lost))


def _pass_number(which: str | None) -> int | None:
    """Number of the pass, 0 for all, None for the usual one."""
    if which is None:
        return None
    if which.lower() == ALL_PASSES:
        return 0
    if not re.fullmatch(r"[1-9]\d{0,3}", which):
        message = f"{which!r} is no pass; a number from 1 on, or all"
        raise click.BadParameter(message, param_hint="--pass")
    return int(which)


def _wishes(take_path: str, asked: dict[str, Any]) -> Wishes:
    """What was asked for, each word of it read as on a lick sheet."""
    from assessor.transcription import Wishes

    start_s, end_s = asked["start_s"], asked["end_s"]
    if end_s is not None and end_s <= start_s:
        message = f"{end_s:g} s is not after --from, {start_s:g} s"
        raise click.BadParameter(message, param_hint="--to")
    return Wishes(
        _page(take_path, asked),
        _feel(asked),
        start_s,
        float("inf") if end_s is None else end_s,
    )


def _page(take_path: str, asked: dict[str, Any]) -> Page:
    """Title, meter, tuning and the like."""
    from assessor.transcription import Page

    meter = _read("meter", asked["meter"])
    pickup = _read("pickup", asked["pickup"]) if asked["pickup"] else Fraction(0)
    if pickup >= meter.bar_beats:
        message = f"{asked['pickup']} fills a bar of {meter}; a pickup is shorter"
        raise click.BadParameter(message, param_hint="--pickup")
    return Page(
        asked["title"] or Path(take_path).stem,
        meter,
        _read("tuning", asked["tuning"]),
        _read("capo", asked["capo"]),
        pickup_beats=pickup,
        near_fret=asked["near_fret"],
    )


def _feel(asked: dict[str, Any]) -> Feel:
    """Tempo and swing, as far as they are given."""
    from assessor.transcription import Feel

    tempo_bpm = asked["tempo_bpm"]
    if asked["feel"] is None:
        return Feel(tempo_bpm)
    return Feel(tempo_bpm, (_read("feel", asked["feel"]),))


def _read(key: str, text: str) -> Any:
    """Read the value of a sheet's header line that was given as an option."""
    from assessor.lick.sheet_header import parse_value

    with wrong_value(f"--{key}"):
        return parse_value(key, text)[1]


def _write(
    found: Transcription, wishes: Wishes, out: Path, take_path: str
) -> tuple[str, ...]:
    """Write the lick; a sheet carries what is not sure as remarks."""
    if out.suffix.lower() != SHEET_SUFFIX:
        return write_lick(found.lick, out)
    write(out, _sheet(found, wishes, take_path))
    return ()


def _sheet(found: Transcription, wishes: Wishes, take_path: str) -> str:
    """Lick sheet with remarks between header and tab."""
    from assessor.lick.sheet_writing import SHEET_WIDTH_COLUMNS
    from assessor.lick.sheet_writing import write as sheet_of

    header, tab = sheet_of(found.lick).split("\n\n", 1)
    name = " ".join(Path(take_path).name.split())
    remarks = [f"# Written down from {name}, to be corrected by hand."]
    for line in _unsure(found, wishes):
        remarks += wrap(
            f"Not sure: {line}",
            SHEET_WIDTH_COLUMNS,
            initial_indent="# ",
            subsequent_indent="#   ",
        )
    return "\n".join([header, *remarks, "", tab])


def _summary(found: Transcription, out: Path, wishes: Wishes) -> str:
    """What was written, and what is not sure."""
    lick = found.lick
    text = (
        f"{out}: {lick.title}, {plural(len(lick), 'note')}, {_tempo(found, wishes)}\n"
    )
    if len(found.passes) > 1:
        spans = ", ".join(f"{a:.1f}-{b:.1f} s" for a, b in found.passes)
        written = "all of them are written"
        if found.written is not None:
            written = f"number {found.written + 1} is written"
        text += (
            f"The phrase is played {len(found.passes)} times ({spans}); {written}; "
            "--pass N takes another, --pass all everything.\n"
        )
    unsure = listed("not sure", _unsure(found, wishes))
    return text + (unsure or "Nothing in it is doubtful.\n")


def _tempo(found: Transcription, wishes: Wishes) -> str:
    """Tempo that is written and where it comes from."""
    bpm = found.lick.tempo_bpm
    feel = _feel_words(found.lick)
    if wishes.feel.tempo_bpm:
        return f"{bpm:g} bpm{feel} (played at {found.tempo_bpm:.1f})"
    return f"{bpm:g} bpm{feel} as found"


def _feel_words(lick: Lick) -> str:
    """Swing in words."""
    return "" if lick.swing is None else f", swing {lick.swing:.3g}:1"


def _unsure(found: Transcription, wishes: Wishes) -> Iterator[str]:
    """Doubts, a line each; those of one kind on one line."""
    from assessor.transcription import by_message

    if not wishes.feel.tempo_bpm:
        bpm = found.lick.tempo_bpm
        yield (
            f"the tempo, found to be {bpm:g} bpm: {bpm / 2:g} may be meant, with all "
            f"values half as long, or {2 * bpm:g}, with all twice as long; say so with "
            "--tempo"
        )
    yield from by_message(found)
