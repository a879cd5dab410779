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

import json
import os
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from assessor.errors import ReviewError
from assessor.review.assignment import Player
from assessor.review.finding import Finding, finding_from
from assessor.review.jobs import Job, Outcome
from assessor.review.private import OWNER_FOLDER, replace_private
from assessor.review.pseudonyms import file_stem
from assessor.whole_file import PARTS

FORMAT, VERSION = "assessor-review", 1
PLAN = "private/review.json"  # by which the folder of a review is known
SHOWN_FILE = 0o644
LOCK_STEP_S = 0.05


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

    @property
    def is_planned(self) -> bool:
        """Whether a review of this folder has come as far as to its plan."""
        return (self.out / PLAN).exists()

    def report(self, take_id: str) -> Path:
        """A take's own report."""
        return self.out / "takes" / f"{take_id}.html"

    # ------------------------------------------------------------------ the plan

    def write_plan(self, plan: Mapping[str, Any]) -> None:
        """Keep what was asked, of whom, and which takes there are."""
        content = {"format": FORMAT, "version": VERSION, **plan}
        self._write(PLAN, content)

    def read_plan(self) -> dict[str, Any]:
        """Read what `write_plan` kept.

        Raises
        ------
        ReviewError
            When this is no folder of a review, or one of a newer program.
        """
        return _read_json(self.out / PLAN)

    def planned(self) -> list[Planned]:
        """Takes of the review as it stands."""
        return [Planned(**one) for one in self.read_plan()["takes"]]

    def write_counted(self, content: Mapping[str, Any]) -> None:
        """Keep what counted in this review, for the next one."""
        self._write(
            "private/counted.json", {"format": FORMAT, "version": VERSION, **content}
        )

    def read_counted(self) -> dict[str, Any]:
        """Read what `write_counted` kept.

        Raises
        ------
        ReviewError
            When the review never came to its end.
        """
        file = self.private / "counted.json"
        if not file.exists():
            self.read_plan()
            message = "is a review that never came to its end; run it again"
            raise ReviewError(message, str(self.out))
        return _read_json(file)

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
        self._write(
            "private/roster.json", content | {"players": [asdict(p) for p in players]}
        )

    # ------------------------------------------------------------------- records

    def read_record(self, take_id: str) -> Record | None:
        """Record of a take; None when it has none, or one that cannot be used."""
        try:
            found = json.loads((self.records / f"{take_id}.json").read_bytes())
            return Record(**{**found, **_findings(found)})
        except (OSError, ValueError, TypeError, KeyError):
            return None

    def write_outcome(self, job: Job, outcome: Outcome, player: str) -> Record:
        """Keep what became of a take: its files first, then its record.

        What was written to answer its player does not hold any more, and goes.
        """
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
        self.forget_answer(player)
        self.write_record(record)
        return record

    def write_record(self, record: Record) -> None:
        """Keep a record; from then on its take is done."""
        self._write(f"private/takes/{record.take_id}.json", _plain(record))

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
            self._delete(*(self.out / "takes").glob(f"{take_id}.*"))
            self._delete(self.records / f"{take_id}.json")

    def forget_answer(self, player: str) -> bool:
        """Delete what was written for a player; whether there was anything."""
        file = self.out / "answers" / f"{file_stem(player)}.html"
        there = file.exists()
        self._delete(file)
        return there

    def forget_shown(self, *names: str) -> None:
        """Delete files that `write_shown` wrote."""
        self._delete(*(self.out / name for name in names))

    def recorded_players(self) -> dict[str, str]:
        """Player of every take that has a record, whether or not it is of the plan.

        Records of other programs' versions are among them.
        """
        found = {}
        for file in self.records.glob("[0-9a-f]*.json"):
            try:
                found[file.stem] = str(json.loads(file.read_bytes())["player"])
            except (OSError, ValueError, TypeError, KeyError):
                continue
        return found

    def sweep(self) -> None:
        """Delete what a killed program left half written."""
        folders = (self.out, self.out / "takes", self.out / "answers")
        for folder in (*folders, self.private, self.records):
            self._delete(*folder.glob(PARTS))

    def _delete(self, *files: Path) -> None:
        with self._words():
            for file in files:
                file.unlink(missing_ok=True)

    def _write(self, name: str, content: Mapping[str, Any]) -> None:
        # ASCII: a file's name may hold what is no text, and must come back the same
        text = json.dumps(content, separators=(",", ":"))
        with self._words():
            replace_private(self.out / name, text)

    @contextmanager
    def _words(self) -> Iterator[None]:
        try:
            yield
        except OSError as problem:
            raise _cannot_write(self.out, problem) from problem


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
    if books.is_planned or not create:
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
def one_at_a_time(books: Books, patience_s: float = 0.0) -> Iterator[None]:
    """Refuse to change a folder that somebody else is changing.

    Parameters
    ----------
    books : Books
    patience_s : float
        How long to wait for the other one.

    Raises
    ------
    ReviewError
        When it takes longer, or nothing can be written there.
    """
    try:
        import fcntl
    except ModuleNotFoundError:  # not on Windows: there, the last one wins
        yield
        return
    try:
        lock = (books.private / "lock").open("w")
    except OSError as problem:
        raise _cannot_write(books.out, problem) from problem
    deadline_s = time.monotonic() + patience_s
    with lock:
        while True:
            try:
                fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
                break
            except BlockingIOError as problem:
                if time.monotonic() >= deadline_s:
                    message = "another review of this folder is under way; wait for it"
                    raise ReviewError(message, str(books.out)) from problem
            time.sleep(LOCK_STEP_S)
        yield


def _cannot_write(place: Path, problem: OSError) -> ReviewError:
    return ReviewError(f"cannot be written: {problem.strerror}", str(place))


def environment_author() -> str:
    """Who the machine says is at work."""
    return os.environ.get("USER") or os.environ.get("USERNAME") or "teacher"
