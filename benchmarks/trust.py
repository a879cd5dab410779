"""Measure how far the assessor's own doubts can be trusted.

    python benchmarks/trust.py DIR [DIR ...] [--every N]

For takes with exact truth (as `judge.py` reads them) prints

* how often the stated 95 % intervals of onset and pitch hold the truth, for dry and for
  degraded takes, by kind of take;
* how often a verdict is true, beside the probability stated with it, and the Brier
  score of each verdict (mean squared difference of the two, Brier 1950).
"""

from __future__ import annotations

import argparse
import json
from collections import defaultdict
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
from takes import scoring

from assessor import lick, recording
from assessor.assessment import Assessment, assess
from assessor.errors import AlignmentError

EDGES = (0.0, 0.5, 0.7, 0.8, 0.9, 0.95, 0.98, 1.0001)


@dataclass
class Trust:
    """What was stated and what was true.

    Attributes
    ----------
    inside : dict
        (reading, group) -> list of bool: the interval held the truth.
    verdicts : dict
        Verdict -> list of (probability, was true).
    unsure, written : int
        Notes that no verdict was given on, and all notes.
    """

    inside: dict[tuple[str, str], list[bool]] = field(
        default_factory=lambda: defaultdict(list)
    )
    verdicts: dict[str, list[tuple[float, bool]]] = field(
        default_factory=lambda: defaultdict(list)
    )
    unsure: int = 0
    written: int = 0


def add(
    trust: Trust, found: Assessment, truth: dict[str, Any], calibration: dict[str, Any]
) -> None:
    """Hold one assessment against its truth."""
    performed = found.best_pass.performed
    played = {n["expected_index"]: n for n in truth["performed"]}
    wrong = {w["expected_index"]: w["played_midi"] for w in truth["injected"]["wrong"]}
    missed = {m["expected_index"] for m in truth["injected"]["missed"]}
    dry = truth["degradation"] == "none"
    groups = ("dry" if dry else "degraded", truth["kind"] if dry else "")
    known = [n for n in performed.notes if n.played and n.index in played]
    late_s = {n.index: n.played.onset_s - played[n.index]["onset_s"] for n in known}
    bias_s = float(np.median(list(late_s.values()) or [0.0]))
    trust.written += len(performed.notes)
    for note in performed.notes:
        if note.verdict == "unsure":
            trust.unsure += 1
            continue
        true = "missed" if note.index in missed else "right"
        if note.index in wrong:
            same = note.played and note.played.midi_number == wrong[note.index]
            true = "wrong" if same or note.verdict != "wrong" else "other"
        trust.verdicts[note.verdict].append((note.probability, note.verdict == true))
    for note in known:
        away_s = abs(late_s[note.index] - bias_s)
        error = _pitch_error(note, played[note.index], calibration, truth)
        for group in filter(None, groups):
            trust.inside["onset", group].append(
                away_s <= note.played.onset_uncertainty_s
            )
            if error is not None:
                limit = note.played.steady_uncertainty_cents
                trust.inside["pitch", group].append(error <= limit)


def _pitch_error(
    note: Any, true: dict[str, Any], calibration: dict[str, Any], truth: dict[str, Any]
) -> float | None:
    """Size of a plain note's pitch error in cents; None where there is no truth."""
    reading = {"midi_number": note.played.steady_midi}
    if np.isnan(note.played.steady_midi) or note.played.midi_number != true["midi"]:
        return None
    error = scoring.pitch_error(true, reading, calibration)
    return None if error is None else abs(error - truth.get("tuning_cents", 0.0))


def print_trust(trust: Trust) -> None:
    """Print both tables."""
    print(f"unsure of {100 * trust.unsure / trust.written:.2f} in 100 notes\n")
    groups = dict.fromkeys(group for _, group in trust.inside)
    print("| truth inside the 95 % interval | onset | pitch | notes |")
    print("|---|---|---|---|")
    for group in groups:
        onset, pitch = (trust.inside[name, group] for name in ("onset", "pitch"))
        share = f"{np.mean(pitch):.3f}" if pitch else "–"
        print(f"| {group} | {np.mean(onset):.3f} | {share} | {len(onset)} |")
    for verdict, stated in trust.verdicts.items():
        probability, true = np.array(stated, float).T
        brier = np.mean((probability - true) ** 2)
        print(f"\n{verdict}: {len(true)} findings, Brier score {brier:.4f}")
        for low, high in pairwise(EDGES):
            there = (probability >= low) & (probability < high)
            if there.any():
                print(
                    f"  stated {probability[there].mean():.3f}  "
                    f"true {true[there].mean():.3f}  of {there.sum()}"
                )


def main() -> None:
    """Read the command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folders", type=Path, nargs="+")
    parser.add_argument("--every", type=int, default=1, help="take each Nth take only")
    arguments = parser.parse_args()
    trust = Trust()
    for folder in arguments.folders:
        calibration = json.loads((folder / "calibration.json").read_text())
        names = json.loads((folder / "manifest.json").read_text())
        for name in names[:: arguments.every]:
            truth = json.loads((folder / f"{name}.json").read_text())
            asked = lick.read(folder / f"{name}.musicxml")
            try:
                found = assess(recording.read(folder / f"{name}.wav"), asked)
            except AlignmentError:
                continue
            add(trust, found, truth, calibration)
    print_trust(trust)


if __name__ == "__main__":
    main()
