"""Really delete takes and practice, also from the backups when asked to.

SQLite overwrites what is deleted (``secure_delete``), empties its log and packs the
file; PostgreSQL's dead rows are vacuumed away.  Files that somebody exported, and the
recordings themselves, are not touched.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import (
    URL,
    ColumnElement,
    Connection,
    Engine,
    Table,
    and_,
    delete,
    func,
    inspect,
    or_,
    select,
    text,
    true,
)

from assessor.history.migrate import backups_of
from assessor.history.models import Base
from assessor.history.store import Store, in_words, sqlite_engine
from assessor.history.takes import Selection

TABLES = Base.metadata.tables
TAKE, SESSION, PLAYER = TABLES["take"], TABLES["session"], TABLES["player"]
LICK, DEVICE, CALIBRATION = TABLES["lick"], TABLES["device"], TABLES["calibration"]
RESULT = TABLES["result"]


@dataclass(frozen=True)
class Forgotten:
    """What was deleted.

    Attributes
    ----------
    takes, sessions, copies : int
        Of the store; copies are those it had made of takes.
    backups : int
        Backups that were cleaned of the same.
    """

    takes: int
    sessions: int
    copies: int
    backups: int


def forget(store: Store, selection: Selection, *, backups: bool = False) -> Forgotten:
    """Delete takes, and practice sessions, that are meant.

    A selection by lick or take leaves practice sessions alone.  Licks, and names of
    players and devices, go with the last row that needs them.

    Parameters
    ----------
    store : Store
    selection : Selection
    backups : bool
        Also from the backups that were made before migrations.

    Raises
    ------
    HistoryError
        When the database refuses; then nothing was deleted.
    """
    with in_words(store.place), store.engine.begin() as connection:
        copies = _copies(connection, selection)
        takes, sessions = _delete(connection, selection, set(TABLES))
    for copy in copies:
        copy.unlink(missing_ok=True)
    names = backups_of(store.engine, store.place) if backups else []
    with in_words(store.place):
        _sweep(store.engine)
        for name in names:
            _clean_backup(store, name, selection)
    return Forgotten(takes, sessions, len(copies), len(names))


def _takes_meant(selection: Selection) -> ColumnElement[bool]:
    meant = _of_player_in_time(TAKE, TAKE.c.recorded_at, selection)
    if selection.lick is not None:
        of_lick = select(LICK.c.id).where(LICK.c.digest == selection.lick)
        meant = and_(meant, TAKE.c.lick_id.in_(of_lick))
    if selection.take_id is not None:
        meant = and_(meant, TAKE.c.id == selection.take_id)
    return meant


def _of_player_in_time(
    table: Table, began: ColumnElement[Any], selection: Selection
) -> ColumnElement[bool]:
    """What takes and sessions have in common."""
    meant: ColumnElement[bool] = true()
    if selection.player is not None:
        of_player = select(PLAYER.c.id).where(PLAYER.c.name == selection.player)
        meant = and_(meant, table.c.player_id.in_(of_player))
    if selection.since is not None:
        meant = and_(meant, began >= selection.since)
    if selection.until is not None:
        meant = and_(meant, began < selection.until)
    return meant


def _copies(connection: Connection, selection: Selection) -> list[Path]:
    """Copies that no take needs afterwards."""
    meant = _takes_meant(selection)
    going = set(connection.scalars(select(TAKE.c.copy).where(meant)))
    staying = set(connection.scalars(select(TAKE.c.copy).where(~meant)))
    return [Path(copy) for copy in going - staying if copy]


def _delete(
    connection: Connection, selection: Selection, tables: set[str]
) -> tuple[int, int]:
    """Delete rows of those tables there are; number of takes and of sessions."""
    meant = _takes_meant(selection)
    takes = connection.scalar(select(func.count()).select_from(TAKE).where(meant)) or 0
    ids = select(TAKE.c.id).where(meant)
    # a backup on a server has no foreign keys that would do this
    connection.execute(delete(RESULT).where(RESULT.c.take_id.in_(ids)))
    connection.execute(delete(TAKE).where(meant))
    sessions = 0
    if selection.lick is None and selection.take_id is None and "session" in tables:
        meant = _of_player_in_time(SESSION, SESSION.c.started_at, selection)
        count = select(func.count()).select_from(SESSION).where(meant)
        sessions = connection.scalar(count) or 0
        connection.execute(delete(SESSION).where(meant))
    _delete_unneeded(connection, tables)
    return takes, sessions


def _delete_unneeded(connection: Connection, tables: set[str]) -> None:
    """Licks, players and devices that nothing belongs to any more."""
    needed = {
        LICK: select(TAKE.c.lick_id),
        PLAYER: select(TAKE.c.player_id),
        DEVICE: select(TAKE.c.device_id).where(TAKE.c.device_id.is_not(None)),
    }
    also = {PLAYER: SESSION.c.player_id, DEVICE: CALIBRATION.c.device_id}
    for table, query in needed.items():
        used = [table.c.id.in_(query)]
        if table in also and also[table].table.name in tables:
            used.append(table.c.id.in_(select(also[table])))
        connection.execute(delete(table).where(~or_(*used)))


def _sweep(engine: Engine) -> None:
    """Leave no trace in free pages or in the log."""
    with engine.connect() as connection:
        if engine.dialect.name != "sqlite":
            connection.execution_options(isolation_level="AUTOCOMMIT")
            connection.execute(text("VACUUM"))
            return
        raw = connection.connection.driver_connection
        assert raw is not None
        raw.execute("VACUUM")
        raw.execute("PRAGMA wal_checkpoint(TRUNCATE)")


def _clean_backup(store: Store, name: str, selection: Selection) -> None:
    """Delete the same from one backup, whatever its schema version."""
    if store.place.file is None:
        with store.engine.begin() as connection:
            tables = set(inspect(connection).get_table_names(schema=name))
            connection.execute(text(f"SET LOCAL search_path TO {name}"))
            _delete(connection, selection, tables)
        _sweep(store.engine)
        return
    engine = sqlite_engine(URL.create("sqlite", database=name))
    try:
        with engine.begin() as connection:
            tables = set(inspect(connection).get_table_names())
            _delete(connection, selection, tables)
        _sweep(engine)
        with engine.connect() as connection:
            raw = connection.connection.driver_connection
            assert raw is not None
            raw.execute("PRAGMA journal_mode=DELETE")  # a backup is one file
    finally:
        engine.dispose()
