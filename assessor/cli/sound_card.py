"""Choosing devices, seeing the level, measuring the latency: at the terminal."""

from __future__ import annotations

import shutil
import sys
import time
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from assessor.cli.keys import ENTER, Keys

if TYPE_CHECKING:
    from assessor.capture.devices import Device
    from assessor.capture.known import Known, Pair
    from assessor.capture.level import Meter
    from assessor.latency import Latency, Round

BAR = 24
BAR_FLOOR_DBFS = -60.0
LOOK_S = 0.08
CLEAR_LINE = "\r\x1b[K"
LOST_S = 2.0


@dataclass(frozen=True)
class Wanted:
    """Devices as the user names them; empty or None = choose."""

    input: str = ""
    output: str = ""
    channel: int | None = None
    rate_hz: int | None = None


@dataclass(frozen=True)
class Chosen:
    """Devices that are used.

    `channel` counts from 0; None = whichever is loudest.
    """

    source: Device
    target: Device | None
    channel: int | None
    rate_hz: int

    @property
    def pair(self) -> Pair:
        """Names under which their latency is known."""
        from assessor.capture.known import Pair

        return Pair(self.source.name, self.target.name if self.target else "")

    @property
    def channels(self) -> int:
        """How many channels of the input are opened."""
        from assessor.capture.devices import USUAL_CHANNELS

        return USUAL_CHANNELS if self.channel is None else self.channel + 1


def config_folder() -> Path:
    """Where measured latencies are kept."""
    from platformdirs import user_config_dir

    return Path(user_config_dir("assessor", appauthor=False))


def list_devices(found: list[Device]) -> str:
    """Table of devices."""
    lines = []
    for one in found:
        roles = []
        if one.inputs:
            roles.append(f"{one.inputs} in{' (usual)' * one.usual_input}")
        if one.outputs:
            roles.append(f"{one.outputs} out{' (usual)' * one.usual_output}")
        what = ", ".join(roles)
        lines.append(f"{one.index:3}  {one.name}: {what}, {one.rate_hz} Hz")
    return "\n".join(lines or ["There is no sound device."]) + "\n"


def choose(found: list[Device], known: Known, wanted: Wanted, *, plays: bool) -> Chosen:
    """Choose an input, and an output where something is to be played.

    Raises
    ------
    CaptureError
        When there is none.
    click.BadParameter
        When what the user names is none.
    """
    from assessor.capture.devices import HIGHEST_RATE_HZ

    source = _choose_one(found, known, wanted.input, output=False)
    target = _choose_one(found, known, wanted.output, output=True) if plays else None
    if wanted.channel is not None and wanted.channel > source.inputs:
        message = f"{source.name} has {source.inputs} channels"
        raise click.BadParameter(message, param_hint="--channel")
    return Chosen(
        source,
        target,
        None if wanted.channel is None else wanted.channel - 1,
        wanted.rate_hz or min(source.rate_hz, HIGHEST_RATE_HZ),
    )


def _choose_one(
    found: list[Device], known: Known, text: str, *, output: bool
) -> Device:
    from assessor.capture import devices
    from assessor.errors import CaptureError

    if text:
        try:
            return devices.find(found, text, output=output)
        except LookupError as problem:
            hint = "--output" if output else "--input"
            raise click.BadParameter(str(problem), param_hint=hint) from problem
    able = [one for one in found if (one.outputs if output else one.inputs)]
    if not able:
        raise CaptureError(NO_OUTPUT if output else NO_INPUT)
    if known.last is not None:
        last = known.last.output if output else known.last.input
        again = [one for one in able if one.name == last]
        if again:
            return again[0]
    usual = devices.usual(able, output=output) or able[0]
    if len(able) == 1 or not sys.stdin.isatty():
        return usual
    click.echo(list_devices(able), nl=False, err=True)
    number = click.prompt(
        f"{'Output for the click' if output else 'Input'}, by number",
        type=click.Choice([str(one.index) for one in able]),
        default=str(usual.index),
        show_choices=False,
        err=True,
    )
    return devices.find(able, number, output=output)


NO_INPUT = (
    "there is no input device; plug in an interface or a microphone and allow this "
    "terminal to use it, or record with a phone and use assessor check"
)
NO_OUTPUT = (
    "there is no output device for the click; plug in headphones, or play without: "
    "--click none --count-in 0"
)


def watch_level(chosen: Chosen, keys: Keys) -> int | None:
    """Show the level until Enter is pressed; channel to record, None for leaving.

    Raises
    ------
    CaptureError
        When the device does not open, or goes away.
    """
    from assessor.capture.devices import open_stream
    from assessor.capture.level import Meter
    from assessor.errors import CaptureError

    meter = Meter(chosen.rate_hz, min(chosen.channels, chosen.source.inputs))
    last_s = time.monotonic()

    def take_in(sound: object, *_: object) -> None:
        nonlocal last_s
        meter.add(sound)  # type: ignore[arg-type]
        last_s = time.monotonic()

    with open_stream(
        chosen.source,
        None,
        take_in,
        sample_rate_hz=chosen.rate_hz,
        channels=chosen.channels,
    ) as stream:
        pressed = ""
        while pressed not in (*ENTER, "q"):
            show_line(_level_line(meter, _channel(chosen, meter)))
            time.sleep(LOOK_S)
            pressed = keys.pressed()
            if not stream.alive() or time.monotonic() - last_s > LOST_S:
                message = "the device went away; plug it in again"
                raise CaptureError(message, chosen.source.name)
    show_line("")
    return None if pressed == "q" else _channel(chosen, meter)


def _channel(chosen: Chosen, meter: Meter) -> int:
    return meter.loudest_channel if chosen.channel is None else chosen.channel


def _level_line(meter: Meter, channel: int) -> str:
    from assessor.capture.level import verdict

    held = meter.held_dbfs(channel)
    drawn = level_bar(meter.now_dbfs(channel))
    return f"Level   [{drawn}] {held:4.0f} dB  {verdict(held)}"


def level_bar(level_dbfs: float) -> str:
    """Draw a level.

    >>> level_bar(-30.0)
    '############............'
    """
    share = min(max(1 - level_dbfs / BAR_FLOOR_DBFS, 0.0), 1.0)
    return ("#" * round(BAR * share)).ljust(BAR, ".")


def show_line(text: str) -> None:
    """Write over the line at the terminal's bottom; nothing where nobody looks."""
    if sys.stderr.isatty():
        width = shutil.get_terminal_size().columns - 1  # a line that wraps stays
        click.echo(CLEAR_LINE + text[:width], nl=False, err=True)


def measure(chosen: Chosen) -> Latency:
    """Measure the latency of the chosen devices, with several starts of them.

    Raises
    ------
    CaptureError
        When the sequence does not come back.
    """
    from assessor import latency

    rounds: list[latency.Round] = []
    spare = 2 * latency.ROUNDS  # starts that may fail
    while len(rounds) < latency.ROUNDS:
        show_line(f"measuring, {len(rounds) + 1} of {latency.ROUNDS}")
        try:
            rounds.append(_round(chosen))
        except latency.SoundLost:
            if not spare:
                raise
            spare -= 1
    show_line("")
    return latency.combine(rounds)


def _round(chosen: Chosen) -> Round:
    """Start the devices once, and play the sequence."""
    from assessor.capture.devices import open_stream
    from assessor.capture.loopback import Loop

    loop = Loop(chosen.rate_hz)
    with open_stream(
        chosen.source,
        chosen.target,
        loop.callback,
        sample_rate_hz=chosen.rate_hz,
        channels=chosen.channels,
    ) as stream:
        loop.wait(stream.alive)
    return loop.found()
