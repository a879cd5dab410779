"""Measure how a long mixed practice is heard, and what hearing it costs.

    python benchmarks/hour.py [--minutes 10 60] [--seed 1] [--keep DIR]

Somebody practises one lick alone: some runs at one tempo, then some at another, now
and then broken off, with slips; between them other licks, noodling, tuning, talk and
silence.  ``assessor check`` hears it in a process of its own.  Printed are the passes
played, found, invented and lost, their F1, how many of those found are rightly called
whole or broken off, and CPU time and peak memory (resident set, 1 MB = 10**6 bytes) of
the whole command.  A pass is found where one that is reported shares `SHARED` of its
time.

Needs fluidsynth with FluidR3_GM.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile
from phrases import BATCH, KINDS
from takes.curves import Stroke
from takes.degrade import syllable
from takes.invent import invent
from takes.measure import SAMPLE_RATE_HZ
from takes.mix import Plan, mix, wanted
from takes.play import Faults, Manner, play
from takes.sounds import SampledGuitar

from assessor.lick import Lick, musicxml
from assessor.tuning import STANDARD, FloatArray

Generator = np.random.Generator
TEMPO_RATIOS = (0.6, 0.7, 0.8, 0.9, 1.0, 1.1)
BROKEN_OFF = 0.25  # share of the runs
SHARED = 0.6
LEAD_S = 0.4  # before the first note of a scene
BACKGROUND = 1e-4  # noise, re full scale
PENTATONIC = (57, 60, 62, 64, 67, 69, 72, 74, 76)
MB = 10**6
# A program between: what is started by a large process counts as large itself.
WATCH = """
import os, sys
process = os.spawnv(os.P_NOWAIT, sys.argv[1], sys.argv[1:])
_, status, used = os.wait4(process, 0)
print(used.ru_utime + used.ru_stime, used.ru_maxrss)
sys.exit(os.waitstatus_to_exitcode(status))
"""


@dataclass(frozen=True)
class Run:
    """One pass: its first and last onset in seconds, and whether it is whole."""

    first_s: float
    last_s: float
    whole: bool

    def is_same(self, other: Run) -> bool:
        """Say whether two take up the same time."""
        shared_s = min(self.last_s, other.last_s) - max(self.first_s, other.first_s)
        longest_s = max(self.last_s - self.first_s, other.last_s - other.first_s)
        return shared_s > SHARED * longest_s


# ----------------------------------------------------------------- practice


class Player:
    """Somebody who practises one lick, and does other things between.

    Parameters
    ----------
    rng : numpy.random.Generator
    """

    def __init__(self, rng: Generator) -> None:
        self.rng = rng
        wish = KINDS["human"].wish
        self.lick, *self.others = (
            invent(rng, name, wish) for name in ("practised", "another", "a third")
        )
        shares: dict[Callable[[], Plan | FloatArray], float] = {
            self.runs: 0.55,
            self.other_lick: 0.1,
            self.noodling: 0.1,
            self.tuning: 0.05,
            self.talk: 0.1,
            self.silence: 0.1,
        }
        self._scenes, self._shares = list(shares), list(shares.values())

    def scene(self) -> Plan | FloatArray:
        """Whatever comes next: something to be played, or sound without a guitar."""
        return self._scenes[self.rng.choice(len(self._scenes), p=self._shares)]()

    def runs(self) -> Plan:
        """The lick one to five times at one tempo."""
        return self._played(self.lick, int(self.rng.integers(1, 6)))

    def other_lick(self) -> Plan:
        """Another lick, once or twice."""
        other = self.others[int(self.rng.integers(len(self.others)))]
        return self._played(other, int(self.rng.integers(1, 3)))

    def _played(self, lick: Lick, count: int) -> Plan:
        manner = Manner(
            jitter_ms=10,
            tempo_ratio=float(self.rng.choice(TEMPO_RATIOS)),
            wrong=0.02,
            missed=0.02,
            extra=0.02,
        )
        passes, at_s = [], LEAD_S
        for _ in range(count):
            strokes, _faults = play(lick, manner, self.rng, at_s)
            if self.rng.random() < BROKEN_OFF:
                fewest = max(len(lick) // 2, 6)
                strokes = strokes[: int(self.rng.integers(fewest, len(lick)))]
            passes.append(strokes)
            at_s = strokes[-1].offset_s + float(self.rng.uniform(0.3, 2.0))
        return Plan(lick.title, "plain", lick, tuple(passes), 0, Faults(), "steel")

    def noodling(self) -> Plan:
        """Notes up and down a scale, as they come."""
        strokes, at_s = [], LEAD_S
        step = int(self.rng.integers(len(PENTATONIC)))
        for _ in range(int(self.rng.integers(10, 50))):
            step = int(np.clip(step + self.rng.choice([-2, -1, 1, 2]), 0, 8))
            length_s = float(self.rng.choice([0.15, 0.2, 0.3, 0.6]))
            velocity = int(self.rng.integers(70, 110))
            end_s = at_s + length_s
            strokes.append(Stroke(None, at_s, end_s, PENTATONIC[step], velocity))
            at_s = end_s
        return self._unwritten("noodling", strokes)

    def tuning(self) -> Plan:
        """Open strings, each drawn up or down to its pitch once or twice."""
        strokes, at_s = [], LEAD_S
        for midi_number in STANDARD.open_midi:
            for _ in range(int(self.rng.integers(1, 3))):
                length_s = float(self.rng.uniform(0.8, 2.5))
                off_cents = float(self.rng.uniform(-60, 40))
                curve = np.array([(0.0, off_cents), (0.6 * length_s, 0.0)])
                end_s = at_s + length_s
                strokes.append(Stroke(None, at_s, end_s, midi_number, 95, curve=curve))
                at_s = end_s + 0.1
        return self._unwritten("tuning", strokes)

    def _unwritten(self, name: str, strokes: list[Stroke]) -> Plan:
        return Plan(name, "plain", self.lick, (strokes,), 0, Faults(), "steel")

    def talk(self) -> FloatArray:
        """Some sentences."""
        spoken: list[FloatArray] = []
        for _ in range(int(self.rng.integers(10, 60))):
            pause_s = float(self.rng.exponential(0.08))
            pause_s += 0.6 if self.rng.random() < 0.15 else 0.0
            pause = np.zeros(int(pause_s * SAMPLE_RATE_HZ))
            spoken += [0.3 * syllable(self.rng), pause]
        return np.concatenate(spoken)

    def silence(self) -> FloatArray:
        """Nothing, for a while."""
        return np.zeros(int(self.rng.uniform(3, 20) * SAMPLE_RATE_HZ))


def sounded(player: Player) -> Iterator[tuple[FloatArray, list[Run]]]:
    """Scene after scene without end, with its passes of the lick practised."""
    guitar = SampledGuitar("fluid")
    while True:
        scenes = [player.scene() for _ in range(BATCH)]
        plans = [scene for scene in scenes if isinstance(scene, Plan)]
        notes = [note for plan in plans for note in wanted(plan)]
        sources = iter(guitar.sources(notes, player.rng))
        for scene in scenes:
            if not isinstance(scene, Plan):
                yield scene, []
                continue
            own = [next(sources) for _ in wanted(scene)]
            samples, _ = mix(scene, own, guitar, player.rng)
            yield samples, _runs(scene, player.lick)


def _runs(plan: Plan, lick: Lick) -> list[Run]:
    """Passes of the lick practised in a scene."""
    if plan.name != lick.title:
        return []
    return [
        Run(strokes[0].onset_s, strokes[-1].onset_s, strokes[-1].index == len(lick) - 1)
        for strokes in plan.passes
    ]


def record(player: Player, seconds: float, take: Path) -> list[Run]:
    """Write a practice of about that many seconds, and tell its passes."""
    runs: list[Run] = []
    with soundfile.SoundFile(
        take, "w", SAMPLE_RATE_HZ, 1, subtype="PCM_16", format="FLAC"
    ) as file:
        for samples, found in sounded(player):
            if file.frames / SAMPLE_RATE_HZ >= seconds:
                break
            at_s = file.frames / SAMPLE_RATE_HZ
            runs += [Run(at_s + r.first_s, at_s + r.last_s, r.whole) for r in found]
            noise = player.rng.normal(0, BACKGROUND, len(samples))
            file.write(np.clip(samples + noise, -1, 1))
    return runs


# ------------------------------------------------------------------ hearing


def check(take: Path, sheet: Path, result: Path) -> tuple[float, float]:
    """Let a process of its own hear a take; its CPU seconds and peak memory in MB."""
    command = [sys.executable, "-m", "assessor", "check", str(take)]
    command += ["--lick", str(sheet), "--json", str(result)]
    watched = [sys.executable, "-c", WATCH, *command]
    done = subprocess.run(watched, check=True, stdout=subprocess.PIPE, text=True)
    cpu_s, peak_kib = map(float, done.stdout.splitlines()[-1].split())
    return cpu_s, peak_kib * 1024 / MB


def reported(result: Path) -> list[Run]:
    """Passes that a result file tells of."""
    runs = []
    for one in json.loads(result.read_text())["passes"]:
        played_s = [n["onset_s"] for n in one["notes"] if n["onset_s"] is not None]
        runs.append(Run(min(played_s), max(played_s), one["complete"]))
    return runs


def compare(played: list[Run], found: list[Run]) -> tuple[list[str], int]:
    """Say what was lost or invented, and how many are rightly called whole or not."""
    left, lines, rightly = list(found), [], 0
    for run in played:
        same = next((other for other in left if run.is_same(other)), None)
        if same is None:
            lines.append(f"lost: {run}")
        else:
            left.remove(same)
            rightly += same.whole == run.whole
    return lines + [f"invented: {run}" for run in left], rightly


def row(minutes: float, seed: int, folder: Path) -> Iterator[str]:
    """One line of the table, and below it what was lost or invented."""
    player = Player(np.random.default_rng([seed, round(minutes)]))
    take, sheet, result = (
        folder / f"practice_{minutes:g}{ending}"
        for ending in (".flac", ".musicxml", ".json")
    )
    played = record(player, 60 * minutes, take)
    sheet.write_bytes(musicxml.write(player.lick))
    cpu_s, peak_mb = check(take, sheet, result)
    found = reported(result)
    lines, rightly = compare(played, found)
    lost = sum(line.startswith("lost") for line in lines)
    invented, hits = len(lines) - lost, len(played) - lost
    f1 = 2 * hits / max(len(played) + len(found), 1)
    cpu_ms = 1000 * cpu_s / soundfile.info(take).duration
    yield (
        f"| {minutes:g} | {len(played)} | {hits} | {invented} | {lost} | {f1:.3f} | "
        f"{rightly}/{hits} | {cpu_s:.1f} | {cpu_ms:.2f} | {peak_mb:.0f} |"
    )
    yield from lines


def main() -> None:
    """Read the command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--minutes", type=float, nargs="+", default=[10, 60])
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", help="folder for the recordings; default: none kept")
    arguments = parser.parse_args()
    print(
        "| minutes | passes | found | invented | lost | F1 | whole or broken off |",
        end="",
    )
    print(" CPU s | ms per s | peak MB |\n|---|---|---|---|---|---|---|---|---|---|")
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(arguments.keep or temporary)
        folder.mkdir(parents=True, exist_ok=True)
        for minutes in arguments.minutes:
            for line in row(minutes, arguments.seed, folder):
                print(line, flush=True)


if __name__ == "__main__":
    main()
