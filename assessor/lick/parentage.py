"""How a file says which lick a drill is made of.

In the header of a sheet, or as fields of a MusicXML file, stand the keys ``parent``
(its title), ``parent digest`` (its content), ``parent notes`` (which of its notes each
note of the drill is, counted from 1) and ``drill`` (what is done with it).
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from itertools import groupby

from assessor.lick.notation import Parent

MOST_PLACES = 100_000  # more than any sheet holds

_PART = re.compile(r"(\d{1,6})(?:-(\d{1,6}))?(?: x(\d{1,5}))?")
_DIGEST = re.compile(r"[0-9a-f]{64}")


def parse_places(text: str) -> tuple[int, ...]:
    """0-based places from runs of numbers that count from 1.

    Raises
    ------
    ValueError
        When it cannot be read.

    Examples
    --------
    >>> parse_places("1-3 x2, 7")
    (0, 1, 2, 0, 1, 2, 6)
    """
    places: list[int] = []
    for part in text.split(","):
        found = _PART.fullmatch(" ".join(part.split()))
        first, last, times = found.groups() if found else (None, None, None)
        run = range(int(first or 0) - 1, int(last or first or 0))
        count = int(times or 1)
        if found is None or not run or run[0] < 0 or count == 0:
            message = (
                f"found {part.strip()!r}, allowed are notes counted from 1 and runs of "
                "them, with how often they come, such as `1-4 x2, 5-8, 9`"
            )
            raise ValueError(message)
        if len(places) + len(run) * count > MOST_PLACES:
            message = f"more than {MOST_PLACES} notes"
            raise ValueError(message)
        places += [*run] * count
    return tuple(places)


def say_places(places: Sequence[int]) -> str:
    """Opposite of `parse_places`.

    >>> say_places((0, 1, 2, 0, 1, 2, 6))
    '1-3 x2, 7'
    """
    parts = []
    for (first, last), same in groupby(runs(places)):
        run = f"{first + 1}" if first == last else f"{first + 1}-{last + 1}"
        times = len(list(same))
        parts.append(f"{run} x{times}" if times > 1 else run)
    return ", ".join(parts)


def runs(places: Sequence[int]) -> Iterator[tuple[int, int]]:
    """First and last of each run of places that follow one another.

    >>> list(runs((4, 5, 4, 5, 9)))
    [(4, 5), (4, 5), (9, 9)]
    """
    # along a run, place minus position stays the same
    numbered = enumerate(places)
    for _, run in groupby(numbered, key=lambda each: each[1] - each[0]):
        inside = [place for _, place in run]
        yield inside[0], inside[-1]


def parse_digest(text: str) -> str:
    """Digest as 64 hex digits.

    Raises
    ------
    ValueError
        When it is none.
    """
    if not _DIGEST.fullmatch(text.lower()):
        message = f"found {text!r}, allowed are the 64 hex digits of a lick's digest"
        raise ValueError(message)
    return text.lower()


def keys_of(parent: Parent | None) -> list[tuple[str, str]]:
    """Keys and values, as written; none for a lick that is no drill."""
    if parent is None:
        return []
    lines = [("parent", " ".join(parent.title.split()))]
    if parent.digest:
        lines.append(("parent digest", parent.digest))
    lines.append(("parent notes", say_places(parent.notes)))
    if parent.form:
        lines.append(("drill", " ".join(parent.form.split())))
    return lines


def parent_from(keys: Mapping[str, str], notes: int) -> Parent | None:
    """Opposite of `keys_of`, for a drill of so many notes; other keys are passed over.

    Raises
    ------
    ValueError
        When a value cannot be read, or names more or fewer notes.
    """
    if "parent" not in keys:
        return None
    places = parse_places(keys.get("parent notes", ""))
    if len(places) != notes:
        message = f"{len(places)} notes are named, there are {notes}"
        raise ValueError(message)
    digest = keys.get("parent digest", "")
    return Parent(
        keys["parent"],
        parse_digest(digest) if digest else "",
        keys.get("drill", ""),
        places,
    )
