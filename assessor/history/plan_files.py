"""Files to practise a plan with: how it sounds, a click, and the part that was cut."""

from __future__ import annotations

import re
from collections.abc import Iterator
from math import ceil
from pathlib import Path

from assessor import demo
from assessor.errors import HistoryError
from assessor.history.licks import sheet_of
from assessor.history.parts import cut
from assessor.history.plan import Plan, Step
from assessor.lick.notation import Lick
from assessor.whole_file import write_whole

DEMO_REPEATS = 2
MOST_OF_A_NAME = 90  # characters of a title in a file name


def write_files(
    plan: Plan, licks: dict[str, Lick], folder: Path, turn_minutes: float
) -> list[Path]:
    """Write a demo and a click for each step, and a sheet of each part that was cut.

    Parameters
    ----------
    plan : Plan
    licks : dict of str to Lick
        By digest; steps whose lick is not known get no files.
    folder : Path
        Made when it is not there; files of an earlier plan are written over.
    turn_minutes : float
        How long a click goes on.

    Raises
    ------
    HistoryError
        When a file cannot be written.
    """
    written: list[Path] = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for number, step in enumerate(plan.steps, 1):
            if step.lick in licks:
                asked = lick_of_step(step, licks[step.lick])
                stem = folder / f"{number:02d}-{_slug(asked.title)}"
                written += _files(asked, stem, step, turn_minutes)
    except OSError as problem:
        message = (
            f"cannot be written: {problem.strerror or problem}; name another place"
        )
        raise HistoryError(message, str(folder)) from problem
    return written


def lick_of_step(step: Step, lick: Lick) -> Lick:
    """What a step asks for: the lick or one part of it, at the tempo of the step."""
    part = lick if step.part is None else cut(lick, step.part)
    return part.at_tempo(step.tempo_bpm)


def _files(asked: Lick, stem: Path, step: Step, turn_minutes: float) -> Iterator[Path]:
    tempo = f"{step.tempo_bpm:.0f}bpm"
    manner = demo.Manner(repeats=DEMO_REPEATS)
    beats = turn_minutes * step.tempo_bpm
    sounds = {
        "demo": demo.play(asked, manner).samples,
        "click": demo.click_track(asked, ceil(beats / float(asked.meter.bar_beats))),
    }
    for name, samples in sounds.items():
        file = stem.with_name(f"{stem.name}-{tempo}-{name}.flac")
        write_whole(file, demo.sound_file(samples, "flac"))
        yield file
    text = sheet_of(asked) if step.part is not None else None
    if text is not None:
        file = stem.with_name(f"{stem.name}.lick")
        write_whole(file, text)
        yield file


def _slug(title: str) -> str:
    """Title as a file name.

    >>> _slug("Dorian scale, bar 2")
    'dorian-scale-bar-2'
    """
    return (
        re.sub(r"[^a-z0-9]+", "-", title.lower())[:MOST_OF_A_NAME].strip("-") or "lick"
    )
