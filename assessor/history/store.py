"""Open a store of takes: SQLite in the user's data folder, or PostgreSQL by URL.

One transaction writes a whole take.  SQLite runs with a write-ahead log that is
flushed at every commit, so what was acknowledged outlives a crash; what is deleted is
overwritten.  Writers wait for each other on both databases.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event
from sqlalchemy.exc import DBAPIError, NoSuchModuleError
from sqlalchemy.orm import Session

from assessor.errors import HistoryError
from assessor.history import migrate
from assessor.history.place import Place, place_of

PATIENCE_S = 30.0  # for another writer
SQLITE_HEAD = b"SQLite format 3\0"  # of every file of it, but one still empty
WRITERS_LOCK = 0x61737365  # any number, the same for all writers of a server


@dataclass(frozen=True)
class Store:
    """An open store.

    Attributes
    ----------
    engine : sqlalchemy.Engine
    place : Place
    """

    engine: Engine
    place: Place

    @contextmanager
    def writing(self) -> Iterator[Session]:
        """One transaction: all of it is kept, or nothing.

        Raises
        ------
        HistoryError
            When the database refuses: full, locked, broken, read-only, gone.
        """
        with in_words(self.place), Session(self.engine) as session, session.begin():
            yield session

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """One look, which holds up no writer; raises as `writing` does."""
        engine = self.engine.execution_options(reads=True)
        with in_words(self.place), Session(engine) as session:
            yield session

    def close(self) -> None:
        """Let go of the database."""
        self.engine.dispose()


@contextmanager
def open_store(text: str | None = None, *, create: bool = True) -> Iterator[Store]:
    """Open a store and bring it to the newest schema.

    Parameters
    ----------
    text : str or None
        Path or URL; None = by ``ASSESSOR_STORE``, else in the user's data folder.
    create : bool
        Make it when it is not there.

    Raises
    ------
    HistoryError
        When it cannot be opened, holds something else, was made by a newer program,
        or is not there and `create` is false.
    """
    place = place_of(text)
    _door(place, create=create)
    with in_words(place):
        store = Store(_engine(place), place)
    try:
        with in_words(place):
            if migrate.version(store.engine) != migrate.HEAD:
                migrate.upgrade(store.engine, place)
        yield store
    finally:
        store.close()


def _door(place: Place, *, create: bool) -> None:
    """Make the file, for its owner alone, or say that there is none."""
    file = place.file
    if file is None:
        return
    if file.exists():
        _refuse_other_files(file)
        return
    if not create:
        message = (
            "there is no history yet; keep takes with assessor check TAKE --lick LICK "
            "--keep"
        )
        raise HistoryError(message, str(place))
    try:
        file.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        os.close(os.open(file, os.O_CREAT | os.O_WRONLY, 0o600))
    except OSError as problem:
        message = f"the store cannot be made: {problem.strerror}; name another place"
        raise HistoryError(message, str(place)) from problem


def _refuse_other_files(file: Path) -> None:
    """Refuse what is no database: SQLite writes over a file shorter than its head."""
    try:
        with file.open("rb") as stream:
            head = stream.read(len(SQLITE_HEAD))
    except OSError as problem:
        message = f"the store cannot be read: {problem.strerror}; name another place"
        raise HistoryError(message, str(file)) from problem
    if head and head != SQLITE_HEAD:
        message = "this file is no store of takes; name another with --store"
        raise HistoryError(message, str(file))


def _engine(place: Place) -> Engine:
    if place.file is None:
        try:
            engine = create_engine(place.url)
        except (ModuleNotFoundError, NoSuchModuleError) as problem:
            message = (
                "PostgreSQL needs one more package: pip install assessor[postgres]"
            )
            raise HistoryError(message, str(place)) from problem
        event.listen(engine, "begin", _begin_postgresql)
        return engine
    return sqlite_engine(place.url)


def sqlite_engine(url: URL) -> Engine:
    """Engine for one file, set up to lose nothing."""
    engine = create_engine(
        url, connect_args={"timeout": PATIENCE_S}, json_serializer=_json
    )
    event.listen(engine, "connect", _connect_sqlite)
    event.listen(engine, "begin", _begin_sqlite)
    return engine


def _json(value: object) -> str:
    """JSON without spaces: ten thousand summaries are read at once."""
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"))


def _connect_sqlite(raw: Any, _: object) -> None:
    raw.isolation_level = None  # transactions begin where we say, DDL included
    for pragma in (
        "foreign_keys=ON",
        "journal_mode=WAL",
        "synchronous=FULL",  # a commit is on the disk when it returns
        "secure_delete=ON",
    ):
        raw.execute(f"PRAGMA {pragma}")


def _begin_sqlite(connection: Connection) -> None:
    reads = connection.get_execution_options().get("reads", False)
    # a writer that begins as a reader can fail half-way when another one writes
    connection.exec_driver_sql("BEGIN" if reads else "BEGIN IMMEDIATE")


def _begin_postgresql(connection: Connection) -> None:
    if not connection.get_execution_options().get("reads", False):
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({WRITERS_LOCK})")


@contextmanager
def in_words(place: Place) -> Iterator[None]:
    """What a database refuses, as an error with its place and a remedy."""
    try:
        yield
    except DBAPIError as problem:
        said = str(problem.orig).strip().splitlines() or ["no reason given"]
        message = f"the database refuses: {said[0]}; {_remedy(said[0])}"
        raise HistoryError(message, str(place)) from problem
    except HistoryError as problem:
        problem.place = problem.place or str(place)
        raise


def _remedy(said: str) -> str:
    if "not a database" in said:
        return "this file is no store of takes; name another with --store"
    if "locked" in said:
        return "another program holds it; try again when that is done"
    if "full" in said:
        return "make room on the disk"
    if "readonly" in said or "unable to open" in said:
        return "check that you may write there"
    if "malformed" in said:
        return "put a backup in its place"
    return "check the address, and that the server runs"
