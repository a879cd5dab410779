"""A class of invented players: takes of one lick by the demo, with faults in them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import soundfile

from assessor import demo, lick
from assessor.lick import sheet
from assessor.lick.notation import Lick

LICK = Path(__file__).parents[1] / "references" / "skipped-string-arpeggios.lick"
MANNER = demo.Manner(click=False, count_in_bars=0)


def with_faults(
    asked: Lick, *, left_out: tuple[int, ...] = (), low: tuple[int, ...] = ()
) -> Lick:
    """A lick with notes left out, and notes one fret low."""
    notes = [
        replace(note, midi_number=note.midi_number - 1, fret=note.fret - 1)
        if k in low
        else note
        for k, note in enumerate(asked.notes)
        if k not in left_out
    ]
    return replace(asked, notes=tuple(notes))


def write_take(file: Path, played: Lick, *, seed: int = 0) -> None:
    """A take of a lick as a FLAC; another seed is another recording."""
    sound = demo.play(played, MANNER)
    noise = np.random.default_rng(seed).normal(0, 1e-4, len(sound.samples))
    file.parent.mkdir(parents=True, exist_ok=True)
    soundfile.write(file, sound.samples + noise, demo.SAMPLE_RATE_HZ)


def write_class(folder: Path, players: int, *, shorter: int = 0) -> Lick:
    """So many players, a folder each; every second one with faults."""
    asked = lick.read(LICK)
    if shorter:
        asked = replace(asked, notes=asked.notes[:shorter])
    for number in range(players):
        faults = (number % 7 + 3,) if number % 2 else ()
        low = (number % 5 + 8,) if number % 3 == 2 else ()
        played = with_faults(asked, left_out=faults, low=low)
        name = f"player-{number:03d}"
        write_take(folder / name / f"{name}.flac", played, seed=number)
    return asked


def write_sheet(file: Path, asked: Lick) -> None:
    """A lick as a sheet."""
    file.write_text(sheet.write(asked), encoding="utf-8")


__all__ = ["LICK", "with_faults", "write_class", "write_sheet", "write_take"]
