"""Keep takes in a process that is killed, at every statement or after some time.

Run by test_history_crash.py: ``crash_driver.py WHERE statements|times|schema``.  Writes
a line of JSON for each process that was killed: takes it had acknowledged, takes found.
``schema`` only opens the store, which brings an old one up to date; found is then the
number of the schema, and what its tables hold.
"""

from __future__ import annotations

import json
import os
import random
import signal
import sys
import time
from typing import Any

import alembic.runtime.environment  # noqa: F401  once, before all the forks
import stores
from sqlalchemy import create_engine, event, inspect, text
from sqlalchemy.engine import Engine

from assessor.history.place import place_of
from assessor.history.store import open_store
from assessor.history.takes import Kept, ToKeep, keep, result_of, takes_of

TAKES = 3
RANDOM_KILLS = 25
MOST = 500  # statements that are tried


def die_at(count: int) -> None:
    """Kill this process before its statement, commit or return number `count`."""
    left = [count]

    def step(*_: Any) -> None:
        left[0] -= 1
        if left[0] <= 0:
            os.kill(os.getpid(), signal.SIGKILL)

    for name in ("before_cursor_execute", "after_cursor_execute", "commit"):
        event.listen(Engine, name, step)


def child(where: str, takes: list[ToKeep], pipe: int) -> None:
    """Keep every take, and say so after each."""
    with open_store(where) as store:
        for what in takes:
            kept: Kept = keep(store, what, stores.NOW)
            assert kept.take_id
            os.write(pipe, what.result["recording"]["sha256"].encode() + b"\n")


def run(where: str, takes: list[ToKeep], at: int, after_s: float) -> dict[str, Any]:
    """One process, killed; then look at what it left."""
    receiver, sender = os.pipe()
    pid = os.fork()
    if not pid:
        if at:
            die_at(at)
        child(where, takes, sender)
        os._exit(0)
    os.close(sender)
    if after_s:
        time.sleep(after_s)
        os.kill(pid, signal.SIGKILL)
    _, status = os.waitpid(pid, 0)
    with os.fdopen(receiver) as stream:
        acknowledged = stream.read().split()
    outcome = {"killed": bool(status), "acknowledged": acknowledged}
    return outcome | (look(where, takes) if takes else look_at_tables(where))


def look(where: str, takes: list[ToKeep]) -> dict[str, Any]:
    """Takes in the store, whether each is whole, and what the database says."""
    results = {what.result["recording"]["sha256"]: what.result for what in takes}
    with open_store(where) as store:
        found = [take for take in takes_of(store) if take.digest in results]
        whole = all(
            result_of(store, take.take_id)
            == json.loads(json.dumps(results[take.digest]))
            for take in found
        )
        check = "ok"
        if store.place.file is not None:
            with store.engine.connect() as connection:
                check = str(connection.scalar(text("PRAGMA integrity_check")))
                broken = connection.execute(text("PRAGMA foreign_key_check")).all()
                whole = whole and not broken
    return {"found": [take.digest for take in found], "whole": whole, "check": check}


def look_at_tables(where: str) -> dict[str, Any]:
    """Schema of the store as it lies there; to open it would bring it up to date."""
    engine = create_engine(place_of(where).url)
    with engine.connect() as connection:
        number = connection.scalar(text("SELECT version_num FROM alembic_version"))
        inspector = inspect(connection)
        tables = {
            name: sorted(column["name"] for column in inspector.get_columns(name))
            for name in inspector.get_table_names()
        }
    engine.dispose()
    return {"version": number, "tables": json.dumps(tables, sort_keys=True)}


def takes_s(where: str) -> float:
    """Seconds that a process takes which is left alone, on this machine."""
    takes = [stores.to_keep(k) for k in range(TAKES)]
    seconds = []
    for number in range(2):
        start_s = time.perf_counter()
        assert not run(f"{where}.whole{number}", takes, 0, 0.0)["killed"]
        seconds.append(time.perf_counter() - start_s)
    return min(seconds)


def main(where: str, kind: str) -> None:
    """Kill at every statement until one process gets through, or at times."""
    chance = random.Random(6)
    longest_s = takes_s(where) if kind == "times" else 0.0
    # every second one: a commit in between shifts before to after and back
    kills = range(1, RANDOM_KILLS + 1) if kind == "times" else range(1, MOST, 2)
    for number in kills:
        count = 0 if kind == "schema" else TAKES
        takes = [stores.to_keep(number * TAKES + k) for k in range(count)]
        # a file is new each time, so that its making is killed as well
        same = "://" in where or kind == "schema"
        place = where if same else f"{where}.{number}"
        at = number if kind != "times" else 0
        after_s = 0.0 if at else chance.uniform(0.001, longest_s)
        outcome = run(place, takes, at, after_s)
        sys.stdout.write(json.dumps(outcome) + "\n")
        sys.stdout.flush()
        if at and not outcome["killed"]:
            return


if __name__ == "__main__":
    main(*sys.argv[1:])
