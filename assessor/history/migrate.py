"""Bring a store to the newest schema, with a backup before each step.

On SQLite the backup is a file beside the store (``VACUUM INTO``), on PostgreSQL a
schema of the same database.  A step is one transaction: it is done, or it never was.
"""

from __future__ import annotations

import os
import re
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, Engine, inspect, text
from sqlalchemy.exc import DatabaseError

from assessor.errors import HistoryError
from assessor.history.place import Place

if TYPE_CHECKING:
    from alembic.runtime.migration import MigrationContext
    from alembic.script import ScriptDirectory

HEAD = "0002"
BACKUP_SCHEMA = re.compile(r"before_\d{4}_\d{8}t\d{6}z")


def version(engine: Engine) -> str:
    """Schema version of a store; empty when nothing is in it yet.

    Raises
    ------
    HistoryError
        When it holds tables of something else.
    """
    with engine.connect() as connection:
        with suppress(DatabaseError):
            found = connection.scalar(text("SELECT version_num FROM alembic_version"))
            if found:
                return str(found)
        connection.rollback()
        if inspect(connection).get_table_names():
            message = (
                "this database holds something else than takes; name another with "
                "--store"
            )
            raise HistoryError(message)
    return ""


def upgrade(engine: Engine, place: Place, target: str = HEAD) -> None:
    """Run the steps that are missing up to `target`.

    Raises
    ------
    HistoryError
        When the store was made by a newer program.
    """
    # alembic takes a third of a second to import: only when there is work for it
    from alembic.script import ScriptDirectory

    script = ScriptDirectory(str(Path(__file__).parent / "migrations"))
    steps = script.walk_revisions("base", target)
    numbers = [step.revision for step in steps][::-1]
    found = version(engine)
    if found and found not in numbers:
        message = (
            f"this store has schema {found}, the newest this program knows is {HEAD}; "
            "bring the program up to date"
        )
        raise HistoryError(message, str(place), found, HEAD)
    for number in numbers[numbers.index(found) + 1 if found else 0 :]:
        _step(engine, place, script, number, back_up=bool(found))


def _step(
    engine: Engine,
    place: Place,
    script: ScriptDirectory,
    number: str,
    *,
    back_up: bool,
) -> None:
    """One step, in one transaction, unless somebody else did it meanwhile."""
    with engine.connect() as connection:
        if place.file is not None:
            if back_up:
                _back_up_file(connection, place.file, number)
            _foreign_keys(connection, "OFF")  # else a table made anew loses its rows
        try:
            with connection.begin():
                if place.file is None and back_up:
                    _back_up_schema(connection, number)
                _run(connection, script, number)
                if place.file is not None:
                    _check_references(connection)
        finally:
            if place.file is not None:
                _foreign_keys(connection, "ON")


def _run(connection: Connection, script: ScriptDirectory, number: str) -> None:
    """Let alembic do what is missing up to one number, on this connection."""
    from alembic.config import Config
    from alembic.runtime.environment import EnvironmentContext

    def missing(found: str, _: MigrationContext) -> list[Any]:
        return script._upgrade_revs(number, found)

    with EnvironmentContext(Config(), script, fn=missing) as environment:
        environment.configure(connection=connection, render_as_batch=True)
        environment.run_migrations()


def backups_of(engine: Engine, place: Place) -> list[str]:
    """Backups there are, oldest first: paths, or names of schemas."""
    if place.file is None:
        names = inspect(engine).get_schema_names()
        return sorted(name for name in names if BACKUP_SCHEMA.fullmatch(name))
    pattern = f"{place.file.name}.before-*.backup"
    return sorted(str(file) for file in place.file.parent.glob(pattern))


def _stamp() -> str:
    return f"{datetime.now(UTC):%Y%m%dT%H%M%SZ}"


def _back_up_file(connection: Connection, file: Path, number: str) -> None:
    """Copy a store, whole or not at all."""
    raw = connection.connection.driver_connection
    assert raw is not None
    backup = file.with_name(f"{file.name}.before-{number}.{_stamp()}.backup")
    part = backup.with_suffix(".part")
    # made first, for its owner alone; an empty file may be written to
    os.close(os.open(part, os.O_CREAT | os.O_WRONLY | os.O_TRUNC, 0o600))
    raw.execute("VACUUM INTO ?", (str(part),))
    os.replace(part, backup)


def _back_up_schema(connection: Connection, number: str) -> None:
    tables = inspect(connection).get_table_names()
    name = f"before_{number}_{_stamp()}".lower()
    connection.execute(text(f"CREATE SCHEMA {name}"))
    for table in tables:
        connection.execute(text(f'CREATE TABLE {name}."{table}" AS TABLE "{table}"'))


def _foreign_keys(connection: Connection, state: str) -> None:
    raw = connection.connection.driver_connection
    assert raw is not None
    raw.execute(f"PRAGMA foreign_keys={state}")


def _check_references(connection: Connection) -> None:
    broken = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
    if broken:
        message = f"{len(broken)} rows would lose what they belong to; nothing changed"
        raise HistoryError(message)
