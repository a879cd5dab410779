"""Stores to test with, on both databases, and histories made by hand."""

from __future__ import annotations

import os
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import hand_made as made
import numpy as np
import pytest
from sqlalchemy import create_engine, make_url, text

from assessor import report
from assessor.assessment import USUAL, Settings
from assessor.history.store import Store, open_store
from assessor.history.takes import Kept, ToKeep, keep
from assessor.lick.notation import Lick

# A database of a server on which the tests may make others, such as
# postgresql://postgres@127.0.0.1/postgres
SERVER = "ASSESSOR_TEST_POSTGRESQL"
BOTH = ("sqlite", "postgresql")
NOW = datetime(2026, 11, 25, 18, 0, tzinfo=UTC)
# From the newest schema to the first, as an old program would have left it
BACK_TO_0001 = (
    "DROP TABLE session",
    "DROP TABLE calibration",
    "ALTER TABLE player DROP COLUMN child",
    "ALTER TABLE device DROP COLUMN line",
    "ALTER TABLE take DROP COLUMN a_level_dbfs",
    "UPDATE alembic_version SET version_num = '0001'",
)
LICK = made.lick([k / 2 for k in range(16)], title="Sixteen of them")


def server() -> str:
    """URL of the server; without one the test is skipped, but not in CI."""
    url = os.environ.get(SERVER, "")
    if not url and os.environ.get("CI"):
        pytest.fail(f"CI sets no {SERVER}")
    if not url:
        pytest.skip(f"no PostgreSQL server: set {SERVER} to its URL")
    return url


@contextmanager
def place(kind: str, folder: Path) -> Iterator[str]:
    """Where a new store can be, for one test."""
    if kind == "sqlite":
        yield str(folder / "history.db")
        return
    url = make_url(server()).set(drivername="postgresql+psycopg")
    name = f"assessor_{uuid.uuid4().hex}"
    engine = create_engine(url, isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.execute(text(f"CREATE DATABASE {name}"))
    try:
        yield url.set(database=name).render_as_string(hide_password=False)
    finally:
        with engine.connect() as connection:
            connection.execute(text(f"DROP DATABASE {name} WITH (FORCE)"))
        engine.dispose()


@contextmanager
def new_store(kind: str, folder: Path) -> Iterator[Store]:
    """A store with nothing in it."""
    with place(kind, folder) as where, open_store(where) as store:
        yield store


def result(
    number: int = 0,
    *,
    lick: Lick = LICK,
    late_ms: float = 5.0,
    pace: float = 1.0,
    settings: Settings = USUAL,
    duration_s: float = 12.0,
    missed: tuple[int, ...] = (),
) -> dict[str, Any]:
    """Result file of take `number`, whose onsets scatter by `late_ms`."""
    random = np.random.default_rng(number)
    late_s = late_ms / 1000 * random.standard_normal(len(lick))
    notes: list[Any] = [*made.as_written(lick, pace=pace, late_s=late_s)]
    for index in missed:
        notes[index] = None
    passage = made.passage(notes, tempo_ratio=1 / pace)
    facts = {"digest": f"{number:064x}"}
    assessed = made.assessed(
        lick, passage, settings=settings, duration_s=duration_s, facts=facts
    )
    return report.result(assessed)


def to_keep(
    number: int = 0, *, days_ago: float = 0.0, lick: Lick = LICK, **fields: Any
) -> ToKeep:
    """Take `number`, ready to be kept; `fields` of `ToKeep` and of `result`."""
    kept = {key: fields.pop(key) for key in ToKeep.__annotations__ if key in fields}
    heard = kept.pop("result", None) or result(number, lick=lick, **fields)
    return ToKeep(
        result=heard,
        lick=lick,
        lick_file="sixteen.lick",
        take_file=f"take{number}.wav",
        recorded_at=NOW - timedelta(days=days_ago),
        **kept,
    )


def put(store: Store, number: int = 0, **fields: Any) -> Kept:
    """Keep take `number`, as `to_keep` says."""
    return keep(store, to_keep(number, **fields), NOW)
