"""Judge the assessor on takes whose truth is known.

    python benchmarks/judge.py DIR [DIR ...] [--only TEXT] [--jobs N] [--out FOLDER]

Each folder holds ``manifest.json``, ``calibration.json`` and, for every take, a WAV,
a MusicXML lick and a truth file, as `phrases.py` makes them.  Prints every measure
(definitions: `takes.scoring`) for all dry takes, each kind of dry take, all degraded
takes and each degradation, of every folder and then of all together;
``cpu_ms_per_s`` is the CPU time of `assess` for one second of sound.  With ``--out``
the result files are kept.
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from takes import scoring

from assessor import lick, recording, report
from assessor.assessment import assess
from assessor.errors import AlignmentError

COLUMNS = 8  # groups side by side
RINGING_KINDS = ("legato", "overlap", "dynamics")


@dataclass(frozen=True)
class Judged:
    """One take, judged."""

    name: str
    groups: tuple[str, ...]
    score: scoring.TakeScore
    cpu_s: float
    seconds: float


def groups_of(truth: dict[str, Any]) -> tuple[str, ...]:
    """Name the columns a take counts in."""
    kind = truth["kind"].replace("errors2", "errors")
    degradation = truth["degradation"]
    if degradation == "none":
        noise = truth.get("noise")
        return ("all dry", kind) + ((f"with {noise}",) if noise else ())
    hard = degradation == "bedroom" and kind in RINGING_KINDS
    return ("all degraded", degradation) + (("bedroom, hard kinds",) if hard else ())


def judge(take: Path, out: Path | None) -> Judged:
    """Assess one take and score it."""
    truth = json.loads(take.with_suffix(".json").read_text())
    calibration = json.loads((take.parent / "calibration.json").read_text())
    heard = recording.read(take)
    asked = lick.read(take.with_suffix(".musicxml"))
    start = time.process_time()
    try:
        result = report.result(assess(heard, asked))
    except AlignmentError:
        result = {"tuning_cents": 0.0, "passes": []}
    cpu_s = time.process_time() - start
    if out is not None:
        (out / f"{take.stem}.json").write_text(json.dumps(result))
    score = scoring.score(truth, calibration, result)
    return Judged(take.stem, groups_of(truth), score, cpu_s, heard.duration_s)


def table(judged: Sequence[Judged]) -> dict[str, dict[str, float]]:
    """Every measure of every group: dry ones, then degraded ones."""
    found = {take.groups for take in judged}
    ordered = dict.fromkeys(
        group
        for first in ("all dry", "all degraded")
        for groups in sorted(found)
        if groups[0] == first
        for group in groups
    )
    totals = {}
    for group in ordered:
        members = [take for take in judged if group in take.groups]
        spent_s = sum(take.cpu_s for take in members)
        seconds = sum(take.seconds for take in members)
        totals[group] = scoring.total([take.score for take in members])
        totals[group]["cpu_ms_per_s"] = 1000 * spent_s / seconds
    return totals


def print_table(totals: dict[str, dict[str, float]]) -> None:
    """Print measures downwards, groups sideways."""
    groups = list(totals)
    for first in range(0, len(groups), COLUMNS):
        some = groups[first : first + COLUMNS]
        print("\n| | " + " | ".join(some) + " |")
        print("|---" * (len(some) + 1) + "|")
        for measure in totals[groups[0]]:
            figures = (totals[group][measure] for group in some)
            cells = ("–" if f != f else f"{f:.3g}" for f in figures)
            print(f"| {measure} | " + " | ".join(cells) + " |")


def faults_of(take: Judged) -> str:
    """List a take's false and lost reports in one line; empty when there are none."""
    parts = []
    for fault, (_, false, lost) in take.score.counts.items():
        parts += [f"{false} false {fault}"] if false else []
        parts += [f"{lost} lost {fault}"] if lost else []
    return f"{take.name}: {', '.join(parts)}" if parts else ""


def main() -> None:
    """Read the command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folders", type=Path, nargs="+")
    parser.add_argument("--only", default="", help="takes whose name holds this")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--out", type=Path, help="folder for the result files")
    parser.add_argument("--list", action="store_true", help="name the takes misjudged")
    arguments = parser.parse_args()
    if arguments.out is not None:
        arguments.out.mkdir(parents=True, exist_ok=True)
    together: list[Judged] = []
    for folder in arguments.folders:
        names = json.loads((folder / "manifest.json").read_text())
        takes = [folder / f"{n}.wav" for n in names if arguments.only in n]
        work = partial(judge, out=arguments.out)
        if arguments.jobs == 1:
            judged = [work(take) for take in takes]
        else:
            with ProcessPoolExecutor(arguments.jobs) as pool:
                judged = list(pool.map(work, takes, chunksize=4))
        print(f"\n{folder}: {len(judged)} takes")
        if arguments.list:
            print(*filter(None, map(faults_of, judged)), sep="\n")
        print_table(table(judged))
        together += judged
    if len(arguments.folders) > 1:
        print(f"\nall together: {len(together)} takes")
        print_table(table(together))


if __name__ == "__main__":
    main()
