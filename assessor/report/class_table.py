"""A class as comma-separated values: one row a player and lick, units in the head."""

from __future__ import annotations

import csv
import io

from assessor.report.class_rows import FOUR, rows_of, state_of
from assessor.review.finding import Finding
from assessor.review.places import printable
from assessor.review.summary import ClassReview, Take

HEAD = (
    "player", "name", "lick", "state", "handed_in", "take", "takes", "mark",
    "mark_tool", "right", "judged", "unsure", "tempo_bpm", "spread_ms",
    "bends_cents", "slur_spread_ms", "work_on", "corrections", "reason",
)  # fmt: skip
READINGS = {"spread_ms": FOUR["time"], "bends_cents": FOUR["bends"]}
READINGS |= {"slur_spread_ms": FOUR["slurs"]}
# A spreadsheet takes a cell that begins so for a sum to be worked out; the wide signs
# are those of East Asian keyboards (OWASP, CSV Injection)
FORMULAS = ("=", "+", "-", "@", "＝", "＋", "－", "＠")


def class_csv(review: ClassReview, *, names: bool = False) -> str:
    """Class as CSV; the column ``name`` is empty unless it is asked for."""
    stream = io.StringIO()
    writer = csv.DictWriter(stream, HEAD, restval="", lineterminator="\n")
    writer.writeheader()
    for number, asked in enumerate(review.licks):
        for row in rows_of(review, number, names=names):
            cells: dict[str, object] = {
                "player": row.player,
                "name": row.name,
                "lick": asked.lick.title,
                "state": row.state,
                "takes": len(row.others) + (row.take is not None),
                "work_on": row.work_on,
                "corrections": row.remarks,
            }
            if row.take is not None:
                cells |= _take(row.take)
            writer.writerow({key: _harmless(cell) for key, cell in cells.items()})
    return stream.getvalue()


def _take(take: Take) -> dict[str, object]:
    cells: dict[str, object] = {
        "take": take.take_id,
        "handed_in": take.planned.at[:19],
        "state": state_of(take),
        "reason": take.record.reason if take.record else "",
    }
    if take.shown is None:
        return cells
    cells |= _finding(take.shown)
    if take.found is not None and take.found.mark is not None:
        cells["mark_tool"] = f"{take.found.mark:.1f}"
    return cells


def _finding(found: Finding) -> dict[str, object]:
    cells: dict[str, object] = {
        "right": found.right,
        "judged": found.judged,
        "unsure": found.unsure,
    }
    if found.mark is not None:
        cells["mark"] = f"{found.mark:.1f}"
    if found.tempo_bpm is not None:
        cells["tempo_bpm"] = f"{found.tempo_bpm:.1f}"
    for column, name in READINGS.items():
        if name in found.readings:
            cells[column] = f"{found.readings[name].off:.1f}"
    return cells


def _harmless(cell: object) -> object:
    """Text that no spreadsheet works out, nor takes for several rows."""
    if not isinstance(cell, str):
        return cell
    line = printable(cell)
    return "'" + line if line.startswith(FORMULAS) else line
