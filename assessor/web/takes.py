"""Takes on the disk: each a folder of its own, under a name that we made.

What has happened to a take is told by which files are there, so that a program that is
killed at any moment goes on where it was:

===================  ==============================================================
``about.json``       who plays what, how; written first
``take.flac.part.wav``  sound on its way, as `assessor.capture.journal` has it
``upload.*``         a file that was dropped in instead
``ended.json``       all of it is here; it may be listened to
``answer.json``      listened to; ``report.html`` and ``result.json`` beside it
``kept.json``        which take of the history it is
===================  ==============================================================
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import secrets
import shutil
import threading
from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime
from enum import StrEnum
from pathlib import Path
from typing import Any

import numpy as np

from assessor.capture.journal import SUFFIX, Journal
from assessor.capture.slate import ClickKind, Ended, Slate
from assessor.errors import AssessorError
from assessor.whole_file import write_whole

NAME = re.compile(r"[0-9a-f]{32}")  # 128 random bits
TAKE = "take.flac"
FRAME_BYTES = 4  # one 32-bit float, mono
SAMPLE_RATES_HZ = range(8_000, 192_001)
# Endings that sound files have; of what is dropped in, nothing else is remembered.
ENDINGS = frozenset(
    (
        "wav", "flac", "aif", "aiff", "caf", "ogg", "oga", "opus", "mp3", "m4a", "mp4",
        "mov", "webm", "aac", "3gp", "mka", "mkv", "wma",
    )
)  # fmt: skip
APPENDING = threading.Lock()


class TakeGap(AssessorError):
    """A piece that does not follow what is there.

    Attributes
    ----------
    have : int
        Frames that are there.
    """

    def __init__(self, have: int) -> None:
        super().__init__(f"{have} frames are there, and this begins later")
        self.have = have


class State(StrEnum):
    """What has happened to a take."""

    COMING = "coming"
    WAITING = "waiting"  # whole; not listened to yet
    ANSWERED = "answered"


@dataclass(frozen=True)
class About:
    """What is known of a take when it begins.

    Attributes
    ----------
    player : str
    lick : str
        Its name in the catalogue.
    tempo_bpm : float
    tolerance : str
    click : str
        As `assessor.capture.slate.ClickKind`.
    sample_rate_hz : int
        Of what is recorded; 0 for a file.
    began_at : str
        UTC, ISO 8601.
    input : str
        What the browser calls the device.
    assignment : int or None
    """

    player: str
    lick: str
    tempo_bpm: float
    tolerance: str = "usual"
    click: str = "none"
    sample_rate_hz: int = 0
    began_at: str = ""
    input: str = ""
    assignment: int | None = None

    @property
    def began(self) -> datetime:
        """Moment, with its zone."""
        return datetime.fromisoformat(self.began_at)


@dataclass(frozen=True)
class Ending:
    """What is known of a recorded take when it ends.

    Attributes
    ----------
    click_sent_s : float or None
        When a count left the browser, in the take.
    dropouts_s : tuple of float
    ended : str
        As `assessor.capture.slate.Ended`.
    """

    click_sent_s: float | None = None
    dropouts_s: tuple[float, ...] = ()
    ended: str = Ended.KEY.value


@dataclass(frozen=True)
class KeptTake:
    """One take's folder."""

    folder: Path

    @property
    def name(self) -> str:
        """What addresses call it."""
        return self.folder.name

    @property
    def journal(self) -> Path:
        """Sound on its way."""
        return self.folder / (TAKE + SUFFIX)

    @property
    def about(self) -> About:
        """What was known when it began."""
        return About(**self._read("about.json"))

    @property
    def ending(self) -> Ending:
        """What was known when it ended."""
        return _ending_of(self._read("ended.json"))

    @property
    def state(self) -> State:
        """What has happened to it."""
        if (self.folder / "answer.json").exists():
            return State.ANSWERED
        whole = (self.folder / "ended.json").exists()
        return State.WAITING if whole else State.COMING

    @property
    def answer(self) -> dict[str, Any]:
        """What came of listening: ``mark`` and so on, or a ``problem`` in words."""
        return self._read("answer.json")

    @property
    def kept_as(self) -> int | None:
        """Number of the take in the history; None when it was not kept."""
        file = self.folder / "kept.json"
        return int(json.loads(file.read_text())) if file.exists() else None

    @property
    def sound(self) -> Path | None:
        """The file that is listened to; None while there is none."""
        found = sorted(self.folder.glob("upload.*"))
        recorded = self.folder / TAKE
        return recorded if recorded.exists() else next(iter(found), None)

    @property
    def frames(self) -> int:
        """Whole frames of recorded sound that are there."""
        head = int(self._read("head.json"))
        return (self.journal.stat().st_size - head) // FRAME_BYTES

    @property
    def coming_s(self) -> float:
        """Seconds of recorded sound that are there."""
        rate_hz = self.about.sample_rate_hz
        return self.frames / rate_hz if rate_hz and self.journal.exists() else 0.0

    def append(self, first: int, body: bytes) -> int:
        """Add sound; what is there already is not added twice.

        Parameters
        ----------
        first : int
            Frame at which it begins.
        body : bytes
            32-bit floats, little-endian, mono.

        Returns
        -------
        int
            Frames that are there now.

        Raises
        ------
        TakeGap
            When something before it is missing.
        ValueError
            When it is no sound.
        """
        block = np.frombuffer(body, "<f4") if len(body) % FRAME_BYTES == 0 else None
        if block is None or not np.isfinite(block).all():
            message = "these are no samples"
            raise ValueError(message)
        # a piece that is sent anew may meet itself: one after the other
        with APPENDING, self.journal.open("rb+") as file:
            have = self.frames
            if first > have:
                raise TakeGap(have)
            new = block[have - first :]
            file.seek(int(self._read("head.json")) + have * FRAME_BYTES)
            file.write(new.tobytes())
            file.truncate()
        return have + len(new)

    def end(self, ending: Ending) -> None:
        """Say that all is here."""
        for file in self.folder.glob("*" + SUFFIX):
            with file.open("rb") as sound:
                os.fsync(sound.fileno())
        self.write("ended.json", asdict(ending))

    def slate(self, title: str, lick_file: str, sheet: str) -> Slate:
        """What goes into a recorded take's file."""
        about, ending = self.about, self.ending
        return Slate(
            title,
            about.tempo_bpm,
            lick_file=lick_file,
            lick_sheet=sheet,
            click=ClickKind(about.click),
            click_sent_s=ending.click_sent_s,
            input=about.input,
            started_at=about.began,
            dropouts_s=ending.dropouts_s,
            ended=Ended(ending.ended),
        )

    def discard(self) -> None:
        """Remove all of it."""
        shutil.rmtree(self.folder, ignore_errors=True)

    def write(self, name: str, value: object) -> None:
        """Write one of its files, whole or not at all."""
        text = json.dumps(value, ensure_ascii=False)
        write_whole(self.folder / name, text, synced=True)

    def _read(self, name: str) -> Any:
        return json.loads((self.folder / name).read_text(encoding="utf-8"))


def _ending_of(values: dict[str, Any]) -> Ending:
    found = Ending(**values)
    return replace(found, dropouts_s=tuple(found.dropouts_s))


class Takes:
    """All takes of a server: a folder a player, and in it a folder a take.

    Parameters
    ----------
    folder : Path
        Made for its owner alone when it is not there.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)

    def begin(self, about: About) -> KeptTake:
        """Make a new take, to be recorded or for a file."""
        mine = self._of(about.player)
        mine.mkdir(mode=0o700, exist_ok=True)
        take = KeptTake(mine / secrets.token_hex(16))
        take.folder.mkdir(mode=0o700)
        began = replace(about, began_at=about.began_at or datetime.now(UTC).isoformat())
        if about.sample_rate_hz:
            slate = Slate("", about.tempo_bpm, started_at=began.began)
            journal = Journal(take.folder / TAKE, about.sample_rate_hz, slate)
            journal.close()
            take.write("head.json", take.journal.stat().st_size)
        take.write("about.json", asdict(began))
        return take

    def find(self, name: str, player: str | None) -> KeptTake | None:
        """Take of a name, if it is this player's; None otherwise.

        Parameters
        ----------
        name : str
            As it came from outside.
        player : str or None
            None = whoever's.
        """
        if NAME.fullmatch(name) is None:
            return None
        whose = "*" if player is None else self._of(player).name
        for about in self.folder.glob(f"{whose}/{name}/about.json"):
            return KeptTake(about.parent)
        return None

    def all(self, since: datetime | None = None) -> Iterator[KeptTake]:
        """Every take, in no order; with `since` none that nothing happened to since."""
        for player in self.folder.iterdir():
            yield from self._in(player, since)

    def of(self, player: str, lick: str | None = None) -> list[KeptTake]:
        """Takes of a player, newest first."""
        mine = self._of(player)
        found = [
            (take.about, take)
            for take in (self._in(mine) if mine.exists() else ())
            if lick is None or take.about.lick == lick
        ]
        found.sort(key=lambda one: one[0].began_at, reverse=True)
        return [take for _, take in found]

    def _in(self, player: Path, since: datetime | None = None) -> Iterator[KeptTake]:
        for folder in player.iterdir():
            if since and folder.stat().st_mtime < since.timestamp():
                continue
            if NAME.fullmatch(folder.name) and (folder / "about.json").exists():
                yield KeptTake(folder)

    def _of(self, player: str) -> Path:
        """Folder of a player, under a name that we made."""
        return self.folder / hashlib.sha256(player.encode()).hexdigest()[:32]
