"""The licks that can be chosen: those of some folders, under names that we made."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from assessor import lick as licks
from assessor.errors import LickError
from assessor.history.licks import digest_of
from assessor.lick.notation import Lick

ENDINGS = {*licks.SHEET_SUFFIXES, *licks.MUSICXML_SUFFIXES, *licks.MIDI_SUFFIXES}
NAME = re.compile(r"[0-9a-f]{16}")
MOST_LICKS = 2000


@dataclass(frozen=True)
class Entry:
    """A lick that can be chosen.

    Attributes
    ----------
    name : str
        What addresses call it; the same as long as its file has the same place.
    file : Path
    lick : Lick
    digest : str
        As the history knows it.
    """

    name: str
    file: Path
    lick: Lick
    digest: str


@dataclass(frozen=True)
class Unread:
    """A file that looks like a lick and is none; in words."""

    file: str
    problem: str


class Catalogue:
    """Licks of some folders, read again when their files change.

    Parameters
    ----------
    folders : sequence of Path
    """

    def __init__(self, folders: Sequence[Path]) -> None:
        self.folders = tuple(folder.resolve() for folder in folders)
        self.unread: tuple[Unread, ...] = ()
        self._known: dict[str, Entry] = {}
        self._stamps: dict[Path, tuple[int, int]] = {}
        self.refresh()

    @property
    def entries(self) -> list[Entry]:
        """All of them, by title."""
        return sorted(
            self._known.values(), key=lambda e: (e.lick.title.lower(), e.name)
        )

    def find(self, name: str) -> Entry | None:
        """Lick of a name that came from outside."""
        return self._known.get(name) if NAME.fullmatch(name) else None

    def file(self, name: str) -> Path | None:
        """File of a lick; None when there is none."""
        found = self._known.get(name)
        return found.file if found and found.file.exists() else None

    def refresh(self) -> None:
        """Look at the folders again."""
        found = [
            (folder, file)
            for folder in self.folders
            for file in sorted(folder.rglob("*"))
            if file.suffix.lower() in ENDINGS and file.is_file()
        ][:MOST_LICKS]
        stamps = {file: _stamp(file) for _, file in found}
        if stamps == self._stamps:
            return
        known, unread = {}, []
        for folder, file in found:
            try:
                entry = _entry(folder, file)
            except LickError as problem:
                problem.path = ""
                unread.append(Unread(file.name, str(problem)))
            else:
                known[entry.name] = entry
        self._known, self.unread, self._stamps = known, tuple(unread), stamps


def _stamp(file: Path) -> tuple[int, int]:
    status = file.stat()
    return status.st_mtime_ns, status.st_size


def _entry(folder: Path, file: Path) -> Entry:
    place = f"{folder.name}/{file.relative_to(folder).as_posix()}"
    name = hashlib.sha256(place.encode()).hexdigest()[:16]
    lick = licks.read(file)
    return Entry(name, file, lick, digest_of(lick))
