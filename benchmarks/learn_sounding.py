"""Learn to tell picked from slurred notes, from takes with exact truth.

    python benchmarks/learn_sounding.py TAKES_DIR ... [--judge OTHER_DIR ...]

Takes are those of ``benchmarks/phrases.py``.  Prints the weights of
`assessor.sounding` (logistic regression, both classes weighing the same, Gaussian
prior) and how often notes are told right, by folder.
"""

from __future__ import annotations

import argparse
import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.optimize import minimize
from threadpoolctl import threadpool_limits

from assessor import alignment, lick, onset, pitch, recording, second_look, sounding
from assessor import spectrum as spectra
from assessor.errors import AlignmentError
from assessor.lick.notation import Articulation

PRIOR = 0.5
KINDS = ("legato", "mixed", "human", "plain", "dynamics")


@dataclass(frozen=True)
class Lesson:
    """Features of notes, shape=(n, k), and whether they were slurred, shape=(n,)."""

    features: np.ndarray
    slurred: np.ndarray


def lesson_of(folder: Path, take: str) -> Lesson | None:
    """Notes of one take; None where it teaches nothing."""
    truth = json.loads((folder / f"{take}.json").read_text())
    if truth["kind"] not in KINDS:
        return None
    asked = lick.read(folder / f"{take}.musicxml")
    heard = spectra.analyse(recording.read(folder / f"{take}.wav"))
    events = onset.events(heard)
    try:
        found = alignment.align(asked, events)
    except AlignmentError:
        return None
    found = second_look.confirm(found, asked, events, heard)
    traced = pitch.trace(found, asked, heard).passes[found.best]
    played = {n["expected_index"]: n["articulation"] for n in truth["performed"]}
    notes = [
        (note, match)
        for note, match in zip(
            traced.notes, found.passes[found.best].matches, strict=True
        )
        if note.played is not None and note.index in played
    ]
    if not notes:
        return None
    step = np.array([match.is_step for _, match in notes])
    written = [asked.notes[note.index].articulation for note, _ in notes]
    picked = np.array([a is Articulation.PICK for a in written]) & ~step
    if picked.sum() < sounding.LEAST_PICKED:
        return None
    onset_s = np.array([note.played.onset_s for note, _ in notes])
    measures = sounding.measure(heard, onset_s, step)
    slurred = [played[n.index] in ("hammer_on", "pull_off") for n, _ in notes]
    return Lesson(sounding.features(measures, picked), np.array(slurred))


def gather(folders: list[Path]) -> Lesson:
    """All lessons of some folders."""
    lessons = [
        lesson
        for folder in folders
        for take in json.loads((folder / "manifest.json").read_text())
        if (lesson := lesson_of(folder, take)) is not None
    ]
    return Lesson(
        np.concatenate([part.features for part in lessons]),
        np.concatenate([part.slurred for part in lessons]),
    )


def fit(lesson: Lesson) -> np.ndarray:
    """Weights of greatest posterior probability."""
    sign = 2.0 * lesson.slurred - 1
    share = lesson.slurred.mean()
    weight = np.where(lesson.slurred, 0.5 / share, 0.5 / (1 - share))

    def loss(weights: np.ndarray) -> tuple[float, np.ndarray]:
        margin = sign * (lesson.features @ weights)
        value = (weight * np.logaddexp(0, -margin)).sum()
        pull = weight * sign / (1 + np.exp(np.clip(margin, -50, 50)))
        slope = -lesson.features.T @ pull
        return value + PRIOR * weights @ weights, slope + 2 * PRIOR * weights

    start = np.zeros(lesson.features.shape[1])
    return minimize(loss, start, jac=True, method="L-BFGS-B").x


def report(name: str, lesson: Lesson, weights: np.ndarray) -> None:
    """Print how often notes are told right."""
    slurred_p = 1 / (1 + np.exp(-lesson.features @ weights))
    right = (slurred_p > 0.5) == lesson.slurred
    sure = np.abs(slurred_p - 0.5) > sounding.SURE - 0.5
    print(
        f"{name}: {len(right)} notes; slurred told {right[lesson.slurred].mean():.3f}, "
        f"picked told {right[~lesson.slurred].mean():.3f}; sure of {sure.mean():.3f}, "
        f"of these right {right[sure].mean():.3f}",
        flush=True,
    )


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("takes", nargs="+", type=Path)
    parser.add_argument("--judge", nargs="*", type=Path, default=[])
    given = parser.parse_args()
    with threadpool_limits(1):
        lesson = gather(given.takes)
        weights = fit(lesson)
        report("learnt on", lesson, weights)
        for folder in given.judge:
            report(f"judged on {folder.name}", gather([folder]), weights)
    print(np.array2string(weights, precision=3, separator=", ", max_line_width=80))


if __name__ == "__main__":
    main()
