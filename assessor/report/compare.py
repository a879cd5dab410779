"""Two results of one lick side by side: what got better, and whether that is sure.

A reading got better when it lies nearer to what was asked by more than both of its
uncertainties together (root of the sum of squares: two measurements that do not know
of each other); by less, the difference cannot be told from chance of measuring.
"""

from __future__ import annotations

import json
import math
import textwrap
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Any

from assessor.errors import ResultError
from assessor.measures.tolerance import DECIMALS
from assessor.report.readings import value_in
from assessor.report.result import FORMAT, VERSION

Json = dict[str, Any]

# Reading: where it stands in a pass, and its word.
READINGS = {
    ("right_share",): "notes",
    ("timing", "spread"): "spread",
    ("timing", "offset"): "offset from the click",
    ("timing", "drift"): "drift",
    ("timing", "swing"): "swing",
    ("pitch", "bend_error"): "bends",
    ("pitch", "plain_error"): "plain notes",
    ("legato", "spread"): "slur intervals",
    ("legato", "npvi"): "slur evenness",
    ("legato", "level"): "slur loudness",
}
REQUIRED = {"version", "lick", "recording", "settings", "best_pass", "passes"}
MOST_FAULTS = 8  # gone, and new
COLUMNS = (0, 23, 39, 55)  # where they start, if what stands before is not longer


class Change(StrEnum):
    """What became of a reading."""

    BETTER = "better"
    WORSE = "worse"
    SAME = "too close to tell"


@dataclass(frozen=True)
class Compared:
    """One reading of two takes, as distances from what was asked.

    Attributes
    ----------
    name, unit : str
    first, second : float
        Distance of each take, in `unit`.
    first_uncertainty, second_uncertainty : float
        Half the width of the 95 % interval.
    """

    name: str
    unit: str
    first: float
    second: float
    first_uncertainty: float
    second_uncertainty: float

    @property
    def nearer(self) -> float:
        """By how much the second take lies nearer to what was asked."""
        return self.first - self.second

    @property
    def uncertainty(self) -> float:
        """Of `nearer`."""
        return math.hypot(self.first_uncertainty, self.second_uncertainty)

    @property
    def change(self) -> Change:
        """Better or worse only beyond the uncertainty.

        >>> Compared("spread", "ms", 20.0, 12.0, 3.0, 4.0).change
        <Change.BETTER: 'better'>
        >>> Compared("spread", "ms", 20.0, 15.0, 3.0, 4.0).change
        <Change.SAME: 'too close to tell'>
        """
        if round(abs(self.nearer) - self.uncertainty, DECIMALS) <= 0:
            return Change.SAME
        return Change.BETTER if self.nearer > 0 else Change.WORSE


def read_result(path: str | Path) -> Json:
    """Read a result file.

    Parameters
    ----------
    path : str or Path
        What ``assessor check --json`` wrote.

    Raises
    ------
    ResultError
        When it cannot be read, is something else, or comes from a newer program.
    """
    try:
        found = json.loads(Path(path).read_text(encoding="utf-8"))
    except OSError as problem:
        message = f"cannot be read: {problem.strerror}"
        raise ResultError(message, str(path)) from problem
    except ValueError as problem:
        message = "is no JSON; give a file written by assessor check --json"
        raise ResultError(message, str(path)) from problem
    if not isinstance(found, dict) or found.get("format") != FORMAT:
        message = "is no result; give a file written by assessor check --json"
        raise ResultError(message, str(path))
    if REQUIRED - set(found):
        message = "is no whole result; write it again with assessor check --json"
        raise ResultError(message, str(path))
    if found["version"] not in range(1, VERSION + 1):
        message = (
            f"is of version {found['version']}, and up to {VERSION} is known; "
            "read it with a newer assessor"
        )
        raise ResultError(message, str(path))
    return found


def best_pass(result: Json) -> Json:
    """The pass of a result that is compared."""
    best: Json = result["passes"][result["best_pass"]]
    return best


def readings(first: Json, second: Json) -> list[Compared]:
    """Readings that both best passes have.

    Parameters
    ----------
    first, second : dict
        As `read_result` gives them.
    """
    found = []
    for place, name in READINGS.items():
        both = [_at(best_pass(result), place) for result in (first, second)]
        measured = [reading for reading in both if reading is not None]
        if len(measured) < len(both):
            continue
        off = [abs(r["value"] - r["target"]) for r in measured]
        known = [r["uncertainty"] for r in measured]
        found.append(Compared(name, measured[0]["unit"], *off, *known))
    return found


def _at(found: Json, place: tuple[str, ...]) -> Json | None:
    """Reading at a place of a pass; None when it was not measured."""
    value: Any = found
    for key in place:
        value = (value or {}).get(key)
    return value


def comparison(first: Json, second: Json, width: int = 80) -> str:
    """Compare two results in words.

    Parameters
    ----------
    first, second : dict
        As `read_result` gives them; the first is the earlier one.
    width : int
        Columns.
    """
    found = readings(first, second)
    lines = [
        *_heads(first, second, width),
        "",
        *_table(found),
        "",
        *_faults(first, second, width),
        _sum(found),
    ]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _heads(first: Json, second: Json, width: int) -> Iterator[str]:
    """Which takes, and what makes them hard to compare."""
    yield first["lick"]["title"]
    for letter, result in (("A", first), ("B", second)):
        mark = best_pass(result)["mark"]
        tempo = best_pass(result)["timing"]["tempo"]
        facts = [result["recording"]["name"]]
        facts += [f"mark {mark:.0f}"] if mark is not None else []
        facts += [f"{tempo['value']:.0f} bpm"] if tempo else []
        yield f"{letter}  {' · '.join(facts)}"
    for caution in _differences(first, second):
        yield from textwrap.wrap(f"Caution: {caution}", width)


def _differences(first: Json, second: Json) -> Iterator[str]:
    """What two comparable takes have in common, and these have not."""
    for key, word in (("title", "lick"), ("notes", "number of notes")):
        if first["lick"][key] != second["lick"][key]:
            both = f"{first['lick'][key]} and {second['lick'][key]}"
            yield f"not the same {word}: {both}."
    rules = [r["settings"]["tolerance"]["rules"] for r in (first, second)]
    if rules[0] != rules[1]:
        yield "judged by different tolerances; the distances can be compared."
    clicks = [r["settings"]["click"] is not None for r in (first, second)]
    if clicks[0] != clicks[1]:
        yield "only one of them was played to a click; their times are not alike."
    if first["recording"]["sha256"] == second["recording"]["sha256"]:
        yield "both are of the same recording."


def _table(found: list[Compared]) -> Iterator[str]:
    """One line a reading."""
    if not found:
        yield "No reading was measured in both."
        return
    yield _row("distance from asked", "A", "B", "")
    for one in found:
        first = _known(one.first, one.first_uncertainty, one.unit)
        second = _known(one.second, one.second_uncertainty, one.unit)
        text = str(one.change)
        if one.change is not Change.SAME:
            text = f"{text} by {_known(abs(one.nearer), one.uncertainty, one.unit)}"
        yield _row(one.name, first, second, text)


def _row(*cells: str) -> str:
    """Cells in columns."""
    out = ""
    for cell, at in zip(cells, COLUMNS, strict=True):
        out = out.ljust(at - 2) + "  " * bool(at) + cell
    return out


def _known(value: float, uncertainty: float, unit: str) -> str:
    """Amount with its uncertainty."""
    known = value_in(uncertainty, unit).split(" ")[0].split(":")[0]
    return f"{value_in(value, unit)} ±{known}"


def _faults(first: Json, second: Json, width: int) -> Iterator[str]:
    """Faults that are gone, and new ones."""
    if first["lick"]["notes"] != second["lick"]["notes"]:
        return
    both = [
        {(f["index"], f["cause"]): f for f in best_pass(r)["faults"]}
        for r in (first, second)
    ]
    for word, here, there in (("Gone", both[0], both[1]), ("New", both[1], both[0])):
        only = [fault for key, fault in here.items() if key not in there]
        for number, fault in enumerate(only[:MOST_FAULTS]):
            label = "" if number else word
            text = f"{fault['place']}: {fault['what']}"
            yield from textwrap.wrap(
                text, width, initial_indent=label.ljust(6), subsequent_indent=" " * 6
            )
        if len(only) > MOST_FAULTS:
            yield f"      … and {len(only) - MOST_FAULTS} more"
        if only:
            yield ""


def _sum(found: list[Compared]) -> str:
    """How many readings went which way."""
    changes = [one.change for one in found]
    counts = [f"{changes.count(c)} {c}" for c in Change]
    return f"B against A: {', '.join(counts)}."
