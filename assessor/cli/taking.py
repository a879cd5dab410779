"""Taking takes of a lick at the terminal, and what is to say about each at once."""

from __future__ import annotations

import re
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from assessor.cli import keeping
from assessor.cli.check import show_assessment
from assessor.cli.keys import Keys, keys
from assessor.cli.sound_card import (
    LOOK_S,
    Chosen,
    Wanted,
    choose,
    config_folder,
    level_bar,
    show_line,
    watch_level,
)
from assessor.cli.taken import Asked, Taken, assess_take, wish_with
from assessor.cli.terminal import BAD_FILE, patience, printable, show

if TYPE_CHECKING:
    from assessor.assessment import Settings
    from assessor.capture.slate import ClickKind, Slate
    from assessor.capture.taker import State, Taker
    from assessor.latency import Latency
    from assessor.lick.notation import Lick

FALSE_STARTS = 2  # tries in which sound may be lost before the count-in
HEADPHONES = "Use headphones: a click that the microphone hears gets into the take."


@dataclass(frozen=True)
class Task:
    """What is to be played, and how it is taken.

    Attributes
    ----------
    written : Lick
    lick_path : str
    tempo_bpm : float
        Asked for.
    kind : ClickKind
    parts, count_in_bars, passes : int
        As `Clicks` and `Ending` take them.
    settings : Settings
    out : Path or None
        None = by title and time, among the user's data.
    """

    written: Lick
    lick_path: str
    tempo_bpm: float
    kind: ClickKind
    parts: int
    count_in_bars: int
    passes: int
    settings: Settings
    out: Path | None

    @property
    def lick(self) -> Lick:
        """At the tempo asked for."""
        return self.written.at_tempo(self.tempo_bpm)

    @property
    def folder(self) -> Path:
        """Where takes go."""
        return _usual_folder() if self.out is None else self.out.parent


def record_takes(task: Task, wanted: Wanted, wish: keeping.Wish, *, now: bool) -> None:
    """Record takes until the player has enough."""
    from assessor.capture import devices, known

    _recover(task)
    folder = config_folder()
    remembered = known.load(folder)
    plays = task.kind.goes_on or task.count_in_bars > 0
    chosen = choose(devices.devices(), remembered, wanted, plays=plays)
    if plays:  # an input alone would forget the output used with it
        known.save(remembered.with_last(chosen.pair), folder)
    latency = remembered.latencies.get((chosen.pair, chosen.rate_hz))
    _introduce(task, chosen, latency)
    with keys() as pad:
        channel = chosen.channel
        if pad.there and not now:
            click.echo("Play your loudest. Enter starts, q leaves.", err=True)
            channel = watch_level(chosen, pad)
            if channel is None:
                return
        again, code = True, 0
        while again:
            taker = _take(task, replace(chosen, channel=channel or 0), latency, pad)
            again, code = _assess(task, taker, wish, pad)
    sys.exit(code)


def _recover(task: Task) -> None:
    """Put together what a killed program has left, and say so."""
    from assessor.capture.journal import recover

    folders = {task.folder, _usual_folder()}
    for take in [take for folder in sorted(folders) for take in recover(folder)]:
        show(
            "Notice  a take that was cut off is saved and can be checked: "
            f"assessor check {take}\n"
        )


def _usual_folder() -> Path:
    from assessor.history.place import data_folder

    return data_folder() / "recorded"


def _introduce(task: Task, chosen: Chosen, latency: Latency | None) -> None:
    """Say what will be recorded, and what is not known."""
    from assessor.capture.slate import MOST_SPREAD_S

    times = f"{task.passes} times" if task.passes else "until you press a key"
    times = "once" if task.passes == 1 else times
    lines = [
        f"Lick    {task.written.title}, {task.tempo_bpm:g} bpm, {times}",
        f"Input   {chosen.pair.input}, {chosen.rate_hz} Hz",
    ]
    if chosen.target is not None:
        lines += [f"Click   {chosen.pair.output}", f"        {HEADPHONES}"]
    unknown = latency is None or latency.spread_s > MOST_SPREAD_S
    if task.kind.goes_on and unknown:
        lines += keeping.paragraphs(
            "Notice",
            [
                "The latency of these devices is not known well enough: time will be "
                "judged by your own tempo. Measure it once with assessor record "
                "--measure-latency."
            ],
        )
    show("\n".join(lines) + "\n")


def _take(task: Task, chosen: Chosen, latency: Latency | None, pad: Keys) -> Taker:
    """Record one take; what came is on the disk when this returns."""
    from assessor.capture.devices import open_stream
    from assessor.capture.slate import Ended

    for starts_left in range(FALSE_STARTS, -1, -1):
        taker = _taker(task, chosen, latency, again=starts_left > 0)
        try:
            with open_stream(
                chosen.source,
                chosen.target,
                taker.callback,
                sample_rate_hz=chosen.rate_hz,
                channels=chosen.channels,
            ) as stream:
                taker.work(stream.alive, lambda: bool(pad.pressed()), _show_state)
        except KeyboardInterrupt:  # what was played until then is a take, too
            taker.ended = Ended.KEY
        finally:
            show_line("")
            if taker.false_start or not taker.journal.frames:
                taker.journal.discard()
        if not taker.false_start:
            break
    return taker


def _taker(
    task: Task, chosen: Chosen, latency: Latency | None, *, again: bool
) -> Taker:
    """Everything that is needed for one take, but the device."""
    from assessor.capture.clicks import Clicks
    from assessor.capture.ending import Ending
    from assessor.capture.journal import Journal
    from assessor.capture.taker import Taker

    clicks = Clicks(
        task.lick,
        task.kind,
        count_in_bars=task.count_in_bars,
        parts=task.parts,
        sample_rate_hz=chosen.rate_hz,
    )
    ending = Ending(
        task.lick,
        task.passes,
        start_s=clicks.start_s,
        pass_s=clicks.pass_s,
        sample_rate_hz=chosen.rate_hz,
    )
    slate = _slate(task, chosen, latency, clicks.sent_s)
    try:
        journal = Journal(_take_file(task), chosen.rate_hz, slate)
    except OSError as problem:
        message = f"{task.folder}: cannot be written: {problem.strerror}"
        raise click.BadParameter(message, param_hint="--out") from problem
    channel = chosen.channel or 0
    return Taker(journal, clicks, ending, channel=channel, again=again)


def _slate(task: Task, chosen: Chosen, latency: Latency | None, sent_s: float) -> Slate:
    from assessor.capture.slate import Slate
    from assessor.history.licks import sheet_of

    slate = Slate(
        title=task.written.title,
        tempo_bpm=task.tempo_bpm,
        lick_file=Path(task.lick_path).name,
        lick_sheet=sheet_of(task.written) or "",
        click=task.kind,
        click_sent_s=sent_s if chosen.target is not None else None,
        input=chosen.pair.input,
        output=chosen.pair.output,
        started_at=datetime.now(UTC).astimezone(),
    )
    if latency is None:
        return slate
    return replace(
        slate,
        latency_s=latency.offset_s,
        latency_spread_s=latency.spread_s,
        drift_ppm=latency.drift_ppm,
    )


def _take_file(task: Task) -> Path:
    from assessor.capture.journal import free_name

    folder = task.folder
    folder.mkdir(parents=True, exist_ok=True)
    if task.out is not None:
        return free_name(task.out)
    words = re.sub(r"\W+", "-", task.written.title.lower()).strip("-")[:40]
    return free_name(
        folder / f"{words or 'take'}-{datetime.now():%Y-%m-%d-%H%M%S}.flac"
    )


def _show_state(state: State) -> None:
    """One line while recording."""
    lost = f"  sound lost: {state.dropouts}" * (state.dropouts > 0)
    what = "playing" if state.started_s is not None else "waiting"
    minutes, seconds = divmod(int(state.now_s), 60)
    show_line(
        f"{what} {minutes}:{seconds:02} [{level_bar(state.level_dbfs)}]{lost}  any key "
        "stops"
    )


# ------------------------------------------------------------------ afterwards


def _assess(
    task: Task, taker: Taker, wish: keeping.Wish, pad: Keys
) -> tuple[bool, int]:
    """Report on a take; whether to record another one, and the exit code."""
    from assessor.errors import AssessorError

    if _finished(taker) is None:
        message = "nothing came from the device, so there is no take"
        click.echo(f"assessor: {message}", err=True)
        return _asked(pad, None), BAD_FILE
    try:
        with patience(f"listening to {taker.take.name}"):
            taken = assess_take(Asked(str(taker.take), task.lick_path, task.settings))
        show_assessment(taken.assessment, None, "auto")
    except AssessorError as problem:
        click.echo(printable(f"assessor: {problem}"), err=True)
        return _asked(pad, None), BAD_FILE
    if wish.keep:
        _keep(task, taker, wish, taken)
        return _asked(pad, None), 0
    return _asked(pad, lambda: _keep(task, taker, wish, taken)), 0


def _keep(task: Task, taker: Taker, wish: keeping.Wish, taken: Taken) -> None:
    """Keep a take in the history, and say so."""
    kept = wish_with(replace(wish, keep=True), taken.slate)
    files = (str(taker.take), task.lick_path)
    show(keeping.keep(kept, taken.assessment, taken.heard, files))


def _asked(pad: Keys, keep: Callable[[], None] | None) -> bool:
    """Whether to record again; keeps first where that is asked for."""
    if not pad.there:
        return False
    while True:
        choices = "a again, q leave" if keep is None else "a again, k keep, q leave"
        click.echo(f"\n{choices}: ", nl=False, err=True)
        pressed = ""
        while not pressed or pressed not in "akq":
            time.sleep(LOOK_S)
            pressed = pad.pressed()
        click.echo(pressed, err=True)
        if pressed == "k" and keep is not None:
            keep()
            keep = None
        elif pressed in "aq":
            return pressed == "a"


def _finished(taker: Taker) -> Slate | None:
    """Make the FLAC file, and say where it is."""
    from assessor.capture.slate import REASONS

    if not taker.journal.frames:
        return None
    try:
        slate = taker.finish()
    except OSError as problem:
        message = (
            f"the take cannot be written ({problem.strerror}); what was recorded is in "
            f"{taker.journal.path}, and becomes a take when assessor record is started "
            "again with room on the disk"
        )
        raise click.ClickException(message) from problem
    if slate is None or slate.ended is None:
        return slate
    length_s = taker.journal.frames / taker.journal.sample_rate_hz
    show(
        f"Take    {taker.take}\n        {length_s:.1f} s, peak "
        f"{slate.peak_dbfs:.0f} dB, {REASONS[slate.ended]}\n\n"
    )
    return slate
