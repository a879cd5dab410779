"""Learn the weights of the event evidence from takes with exact truth.

    python benchmarks/learn_evidence.py TAKES_DIR [TAKES_DIR ...] --out assessor/evidence.npz
    python benchmarks/learn_evidence.py TAKES_DIR ... --judge OTHER_DIR ...

Takes are those of ``benchmarks/phrases.py`` (or of the same form).  Each candidate
event is labelled with the pitch of the note that truly begins there, or with "no new
note"; the softmax of `assessor.onset` is then fitted by maximum likelihood with a
Gaussian prior (L-BFGS).  The shipped weights never saw the electric guitar's notes,
the played licks or the bench licks.
"""

from __future__ import annotations

import argparse
import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.optimize import minimize
from threadpoolctl import threadpool_limits

from assessor import onset, recording, spectrum

PRIOR = 0.05  # of the squared weights
NEAR_S = 0.04  # an event this near a true onset is that onset
UNCLEAR_S = 0.05  # one this near that is not it teaches nothing


@dataclass(frozen=True)
class Lesson:
    """Events with their labels.

    Attributes
    ----------
    pitch : shape=(n, pitches, pitch features)
    none : shape=(n, none features)
    label : shape=(n,), int
        0 = no new note, else 1 + index of the pitch.
    """

    pitch: np.ndarray
    none: np.ndarray
    label: np.ndarray


def lesson_of(folder: Path, take: str) -> Lesson:
    """Events of one take that are clear enough to teach."""
    truth = json.loads((folder / f"{take}.json").read_text())
    heard = spectrum.analyse(recording.read(folder / f"{take}.wav"))
    candidates = onset.find_candidates(heard)
    features = onset.describe(heard, candidates)
    runs = truth.get("passes") or [truth]
    notes = [note for run in runs for note in run["performed"]]
    label, clear = label_events(candidates.times_s, notes, heard.tuning_cents, truth)
    return Lesson(features.pitch[clear], features.none[clear], label[clear])


def label_events(
    times_s: np.ndarray, notes: list[dict], tuning_cents: float, truth: dict
) -> tuple[np.ndarray, np.ndarray]:
    """Label of each event, and whether it is clear enough to teach."""
    label = np.zeros(len(times_s), int)
    clear = np.ones(len(times_s), bool)
    # the ear's tuning is known only within a semitone: name pitches as it does
    fold = round((truth["tuning_cents"] - tuning_cents) / 100)
    taken = np.zeros(len(times_s), bool)
    for note in notes:
        away_s = np.abs(times_s - note["onset_s"])
        clear &= (away_s > UNCLEAR_S) | taken
        if len(pitch_path := note.get("pitch_curve", [])) > 1:
            moving = (times_s > note["onset_s"] + NEAR_S) & (
                times_s < note["offset_s"] + NEAR_S
            )
            swing = max(c for _, c in pitch_path) - min(c for _, c in pitch_path)
            clear &= ~moving | taken | (swing < 45)
        away_s = np.where(taken, np.inf, away_s)
        if len(away_s) and away_s.min() < NEAR_S:
            event = int(away_s.argmin())
            column = note["midi"] + fold - spectrum.PITCHES[0]
            if 0 <= column < len(spectrum.PITCHES):
                label[event], taken[event], clear[event] = 1 + column, True, True
    return label, clear | taken


def gather(folders: list[Path]) -> Lesson:
    """All lessons of some folders."""
    lessons = [
        lesson_of(folder, take)
        for folder in folders
        for take in json.loads((folder / "manifest.json").read_text())
    ]
    return Lesson(
        np.concatenate([part.pitch for part in lessons]),
        np.concatenate([part.none for part in lessons]),
        np.concatenate([part.label for part in lessons]),
    )


def fit(lesson: Lesson) -> tuple[np.ndarray, np.ndarray]:
    """Weights of greatest posterior probability."""
    count, _, width = lesson.pitch.shape
    rows, new = np.arange(count), lesson.label > 0

    def loss(weights: np.ndarray) -> tuple[float, np.ndarray]:
        probability = softmax(lesson, weights[:width], weights[width:])
        likelihood = np.log(probability[rows, lesson.label] + 1e-12).sum()
        error = probability.copy()
        error[rows, lesson.label] -= 1
        by_pitch = np.tensordot(
            error[:, 1:].astype(np.float32), lesson.pitch, ((0, 1), (0, 1))
        )
        slope = np.concatenate([by_pitch, error[:, 0] @ lesson.none])
        return (
            PRIOR * float(weights @ weights) - likelihood,
            slope + 2 * PRIOR * weights,
        )

    start = np.zeros(width + lesson.none.shape[1])
    found = minimize(loss, start, jac=True, method="L-BFGS-B", options={"maxiter": 400})
    assert new.any(), "no take holds a note"
    return found.x[:width], found.x[width:]


def softmax(lesson: Lesson, pitch: np.ndarray, none: np.ndarray) -> np.ndarray:
    """Probabilities, shape=(n, 1 + pitches)."""
    score = np.concatenate(
        [
            (lesson.none @ none)[:, None],
            lesson.pitch @ pitch.astype(np.float32),
        ],
        axis=1,
    ).astype(np.float64)
    score -= score.max(axis=1, keepdims=True)
    weight = np.exp(score)
    return weight / weight.sum(axis=1, keepdims=True)


def report(name: str, lesson: Lesson, pitch: np.ndarray, none: np.ndarray) -> None:
    """Print how often the likeliest answer is false."""
    probability = softmax(lesson, pitch, none)
    said = probability.argmax(axis=1)
    truth = lesson.label
    loss = -np.log(probability[np.arange(len(truth)), truth] + 1e-12).mean()
    lost = int(((truth > 0) & (said == 0)).sum())
    invented = int(((truth == 0) & (said > 0)).sum())
    misread = int(((truth > 0) & (said > 0) & (said != truth)).sum())
    print(
        f"{name}: {len(truth)} events, {int((truth > 0).sum())} notes; lost {lost}, "
        f"invented {invented}, wrong pitch {misread}; log loss {loss:.4f}"
    )


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("takes", nargs="+", type=Path)
    parser.add_argument("--judge", nargs="*", type=Path, default=[])
    parser.add_argument("--out", type=Path)
    given = parser.parse_args()
    with threadpool_limits(1):
        lesson = gather(given.takes)
        pitch, none = fit(lesson)
        report("learnt on", lesson, pitch, none)
        for folder in given.judge:
            report(f"judged on {folder.name}", gather([folder]), pitch, none)
    if given.out:
        np.savez(given.out, pitch=pitch.astype("f4"), none=none.astype("f4"))
        print(f"wrote {given.out}")


if __name__ == "__main__":
    main()
