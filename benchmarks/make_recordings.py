"""Play the takes that ship in ``recordings/``, each with a text of its faults.

    python benchmarks/make_recordings.py [--references DIR] [--out DIR] [--seed N]

Needs fluidsynth with FluidR3_GM.  The licks are those in ``references/`` that
`RECIPES` names.  The same licks, seed and synthesiser give the same takes.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any
from zlib import crc32

import numpy as np
import soundfile
import soxr
from takes import degrade
from takes.curves import Stroke, Touch
from takes.describe import describe
from takes.hand import Hand
from takes.measure import SAMPLE_RATE_HZ
from takes.mix import Plan, land_pick, mix, wanted
from takes.play import Faults, Manner, play
from takes.sounds import SampledGuitar

from assessor.lick import read
from assessor.lick.notation import Lick
from assessor.tuning import FloatArray

ROOT = Path(__file__).parents[1]
SHIPPED_RATE_HZ = 32000  # holds everything a guitar has, in three quarters of the size
HAND = Hand(landing=0.4, lift=0.25, squeak=0.04, sympathy=0.2)
ROOM_NOISE_DB = 24.0  # pink noise below the guitar, in the noisy room


@dataclass(frozen=True)
class Recipe:
    """One shipped take.

    Attributes
    ----------
    name : str
        Of the file.
    manner : Manner
    program : str
        Key of `PROGRAMS`.
    lick : str
        Name of its sheet, one that shows what the take is about.
    moved_semitones : int
        The whole take played that much higher.
    late_s : float
        Everything behind the click by that much.
    passes : tuple of float
        Share of the lick each pass gets through.
    noisy_room : bool
    tuning_cents : float
        Of the guitar, + sharp.
    """

    name: str
    manner: Manner
    program: str
    lick: str
    moved_semitones: int = 0
    late_s: float = 0.0
    passes: tuple[float, ...] = (1.0,)
    noisy_room: bool = False
    tuning_cents: float = 0.0


SINGING = ((4.8, 6.2), (18.0, 35.0))  # rate and depth of a practised vibrato
HUMAN = Manner(
    jitter_ms=5,
    softest_velocity=84,
    loudest_velocity=102,
    accent=6,
    touch=Touch((-6, 6), *SINGING),
)
EARLIER_WRONG = 0.06  # share of wrong notes in all passes but the last
RECIPES = (
    Recipe("clean", HUMAN, "jazz", "skipped-string-arpeggios"),
    Recipe(
        "late-and-dragging",
        replace(HUMAN, jitter_ms=7, drift=-0.09),
        "steel",
        "diminished-cell-by-minor-thirds",
        late_s=0.028,
    ),
    Recipe(
        "wrong-notes",
        replace(HUMAN, jitter_ms=7, wrong=0.1, missed=0.05, extra=0.05),
        "clean",
        "triplets-into-sixteenths",
    ),
    Recipe(
        "flat-bend",
        replace(HUMAN, touch=Touch((-48, -32), *SINGING)),
        "clean",
        "half-and-whole-bends",
    ),
    Recipe(
        "uneven-hammer-ons",
        replace(HUMAN, slur_unevenness=0.28),
        "clean",
        "pentatonic-hammers-and-pulls",
    ),
    Recipe(
        "moved-three-frets", HUMAN, "steel", "hybrid-picked-tenths", moved_semitones=3
    ),
    Recipe(
        "three-passes", HUMAN, "jazz", "swung-two-five-one", passes=(1.0, 0.55, 1.0)
    ),
    Recipe(
        "tuned-low-ringing",
        HUMAN,
        "nylon",
        "ringing-dadgad-with-capo",
        tuning_cents=-22.0,
    ),
    Recipe("noisy-room", HUMAN, "steel", "quarter-bends-in-six-eight", noisy_room=True),
)


def plan(lick: Lick, recipe: Recipe, rng: np.random.Generator) -> Plan:
    """Decide how a shipped take is played."""
    beat_s = 60.0 / lick.tempo_bpm
    # Whole beats of a click that started with the file, if there was one.
    start_s = float(np.ceil(0.4 / beat_s)) * beat_s + recipe.late_s
    passes: list[list[Stroke]] = []
    faults = Faults()
    for k, share in enumerate(recipe.passes, start=1):
        last = k == len(recipe.passes)
        manner = recipe.manner if last else replace(recipe.manner, wrong=EARLIER_WRONG)
        strokes, faults = play(lick, manner, rng, start_s)
        if share < 1:
            strokes = strokes[: int(share * len(strokes))]
        start_s = max(s.offset_s for s in strokes) + float(rng.uniform(0.7, 1.1))
        passes.append(strokes)
    for stroke in (s for strokes in passes for s in strokes):
        stroke.midi_number += recipe.moved_semitones
    landings = [t for strokes in passes for t in land_pick(strokes, HAND, rng)]
    return Plan(
        recipe.name,
        "shipped",
        lick,
        tuple(passes),
        len(passes) - 1,
        faults,
        recipe.program,
        recipe.tuning_cents,
        HAND,
        landings_s=tuple(landings),
        fade_s=0.015,
    )


def noisy_room(samples: FloatArray, rng: np.random.Generator) -> tuple[FloatArray, str]:
    """Put a take into a room with noise; return it and what was done, in words."""
    settings: dict[str, Any] = {}
    wet = degrade.room(samples, rng, settings)
    gain = float(np.std(wet)) * 10 ** (-ROOM_NOISE_DB / 20)
    noisy = wet + gain * degrade.coloured_noise(rng, len(wet), 1.0)
    words = (
        f"Room: reverberation time {settings['rt60_s']} s, direct to reverberant "
        f"sound {settings['direct_to_reverberant_db']:+} dB, pink noise "
        f"{ROOM_NOISE_DB:g} dB below the guitar."
    )
    return noisy * (degrade.PEAK / np.abs(noisy).max()), words


@dataclass
class Played:
    """A shipped take, ready to be written."""

    recipe: Recipe
    sheet: Path
    lick: Lick
    samples: FloatArray
    lines: list[str] = field(default_factory=list)

    def write(self, folder: Path) -> None:
        """Write the sound as 16-bit FLAC and the text beside it."""
        stem = folder / self.recipe.name
        shipped = soxr.resample(self.samples, SAMPLE_RATE_HZ, SHIPPED_RATE_HZ, "VHQ")
        soundfile.write(
            f"{stem}.flac",
            np.clip(shipped, -1, 1),
            SHIPPED_RATE_HZ,
            subtype="PCM_16",
            compression_level=1.0,
        )
        heading = [
            f"Take: {self.recipe.name}.flac, "
            f"{len(shipped) / SHIPPED_RATE_HZ:.1f} s, 32 kHz, mono",
            f"Lick: references/{self.sheet.name} ({self.lick.title}), {len(self.lick)} "
            f"notes at {self.lick.tempo_bpm:g} beats a minute",
            f"Played by fluidsynth, FluidR3_GM, {self.recipe.program} guitar "
            "(benchmarks/make_recordings.py); all figures are exact",
            "",
        ]
        Path(f"{stem}.txt").write_text("\n".join([*heading, *self.lines]) + "\n")


def perform(lick: Lick, sheet: Path, recipe: Recipe, seed: int) -> Played:
    """Play one shipped take."""
    rng = np.random.default_rng([seed, crc32(recipe.name.encode())])
    planned, guitar = plan(lick, recipe, rng), SampledGuitar("fluid")
    samples, truth = mix(planned, guitar.sources(wanted(planned), rng), guitar, rng)
    if recipe.late_s:
        beat_s = 60.0 / lick.tempo_bpm
        truth["click_start_s"] = float(np.ceil(0.4 / beat_s)) * beat_s
    lines = describe(lick, truth, recipe.moved_semitones)
    if recipe.noisy_room:
        samples, words = noisy_room(samples, rng)
        lines.append(words)
    return Played(recipe, sheet, lick, samples, lines)


def main() -> None:
    """Read the command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--references", type=Path, default=ROOT / "references")
    parser.add_argument("--out", type=Path, default=ROOT / "recordings")
    parser.add_argument("--seed", type=int, default=7)
    arguments = parser.parse_args()
    for recipe in RECIPES:
        sheet = arguments.references / f"{recipe.lick}.lick"
        perform(read(sheet), sheet, recipe, arguments.seed).write(arguments.out)
        print(f"{recipe.name}: {sheet.name}")


if __name__ == "__main__":
    main()
