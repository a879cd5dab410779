"""Measure what is written down of takes whose truth is known, without their licks.

    python benchmarks/transcribe.py DIR [DIR ...] [--degraded] [--list]

Each folder holds takes as `judge.py` reads them.  Prints for every kind of take

* notes: precision, recall and F1 of fretted pitch and onset (50 ms; mir_eval, Raffel
  et al. 2014), and the share of takes without any false or lost note.  A pre-bend that
  is never let down is left out: it sounds like a plain note of its target.
* rhythm right: of the notes that were played, how many stand on the written part of
  their beat and as far from the next one as written: with the tempo given; with the
  tempo found; and with the tempo found when all values of a take may be written longer
  or shorter by one factor (what is played evenly cannot be told apart otherwise).
* length right: of these, how many have the written length, rests and all.
* tempo found: share of takes within 4 %, and within 4 % of a simple multiple.
* stroke: share of picked notes written as picked, and of slurred ones as slurred.
* bends: share of bends found, and of these the share whose size is the nearest quarter
  step to what was played; share of vibratos found.
"""

from __future__ import annotations

import argparse
import json
from collections import defaultdict
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Any

import mir_eval
import numpy as np

from assessor import recording
from assessor.errors import TranscriptionError
from assessor.recording import Recording
from assessor.transcription import Feel, Page, Transcription, Wishes, transcribe
from assessor.tuning import midi_to_hz

ONSET_S = 0.05
FACTORS = [Fraction(n, d) for n in (1, 2, 3, 4) for d in (1, 2, 3, 4)]
TEMPO_SHARE = 0.04
FINEST = 48  # parts of a beat that the truth's decimals are read to


@dataclass
class Tally:
    """Counts of one kind of take: name -> (good, all)."""

    counts: dict[str, list[int]] = field(
        default_factory=lambda: defaultdict(lambda: [0, 0])
    )

    def add(self, name: str, good: int, of: int) -> None:
        """Count `good` of `of`."""
        self.counts[name][0] += good
        self.counts[name][1] += of

    def share(self, name: str) -> str:
        """Share in percent."""
        good, of = self.counts[name]
        return f"{100 * good / of:.1f}" if of else "–"


COLUMNS = (
    "takes", "precision", "recall", "F1", "whole", "rhythm, given", "rhythm, found",
    "up to a factor", "length", "tempo", "or multiple", "picked", "slurred", "bends",
    "sizes", "vibrato",
)  # fmt: skip


def judge(take: Path, tally: list[Tally]) -> str:
    """Write down one take and count what is right; what is wrong in words."""
    truth = json.loads(take.with_suffix(".json").read_text())
    heard = recording.read(take)
    try:
        given = _written(heard, truth["bpm"])
        found = _written(heard, None)
    except TranscriptionError as problem:
        for one in tally:
            one.add("recall", 0, len(truth["performed"]))
            one.add("whole", 0, 1)
        return f"{take.stem}: {problem.message}"
    known = [n for n in truth["performed"] if n["articulation"] != "prebend"]
    hidden = len(truth["performed"]) - len(known)
    pairs = dict(_pairs(known, given))
    false = len(given.played) - len(pairs) - hidden
    for one in tally:
        one.add("precision", len(pairs), len(given.played) - hidden)
        one.add("recall", len(pairs), len(known))
        one.add("whole", not false and len(pairs) == len(known), 1)
        _count_rhythm(one, known, truth, given, found)
        _count_techniques(one, known, pairs, given)
    if not false and len(pairs) == len(known):
        return ""
    lost = [k for k in range(len(known)) if k not in pairs]
    places = ", ".join(f"{known[k]['midi']} at {known[k]['onset_s']:.2f}" for k in lost)
    return f"{take.stem}: {false} false, lost: {places or 'none'}"


def _written(heard: Recording, tempo_bpm: float | None) -> Transcription:
    return transcribe(heard, Wishes(Page("take"), Feel(tempo_bpm), which=0))


def _pairs(known: list[Any], found: Transcription) -> list[tuple[int, int]]:
    """Pair notes that were played with those that were written."""
    reference_s = np.array([[n["onset_s"], n["onset_s"] + 0.1] for n in known])
    onset_s = np.array([n.onset_s for n in found.played])
    written_s = np.stack([onset_s, onset_s + 0.1], axis=1)
    paired: list[tuple[int, int]] = mir_eval.transcription.match_notes(
        reference_s,
        midi_to_hz(np.array([float(n["midi"]) for n in known])),
        np.maximum(written_s, 0),
        midi_to_hz(np.array([float(n.midi_number) for n in found.lick.notes])),
        onset_tolerance=ONSET_S,
        offset_ratio=None,
    )
    return paired


def _count_rhythm(
    tally: Tally,
    known: list[Any],
    truth: dict[str, Any],
    given: Transcription,
    found: Transcription,
) -> None:
    """Count notes on their place, with the tempo given and found."""
    ratio = found.tempo_bpm / truth["bpm"]
    factor = min(FACTORS, key=lambda f: abs(np.log(ratio * float(f))))
    on, length, of = _right(known, truth, given, Fraction(1))
    tally.add("rhythm, given", on, of)
    tally.add("length", length, on)
    tally.add("rhythm, found", _right(known, truth, found, Fraction(1))[0], of)
    tally.add("up to a factor", _right(known, truth, found, factor)[0], of)
    tally.add("tempo", abs(ratio - 1) < TEMPO_SHARE, 1)
    tally.add("or multiple", abs(ratio * float(factor) - 1) < TEMPO_SHARE, 1)


def _right(
    known: list[Any], truth: dict[str, Any], found: Transcription, factor: Fraction
) -> tuple[int, int, int]:
    """Notes on their written place, those of their written length too, and all."""
    pairs = dict(_pairs(known, found))
    asked = {n["index"]: n for n in truth["expected"]}
    played = [k for k, n in enumerate(known) if n["expected_index"] is not None]
    on = length = 0
    for k, after in zip(played, [*played[1:], None], strict=True):
        written = asked[known[k]["expected_index"]]
        if k not in pairs or (after is not None and after not in pairs):
            continue
        note = found.lick.notes[pairs[k]]
        right = (note.onset_beats * factor - _beats(written["beat"])) % 1 == 0
        if after is not None:
            there = asked[known[after]["expected_index"]]
            away = found.lick.notes[pairs[after]].onset_beats - note.onset_beats
            apart = _beats(there["beat"]) - _beats(written["beat"])
            right = right and away * factor == apart
        on += right
        length += right and note.duration_beats * factor == _beats(written["beats"])
    return on, length, len(played)


def _beats(value: float) -> Fraction:
    return Fraction(value).limit_denominator(FINEST)


def _count_techniques(
    tally: Tally, known: list[Any], pairs: dict[int, int], found: Transcription
) -> None:
    """Count strokes, bends and vibratos of the notes that were found."""
    for k, index in pairs.items():
        note, true = found.lick.notes[index], known[k]
        kind = true["articulation"]
        slurred = kind in ("hammer_on", "pull_off", "slide")
        tally.add("slurred" if slurred else "picked", note.slurred == slurred, 1)
        if "vibrato" in kind:
            tally.add("vibrato", note.vibrato, 1)
        if "bend" not in kind:
            continue
        bent = note.bend is not None
        tally.add("bends", bent, 1)
        if note.bend is not None:
            size = 50 * round(true["bend_plateau_cents"] / 50)
            tally.add("sizes", note.bend.target_cents == max(size, 50), 1)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--degraded", action="store_true", help="degraded takes too")
    parser.add_argument("--list", action="store_true", help="say what is wrong")
    asked = parser.parse_args()
    tallies: dict[str, Tally] = defaultdict(Tally)
    for folder in asked.folders:
        for take in sorted(folder.glob("*.wav")):
            truth = json.loads(take.with_suffix(".json").read_text())
            dry = truth["degradation"] == "none"
            if not dry and not asked.degraded:
                continue
            kind = truth["kind"].removesuffix("2") if dry else "degraded"
            groups = [
                tallies[kind],
                tallies["all dry" if dry else truth["degradation"]],
            ]
            for group in groups:
                group.add("takes", 0, 1)
            wrong = judge(take, groups)
            if wrong and asked.list:
                print(wrong)
    print("| kind |", " | ".join(COLUMNS), "|")
    print("|---" * (1 + len(COLUMNS)) + "|")
    for kind, tally in sorted(tallies.items()):
        print(f"| {kind} |", " | ".join(_cell(tally, c) for c in COLUMNS), "|")


def _cell(tally: Tally, column: str) -> str:
    if column == "takes":
        return str(tally.counts["takes"][1])
    if column == "F1":
        hits, written = tally.counts["precision"]
        return f"{200 * hits / max(written + tally.counts['recall'][1], 1):.2f}"
    return tally.share(column)


if __name__ == "__main__":
    main()
