"""Learn to judge doubtful findings from takes with exact truth.

    python benchmarks/learn_judging.py TAKES_DIR ... --out assessor/judging --jobs 2
    python benchmarks/learn_judging.py TAKES_DIR ... --judge OTHER_DIR ...

Takes are those of ``benchmarks/phrases.py`` or of the shared bench.  Every event that
may be an extra note and every note that nothing was matched to is labelled with whether
a fault was played there; the nets of `assessor.judging` are then fitted by maximum
likelihood with weight decay.  Needs PyTorch, which the package itself does not.  The
shipped weights never saw the electric guitar's notes, the played licks or the bench
licks.
"""

from __future__ import annotations

import argparse
import json
import zlib
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import torch
from threadpoolctl import threadpool_limits

from assessor import alignment, judging, lick, onset, recording, second_look, spectrum
from assessor.errors import AlignmentError
from assessor.judging import Question
from assessor.kernels import PITCHES
from assessor.lick.notation import LickNote

SAME_NOTE_S = 0.08  # a matched note this far from the played one is another
SAME_S = 0.05  # an event this near an extra note is that note
MISREAD_S = 0.03  # counted as so much farther off if its pitch is another
ALTERED_WEIGHT = 0.3  # faults are commoner there than among players
MISLED_WEIGHT = 0.1
NOBODY_S = 0.07  # from where nobody played to the nearest note
# What a sure first hearing says, as `describe_extra` begins: the warp's log odds, and
# logarithms of the probability of nothing, of the pitch, and of the next best one.
SURE = ((-2, 6), (-2, -0.3), (-0.1, 0), (-2, -0.5))
FEWEST_NOTES = 5  # a lick with fewer loses none
SAME_PITCH = 0.4  # share of added notes that repeat one beside them
STEPS = (-7, -5, -4, -3, -2, -1, 1, 2, 3, 4, 5, 7)  # semitones; of the others
UNITS = 32
NETS = 4  # fitted from different starts; their mean is shipped as one
DROPPED = 0.3  # share of the units left out while learning
EPOCHS = 40
BATCH = 64
DECAY = 0.1
RATE = 4e-3
LEAST_SCALE = 1e-2

Example = tuple[np.ndarray, bool, float]  # description, truth, weight
Lesson = dict[Question, list[Example]]


def lesson_of(folder: Path, take: str) -> Lesson:
    """Doubtful findings of one take, held against its lick and against another one."""
    truth = json.loads((folder / f"{take}.json").read_text())
    lesson: Lesson = {question: [] for question in Question}
    if "injected" not in truth:
        return lesson
    asked = lick.read(folder / f"{take}.musicxml")
    heard = spectrum.analyse(recording.read(folder / f"{take}.wav"))
    events = onset.events(heard)
    rng = np.random.default_rng(zlib.crc32(take.encode()))
    origin: list[int | None] = list(range(len(asked)))
    for doubts in _doubts(asked, events, heard):
        _teach_pitches(lesson, doubts.listened, truth, asked)
        _teach(lesson, doubts, truth, origin, 1.0, rng)
    other, origin = altered(asked, rng)
    for doubts in _doubts(other, events, heard):
        _teach(lesson, doubts, truth, origin, ALTERED_WEIGHT, rng)
    return lesson


def _teach_pitches(
    lesson: Lesson, scene: judging.Scene, truth: dict[str, Any], asked: lick.Lick
) -> None:
    """Add every pitch that a doubtful note may have."""
    played = {note["expected_index"]: note for note in truth["performed"]}
    # a guitar out of tune by half a semitone is named by the ear as another one
    moved = int(scene.written.midi[0]) - asked.notes[0].midi_number
    for match in scene.matches:
        note = played.get(match.index)
        there = note and abs(note["onset_s"] - (match.time_s or 0)) < SAME_NOTE_S
        true = note["midi"] + moved if note and there else None
        pitches = second_look.possible_pitches(scene, match)
        for pitch in pitches:
            seen = judging.describe_pitch(scene, match, pitch)
            lesson[Question.PITCH].append((seen, pitch == true, 1.0))
        if true in pitches:
            other = min(set(pitches) - {true}, key=lambda p: abs(p - true))
            misled = _misled(scene, match, true, other)
            for pitch in (true, other):
                seen = judging.describe_pitch(
                    misled, misled.matches[match.index], pitch
                )
                lesson[Question.PITCH].append((seen, pitch == true, MISLED_WEIGHT))


def _misled(
    scene: judging.Scene, match: alignment.Match, true: int, other: int
) -> judging.Scene:
    """Let the first hearing take one pitch for the other: its word is not enough."""
    j = scene.event_at(match.time_s)
    heard = scene.events.log_probability.copy()
    columns = [1 + true - PITCHES[0], 1 + other - PITCHES[0]]
    heard[j, columns] = np.sort(heard[j, columns])
    right = other == scene.written.midi[match.index]
    verdict = alignment.Verdict.RIGHT if right else alignment.Verdict.WRONG
    matches = list(scene.matches)
    matches[match.index] = replace(match, midi_number=other, verdict=verdict)
    events = replace(scene.events, log_probability=heard)
    return replace(scene, events=events, matches=tuple(matches))


def _teach(
    lesson: Lesson,
    doubts: second_look.Doubts,
    truth: dict[str, Any],
    origin: list[int | None],
    weight: float,
    rng: np.random.Generator,
) -> None:
    """Add the doubtful findings of one pass.

    `origin` names the note of the take's own lick each asked one is; None = none.
    """
    scene, found = doubts.read, doubts.found
    injected = truth["injected"]
    unasked = [
        {"time_s": note["onset_s"], "played_midi": note["midi"]}
        for note in truth["performed"]
        if note["expected_index"] is not None and note["expected_index"] not in origin
    ]
    doubtful = [*found.extras, *found.faint]
    played = label_extras(doubtful, [*injected["extra"], *unasked])
    for extra, label in zip(doubtful, played, strict=True):
        seen = judging.describe_extra(scene, extra)
        lesson[Question.EXTRA].append((seen, label, weight))
    phantom = _phantom(scene, [n["onset_s"] for n in truth["performed"]], rng)
    if phantom is not None:
        lesson[Question.EXTRA].append((phantom, False, weight))
    gone = {fault["expected_index"] for fault in injected["missed"]} | {None}
    for match in found.matches:
        if match.verdict is alignment.Verdict.MISSED:
            seen = judging.describe_missed(scene, match)
            lesson[Question.MISSED].append((seen, origin[match.index] in gone, weight))


def _doubts(
    asked: lick.Lick, events: onset.Events, heard: spectrum.Spectrum
) -> list[second_look.Doubts]:
    """The best pass as it comes to be judged; nothing where none is found."""
    try:
        aligned = alignment.align(asked, events)
    except AlignmentError:
        return []
    return [second_look.doubts(aligned, asked, events, heard)[aligned.best]]


def _phantom(
    scene: judging.Scene, played_s: list[float], rng: np.random.Generator
) -> np.ndarray | None:
    """Describe a note that nobody played and the first hearing is sure of.

    Its word alone must not be enough.
    """
    if len(scene.times_s) < 2:
        return None
    time_s = float(rng.uniform(scene.times_s[0], scene.times_s[-1]))
    if np.abs(np.array(played_s) - time_s).min() < NOBODY_S:
        return None
    midi_number = int(rng.choice(scene.midi)) + int(rng.choice(STEPS))
    midi_number = int(np.clip(midi_number, PITCHES[0], PITCHES[-1]))
    extra = alignment.ExtraNote(time_s, midi_number, 0.5)
    seen = judging.describe_extra(scene, extra)
    low, high = np.array(SURE).T
    seen[: len(SURE)] = rng.uniform(low, high)
    return seen


def altered(
    asked: lick.Lick, rng: np.random.Generator
) -> tuple[lick.Lick, list[int | None]]:
    """Ask for a note less and for one more, so that one is extra and one missed.

    The makers of takes put faults only where pitches differ and never at an end.

    Returns
    -------
    lick : Lick
    origin : list of int or None
        Index of each note in `asked`; None = the added one.
    """
    notes: list[tuple[int | None, LickNote]] = list(enumerate(asked.notes))
    if len(notes) > FEWEST_NOTES:
        del notes[int(rng.integers(1, len(notes) - 1))]
    place = int(rng.integers(len(notes) + 1))
    beside = notes[max(place - 1, 0)][1]
    around = [n.midi_number for _, n in notes[max(place - 1, 0) : place + 1]]
    again = rng.random() < SAME_PITCH
    midi_number = int(rng.choice(around)) + (0 if again else int(rng.choice(STEPS)))
    added = LickNote(
        0 * beside.onset_beats,
        beside.duration_beats,
        midi_number,
        beside.string,
        max(beside.fret + midi_number - beside.midi_number, 0),
    )
    if place == 0:
        shift = beside.duration_beats
        later = [(k, replace(n, onset_beats=n.onset_beats + shift)) for k, n in notes]
        notes = [(None, added), *later]
    elif place == len(notes):
        notes.append((None, replace(added, onset_beats=beside.end_beats)))
    else:
        half = beside.duration_beats / 2
        notes[place - 1] = (notes[place - 1][0], replace(beside, duration_beats=half))
        added = replace(
            added, onset_beats=beside.onset_beats + half, duration_beats=half
        )
        notes.insert(place, (None, added))
    changed = replace(asked, notes=tuple(note for _, note in notes))
    return changed, [k for k, _ in notes]


def label_extras(
    doubtful: list[alignment.ExtraNote], injected: list[dict[str, Any]]
) -> list[bool]:
    """Say which events are extra notes that were played, one for each of them."""
    label = [False] * len(doubtful)
    for fault in injected:
        away_s = [
            np.inf
            if label[k]
            else abs(extra.time_s - fault["time_s"])
            + MISREAD_S * (abs(extra.midi_number - fault["played_midi"]) > 1)
            for k, extra in enumerate(doubtful)
        ]
        if away_s and min(away_s) < SAME_S:
            label[int(np.argmin(away_s))] = True
    return label


def gather(folders: list[Path], jobs: int) -> Lesson:
    """All lessons of some folders."""
    lessons: Lesson = {question: [] for question in Question}
    takes = [
        (folder, take)
        for folder in folders
        for take in json.loads((folder / "manifest.json").read_text())
    ]
    with ProcessPoolExecutor(
        jobs, initializer=threadpool_limits, initargs=(1,)
    ) as pool:
        for lesson in pool.map(lesson_of, *zip(*takes, strict=True), chunksize=8):
            for question, examples in lesson.items():
                lessons[question] += examples
    return lessons


def fit(examples: list[Example]) -> dict[str, np.ndarray]:
    """Weights of greatest likelihood under weight decay, named as in `judging.net`."""
    seen = np.array([x for x, _, _ in examples])
    label = torch.tensor([float(y) for _, y, _ in examples])
    weight = torch.tensor([w for _, _, w in examples])
    centre, scale = seen.mean(axis=0), seen.std(axis=0) + LEAST_SCALE
    seen = torch.tensor((seen - centre) / scale).clamp(
        -judging.net.FARTHEST, judging.net.FARTHEST
    )
    nets = [fit_one(seen, label, weight, seed) for seed in range(NETS)]
    stored = {
        "centre": centre,
        "scale": scale,
        "weight_in": torch.cat([net[0].weight.T for net in nets], dim=1),
        "bias": torch.cat([net[0].bias for net in nets]),
        "weight_out": torch.cat([net[3].weight[0] for net in nets]) / NETS,
        "offset": torch.stack([net[3].bias[0] for net in nets]).mean(),
    }
    return {
        name: torch.as_tensor(value).detach().numpy().astype("f4")
        for name, value in stored.items()
    }


def fit_one(
    seen: torch.Tensor, label: torch.Tensor, weight: torch.Tensor, seed: int
) -> torch.nn.Sequential:
    """Fit one net."""
    torch.manual_seed(seed)
    net = torch.nn.Sequential(
        torch.nn.Linear(seen.shape[1], UNITS),
        torch.nn.ReLU(),
        torch.nn.Dropout(DROPPED),
        torch.nn.Linear(UNITS, 1),
    )
    steps = EPOCHS * -(-len(label) // BATCH)
    rule = torch.optim.AdamW(net.parameters(), lr=RATE, weight_decay=DECAY)
    pace = torch.optim.lr_scheduler.OneCycleLR(rule, max_lr=RATE, total_steps=steps)
    for _ in range(EPOCHS):
        for part in torch.randperm(len(label)).split(BATCH):
            score = net(seen[part])[:, 0]
            loss = torch.nn.functional.binary_cross_entropy_with_logits(
                score, label[part], weight[part]
            )
            rule.zero_grad()
            loss.backward()
            rule.step()
            pace.step()
    return net.eval()


def report(name: str, lesson: Lesson, weights: dict[Question, dict]) -> None:
    """Print how often the likelier answer is false."""
    for question, examples in lesson.items():
        net = judging.net.Net(**weights[question])
        odds = np.array([net.log_odds(seen) for seen, _, _ in examples])
        label = np.array([y for _, y, _ in examples], bool)
        loss = np.logaddexp(0, np.where(label, -odds, odds)).mean()
        print(
            f"{name}, {question}: {len(label)} doubtful, {label.sum()} true; "
            f"false {((odds > 0) & ~label).sum()}, lost {((odds <= 0) & label).sum()}; "
            f"log loss {loss:.4f}",
            flush=True,
        )


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("takes", nargs="+", type=Path)
    parser.add_argument("--judge", nargs="*", type=Path, default=[])
    parser.add_argument("--out", type=Path)
    parser.add_argument("--jobs", type=int, default=1)
    given = parser.parse_args()
    torch.set_num_threads(1)
    with threadpool_limits(1):
        lesson = gather(given.takes, given.jobs)
        weights = {question: fit(lesson[question]) for question in Question}
        report("learnt on", lesson, weights)
        for folder in given.judge:
            report(f"judged on {folder.name}", gather([folder], given.jobs), weights)
    if given.out:
        for question, stored in weights.items():
            np.savez(given.out / f"{question}.npz", **stored)
            print(f"wrote {given.out / question}.npz")


if __name__ == "__main__":
    main()
