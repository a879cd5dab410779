"""Make takes with exact truth from invented licks.

    python benchmarks/phrases.py --out DIR --takes N --seed S
        [--font fluid|tim | --notes DIR --guitar hollow|electric]
        [--degraded SHARE] [--toned SHARE] [--passes SHARE]
        [--kinds KIND,...] [--degradations NAME,...] [--noises NOISE,...]

Beside every ``TAKE.wav`` lie ``TAKE.musicxml`` (the lick) and ``TAKE.json`` (the
truth); ``manifest.json`` names the takes, ``calibration.json`` holds how far the
single notes are out of tune by themselves.  Times in the truth are exact to the
sample: each note is sounded alone and placed by its own energy onset.

Needs the `assessor` package to be importable, and fluidsynth with its General
MIDI sound fonts unless ``--notes`` names a folder of recorded notes.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Collection
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
from takes.curves import Stroke, Touch
from takes.degrade import DEGRADATIONS, tone
from takes.hand import NOISES, Hand, draw_hand, only_hand
from takes.invent import Wish, invent
from takes.measure import DETUNE_TIMES_S, SAMPLE_RATE_HZ
from takes.mix import Plan, land_pick, mix, wanted
from takes.play import Faults, Manner, ornament, play
from takes.sounds import PROGRAMS, RecordedGuitar, SampledGuitar

from assessor.lick import Lick, musicxml

Generator = np.random.Generator
BATCH = 24  # takes rendered in one run of fluidsynth
LONG = ("melody", "wide", "repeats", "cell")
RINGING = ("arpeggio", "wide", "cell", "octaves", "pedal", "melody")
MUTED_HIGHEST_MIDI = 84  # the muted guitar of FluidR3_GM ends there
SUSTAINING = tuple(p for p in PROGRAMS if p != "muted")


@dataclass(frozen=True)
class Kind:
    """One kind of take: what is asked for and how it is played."""

    wish: Wish
    manner: Manner
    bends: bool = False
    slides: bool = False


KINDS = {
    "plain": Kind(Wish(), Manner(jitter_ms=3)),
    "human": Kind(Wish(), Manner(jitter_ms=14)),
    "errors": Kind(Wish(), Manner(jitter_ms=9, wrong=0.1, missed=0.08, extra=0.08)),
    "bends": Kind(
        Wish(LONG, shortest_s=0.45, longest_s=1.3),
        Manner(jitter_ms=8, touch=Touch((-40, 40))),
        bends=True,
    ),
    "legato": Kind(
        Wish(shortest_s=0.13, longest_s=0.6, slurred_share=0.8),
        Manner(slur_unevenness=0.22),
    ),
    "slides": Kind(
        Wish(shortest_s=0.2, longest_s=0.8, slurred_share=0.6, slides=True),
        Manner(jitter_ms=8, slur_unevenness=0.1),
        slides=True,
    ),
    "overlap": Kind(Wish(RINGING), Manner(jitter_ms=6, ring=0.75)),
    "dynamics": Kind(
        Wish(), Manner(jitter_ms=10, softest_velocity=36, loudest_velocity=118)
    ),
    "tuned": Kind(Wish(), Manner(jitter_ms=8)),
    "mixed": Kind(
        Wish(shortest_s=0.12, longest_s=1.0, slurred_share=0.3, slides=True),
        Manner(
            jitter_ms=12,
            softest_velocity=55,
            ring=0.3,
            detached=0.15,
            slur_unevenness=0.15,
            touch=Touch((-40, 40)),
            wrong=0.06,
            missed=0.05,
            extra=0.05,
        ),
        bends=True,
        slides=True,
    ),
}


def plan_take(
    name: str,
    kind: str,
    rng: Generator,
    *,
    guitar: str | None,
    several: bool,
    noise: str = "",
) -> Plan:
    """Decide everything about one take.

    Parameters
    ----------
    name : str
    kind : str
        Key of `KINDS`.
    rng : numpy.random.Generator
    guitar : str or None
        Name of the recorded guitar; None = a sampled one.
    several : bool
        Several passes with stops.
    noise : str
        The one noise the hands make, of `NOISES`; drawn when empty.
    """
    recipe = KINDS[kind]
    lick = invent(rng, name, recipe.wish)
    lick = ornament(lick, rng, bends=recipe.bends, slides=recipe.slides)
    manner = _vary(recipe.manner, kind, rng)
    late = rng.random() < 0.25 or noise.startswith("count-in")
    start_s = float(rng.uniform(0.9, 2.5) if late else rng.uniform(0.35, 0.9))
    if several:
        passes, judged = _passes(lick, manner, rng, start_s)
        faults = Faults()
    else:
        strokes, faults = play(lick, manner, rng, start_s)
        passes, judged = [strokes], 0
    hand = draw_hand(rng) if rng.random() < 0.8 else Hand()
    hand = only_hand(noise) if noise else hand
    landings = [t for strokes in passes for t in land_pick(strokes, hand, rng)]
    program = guitar or _program(kind, passes, rng)
    tuned = kind == "tuned" or rng.random() < 0.15
    # Wrong notes are judged to half a semitone with the tuning left in.
    limit = 40.0 if recipe.manner.wrong else 60.0
    tuning_cents = round(float(rng.uniform(-limit, limit)), 1) if tuned else 0.0
    fade_s = float(rng.uniform(0.004, 0.03) if rng.random() < 0.7 else 0.06)
    return Plan(
        name,
        kind,
        lick,
        tuple(passes),
        judged,
        faults,
        program,
        tuning_cents,
        hand,
        tuple(landings),
        fade_s,
    )


def _program(kind: str, passes: list[list[Stroke]], rng: Generator) -> str:
    """Draw a sound, one that sustains where the kind needs it."""
    recipe = KINDS[kind]
    held = recipe.bends or recipe.wish.slurred_share > 0 or kind == "overlap"
    highest = max(s.midi_number for strokes in passes for s in strokes)
    held = held or highest > MUTED_HIGHEST_MIDI
    programs = SUSTAINING if held else tuple(PROGRAMS)
    return programs[int(rng.integers(len(programs)))]


def _vary(manner: Manner, kind: str, rng: Generator) -> Manner:
    """Draw what differs from take to take of one kind."""
    jitter_ms = manner.jitter_ms * float(rng.uniform(0.4, 1.7))
    manner = replace(manner, jitter_ms=jitter_ms)
    if kind in ("human", "errors", "mixed"):
        drift = float(rng.uniform(-0.05, 0.05))
        ratio = float(rng.uniform(0.75, 1.25)) if rng.random() < 0.4 else 1.0
        manner = replace(manner, drift=drift, tempo_ratio=ratio)
    if kind in ("plain", "human", "errors") and rng.random() < 0.3:
        manner = replace(manner, detached=float(rng.uniform(0.2, 0.8)))
    return manner


def _passes(
    lick: Lick, manner: Manner, rng: Generator, start_s: float
) -> tuple[list[list[Stroke]], int]:
    """Play a lick two to four times without a fault, some runs broken off.

    Returns
    -------
    passes : list of list of Stroke
    judged : int
        The first that is complete.
    """
    manner = replace(manner, wrong=0.0, missed=0.0, extra=0.0)
    count = int(rng.integers(2, 5))
    judged = int(rng.integers(count))
    passes = []
    for k in range(count):
        strokes, _ = play(lick, manner, rng, start_s)
        if k < judged or (k > judged and rng.random() < 0.5):
            strokes = strokes[: int(rng.integers(len(strokes) // 3, len(strokes) - 1))]
        passes.append(strokes)
        start_s = max(s.offset_s for s in strokes) + float(rng.uniform(0.3, 2.0))
    return passes, judged


def degrade(
    samples: np.ndarray, truth: dict[str, Any], rng: Generator, names: list[str]
) -> tuple[np.ndarray, dict[str, Any]]:
    """Degrade a take in one random way of those named."""
    name = names[int(rng.integers(len(names)))]
    if rng.random() < 0.15 and "bedroom" in names:
        name = "bedroom"  # where takes are made
    settings = {"tempo_bpm": truth["bpm"], "start_s": truth["t0_s"]}
    samples = DEGRADATIONS[name](samples, rng, settings)
    take = f"{truth['take']}__{name}"
    return samples, truth | {
        "take": take,
        "degradation": name,
        "degradation_settings": settings,
    }


def write_take(
    folder: Path, lick: Lick, samples: np.ndarray, truth: dict[str, Any]
) -> None:
    """Write sound, lick and truth of one take."""
    stem = folder / truth["take"]
    clipped = np.clip(samples, -1, 1)
    soundfile.write(f"{stem}.wav", clipped, SAMPLE_RATE_HZ, subtype="PCM_16")
    Path(f"{stem}.json").write_text(json.dumps(truth, separators=(",", ":")))
    Path(f"{stem}.musicxml").write_bytes(musicxml.write(lick))


def write_calibration(folder: Path, guitar: SampledGuitar | RecordedGuitar) -> None:
    """Write how far the single notes are out of tune, against time."""
    notes = {
        key: {"cents": list(d.cents), "partial_spread_cents": d.spread_cents}
        for key, d in sorted(guitar.detunes.items())
    }
    table = {"t_s": list(DETUNE_TIMES_S), "notes": notes}
    (folder / "calibration.json").write_text(json.dumps(table))


def make(arguments: argparse.Namespace) -> list[str]:
    """Make all takes; return their names."""
    folder, seed = Path(arguments.out), arguments.seed
    folder.mkdir(parents=True, exist_ok=True)
    guitar: SampledGuitar | RecordedGuitar = SampledGuitar(arguments.font)
    if arguments.notes:
        guitar = RecordedGuitar.read(Path(arguments.notes), arguments.guitar)
    recorded = guitar.name if arguments.notes else None
    kinds = _named(arguments.kinds, KINDS)
    degradations = _named(arguments.degradations, DEGRADATIONS)
    noises = _named(arguments.noises, NOISES) if arguments.noises else [""]
    names: list[str] = []
    for first in range(0, arguments.takes, BATCH):
        generators = {
            k: np.random.default_rng([seed, k])
            for k in range(first, min(first + BATCH, arguments.takes))
        }
        plans = []
        for k, rng in generators.items():
            kind = kinds[k % len(kinds)]
            several = bool(rng.random() < arguments.passes)
            plans.append(
                plan_take(
                    f"{k:04d}_{kind}",
                    kind,
                    rng,
                    guitar=recorded,
                    several=several,
                    noise=noises[k // len(kinds) % len(noises)],
                )
            )
        needs = [wanted(plan) for plan in plans]
        everything = [note for need in needs for note in need]
        sources = iter(
            guitar.sources(everything, np.random.default_rng([seed, first, 1]))
        )
        for plan, need, (k, rng) in zip(plans, needs, generators.items(), strict=True):
            own = [next(sources) for _ in need]
            samples, truth = mix(plan, own, guitar, rng)
            truth["noise"] = noises[k // len(kinds) % len(noises)]
            colour = np.random.default_rng([seed, k, 2])
            if colour.random() < arguments.toned:
                samples = tone(samples, colour)
            if rng.random() < arguments.degraded:
                samples, truth = degrade(samples, truth, rng, degradations)
            write_take(folder, plan.lick, samples, truth)
            names.append(truth["take"])
        print(len(names), "takes", file=sys.stderr, flush=True)
    write_calibration(folder, guitar)
    (folder / "manifest.json").write_text(json.dumps(sorted(names)))
    return names


def _named(text: str, known: Collection[str]) -> list[str]:
    """Names of a comma-separated list; all that are known where it is empty."""
    return text.split(",") if text else list(known)


def main() -> None:
    """Read the command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--out", required=True, help="folder to write to")
    parser.add_argument("--takes", type=int, default=40)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--font", choices=("fluid", "tim"), default="fluid")
    parser.add_argument("--notes", help="folder of recorded notes with notes.csv")
    parser.add_argument("--guitar", choices=("hollow", "electric"), default="hollow")
    parser.add_argument("--degraded", type=float, default=0.0, help="share, 0 to 1")
    parser.add_argument("--toned", type=float, default=0.0, help="share, 0 to 1")
    parser.add_argument("--passes", type=float, default=0.0, help="share with several")
    parser.add_argument("--kinds", default="", help="comma-separated, default all")
    parser.add_argument("--degradations", default="", help="likewise")
    parser.add_argument(
        "--noises", default="", help="one kind of noise a take, in turn; default drawn"
    )
    arguments = parser.parse_args()
    for text, known in (
        (arguments.noises, NOISES),
        (arguments.kinds, KINDS),
        (arguments.degradations, DEGRADATIONS),
    ):
        unknown = set(_named(text, known)) - set(known)
        if unknown:
            parser.error(f"not known: {', '.join(unknown)}; of: {', '.join(known)}")
    if arguments.takes < 1:
        parser.error(f"--takes {arguments.takes}: at least 1")
    for share in (arguments.degraded, arguments.toned, arguments.passes):
        if not 0 <= share <= 1:
            parser.error(f"a share of {share:g} is not in 0 to 1")
    make(arguments)


if __name__ == "__main__":
    main()
