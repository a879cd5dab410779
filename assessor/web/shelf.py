"""What pages show of the history, and putting an assessed take into it."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from assessor.history import clock, takes
from assessor.history.cautions import cautions_of
from assessor.history.progress import progress_of
from assessor.history.store import Store
from assessor.report.weeks_page import weeks_picture
from assessor.web.catalogue import Entry
from assessor.web.takes import KeptTake, Takes

MOST_ROWS = 8


@dataclass(frozen=True)
class Row:
    """One kept take in a list; `take` is its name here, empty where there is none."""

    take: str
    when: str
    tempo: str
    right: str
    mark: str


@dataclass(frozen=True)
class Past:
    """What was kept of a lick.

    Attributes
    ----------
    count : int
    rows : tuple of Row
        The newest, newest first.
    picture : str
        Mark over days as SVG; empty before there are two days.
    """

    count: int
    rows: tuple[Row, ...]
    picture: str


def past_of(store: Store, here: Takes, player: str, lick: str) -> Past:
    """Everything kept of a lick by a player.

    Parameters
    ----------
    store : Store
    here : Takes
        Those that have a report to show.
    player : str
    lick : str
        Digest.
    """
    found = takes.takes_of(store, takes.Selection(player, lick))
    newest = sorted(found, key=lambda take: take.recorded_at, reverse=True)
    rows = tuple(_row(take, here) for take in newest[:MOST_ROWS])
    return Past(len(found), rows, _picture(found))


def _row(take: takes.Take, here: Takes) -> Row:
    folder = Path(take.file).parent
    found = here.find(folder.name, take.player)
    known = found is not None and found.folder == folder
    best = take.summary.best_pass
    right = take.summary.readings.get("right notes")
    return Row(
        folder.name if known else "",
        f"{clock.local(take.recorded_at):%d %b %Y, %H:%M}",
        f"{best.tempo_bpm:.0f}",
        "" if right is None else f"{right.value:.0f} {right.unit}",
        "" if best.mark is None else f"{best.mark:.0f}",
    )


def _picture(found: Sequence[takes.Take]) -> str:
    days = {clock.local_day(take.recorded_at) for take in found}
    if len(days) < 2:
        return ""
    progress = progress_of(list(found))[0]
    return weeks_picture(progress) if progress.series else ""


def keep(store: Store, take: KeptTake, entry: Entry, place: str) -> tuple[str, ...]:
    """Put an assessed take into the history; what there is to say about it.

    Parameters
    ----------
    store : Store
    take : KeptTake
        Answered, without a problem.
    entry : Entry
    place : str
        The take's file.

    Raises
    ------
    HistoryError
        When the store refuses.
    """
    now = datetime.now(UTC)
    about = take.about
    what = takes.ToKeep(
        result=json.loads((take.folder / "result.json").read_text(encoding="utf-8")),
        lick=entry.lick,
        lick_file=str(entry.file),
        take_file=place,
        recorded_at=about.began,
        player=about.player,
    )
    kept = takes.keep(store, what, now)
    take.write("kept.json", kept.take_id)
    return (*kept.notices, *cautions_of(store, about.player, now))
