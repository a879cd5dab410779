"""What a server holds while it runs."""

from __future__ import annotations

import asyncio
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

from assessor.history.store import Store
from assessor.web.catalogue import Catalogue
from assessor.web.doors import FORM_BYTES
from assessor.web.sessions import Cookie, Sessions
from assessor.web.takes import Takes
from assessor.web.workers import Workers

Sound = TypeVar("Sound")

PIECE_BYTES = 1_000_000  # five seconds at 48 kHz
FILE_BYTES = 200_000_000
MOST_RECORDED_BYTES = 700_000_000  # an hour at 48 kHz
MOST_COMING = 20  # takes of one player that were begun and not ended


@dataclass(frozen=True)
class Caps:
    """What a player may send.

    Attributes
    ----------
    piece_bytes : int
        Of one piece of a recording.
    file_bytes : int
        Of a file.
    recorded_bytes : int
        Of a whole recording.
    """

    piece_bytes: int = PIECE_BYTES
    file_bytes: int = FILE_BYTES
    recorded_bytes: int = MOST_RECORDED_BYTES


@dataclass(kw_only=True)
class Door:
    """How somebody comes in.

    Attributes
    ----------
    sessions : Sessions
    cookie : Cookie
    player : str
        Who is let in by the link.
    link_token : str
        What the link holds; empty = nobody is let in by a link.
    home : str
        What the first page is called.
    signs_in : bool
        By name and password instead of a link.
    """

    sessions: Sessions
    cookie: Cookie
    player: str = ""
    link_token: str = ""
    home: str = "Licks"
    signs_in: bool = False


@dataclass(kw_only=True)
class House(Door):
    """Everything that requests to a desk share.

    Attributes
    ----------
    takes : Takes
    catalogue : Catalogue
    workers : Workers
    store : Store
        The history.
    caps : Caps
    sounds : Sounds
    """

    takes: Takes
    catalogue: Catalogue
    workers: Workers
    store: Store
    caps: Caps = field(default_factory=Caps)
    sounds: Sounds = field(default_factory=lambda: Sounds())

    def most_bytes(self, path: str) -> int:
        """Largest body that a path takes."""
        if path.startswith("/takes/"):
            if path.endswith("/sound"):
                return self.caps.piece_bytes
            if path.endswith("/file"):
                return self.caps.file_bytes
        return FORM_BYTES


def rooms(folder: Path, licks: list[Path], listeners: int = 1) -> dict[str, Any]:
    """Takes of a folder, licks of some folders, and who listens: parts of a house."""
    takes, catalogue = Takes(folder), Catalogue(licks)
    workers = Workers(takes, catalogue.file, listeners)
    return {"takes": takes, "catalogue": catalogue, "workers": workers}


class Sounds:
    """Sounds that were made lately; each is made once, in another thread."""

    MOST = 24

    def __init__(self) -> None:
        self._made: OrderedDict[object, asyncio.Task[Any]] = OrderedDict()

    async def get(self, key: object, make: Callable[[], Sound]) -> Sound:
        """Sound of a key, made if it is not there."""
        if key not in self._made:
            self._made[key] = asyncio.create_task(asyncio.to_thread(make))
            while len(self._made) > self.MOST:
                self._made.popitem(last=False)
        self._made.move_to_end(key)
        try:
            sound: Sound = await asyncio.shield(self._made[key])
        except Exception:
            self._made.pop(key, None)
            raise
        return sound
