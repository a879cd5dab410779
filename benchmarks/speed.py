"""Measure what assessing costs, beside general pitch trackers on the same sound.

    python benchmarks/speed.py [--lengths 10 60 600 3600] [--repeats 3]

Prints CPU seconds (``time.process_time``, one thread; everything is run in turn, as
often as told, and the least of each counts, which other programs disturb least) and
milliseconds per second of sound.  Trackers: ``parselmouth`` to_pitch_ac (10 ms steps,
75 to 1400 Hz) at 44.1 kHz; ``librosa`` yin and pyin (same range, default frames) at
22.05 kHz and ``swift-f0`` (its own range and steps) at 16 kHz, their resampling not
counted; librosa, which would need many gigabytes for an hour, in pieces of ten minutes.
Sound of more than ten minutes is ten minutes over and over.  Then what each stage of
`assess` takes, and how long the command line takes to start cold (wall clock, median).

Needs the extra ``bench`` and fluidsynth with FluidR3_GM.
"""

from __future__ import annotations

import argparse
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import librosa
import numpy as np
import parselmouth
import soundfile
import swift_f0
import threadpoolctl
from phrases import KINDS
from takes.invent import invent
from takes.measure import SAMPLE_RATE_HZ
from takes.mix import Plan, mix, wanted
from takes.play import Manner, play
from takes.sounds import SampledGuitar

from assessor import alignment, onset, pitch, second_look, spectrum
from assessor.assessment import USUAL, assess, measure
from assessor.lick import Lick, musicxml
from assessor.recording import Recording
from assessor.tuning import FloatArray

LOWEST_HZ, HIGHEST_HZ = 75.0, 1400.0
LONGEST_SLOW_S = 60.0  # slower trackers are run once on anything longer
PIECE_S = 600.0
COLD_TAKE_S = 30.0
COLD_STARTS = 5


def played_for(seconds: float) -> tuple[Lick, FloatArray]:
    """Play one lick over and over, with short pauses, for that long."""
    rng = np.random.default_rng(12)
    lick = invent(rng, "speed", KINDS["plain"].wish)
    passes, at_s = [], 0.5
    while at_s < seconds:
        strokes, faults = play(lick, Manner(), rng, at_s)
        passes.append(strokes)
        at_s = strokes[-1].offset_s + 0.6
    plan = Plan("speed", "plain", lick, tuple(passes), 0, faults, "steel")
    guitar = SampledGuitar("fluid")
    samples, _ = mix(plan, guitar.sources(wanted(plan), rng), guitar, rng)
    return lick, samples[: int(seconds * SAMPLE_RATE_HZ)]


def sound_for(seconds: float) -> tuple[Lick, FloatArray]:
    """Play for that long, or for `PIECE_S` and that again and again."""
    lick, samples = played_for(min(seconds, PIECE_S))
    return lick, np.resize(samples, int(seconds * SAMPLE_RATE_HZ))


def trackers(
    lick: Lick, samples: FloatArray
) -> dict[str, tuple[Callable[[], object], bool]]:
    """Everything to time, and whether it is slow."""
    recording = Recording(samples.astype(np.float32), SAMPLE_RATE_HZ, "speed", "")
    sound = parselmouth.Sound(samples, SAMPLE_RATE_HZ)
    half_hz = SAMPLE_RATE_HZ // 2
    half = librosa.resample(samples, orig_sr=SAMPLE_RATE_HZ, target_sr=half_hz)
    pieces = np.split(
        half, range(int(PIECE_S * half_hz), len(half), int(PIECE_S * half_hz))
    )

    def in_pieces(track: Callable[..., object]) -> list[object]:
        return [
            track(piece, fmin=LOWEST_HZ, fmax=HIGHEST_HZ, sr=half_hz)
            for piece in pieces
        ]

    swift_hz = swift_f0.SAMPLE_RATE
    low = librosa.resample(samples, orig_sr=SAMPLE_RATE_HZ, target_sr=swift_hz)
    swift = swift_f0.SwiftF0(threads=1, spin=False)
    return {
        "assess": (lambda: assess(recording, lick), False),
        "parselmouth to_pitch_ac": (
            lambda: sound.to_pitch_ac(
                time_step=0.01, pitch_floor=LOWEST_HZ, pitch_ceiling=HIGHEST_HZ
            ),
            False,
        ),
        "librosa yin": (
            lambda: in_pieces(librosa.yin),
            True,
        ),
        "librosa pyin": (
            lambda: in_pieces(librosa.pyin),
            True,
        ),
        "swift-f0": (
            lambda: swift.detect(low.astype(np.float32), swift_hz),
            True,
        ),
    }


def stages_s(seconds: float, repeats: int) -> dict[str, float]:
    """CPU time of each stage of `assess`, the least of some repeats."""
    lick, samples = sound_for(seconds)
    recording = Recording(samples.astype(np.float32), SAMPLE_RATE_HZ, "speed", "")
    del samples
    heard = spectrum.analyse(recording)
    events = onset.events(heard)
    found = alignment.align(lick, events)
    sure = second_look.confirm(found, lick, events, heard)
    traced = pitch.trace(sure, lick, heard)
    stages: dict[str, Callable[[], object]] = {
        "spectrum": lambda: spectrum.analyse(recording),
        "events and evidence": lambda: onset.events(heard),
        "passes and warp": lambda: alignment.align(lick, events),
        "second look": lambda: second_look.confirm(found, lick, events, heard),
        "times and contours": lambda: pitch.trace(sure, lick, heard),
        "measures": lambda: measure(lick, traced, USUAL),
    }
    return {
        name: min(cpu_s(run) for _ in range(repeats)) for name, run in stages.items()
    }


def time_stages(lengths: list[float], repeats: int) -> None:
    """Print what each stage of `assess` costs, by length."""
    tables = [stages_s(seconds, repeats) for seconds in lengths]
    print("\nstages, ms of CPU per s of sound")
    print(f"| {'':24} |", *(f"{seconds:g} s |" for seconds in lengths))
    print("|---|" + "---|" * len(lengths))
    for name in tables[0]:
        spent = zip(tables, lengths, strict=True)
        costs = (f"{1000 * table[name] / length:.2f} |" for table, length in spent)
        print(f"| {name:24} |", *costs)


def cpu_s(work: Callable[[], object]) -> float:
    """CPU time of some work on one thread."""
    with threadpoolctl.threadpool_limits(limits=1):
        start = time.process_time()
        work()
        return time.process_time() - start


def warm_up() -> None:
    """Let everything load and compile what it does at its first call."""
    for run, _ in trackers(*played_for(3.0)).values():
        run()


def time_trackers(seconds: float, repeats: int) -> None:
    """Print one table for sound of one length."""
    lick, samples = sound_for(seconds)
    work = trackers(lick, samples)
    spent_s: dict[str, list[float]] = {name: [] for name in work}
    for turn in range(repeats):
        for name, (run, slow) in work.items():
            if turn == 0 or not slow or seconds <= LONGEST_SLOW_S:
                spent_s[name].append(cpu_s(run))
    print(f"\n{seconds:g} s of sound, {len(lick)} notes in the lick")
    print(f"| {'':24} | CPU s | ms per s | against assess |")
    print("|---|---|---|---|")
    own_s = min(spent_s["assess"])
    for name, spent in spent_s.items():
        least_s = min(spent)
        figures = (1000 * least_s / seconds, least_s / own_s)
        print(f"| {name:24} | {least_s:.3f} | {figures[0]:.2f} | {figures[1]:.2f} |")


def wall_s(command: list[str]) -> float:
    """Median wall time of a command, started afresh each time."""
    spent = []
    for _ in range(COLD_STARTS):
        start = time.perf_counter()
        subprocess.run(command, check=True, capture_output=True)
        spent.append(time.perf_counter() - start)
    return statistics.median(spent)


def time_cold_starts() -> None:
    """Print how long the command line takes from nothing."""
    program = [sys.executable, "-m", "assessor"]
    lick, samples = played_for(COLD_TAKE_S)
    with tempfile.TemporaryDirectory() as folder:
        take, sheet = Path(folder, "take.wav"), Path(folder, "lick.musicxml")
        soundfile.write(take, samples, SAMPLE_RATE_HZ, subtype="PCM_16")
        sheet.write_bytes(musicxml.write(lick))
        check = [*program, "check", str(take), "--lick", str(sheet)]
        print("\ncold start, wall clock, median of", COLD_STARTS)
        print(f"| assessor --help | {wall_s([*program, '--help']):.3f} s |")
        print(f"| assessor check, {COLD_TAKE_S:g} s take | {wall_s(check):.3f} s |")


def main() -> None:
    """Read the command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--lengths", type=float, nargs="+", default=[10, 60, 600, 3600])
    parser.add_argument("--repeats", type=int, default=3)
    arguments = parser.parse_args()
    warm_up()
    lengths = sorted(arguments.lengths)
    for seconds in lengths:
        time_trackers(seconds, arguments.repeats)
    time_stages(lengths, arguments.repeats)
    time_cold_starts()


if __name__ == "__main__":
    main()
