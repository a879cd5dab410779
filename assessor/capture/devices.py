"""The sound card: what there is, and streams of blocks in and out.

The only module that talks to a device.  It needs `sounddevice`, an extra, and the
PortAudio library; what is missing is said in words.
"""

from __future__ import annotations

import atexit
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from types import ModuleType
from typing import Any

from assessor.capture.taker import Floats, Trouble
from assessor.errors import CaptureError

HIGHEST_RATE_HZ = 96_000
USUAL_CHANNELS = 2
CLOSING_S = 2.0
# Steady rather than quick: how late the click comes is measured and taken out.
STEADY_S = 0.15

Callback = Callable[[Floats, Floats | None, int, Trouble], None]


@dataclass(frozen=True)
class Device:
    """A device as the system names it.

    Attributes
    ----------
    index : int
        Number by which PortAudio knows it now.
    name : str
        Its name, and that of the sound system it belongs to.
    inputs, outputs : int
        Channels.
    rate_hz : int
        Sampling rate it works at unless asked for another.
    usual_input, usual_output : bool
        True when the system would take it.
    """

    index: int
    name: str
    inputs: int
    outputs: int
    rate_hz: int
    usual_input: bool = False
    usual_output: bool = False


def devices() -> list[Device]:
    """All devices, in the system's order.

    Raises
    ------
    CaptureError
        When `sounddevice` or PortAudio is not installed.
    """
    sd = _sounddevice()
    usual_in, usual_out = sd.default.device
    systems = [system["name"] for system in sd.query_hostapis()]
    return [
        Device(
            index=index,
            name=f"{one['name']} ({systems[one['hostapi']]})",
            inputs=one["max_input_channels"],
            outputs=one["max_output_channels"],
            rate_hz=round(one["default_samplerate"]),
            usual_input=index == usual_in,
            usual_output=index == usual_out,
        )
        for index, one in enumerate(sd.query_devices())
    ]


def _sounddevice() -> ModuleType:
    try:
        import sounddevice
    except ImportError as problem:
        message = (
            "recording needs the Python package sounddevice; install it with: pip "
            "install 'assessor[record]' (or record with any program and use assessor "
            "check)"
        )
        raise CaptureError(message) from problem
    except OSError as problem:
        message = (
            "recording needs the PortAudio library; install it (Debian and Ubuntu: apt "
            "install libportaudio2; elsewhere reinstall the package sounddevice, which "
            "brings it), or record with any program and use assessor check"
        )
        raise CaptureError(message) from problem
    module: ModuleType = sounddevice
    return module


def find(all_devices: list[Device], text: str, *, output: bool = False) -> Device:
    """Device by its number or a part of its name.

    Raises
    ------
    LookupError
        When none fits, or several; the message lists them.
    """
    able = [d for d in all_devices if (d.outputs if output else d.inputs)]
    found = [d for d in able if text == str(d.index)]
    found = found or [d for d in able if text == d.name]
    found = found or [d for d in able if text.lower() in d.name.lower()]
    if len(found) != 1:
        names = ", ".join(f"{d.index} {d.name!r}" for d in found or able) or "none"
        which = "output" if output else "input"
        message = (
            f"{text!r} fits {len(found) or 'no'} {which} devices; there are {names}"
        )
        raise LookupError(message)
    return found[0]


def usual(all_devices: list[Device], *, output: bool = False) -> Device | None:
    """What the system would take; None when it has none."""
    found = [d for d in all_devices if (d.usual_output if output else d.usual_input)]
    return found[0] if found else None


class Stream:
    """A running device."""

    def __init__(self, stream: Any) -> None:
        self._stream = stream

    def alive(self) -> bool:
        """Say whether it still gives and takes."""
        return bool(self._stream.active)


@contextmanager
def open_stream(
    source: Device,
    target: Device | None,
    callback: Callback,
    *,
    sample_rate_hz: int,
    channels: int = USUAL_CHANNELS,
) -> Iterator[Stream]:
    """Run a callback on blocks in, and out where there is a target, until left.

    Parameters
    ----------
    source, target : Device
        A target of None: nothing is played.
    callback : callable
        As `Taker.callback`.
    sample_rate_hz : int
    channels : int
        Of the input, as far as it has them.

    Raises
    ------
    CaptureError
        When the devices do not open, or not at that rate.
    """
    sd = _sounddevice()
    wanted = min(source.inputs, channels)
    settings = {"samplerate": sample_rate_hz, "dtype": "float32", "latency": STEADY_S}
    stream: Any
    try:
        if target is None:
            stream = sd.InputStream(
                device=source.index,
                channels=wanted,
                callback=lambda sound, frames, _, status: callback(
                    sound, None, frames, status
                ),
                **settings,
            )
        else:
            stream = sd.Stream(
                device=(source.index, target.index),
                channels=(wanted, min(target.outputs, USUAL_CHANNELS)),
                callback=lambda sound, out, frames, _, status: callback(
                    sound, out, frames, status
                ),
                **settings,
            )
        stream.start()
    except (sd.PortAudioError, ValueError) as problem:
        names = source.name if target is None else f"{source.name} and {target.name}"
        message = (
            f"does not open at {sample_rate_hz} Hz ({problem}); is another program "
            "using it? Try another --rate, or choose with --input and --output"
        )
        raise CaptureError(message, names) from problem
    try:
        yield Stream(stream)
    finally:
        _leave(stream)


def _leave(stream: Any) -> None:
    """Close a stream, but do not wait for ever for a device that is gone.

    PortAudio's threads may wait for such a device without end, and then so does what
    it does when a program ends.
    """
    closing = threading.Thread(target=stream.close, args=(True,), daemon=True)
    closing.start()
    closing.join(CLOSING_S)
    if closing.is_alive():
        at_exit = getattr(_sounddevice(), "_exit_handler", None)
        if at_exit is not None:
            atexit.unregister(at_exit)
