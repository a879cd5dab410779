"""``assessor record``: a take against a click, and at once what is to say about it."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from assessor.cli import keeping
from assessor.cli.check import parse_settings
from assessor.cli.keys import keys
from assessor.cli.sound_card import (
    Wanted,
    choose,
    config_folder,
    list_devices,
    measure,
    watch_level,
)
from assessor.cli.taking import Task, record_takes
from assessor.cli.terminal import Number, bad_files, show, wrong_place

if TYPE_CHECKING:
    from assessor.lick.notation import Lick


class Tempo(Number):
    """A tempo, or ``next`` for the next on the ladder (NaN inside)."""

    name = "tempo"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Convert."""
        if value == "next":
            return float("nan")
        return super().convert(value, param, ctx)


@click.command()
@click.option("--lick", "lick_path", metavar="LICK", help="What will be played.")
@click.option(
    "--measure-latency",
    "measures",
    is_flag=True,
    help=(
        "Measure, once for each pair of devices, how late a click comes back: by a "
        "cable from output to input, or a loudspeaker before the microphone."
    ),
)
@click.option("--devices", "lists", is_flag=True, help="List the sound devices.")
@click.option(
    "--input",
    "input_text",
    metavar="NAME",
    default="",
    help="Input device, by number or part of its name; else the last one used.",
)
@click.option(
    "--output",
    "output_text",
    metavar="NAME",
    default="",
    help="Output device for the click, likewise.",
)
@click.option(
    "--channel",
    metavar="N",
    type=click.IntRange(1, 64),
    help="Channel of the input; left out: the louder of the first two.",
)
@click.option(
    "--rate",
    "rate_hz",
    metavar="HZ",
    type=click.IntRange(8000, 96000),
    help="Sampling rate; left out: what the input works at.",
)
@click.option(
    "--tempo",
    "tempo_bpm",
    metavar="BPM",
    type=Tempo(20, 400),
    help=(
        "Quarter notes a minute; next: by the rule of assessor practice plan, from "
        "your kept takes; left out: as written."
    ),
)
@click.option(
    "--click",
    "click_name",
    type=click.Choice(["accent", "count-in", "none"]),
    default="accent",
    show_default=True,
    help="A click on every count, the one louder; only the count-in; or none at all.",
)
@click.option(
    "--subdivide",
    "parts",
    metavar="N",
    type=click.IntRange(1, 6),
    default=1,
    help="Softer clicks between: so many to a count.",
)
@click.option(
    "--count-in",
    "count_in_bars",
    metavar="BARS",
    type=click.IntRange(0, 8),
    help="Bars of clicks before; left out: one, or none with --click none.",
)
@click.option(
    "--passes",
    metavar="N",
    type=click.IntRange(0, 200),
    default=3,
    show_default=True,
    help="Stops when the lick was played so many times; 0: only by key.",
)
@click.option(
    "--out",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="FLAC file to write; left out: by title and time, among your data.",
)
@click.option("--now", is_flag=True, help="Start at once, without showing the level.")
@click.option(
    "--tolerance",
    "tolerance_text",
    metavar="NAME[,NUMBERS]",
    default="usual",
    show_default=True,
    help="As for assessor check.",
)
@click.option("--keep", is_flag=True, help="Keep the take in your history, unasked.")
@keeping.player_option
@keeping.store_option
def record(
    lick_path: str | None,
    measures: bool,
    lists: bool,
    input_text: str,
    output_text: str,
    channel: int | None,
    rate_hz: int | None,
    now: bool,
    **others: Any,
) -> None:
    """Record a take of a lick against a click, and check it at once.

    Shows the level until Enter is pressed, counts in, stops by itself, and prints the
    report; then a key records it again.  The take is a FLAC file that knows its lick,
    tempo and click: assessor check needs nothing else.
    """
    if sum([lick_path is not None, measures, lists]) != 1:
        message = "give one of --lick LICK, --measure-latency and --devices"
        raise click.UsageError(message)
    wanted = Wanted(input_text, output_text, channel, rate_hz)
    if lists:
        with bad_files():
            from assessor.capture import devices

            show(list_devices(devices.devices()))
    elif measures:
        with bad_files():
            _measure_latency(wanted)
    elif lick_path is not None:
        wish = keeping.Wish(
            keep=others.pop("keep"),
            player=others.pop("player"),
            device="",
            at=None,
            copy=False,
            store_text=others.pop("store_text"),
        )
        with bad_files():
            task = _task(lick_path, wish, **others)
            record_takes(task, wanted, wish, now=now)


# ----------------------------------------------------------------- the latency


def _measure_latency(wanted: Wanted) -> None:
    from assessor.capture import devices, known
    from assessor.capture.slate import MOST_SPREAD_S

    folder = config_folder()
    remembered = known.load(folder)
    chosen = choose(devices.devices(), remembered, wanted, plays=True)
    show(f"Output  {chosen.pair.output}\nInput   {chosen.pair.input}\n")
    with keys() as pad:
        if pad.there:
            click.echo(CONNECT, err=True)
            if watch_level(chosen, pad) is None:
                return
    found = measure(chosen)
    remembered = remembered.with_latency(chosen.pair, chosen.rate_hz, found)
    known.save(remembered.with_last(chosen.pair), folder)
    drift = f", clocks {found.drift_ppm:+.0f} ppm apart" if found.drift_ppm else ""
    show(
        f"Latency {1000 * found.offset_s:.2f} ms at {chosen.rate_hz} Hz, within "
        f"{1000 * found.spread_s:.2f} ms over {found.rounds} starts{drift}\n"
    )
    if found.spread_s > MOST_SPREAD_S:
        show(
            f"Notice  That is more than {1000 * MOST_SPREAD_S:.0f} ms from start to "
            "start: takes will be judged by your own tempo.\n"
            "        An interface with input and output in one does better.\n"
        )


CONNECT = (
    "Connect the output to the input by a cable, or hold the headphone or loudspeaker\n"
    "to the microphone; some loud sweeps are played. Headphones off your ears.\n"
    "Enter starts, q leaves."
)


# -------------------------------------------------------------------- the task


def _task(
    lick_path: str,
    wish: keeping.Wish,
    *,
    tempo_bpm: float | None,
    click_name: str,
    parts: int,
    count_in_bars: int | None,
    passes: int,
    out: Path | None,
    tolerance_text: str,
) -> Task:
    """What is to be done; wrong words end the program before anything is opened."""
    from assessor import lick
    from assessor.capture.slate import ClickKind

    if out is not None:
        _refuse_wrong_out(out)
    kind = ClickKind(click_name)
    if parts > 1:
        if kind is not ClickKind.ACCENT:
            message = "--subdivide needs a click: --click accent"
            raise click.UsageError(message)
        kind = ClickKind.SUBDIVIDED
    if count_in_bars is None:
        count_in_bars = 0 if kind is ClickKind.NONE else 1
    settings = parse_settings(None, None, tolerance_text, "own")
    asked = lick.read(lick_path)
    tempo_bpm = tempo_bpm or asked.tempo_bpm
    if math.isnan(tempo_bpm):
        tempo_bpm, why = _next_tempo(asked, wish)
        show(f"Tempo   {tempo_bpm:g} bpm: {why}\n")
    return Task(
        written=asked,
        lick_path=lick_path,
        tempo_bpm=tempo_bpm,
        kind=kind,
        parts=parts,
        count_in_bars=count_in_bars,
        passes=passes,
        settings=settings,
        out=out,
    )


def _refuse_wrong_out(out: Path) -> None:
    problem = wrong_place(out)
    if not problem and out.suffix.lower() != ".flac":
        problem = "a take is written as .flac"
    elif not problem and out.exists():
        problem = "that file is already there, and is not written over"
    if problem:
        message = f"{out}: {problem}"
        raise click.BadParameter(message, param_hint="--out")


def _next_tempo(lick: Lick, wish: keeping.Wish) -> tuple[float, str]:
    """Tempo that the rule of the practice plan has for a lick, and why."""
    from assessor.history.licks import digest_of
    from assessor.history.place import place_of
    from assessor.history.plan import plan_of
    from assessor.history.progress import progress_of
    from assessor.history.store import open_store
    from assessor.history.takes import Selection, takes_of

    digest = digest_of(lick)
    place = place_of(wish.store_text)
    nothing = lick.tempo_bpm, "as written; no take of it is kept yet"
    if place.file is not None and not place.file.exists():
        return nothing
    with open_store(wish.store_text, create=False) as store:
        chosen = Selection(player=wish.player, lick=digest)
        found = progress_of(takes_of(store, chosen))
    if not found:
        return nothing
    step = plan_of(found, {digest: lick}, 60, datetime.now(UTC)).steps[0]
    return step.tempo_bpm, step.why
