"""The folder a review is kept in.

::

    OUT/class.html class.csv       to be shown; pseudonyms only
    OUT/takes/ID.html ID.json      each take's own report and result; pseudonyms only
    OUT/answers/PSEUDONYM.html     one file a player
    OUT/private/                   names, paths, records, corrections: for the teacher

`private` is readable by its owner alone.  A record is written whole after everything
that belongs to it: a take has one, or is yet to be assessed.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import secrets
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from assessor.errors import ReviewError
from assessor.review.assignment import Player
from assessor.review.finding import Finding, finding_from
from assessor.review.jobs import Job, Outcome
from assessor.review.private import OWNER_FOLDER, replace_private

FORMAT, VERSION = "assessor-review", 1
SHOWN_FILE = 0o644


@dataclass(frozen=True)
class Record:
    """One take that was assessed, or refused.

    Attributes
    ----------
    take_id, key : str
        The key is `Job.key`: the same key, the same outcome; empty where the take is to
        be tried again.
    player : str
        Pseudonym.
    found, shown : Finding or None
        What the tool found; the same with the teacher's corrections.
    reason : str
        Why it was refused; else empty.
    cpu_s : float
    unfit : int
        Corrections that speak of nothing that is in the take.
    """

    take_id: str
    key: str
    player: str
    found: Finding | None
    shown: Finding | None
    reason: str
    cpu_s: float
    unfit: int = 0


@dataclass(frozen=True)
class Planned:
    """One take of the review as it stands.

    Attributes
    ----------
    take_id : str
    player : str
        Pseudonym.
    lick : int
        Place in the assignment.
    name, address, stamp, digest : str
        Of its file.
    at : str
        When the file was last changed, UTC, ISO 8601; empty = not known.
    """

    take_id: str
    player: str
    lick: int
    name: str
    address: str
    stamp: str
    digest: str
    at: str


@dataclass(frozen=True)
class Books:
    """An open folder of a review."""

    out: Path

    @property
    def private(self) -> Path:
        """Folder for the teacher alone."""
        return self.out / "private"

    @property
    def corrections(self) -> Path:
        """Log of corrections."""
        return self.private / "corrections.jsonl"

    @property
    def records(self) -> Path:
        """Folder of records."""
        return self.private / "takes"

    def report(self, take_id: str) -> Path:
        """A take's own report."""
        return self.out / "takes" / f"{take_id}.html"

    # ------------------------------------------------------------------ the plan

    def write_plan(self, plan: Mapping[str, Any]) -> None:
        """Keep what was asked, of whom, and which takes there are."""
        content = {"format": FORMAT, "version": VERSION, **plan}
        self._write("review.json", content)

    def read_plan(self) -> dict[str, Any]:
        """Read what `write_plan` kept.

        Raises
        ------
        ReviewError
            When this is no folder of a review, or one of a newer program.
        """
        return _read_json(self.private / "review.json")

    def planned(self) -> list[Planned]:
        """Takes of the review as it stands."""
        return [Planned(**one) for one in self.read_plan()["takes"]]

    def write_counted(self, content: Mapping[str, Any]) -> None:
        """Keep what counted in this review, for the next one."""
        self._write("counted.json", {"format": FORMAT, "version": VERSION, **content})

    def read_counted(self) -> dict[str, Any]:
        """Read what `write_counted` kept."""
        return _read_json(self.private / "counted.json")

    # ---------------------------------------------------------------- pseudonyms

    def read_roster(self) -> list[Player]:
        """Players that ever had a pseudonym here."""
        file = self.private / "roster.json"
        if not file.exists():
            return []
        return [
            Player(one["name"], one["pseudonym"], tuple(one["match"]))
            for one in _read_json(file)["players"]
        ]

    def write_roster(self, players: Sequence[Player]) -> None:
        """Keep who has which pseudonym."""
        content = {"format": FORMAT, "version": VERSION}
        self._write("roster.json", content | {"players": [asdict(p) for p in players]})

    # ------------------------------------------------------------------- records

    def read_record(self, take_id: str) -> Record | None:
        """Record of a take; None when it has none, or one that cannot be used."""
        try:
            found = json.loads((self.records / f"{take_id}.json").read_bytes())
            return Record(**{**found, **_findings(found)})
        except (OSError, ValueError, TypeError, KeyError):
            return None

    def write_outcome(self, job: Job, outcome: Outcome, player: str) -> Record:
        """Keep what became of a take: its files first, then its record."""
        record = Record(
            outcome.take_id,
            "" if outcome.lost else job.key,
            player,
            outcome.found,
            outcome.shown,
            outcome.reason,
            outcome.cpu_s,
            outcome.unfit,
        )
        with self._words():
            for name, content in outcome.files.items():
                replace_private(self.out / "takes" / name, content, SHOWN_FILE)
        self.write_record(record)
        return record

    def write_record(self, record: Record) -> None:
        """Keep a record; from then on its take is done."""
        self._write(f"takes/{record.take_id}.json", _plain(record))

    def write_shown(self, name: str, text: str) -> Path:
        """Write a file that is to be shown; its path."""
        file = self.out / name
        with self._words():
            file.parent.mkdir(exist_ok=True)
            replace_private(file, text, SHOWN_FILE)
        return file

    def forget(self, take_ids: set[str]) -> None:
        """Delete everything of some takes but corrections."""
        for take_id in take_ids:
            for file in (self.out / "takes").glob(f"{take_id}.*"):
                file.unlink()
            (self.records / f"{take_id}.json").unlink(missing_ok=True)

    def forget_answer(self, player: str) -> bool:
        """Delete what was written for a player; whether there was anything."""
        file = self.out / "answers" / f"{shown_name(player)}.html"
        there = file.exists()
        file.unlink(missing_ok=True)
        return there

    def record_ids(self) -> list[str]:
        """Every take that has a record, whether or not it is of the plan."""
        return sorted(file.stem for file in self.records.glob("[0-9a-f]*.json"))

    def _write(self, name: str, content: Mapping[str, Any]) -> None:
        # ASCII: a file's name may hold what is no text, and must come back the same
        text = json.dumps(content, separators=(",", ":"))
        with self._words():
            replace_private(self.private / name, text)

    @contextmanager
    def _words(self) -> Iterator[None]:
        try:
            yield
        except OSError as problem:
            message = f"cannot be written: {problem.strerror}"
            raise ReviewError(message, str(self.out)) from problem


def _plain(record: Record) -> dict[str, Any]:
    plain = asdict(record)
    if record.shown == record.found:
        plain["shown"] = None  # the same, not twice
    return plain


def _findings(found: Mapping[str, Any]) -> dict[str, Finding | None]:
    tool = finding_from(found["found"]) if found["found"] else None
    shown = finding_from(found["shown"]) if found["shown"] else tool
    return {"found": tool, "shown": shown}


def _read_json(file: Path) -> dict[str, Any]:
    try:
        found = json.loads(file.read_text(encoding="utf-8"))
    except OSError as problem:
        message = (
            "is no folder of a review; make one with assessor review FOLDER -o OUT"
        )
        raise ReviewError(message, str(file.parent.parent)) from problem
    except ValueError as problem:
        message = "is no JSON any more; delete it and review again"
        raise ReviewError(message, str(file)) from problem
    if not isinstance(found, dict) or found.get("format") != FORMAT:
        message = "is no file of a review"
        raise ReviewError(message, str(file))
    if found.get("version") != VERSION:
        message = (
            f"is of version {found.get('version')}, and {VERSION} is known; read it "
            "with a newer assessor"
        )
        raise ReviewError(message, str(file))
    return found


def open_books(out: str | Path, *, create: bool = False) -> Books:
    """Open the folder of a review.

    Parameters
    ----------
    out : str or Path
    create : bool
        Make it when it is not there.

    Raises
    ------
    ReviewError
        When it is there and is something else, or is not there and `create` is false.
    """
    books = Books(Path(out))
    if (books.private / "review.json").exists() or not create:
        books.read_plan()
        return books
    begun = books.records.is_dir()  # and stopped before anything was planned
    full = books.out.exists() and not (books.out.is_dir() and _is_empty(books.out))
    if full and not begun:
        message = "is there and is no review; name a new or an empty folder"
        raise ReviewError(message, str(books.out))
    try:
        books.out.mkdir(parents=True, exist_ok=True)
        (books.out / "takes").mkdir(exist_ok=True)
        books.private.mkdir(mode=OWNER_FOLDER, exist_ok=True)
        books.records.mkdir(mode=OWNER_FOLDER, exist_ok=True)
    except OSError as problem:
        message = f"cannot be made: {problem.strerror}"
        raise ReviewError(message, str(out)) from problem
    return books


def _is_empty(folder: Path) -> bool:
    return not any(folder.iterdir())


@contextmanager
def one_at_a_time(books: Books) -> Iterator[None]:
    """Refuse a second review of the same folder.

    Raises
    ------
    ReviewError
        When one is under way.
    """
    try:
        import fcntl
    except ModuleNotFoundError:  # not on Windows: there, the last one wins
        yield
        return
    with (books.private / "lock").open("w") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as problem:
            message = "another review of this folder is under way; wait for it"
            raise ReviewError(message, str(books.out)) from problem
        yield


def with_pseudonyms(players: Sequence[Player], known: Sequence[Player]) -> list[Player]:
    """Players with pseudonyms: their own, the one they had, or a new one.

    New ones are ``P`` and a number that says nothing of the name or its place in the
    alphabet.

    Raises
    ------
    ReviewError
        When two players would have one pseudonym.
    """
    had = {player.name: player.pseudonym for player in known}
    given = [replace(p, pseudonym=p.pseudonym or had.get(p.name, "")) for p in players]
    taken = {player.pseudonym for player in given} | set(had.values())
    named = []
    for player in given:
        if not player.pseudonym:
            player = replace(player, pseudonym=_new_pseudonym(taken, len(players)))
            taken.add(player.pseudonym)
        named.append(player)
    every = [player.pseudonym for player in named]
    twice = {name for name in every if every.count(name) > 1}
    if twice:
        message = f"two players have the pseudonym {min(twice)!r}; give each their own"
        raise ReviewError(message)
    return named


def _new_pseudonym(taken: set[str], players: int) -> str:
    """One of ten times as many numbers as there are players."""
    digits = len(str(10 * max(players, 10) - 1))
    while True:
        name = f"P{secrets.randbelow(10**digits):0{digits}d}"
        if name not in taken:
            return name


def shown_name(pseudonym: str) -> str:
    """Pseudonym as a file's name.

    >>> shown_name("P12"), shown_name("../a b")
    ('P12', '.._a b-2c2c')
    """
    plain = re.sub(r"[^\w .-]", "_", pseudonym).strip()
    if plain == pseudonym and not plain.startswith("."):
        return plain
    digest = hashlib.sha256(pseudonym.encode()).hexdigest()[:4]
    return f"{plain}-{digest}"


def environment_author() -> str:
    """Who the machine says is at work."""
    return os.environ.get("USER") or os.environ.get("USERNAME") or "teacher"
