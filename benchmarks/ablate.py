"""What each stage of the ears brings: the same takes with one stage left out.

    python benchmarks/ablate.py DIR [DIR ...] [--every N]

Prints false and lost reports (wrong, missed, extra), unsure notes, and the onset error,
for dry and for degraded takes, with everything in place and with one thing taken away.
A stage that earns nothing shows here.
"""

from __future__ import annotations

import argparse
import contextlib
import json
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from dataclasses import replace
from pathlib import Path
from typing import Any
from unittest import mock

import numpy as np
from takes import scoring

from assessor import alignment, lick, onset, pitch, recording, report, second_look, warp
from assessor.assessment import assess
from assessor.errors import AlignmentError

Change = Callable[[], AbstractContextManager[object]]


def _certain(events: onset.Events) -> onset.Events:
    """Events decided one by one: the likeliest pitch or nothing, and no doubt."""
    hard = np.full_like(events.log_probability, np.log(0.03 / 53))
    likeliest = events.log_probability.argmax(axis=1)
    hard[np.arange(len(hard)), likeliest] = np.log(0.97)
    return replace(events, log_probability=hard)


@contextlib.contextmanager
def _segment_first() -> Iterator[None]:
    weigh = onset.weigh
    with (
        mock.patch.object(onset, "weigh", lambda *a: _certain(weigh(*a))),
        mock.patch.object(second_look, "weigh", lambda *a: _certain(weigh(*a))),
    ):
        yield


def _no_second_look() -> AbstractContextManager[object]:
    return mock.patch.object(second_look, "confirm", lambda found, *_: found)


def _no_time() -> AbstractContextManager[object]:
    return mock.patch.object(warp.Expectation, "cost", return_value=0.0)


def _no_ringing() -> AbstractContextManager[object]:
    return mock.patch.object(warp, "RINGING", 0.0)


def _no_moving_starts() -> AbstractContextManager[object]:
    return mock.patch.object(warp, "_starts", return_value={0: 0.0})


def _no_bent_drop() -> AbstractContextManager[object]:
    return mock.patch.object(warp, "BENT_DROP", 1e3)


def _no_missed_judged() -> AbstractContextManager[object]:
    return mock.patch.object(second_look, "_judged", lambda _, match: match)


def _no_extra_judged() -> AbstractContextManager[object]:
    return mock.patch.object(
        second_look, "_judged_extras", lambda _, found: list(found.extras)
    )


def _no_pitch_judged() -> AbstractContextManager[object]:
    return mock.patch.object(
        second_look, "_read", lambda _, match: alignment.calibrated(match)
    )


def _no_prediction() -> AbstractContextManager[object]:
    return mock.patch.object(pitch, "hidden_rise", return_value=None)


CHANGES: dict[str, Change] = {
    "everything": contextlib.nullcontext,
    "each event decided alone": _segment_first,
    "no second look": _no_second_look,
    "no expected time": _no_time,
    "ringing pitches may be anew": _no_ringing,
    "slides and bends begin at the fret": _no_moving_starts,
    "events inside bends are notes": _no_bent_drop,
    "missed notes not judged": _no_missed_judged,
    "extra notes not judged": _no_extra_judged,
    "pitches not judged": _no_pitch_judged,
    "no prediction of ringing sound": _no_prediction,
}


def judge(take: Path) -> scoring.TakeScore:
    """Assess one take and score it."""
    truth = json.loads(take.with_suffix(".json").read_text())
    calibration = json.loads((take.parent / "calibration.json").read_text())
    asked = lick.read(take.with_suffix(".musicxml"))
    result: dict[str, Any] = {"tuning_cents": 0.0, "passes": []}
    with contextlib.suppress(AlignmentError):
        result = report.result(assess(recording.read(take), asked))
    return scoring.score(truth, calibration, result)


def row(scores: list[scoring.TakeScore]) -> str:
    """Cells of one table row."""
    if not scores:
        return " | ".join("–" * 5)
    counts = np.sum([[s.counts[f] for f in scoring.FAULTS] for s in scores], axis=0)
    cells = [f"{false}+{lost}" for _, false, lost in counts]
    unsure = sum(s.unsure for s in scores)
    onset_ms = np.mean(np.abs(np.concatenate([s.onset_ms for s in scores])))
    return " | ".join([*cells, str(unsure), f"{onset_ms:.2f}"])


def main() -> None:
    """Read the command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folders", type=Path, nargs="+")
    parser.add_argument("--every", type=int, default=1, help="take each Nth take only")
    arguments = parser.parse_args()
    takes = [
        folder / f"{name}.wav"
        for folder in arguments.folders
        for name in json.loads((folder / "manifest.json").read_text())
    ][:: arguments.every]
    print("false + lost, takes:", len(takes), "\n")
    columns = "wrong | missed | extra | unsure | onset ms"
    print(f"| | {columns} | degraded: {columns} |")
    print("|---" * 11 + "|")
    for name, change in CHANGES.items():
        with change():
            judged = {take: judge(take) for take in takes}
        dry = [score for take, score in judged.items() if "__" not in take.stem]
        hard = [score for take, score in judged.items() if "__" in take.stem]
        print(f"| {name} | {row(dry)} | {row(hard)} |", flush=True)


if __name__ == "__main__":
    main()
