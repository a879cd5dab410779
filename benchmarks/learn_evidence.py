"""Learn the evidence net from takes with exact truth.

    python benchmarks/learn_evidence.py TAKES_DIR ... --out assessor/evidence/net.npz
    python benchmarks/learn_evidence.py TAKES_DIR ... --judge OTHER_DIR ...

Takes are those of ``benchmarks/phrases.py`` (or of the same form).  Each candidate
event is labelled with the pitch of the note that truly begins there, or with "no new
note"; the net of `assessor.evidence` is then fitted by maximum likelihood with weight
decay.  Needs PyTorch, which the package itself does not.  The shipped weights never
saw the electric guitar's notes, the played licks or the bench licks.
"""

from __future__ import annotations

import argparse
import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import torch
from threadpoolctl import threadpool_limits

from assessor import evidence, onset, recording, spectrum

NEAR_S = 0.04  # an event this near a true onset is that onset
UNCLEAR_S = 0.05  # one this near that is not it teaches nothing
HIDDEN_UNITS, MIDDLE_UNITS = 48, 24
DROPPED = 0.15  # share of the last units left out while learning
EPOCHS = 20
BATCH = 384
DECAY = 1e-2
RATE = 5e-3
SEED = 20


@dataclass(frozen=True)
class Lesson:
    """Events with their labels.

    Attributes
    ----------
    pitch : shape=(n, pitches, pitch features)
    event : shape=(n, event features)
    label : shape=(n,), int
        0 = no new note, else 1 + index of the pitch.
    """

    pitch: np.ndarray
    event: np.ndarray
    label: np.ndarray


def lesson_of(folder: Path, take: str) -> Lesson:
    """Events of one take that are clear enough to teach."""
    truth = json.loads((folder / f"{take}.json").read_text())
    heard = spectrum.analyse(recording.read(folder / f"{take}.wav"))
    candidates = onset.find_candidates(heard)
    features = evidence.describe(heard, candidates)
    runs = truth.get("passes") or [truth]
    notes = [note for run in runs for note in run["performed"]]
    label, clear = label_events(candidates.times_s, notes, heard.tuning_cents, truth)
    pitch = features.pitch[clear].astype(np.float16)  # hundreds of thousands of them
    return Lesson(pitch, features.event[clear], label[clear])


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
        np.concatenate([part.event for part in lessons]),
        np.concatenate([part.label for part in lessons]),
    )


class EvidenceNet(torch.nn.Module):
    """The net of `assessor.evidence.Net`, to be fitted."""

    def __init__(self, pitch_features: int, event_features: int) -> None:
        super().__init__()
        both = pitch_features + event_features
        self.pitch_in = torch.nn.Linear(pitch_features, HIDDEN_UNITS)
        self.event_in = torch.nn.Linear(event_features, HIDDEN_UNITS, bias=False)
        self.pitch_mid = torch.nn.Linear(HIDDEN_UNITS, MIDDLE_UNITS)
        self.pitch_out = torch.nn.Linear(MIDDLE_UNITS, 1, bias=False)
        self.none_in = torch.nn.Linear(both, HIDDEN_UNITS)
        self.none_out = torch.nn.Linear(HIDDEN_UNITS, 1)
        self.dropped = torch.nn.Dropout(DROPPED)

    def forward(self, pitch: torch.Tensor, event: torch.Tensor) -> torch.Tensor:
        """Scores, shape=(n, 1 + pitches)."""
        hidden = torch.relu(self.pitch_in(pitch) + self.event_in(event)[:, None])
        middle = self.dropped(torch.relu(self.pitch_mid(hidden)))
        seen = torch.cat([event, pitch.amax(1)], 1)
        none = self.none_out(self.dropped(torch.relu(self.none_in(seen))))
        return torch.cat([none, self.pitch_out(middle)[..., 0]], 1)

    def stored(self) -> dict[str, np.ndarray]:
        """Weights under the names of `assessor.evidence.Net`."""
        tensors = {
            "pitch_in": torch.cat([self.pitch_in.weight.T, self.event_in.weight.T]),
            "pitch_bias": self.pitch_in.bias,
            "pitch_mid": self.pitch_mid.weight.T,
            "pitch_mid_bias": self.pitch_mid.bias,
            "pitch_out": self.pitch_out.weight[0],
            "none_in": self.none_in.weight.T,
            "none_bias": self.none_in.bias,
            "none_out": self.none_out.weight[0],
            "none_offset": self.none_out.bias,
        }
        return {k: v.detach().numpy().astype("f4") for k, v in tensors.items()}


def fit(lesson: Lesson) -> EvidenceNet:
    """Net of greatest likelihood under weight decay."""
    torch.manual_seed(SEED)
    pitch, event = torch.from_numpy(lesson.pitch), torch.from_numpy(lesson.event)
    label = torch.from_numpy(lesson.label)
    net = EvidenceNet(pitch.shape[2], event.shape[1])
    steps = EPOCHS * -(-len(label) // BATCH)
    rule = torch.optim.AdamW(net.parameters(), lr=RATE, weight_decay=DECAY)
    pace = torch.optim.lr_scheduler.OneCycleLR(rule, max_lr=RATE, total_steps=steps)
    for _ in range(EPOCHS):
        for part in torch.randperm(len(label)).split(BATCH):
            score = net(pitch[part].float(), event[part])
            loss = torch.nn.functional.cross_entropy(score, label[part])
            rule.zero_grad()
            loss.backward()
            rule.step()
            pace.step()
    return net.eval()


def report(name: str, lesson: Lesson, net: EvidenceNet) -> None:
    """Print how often the likeliest answer is false."""
    with torch.no_grad():
        pitch = torch.from_numpy(lesson.pitch).float()
        score = net(pitch, torch.from_numpy(lesson.event))
        truth = torch.from_numpy(lesson.label)
        loss = float(torch.nn.functional.cross_entropy(score, truth))
        said, label = score.argmax(1).numpy(), lesson.label
    lost = int(((label > 0) & (said == 0)).sum())
    invented = int(((label == 0) & (said > 0)).sum())
    misread = int(((label > 0) & (said > 0) & (said != label)).sum())
    print(
        f"{name}: {len(label)} events, {int((label > 0).sum())} notes; lost {lost}, "
        f"invented {invented}, wrong pitch {misread}; log loss {loss:.4f}",
        flush=True,
    )


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("takes", nargs="+", type=Path)
    parser.add_argument("--judge", nargs="*", type=Path, default=[])
    parser.add_argument("--out", type=Path)
    given = parser.parse_args()
    torch.set_num_threads(1)
    with threadpool_limits(1):
        lesson = gather(given.takes)
        net = fit(lesson)
        report("learnt on", lesson, net)
        for folder in given.judge:
            report(f"judged on {folder.name}", gather([folder]), net)
    if given.out:
        np.savez(given.out, **net.stored())
        print(f"wrote {given.out}")


if __name__ == "__main__":
    main()
