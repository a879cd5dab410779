"""The made-up history behind docs/weeks.md: takes of a shipped lick that get better.

    python tests/made_up_weeks.py STORE

Two takes every third day for five weeks: faster, more even, with fewer slips, most of
them at three notes of the second bar.  Nothing is heard for it; the notes are made by
hand, and measured as those of a take are.
"""

from __future__ import annotations

import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import hand_made as made
import numpy as np

from assessor import lick, report
from assessor.alignment import Verdict
from assessor.history.store import Store, open_store
from assessor.history.takes import ToKeep, keep
from assessor.lick.notation import Lick

LICK = "triplets-into-sixteenths"
DAYS, STEP_DAYS, TAKES_A_DAY = 34, 3, 2
FIRST_PACE, LAST_PACE = 1.6, 1.1  # times as long as written
FIRST_LATE_S, LAST_LATE_S = 0.036, 0.006
HARD, SLIP, HARD_SLIP = (13, 14, 15), 0.06, 0.5


def take(asked: Lick, left: float, random: np.random.Generator) -> dict[str, Any]:
    """Result of a take with so much of the way still to go, 1 to 0."""
    late_s = LAST_LATE_S + (FIRST_LATE_S - LAST_LATE_S) * left
    pace = LAST_PACE + (FIRST_PACE - LAST_PACE) * left
    scatter_s = late_s * random.standard_normal(len(asked))
    notes: list[Any] = [*made.as_written(asked, pace=pace, late_s=scatter_s)]
    verdicts = {}
    for index, note in enumerate(notes):
        chance = left * (HARD_SLIP if index in HARD else SLIP)
        if random.random() >= chance:
            continue
        notes[index] = None
        if random.random() < 0.5:  # the next fret, else not sounded
            notes[index] = made.played(note.onset_s, note.midi_number + 1)
            verdicts[index] = Verdict.WRONG
    passage = made.passage(notes, verdicts=verdicts, tempo_ratio=1 / pace)
    digest = f"{random.integers(2**63):064x}"
    return report.result(made.assessed(asked, passage, facts={"digest": digest}))


def fill(store: Store, now: datetime) -> None:
    """Keep every take of the five weeks that end `now`."""
    asked = lick.read(Path(__file__).parents[1] / "references" / f"{LICK}.lick")
    random = np.random.default_rng(3)
    for days_ago in range(DAYS, -1, -STEP_DAYS):
        for number in range(TAKES_A_DAY):
            ago = timedelta(days=days_ago, hours=TAKES_A_DAY - number)
            heard = take(asked, days_ago / DAYS, random)
            files = f"{LICK}.lick", f"take-{days_ago}-{number}.wav"
            keep(store, ToKeep(heard, asked, *files, now - ago), now)


if __name__ == "__main__":
    with open_store(sys.argv[1]) as opened:
        fill(opened, datetime.now(UTC))
