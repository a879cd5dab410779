"""Measure what the page of a take costs: time and bytes.

    python benchmarks/page.py

For each shipped take the time of `assessor.report.page.page` after the assessment
(wall clock, best of the repeats) and the size of the page, without and with sound; then
the same for an hour of `HOUR_PASSES` passes, each a copy of one shipped pass moved in
time, with its own sound.
"""

from __future__ import annotations

import re
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np

from assessor import lick, recording
from assessor.alignment import Verdict
from assessor.assessment import Assessment, assess, measure
from assessor.pitch import Contour, Performance, PerformedPass, PlayedNote
from assessor.recording import Recording
from assessor.report.page import page

TOP = Path(__file__).parents[1]
REPEATS = 3
HOUR_S, HOUR_PASSES = 3600.0, 200
HOUR_TAKE = "flat-bend"  # bends, vibrato: the most to draw


def taken(name: str) -> tuple[Assessment, Recording]:
    """Assess a shipped take against the lick its text names."""
    words = (TOP / "recordings" / f"{name}.txt").read_text(encoding="utf-8")
    named = re.search(r"references/\S+", words)
    assert named is not None
    heard = recording.read(TOP / "recordings" / f"{name}.flac")
    return assess(heard, lick.read(TOP / named.group())), heard


def an_hour(found: Assessment, heard: Recording) -> tuple[Assessment, Recording]:
    """The best pass of a take over and over, now and then with a missed note."""
    rng = np.random.default_rng(5)
    step_s = HOUR_S / HOUR_PASSES
    passes = []
    for number in range(HOUR_PASSES):
        one = moved(found.best_pass.performed, number * step_s)
        missed = int(rng.integers(len(one.notes)))
        notes = [
            replace(n, verdict=Verdict.MISSED, played=None) if k == missed else n
            for k, n in enumerate(one.notes)
        ]
        passes.append(replace(one, notes=tuple(notes)))
    performance = Performance(tuple(passes), HOUR_PASSES // 2, found.tuning_cents, 0)
    rate_hz = heard.sample_rate_hz
    whole = np.zeros(round(HOUR_S * rate_hz), np.float32)
    for number in range(HOUR_PASSES):
        first = round(number * step_s * rate_hz)
        part = heard.samples[: len(whole) - first]
        whole[first : first + len(part)] = part
    facts = replace(found.recording, duration_s=HOUR_S)
    assessed = replace(
        found,
        recording=facts,
        passes=measure(found.lick, performance, found.settings),
        best=performance.best,
    )
    return assessed, Recording(whole, rate_hz, "hour", heard.digest)


def moved(one: PerformedPass, by_s: float) -> PerformedPass:
    """A pass, so much later."""

    def later(played: PlayedNote) -> PlayedNote:
        contour = played.contour
        times_s = contour.times_s + by_s
        return replace(
            played,
            onset_s=played.onset_s + by_s,
            offset_s=played.offset_s + by_s,
            contour=Contour(times_s, contour.f0_hz, contour.level_db),
        )

    notes = [
        replace(
            n,
            expected_s=n.expected_s + by_s,
            played=None if n.played is None else later(n.played),
        )
        for n in one.notes
    ]
    extras = tuple(later(played) for played in one.extras)
    return replace(one, notes=tuple(notes), extras=extras)


def timed(found: Assessment, heard: Recording | None) -> tuple[float, int]:
    """Seconds, best of the repeats, and bytes of a page."""
    seconds = []
    for _ in range(REPEATS):
        start_s = time.perf_counter()
        text = page(found, heard)
        seconds.append(time.perf_counter() - start_s)
    return min(seconds), len(text.encode())


def rows() -> Iterator[str]:
    """One line a take."""
    names = sorted(path.stem for path in (TOP / "recordings").glob("*.flac"))
    for name in names:
        found, heard = taken(name)
        yield row(name, found, heard)
        if name == HOUR_TAKE:
            hour = an_hour(found, heard)
    yield row(f"{HOUR_PASSES} passes of it", *hour)


def row(name: str, found: Assessment, heard: Recording) -> str:
    """Name, length, and what the page costs without and with sound."""
    silent_s, silent_bytes = timed(found, None)
    whole_s, whole_bytes = timed(found, heard)
    return (
        f"{name:20} {found.recording.duration_s:6.0f} {silent_s:11.3f}"
        f" {silent_bytes / 1000:6.0f} {whole_s:14.3f} {whole_bytes / 1000:6.0f}"
    )


if __name__ == "__main__":
    print(
        f"{'take':20} {'s':>6} {'no sound, s':>11} {'kB':>6} {'with sound, s':>14}",
        end="",
    )
    print(f" {'kB':>6}")
    for line in rows():
        print(line, flush=True)
