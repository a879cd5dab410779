"""How a long history behaves: takes kept, their size, and the time to look back.

    python benchmarks/history.py [--takes 10000] [--licks 20] [--store PATH-OR-URL]

Every take is one of the shipped ones as the program assesses it (7 to 60 notes with
all that was measured), under another digest and on another day of three years.  Times
are of the wall clock, the two commands run as a person runs them, cold.
"""

from __future__ import annotations

import argparse
import os
import re
import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from assessor import lick, recording, report
from assessor.assessment import assess
from assessor.history.store import open_store
from assessor.history.takes import ToKeep, keep
from assessor.lick.notation import Lick

TOP = Path(__file__).parents[1]
DAYS = 3 * 365
ONE = "Swung eighths over a two-five-one 0"  # the lick that is looked at alone


def shipped() -> list[tuple[Lick, dict[str, Any]]]:
    """Every shipped take with its lick and its result."""
    found = []
    for text in sorted((TOP / "recordings").glob("*.txt")):
        named = re.search(r"references/\S+\.lick", text.read_text(encoding="utf-8"))
        assert named is not None
        asked = lick.read(TOP / named[0])
        heard = recording.read(text.with_suffix(".flac"))
        found.append((asked, report.result(assess(heard, asked))))
    return found


def fill(where: str, count: int, licks: int) -> list[float]:
    """Keep takes; seconds each one took."""
    takes, now = shipped(), datetime.now(UTC)
    seconds = []
    with open_store(where) as store:
        for number in range(count):
            asked, result = takes[number % len(takes)]
            result = {**result, "recording": {**result["recording"]}}
            result["recording"]["sha256"] = f"{number:064x}"
            # more licks than ship: the same ones with another capo
            capo = (number // len(takes)) % max(licks // len(takes), 1)
            title = f"{asked.title} {capo}"
            changed = replace(asked, capo=asked.capo + capo, title=title)
            what = ToKeep(
                result=result,
                lick=changed,
                lick_file="a.lick",
                take_file=f"take-{number}.flac",
                recorded_at=now - timedelta(days=DAYS * (count - number) / count),
            )
            start_s = time.perf_counter()
            keep(store, what, now)
            seconds.append(time.perf_counter() - start_s)
    return seconds


def command_s(where: str, *words: str) -> float:
    """Time of one command, the middle of five."""
    times = []
    for _ in range(5):
        start_s = time.perf_counter()
        subprocess.run(
            [sys.executable, "-m", "assessor", *words, "--store", where],
            check=True,
            capture_output=True,
            cwd=TOP,
            env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
        )
        times.append(time.perf_counter() - start_s)
    return statistics.median(times)


def main() -> None:
    """Fill a store and measure it."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--takes", type=int, default=10_000)
    parser.add_argument("--licks", type=int, default=20)
    parser.add_argument("--store", default="")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        where = asked.store or str(Path(folder) / "history.db")
        seconds = fill(where, asked.takes, asked.licks)
        middle = 1000 * statistics.median(seconds)
        late = 1000 * sorted(seconds)[int(0.95 * len(seconds))]
        print(f"a take kept: median {middle:.1f} ms, 95 % {late:.1f} ms")
        if "://" not in where:
            size = Path(where).stat().st_size / asked.takes
            print(f"a take in the database: {size / 1000:.1f} kB")
        print(f"progress, all licks: {command_s(where, 'progress'):.2f} s")
        one = command_s(where, "progress", ONE)
        print(f"progress, one lick: {one:.2f} s")
        print(f"practice plan: {command_s(where, 'practice', 'plan', '30'):.2f} s")


main()
