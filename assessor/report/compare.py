"""Two results of one lick side by side: what got better, and whether that is sure.

A reading got better when it lies nearer to what was asked by more than both of its
uncertainties together (root of the sum of squares: two measurements that do not know
of each other); by less, the difference cannot be told from chance of measuring.  What
lies inside its tolerance both times counts as neither.
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
from assessor.measures.tolerance import DECIMALS, Judgement
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
# Of the tempo: slower is easier, and a change of less is within a click's step
OTHER_TEMPO = 0.05
INSIDE_TWICE = "inside both times"
APART = 2  # between columns


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
    limit : float or None
        Distance that is allowed in the second take.
    both_inside : bool
        Both lie inside their tolerance for sure: the change is of no weight.
    """

    name: str
    unit: str
    first: float
    second: float
    first_uncertainty: float
    second_uncertainty: float
    limit: float | None = None
    both_inside: bool = False

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

    @property
    def counts(self) -> bool:
        """Whether a change is to be told: one outside the tolerance at least."""
        return not self.both_inside

    @property
    def words(self) -> str:
        """What became of it, by how much, and whether it matters."""
        if self.change is Change.SAME:
            return str(self.change)
        if not self.counts:
            return f"{self.change}, but {INSIDE_TWICE}"
        size = known(abs(self.nearer), self.uncertainty, self.unit)
        return f"{self.change} by {size}"


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

    Raises
    ------
    ResultError
        When they are of different licks, where nearer is not better.
    """
    _refuse_other_lick(first["lick"], second["lick"])
    found = []
    for place, name in READINGS.items():
        both = [_at(best_pass(result), place) for result in (first, second)]
        measured = [reading for reading in both if reading is not None]
        if len(measured) < len(both):
            continue
        off = [abs(r["value"] - r["target"]) for r in measured]
        one = Compared(
            name=name,
            unit=measured[0]["unit"],
            first=off[0],
            second=off[1],
            first_uncertainty=measured[0]["uncertainty"],
            second_uncertainty=measured[1]["uncertainty"],
            limit=measured[1]["limit"],
            both_inside=all(r["judgement"] == Judgement.INSIDE for r in measured),
        )
        found.append(one)
    return found


def _refuse_other_lick(first: Json, second: Json) -> None:
    if first["notes"] == second["notes"]:
        return
    told = [f"{one['title']!r} ({one['notes']} notes)" for one in (first, second)]
    message = f"are of two licks, {' and '.join(told)}; compare takes of one"
    raise ResultError(message, "the results")


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
        *_fault_lines(first, second, width),
        summed(found),
    ]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _heads(first: Json, second: Json, width: int) -> Iterator[str]:
    """Which takes, and what makes them hard to compare."""
    yield first["lick"]["title"]
    for letter, result in (("A", first), ("B", second)):
        yield f"{letter}  {' · '.join(facts(result))}"
    for caution in differences(first, second):
        yield from textwrap.wrap(f"Caution: {caution}", width)


def facts(result: Json) -> list[str]:
    """What a take was, in short."""
    mark = best_pass(result)["mark"]
    tempo = best_pass(result)["timing"]["tempo"]
    found = [result["recording"]["name"]]
    found += [f"mark {mark:.0f}"] if mark is not None else []
    return found + ([f"{tempo['value']:.0f} bpm"] if tempo else [])


def differences(first: Json, second: Json) -> Iterator[str]:
    """What two comparable takes have in common, and these have not."""
    both = [result["lick"]["title"] for result in (first, second)]
    if both[0] != both[1]:
        yield f"the lick is called {both[0]} in one, {both[1]} in the other."
    tempos = [best_pass(result)["timing"]["tempo"] for result in (first, second)]
    slow, fast = sorted(tempo["value"] if tempo else 0.0 for tempo in tempos)
    if slow and fast > (1 + OTHER_TEMPO) * slow:
        yield f"played at {slow:.0f} and at {fast:.0f} bpm; slower is easier."
    versions = [result["tool_version"] for result in (first, second)]
    if versions[0] != versions[1]:
        yield (
            f"measured by versions {' and '.join(versions)} of the program, which may "
            "differ; check both takes again with one."
        )
    rules = [r["settings"]["tolerance"]["rules"] for r in (first, second)]
    if rules[0] != rules[1]:
        yield "judged by different tolerances; the distances can be compared."
    clicks = [r["settings"]["click"] is not None for r in (first, second)]
    if clicks[0] != clicks[1]:
        yield "only one of them was played to a click; their times are not alike."
    if first["recording"]["sha256"] == second["recording"]["sha256"]:
        yield "both are of the same recording."


def _table(found: list[Compared]) -> Iterator[str]:
    """One line a reading, columns as wide as what stands in them."""
    if not found:
        yield "No reading was measured in both."
        return
    rows = [("distance from asked", "A", "B", "")]
    for one in found:
        both = (
            known(one.first, one.first_uncertainty, one.unit),
            known(one.second, one.second_uncertainty, one.unit),
        )
        # " cent" too, of just one
        units = f" {one.unit}", f" {one.unit.removesuffix('s')} "
        first, second = (
            text.replace(units[0], "").replace(units[1], " ") for text in both
        )
        # a ratio has no unit to be told once: 1.9:1
        name = one.name if one.unit == ":1" else f"{one.name}, {one.unit}"
        rows.append((name, first, second, one.words))
    widths = [max(map(len, column)) + APART for column in zip(*rows, strict=True)]
    for row in rows:
        cells = zip(row, widths, strict=True)
        yield "".join(cell.ljust(width) for cell, width in cells)


def known(value: float, uncertainty: float, unit: str) -> str:
    """Amount with its uncertainty."""
    either_way = value_in(uncertainty, unit).split(" ")[0].split(":")[0]
    return f"{value_in(value, unit)} ±{either_way}"


def faults(first: Json, second: Json) -> dict[str, list[str]]:
    """Faults of the first take that are gone, and those that are new in the second."""
    before, after = (
        {(f["index"], f["cause"]): f"{f['place']}: {f['what']}" for f in found}
        for found in (best_pass(r)["faults"] for r in (first, second))
    )
    return {
        "Gone": [text for key, text in before.items() if key not in after],
        "New": [text for key, text in after.items() if key not in before],
    }


def _fault_lines(first: Json, second: Json, width: int) -> Iterator[str]:
    for word, only in faults(first, second).items():
        for number, text in enumerate(only[:MOST_FAULTS]):
            label = "" if number else word
            yield from textwrap.wrap(
                text, width, initial_indent=label.ljust(6), subsequent_indent=" " * 6
            )
        if len(only) > MOST_FAULTS:
            yield f"      … and {len(only) - MOST_FAULTS} more"
        if only:
            yield ""


def summed(found: list[Compared]) -> str:
    """How many readings went which way; inside the tolerance both times is neither."""
    changes = [one.change for one in found if one.counts or one.change is Change.SAME]
    told = [f"{changes.count(change)} {change}" for change in Change]
    if inside := len(found) - len(changes):
        told.append(f"{inside} {INSIDE_TWICE}")
    return f"B against A: {', '.join(told)}."
