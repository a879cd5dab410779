"""A crash at any instant loses no take that was acknowledged, and breaks none."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
import stores
from sqlalchemy import text

from assessor.history import migrate
from assessor.history.store import open_store
from assessor.history.takes import takes_of

TESTS = Path(__file__).parent


def outcomes(where: str, kind: str) -> list[dict[str, Any]]:
    """What each killed process had acknowledged, and what it left."""
    done = subprocess.run(
        [sys.executable, str(TESTS / "crash_driver.py"), where, kind],
        capture_output=True,
        text=True,
        check=True,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
    )
    return [json.loads(line) for line in done.stdout.splitlines()]


def check(found: list[dict[str, Any]]) -> None:
    """Every acknowledged take is there and whole; at most one more is."""
    for one in found:
        assert one["check"] == "ok"
        assert one["whole"]
        assert one["found"][: len(one["acknowledged"])] == one["acknowledged"]
        # killed between the commit and the answer
        assert len(one["found"]) - len(one["acknowledged"]) in (0, 1)


@pytest.mark.parametrize("kind", stores.BOTH)
def test_killed_at_every_statement(kind: str, tmp_path: Path) -> None:
    """Before or after each statement and commit, those of the first tables too."""
    with stores.place(kind, tmp_path) as where:
        found = outcomes(where, "statements")
    check(found)
    *killed, last = found
    assert all(one["killed"] for one in killed)
    assert not last["killed"]
    assert len(last["acknowledged"]) == 3
    # kills fell before and between takes
    assert {len(one["acknowledged"]) for one in killed} == {0, 1, 2}
    assert len(killed) > 20


def test_killed_at_any_time(tmp_path: Path) -> None:
    """While SQLite itself writes, too."""
    found = outcomes(str(tmp_path / "history.db"), "times")
    check(found)
    assert sum(one["killed"] for one in found) >= 4  # the rest was done by then


@pytest.mark.parametrize("kind", stores.BOTH)
def test_killed_while_the_schema_changes(kind: str, tmp_path: Path) -> None:
    """The old schema or the new one, never between; take and backup are there."""
    with stores.place(kind, tmp_path) as where:
        with open_store(where) as store:
            stores.put(store, 1)
            with store.engine.begin() as connection:
                for statement in stores.BACK_TO_0001:
                    connection.execute(text(statement))
        *killed, last = outcomes(where, "schema")
        assert len(killed) > 20
        assert not last["killed"]
        shapes = {(one["version"], one["tables"]) for one in (*killed, last)}
        # two whole ones, whatever was cut short
        assert len(shapes) == 2
        assert {version for version, _ in shapes} == {"0001", migrate.HEAD}
        with open_store(where) as store:
            assert [take.digest for take in takes_of(store)] == [f"{1:064x}"]
            assert migrate.backups_of(store.engine, store.place)
