"""A class of invented players: takes of one lick by the demo, with faults in them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, replace
from pathlib import Path

import numpy as np
import soundfile

from assessor import demo, lick
from assessor.assessment import Settings
from assessor.lick import sheet
from assessor.lick.notation import Lick
from assessor.review import assignment, planning
from assessor.review.assignment import Player
from assessor.review.books import Books, Planned, Record, open_books
from assessor.review.changes import write_counted
from assessor.review.finding import Finding, FoundNote, Known
from assessor.review.summary import read_class

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


def write_class(
    folder: Path, players: int, *, shorter: int = 0, of: Lick | None = None
) -> Lick:
    """So many players, a folder each; every second one with faults."""
    asked = of or lick.read(LICK)
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


def finding(
    asked: Lick, *, faults: dict[int, str] | None = None, spread_ms: float = 8.0
) -> Finding:
    """What might have been found: faults by note, everything else right."""
    faults = faults or {}
    notes = []
    for k, onset_s in enumerate(asked.onsets_s()):
        fault = faults.get(k, "")
        bad = fault in ("missed", "wrong", "unsure")
        notes.append(
            FoundNote(
                fault if bad else "right",
                0.3 if fault == "unsure" else 0.999,
                (fault,) if fault and not bad else (),
                None if fault == "missed" else float(onset_s),
                float(onset_s),
            )
        )
    unsure = sum(fault == "unsure" for fault in faults.values())
    judged = len(notes) - unsure
    right = judged - sum(fault in ("missed", "wrong") for fault in faults.values())
    first = min(faults, default=-1)
    cause = "" if first < 0 else f"{faults[first]} notes"
    share = 100 * right / judged
    readings = {
        "notes": Known(share, "%", 1.0, 100.0, "outside"),
        "spread": Known(spread_ms, "ms", 2.0, 0.0, "outside"),
        "tempo": Known(asked.tempo_bpm, "bpm", 0.2, asked.tempo_bpm, "not judged"),
    }
    return Finding(
        share, right, judged, unsure, 0, readings, tuple(notes), (), 1, 0,
        True, cause, f"bar {first + 1}" if cause else "", faults.get(first, ""),
        tuple(faults), (), 10.0, not faults,
    )  # fmt: skip


def write_review(
    out: Path, found: dict[str, Finding | str], earlier: Sequence[Path] = ()
) -> Books:
    """A review with these findings (or reasons) by pseudonym, assessed by nobody."""
    books = open_books(out, create=True)
    asked = assignment.of_lick(LICK, Settings()).licks[0]
    takes, players = [], sorted(found)
    for number, player in enumerate(players):
        one = found[player]
        take_id = f"{number:016x}"
        refused = isinstance(one, str)
        finding = None if isinstance(one, str) else one
        record = Record(
            take_id, "", player, finding, finding, str(one) if refused else "", 0.1
        )
        books.write_record(record)
        takes.append(
            Planned(take_id, player, 0, f"{player}/x.wav", "/x", "", take_id, "")
        )
    books.write_plan(
        {
            "title": out.name,
            "due": None,
            "folder": "/in",
            "licks": [planning.asked_json(asked)],
            "players": [*players, "absent"],
            "takes": [asdict(one) for one in takes],
            "unmatched": [],
            "earlier": [str(path) for path in earlier],
            "options": asdict(planning.Options()),
        }
    )
    books.write_roster([Player(f"name of {p}", p) for p in players])
    write_counted(books, read_class(books))
    return books


__all__ = [
    "LICK",
    "finding",
    "with_faults",
    "write_class",
    "write_review",
    "write_sheet",
    "write_take",
]
