"""What was known when a take was recorded, kept in the file itself.

A *slate* is what is written on the board held up before a take: which lick, at which
tempo, where the click lies, with what it was recorded.  It travels as Vorbis comments
in the FLAC file (RFC 9639, 8.6): plain ``NAME=value`` that any tag editor shows.

Conventions
-----------
Times are seconds of the file.  ``CLICK_SENT_S`` is the time at which a count left the
program; the player heard it, and what was played on it was recorded, one *latency*
later: round trip from the program through output and input back.  The drift is by how
much the input's clock runs faster than the output's, parts per million.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
import numpy.typing as npt

from assessor.sound_check import Flag

Samples = npt.NDArray[np.float32]

# What cannot be noticed in a rhythm below 240 ms between notes: Friberg & Sundberg
# 1995.  A latency that is less sure says nothing about early or late.
MOST_SPREAD_S = 0.006
FULL_SCALE_24_BIT = 2**23
# Tags stand before the sound, a picture perhaps before them.
HEAD_BYTES = 2**18


class ClickKind(StrEnum):
    """What is heard while playing."""

    ACCENT = "accent"  # a click on every count, the one louder
    SUBDIVIDED = "subdivided"  # and a softer one between the counts
    COUNT_IN = "count-in"  # clicks only before
    NONE = "none"

    @property
    def goes_on(self) -> bool:
        """True when the player hears it while playing."""
        return self in (ClickKind.ACCENT, ClickKind.SUBDIVIDED)


class Ended(StrEnum):
    """Why a recording stopped."""

    PASSES = "passes"  # played as often as asked, then silence
    KEY = "key"
    TIME = "time"  # longer than any playing of so many passes
    UNPLUGGED = "unplugged"  # the device went away
    FULL = "full"  # the file could not grow
    KILLED = "killed"  # the program died; what was on the disk was put together


REASONS = {
    Ended.PASSES: "played as often as asked",
    Ended.KEY: "stopped by you",
    Ended.TIME: "stopped: longer than so many passes take",
    Ended.UNPLUGGED: "the device went away; what came before it is saved",
    Ended.FULL: "the disk took no more; what came before is saved",
    Ended.KILLED: "the program was ended in the middle; what it had written is saved",
}


@dataclass(frozen=True)
class Slate:
    """What was known when a take was recorded.

    Attributes
    ----------
    title, lick_file : str
        Of the lick; its file without the folder.
    lick_sheet : str
        The lick itself as a lick sheet, so that the take can be checked anywhere;
        empty when no sheet can hold it.
    tempo_bpm : float
        Asked for, quarter notes a minute.
    click : ClickKind
    click_sent_s : float or None
        When any count left the program; None without click.
    latency_s, latency_spread_s, drift_ppm : float or None
        As measured for these devices; None = never measured.
    input, output : str
        Devices.
    started_at : datetime or None
        Of the first sample, with its time zone.
    peak_dbfs, level_dbfs : float or None
        Largest sample, and A-weighted equivalent level.
    dropouts_s : tuple of float
        Where sound was lost, in order.
    ended : Ended or None
        None = still recording.
    """

    title: str
    tempo_bpm: float
    lick_file: str = ""
    lick_sheet: str = ""
    click: ClickKind = ClickKind.NONE
    click_sent_s: float | None = None
    latency_s: float | None = None
    latency_spread_s: float | None = None
    drift_ppm: float | None = None
    input: str = ""
    output: str = ""
    started_at: datetime | None = None
    peak_dbfs: float | None = None
    level_dbfs: float | None = None
    dropouts_s: tuple[float, ...] = ()
    ended: Ended | None = None

    @property
    def why_not_judged(self) -> str:
        """Why lateness against the click cannot be told; empty when it can.

        A click that was not heard while playing is no clock either: the take is then
        judged by the player's own tempo, without a word.
        """
        if not self.click.goes_on:
            return ""
        if self.latency_s is None or self.click_sent_s is None:
            return (
                "the latency of these devices was never measured (assessor record "
                "--measure-latency)"
            )
        if (self.latency_spread_s or 0.0) > MOST_SPREAD_S:
            return (
                f"the latency of these devices changes by "
                f"{1000 * (self.latency_spread_s or 0.0):.1f} ms from one start to the "
                f"next, more than {1000 * MOST_SPREAD_S:.0f} ms"
            )
        return "sound was lost on the way" if self.dropouts_s else ""

    @property
    def click_in_take(self) -> tuple[float, float] | None:
        """Time of a count in the file and tempo of the click in the file's time.

        None when there is no click to judge by.

        >>> slate = Slate("A", 100, click=ClickKind.ACCENT, click_sent_s=2.4)
        >>> slate.click_in_take is None  # the latency was never measured
        True
        >>> from dataclasses import replace
        >>> replace(slate, latency_s=0.1, drift_ppm=0.0).click_in_take
        (2.5, 100.0)
        """
        if not self.click.goes_on or self.why_not_judged:
            return None
        assert self.click_sent_s is not None
        assert self.latency_s is not None
        pace = 1 + (self.drift_ppm or 0.0) / 1e6
        return self.click_sent_s * pace + self.latency_s, self.tempo_bpm / pace

    def flags(self) -> tuple[Flag, ...]:
        """Cautions about the recording that its sound cannot tell."""
        found = []
        if self.why_not_judged:
            message = (
                "this take was played to a click, but its time is judged by your own "
                f"tempo: {self.why_not_judged}"
            )
            spread_ms = 1000 * (self.latency_spread_s or 0.0)
            limit_ms = 1000 * MOST_SPREAD_S
            found.append(Flag("click_unknown", spread_ms, limit_ms, "ms", message))
        if self.dropouts_s:
            lost = len(self.dropouts_s)
            times = ", ".join(f"{at_s:.2f}" for at_s in self.dropouts_s[:5])
            more = ", …" if lost > 5 else ""
            message = (
                f"sound was lost at {lost} place{'s' * (lost > 1)} ({times}{more} s): "
                "do not believe the notes there; close other programs and record again"
            )
            found.append(Flag("dropouts", lost, 0, "places", message))
        return tuple(found)


def _number(text: str) -> float:
    number = float(text)
    if not np.isfinite(number):
        raise ValueError(text)
    return number


def _numbers(text: str) -> tuple[float, ...]:
    return tuple(map(_number, text.split()))


# Vorbis comment: attribute, and how to read it.  `TITLE` and `DATE` are the names the
# standard proposes.
TAGS: dict[str, tuple[str, Callable[[str], object]]] = {
    "TITLE": ("title", str),
    "LICK_FILE": ("lick_file", str),
    "LICK_SHEET": ("lick_sheet", str),
    "TEMPO_BPM": ("tempo_bpm", _number),
    "CLICK": ("click", ClickKind),
    "CLICK_SENT_S": ("click_sent_s", _number),
    "LATENCY_S": ("latency_s", _number),
    "LATENCY_SPREAD_S": ("latency_spread_s", _number),
    "CLOCK_DRIFT_PPM": ("drift_ppm", _number),
    "INPUT": ("input", str),
    "OUTPUT": ("output", str),
    "DATE": ("started_at", datetime.fromisoformat),
    "PEAK_DBFS": ("peak_dbfs", _number),
    "LEVEL_DBFS": ("level_dbfs", _number),
    "DROPOUTS_S": ("dropouts_s", _numbers),
    "ENDED": ("ended", Ended),
}


def tags_of(slate: Slate) -> dict[str, str]:
    """Slate as comments; what is not known is left out.

    >>> tags_of(Slate("A", 100, dropouts_s=(1.5, 2.0)))
    {'TITLE': 'A', 'TEMPO_BPM': '100', 'CLICK': 'none', 'DROPOUTS_S': '1.5 2'}
    """
    texts = {name: _text(getattr(slate, TAGS[name][0])) for name in TAGS}
    return {name: text for name, text in texts.items() if text}


def _text(value: object) -> str:
    if isinstance(value, tuple):
        return " ".join(map(_text, value))
    if isinstance(value, datetime):
        return value.isoformat(timespec="seconds")
    if isinstance(value, float | int):
        return f"{value:.9g}"
    return "" if value is None else str(value)


def slate_of(tags: dict[str, str]) -> Slate | None:
    """Slate from comments; None when these are none of a take recorded here.

    A comment that cannot be read counts as not there: tags are open to anyone.

    >>> slate_of({"title": "A", "tempo_bpm": "100", "click": "loud"}).click
    <ClickKind.NONE: 'none'>
    >>> slate_of({"TITLE": "A"}) is None
    True
    """
    values: dict[str, Any] = {}
    for name, text in tags.items():
        attribute, read = TAGS.get(name.upper(), ("", str))
        with contextlib.suppress(ValueError):
            if attribute and text:
                values[attribute] = read(text)
    if not {"title", "tempo_bpm"} <= set(values) or values["tempo_bpm"] <= 0:
        return None
    return Slate(**values)


def read_slate(path: str | Path) -> Slate | None:
    """Slate of a sound file; None when it has none, or is no sound file.

    Parameters
    ----------
    path : str or Path
        A FLAC file, or another whose container has such tags.
    """
    try:
        with open(path, "rb") as file:
            if b"tempo_bpm=" not in file.read(HEAD_BYTES).lower():
                return None  # as most files are: without waiting for the decoder
            file.seek(0)
            return slate_of(_tags(file))
    except OSError:
        return None


def _tags(file: BinaryIO) -> dict[str, str]:
    import av

    try:
        with av.open(file) as container:
            return dict(container.metadata)
    except av.FFmpegError:
        return {}


def write_flac(
    path: str | Path, blocks: Iterable[Samples], sample_rate_hz: int, slate: Slate
) -> None:
    """Write a take as 24-bit FLAC with its slate; whole or not at all.

    Parameters
    ----------
    path : str or Path
        Written over if it is there.
    blocks : iterable of shape=(n,) float32
        Mono, full scale = ±1, in order; what lies beyond is cut off.
    sample_rate_hz : int
        Up to 192 kHz.
    slate : Slate

    Raises
    ------
    OSError
        When the file cannot be written.
    """
    path = Path(path)
    part = path.with_name(f"{path.name}.{os.getpid()}.part")
    try:
        _encode(part, blocks, sample_rate_hz, tags_of(slate))
        with part.open("rb+") as written:
            os.fsync(written.fileno())
        os.replace(part, path)
    finally:
        part.unlink(missing_ok=True)


def _encode(
    part: Path, blocks: Iterable[Samples], sample_rate_hz: int, tags: dict[str, str]
) -> None:
    import av

    with part.open("wb") as file, av.open(file, "w", format="flac") as container:
        container.metadata.update(tags)
        stream: Any = container.add_stream(
            "flac", rate=sample_rate_hz, layout="mono", format="s32"
        )
        position = 0
        for block in filter(len, blocks):
            frame = av.AudioFrame.from_ndarray(
                _integers(block)[np.newaxis], format="s32", layout="mono"
            )
            frame.sample_rate, frame.pts = sample_rate_hz, position
            position += len(block)
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))


def _integers(block: Samples) -> npt.NDArray[np.int32]:
    """24 bits in the upper part of 32, as the encoder takes them."""
    scaled = np.round(block.astype(np.float64) * FULL_SCALE_24_BIT)
    limited = np.clip(scaled, -FULL_SCALE_24_BIT, FULL_SCALE_24_BIT - 1)
    return limited.astype(np.int32) << 8
