"""What a Standard MIDI File says in words: text events of the form ``key: value``.

MIDI has no place for a guitar's tuning, a capo, a pickup or what a lick trains.  Its
text events may hold "any amount of text describing anything" (Standard MIDI Files
1.0), so the header of a lick sheet goes there, under the same keys.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

from assessor.lick.notation import Lick, Parent
from assessor.lick.parentage import keys_of, parent_from
from assessor.lick.sheet_header import parse_value
from assessor.tuning import STANDARD, Tuning

PARSED = ("tuning", "capo", "pickup")  # in the order they stand in a sheet
KEPT = ("trains", "parent", "parent digest", "parent notes", "drill")

_LINE = re.compile(r"\s*([a-z ]+?)\s*:\s*(.*?)\s*", re.DOTALL)


@dataclass(frozen=True)
class Words:
    """Fields of a lick that a file says in words, the rest as where nothing is said."""

    tuning: Tuning | None = None
    capo: int = 0
    pickup_beats: Fraction = Fraction(0)
    trains: str = ""
    keys: tuple[tuple[str, str], ...] = ()

    def parent(self, notes: int) -> Parent | None:
        """Lick that a drill of so many notes is made of; None where that is unclear."""
        try:
            return parent_from(dict(self.keys), notes)
        except ValueError:
            return None


def words_of(lick: Lick) -> list[str]:
    """Text events for a lick; what is as usual is not said.

    >>> from assessor.lick.notation import LickNote, Meter
    >>> notes = (LickNote(Fraction(0), Fraction(1), 71, 1, 5),)
    >>> words_of(Lick("A", 90, Meter(), STANDARD, notes, capo=2, trains="reach"))
    ['capo: 2', 'trains: reach']
    """
    lines = []
    if lick.tuning != STANDARD:
        lines.append(("tuning", str(lick.tuning)))
    if lick.capo:
        lines.append(("capo", str(lick.capo)))
    if lick.pickup_beats:
        lines.append(("pickup", str(lick.pickup_beats)))
    if lick.trains:
        lines.append(("trains", lick.trains))
    lines += keys_of(lick.parent)
    return [f"{key}: {value}" for key, value in lines]


def read_words(texts: Iterable[str]) -> Words:
    """Opposite of `words_of`; texts that are none of its lines are passed over.

    >>> read_words(["any remark", "capo: 2", "capo: none"]).capo
    2
    """
    fields: dict[str, object] = {}
    keys: dict[str, str] = {}
    for text in texts:
        found = _LINE.fullmatch(text)
        key, value = found.groups() if found else ("", "")
        if key in KEPT:
            keys.setdefault(key, value)
        elif key in PARSED:
            try:
                name, parsed = parse_value(key, value)
            except ValueError:  # somebody else's words
                continue
            fields.setdefault(name, parsed)
    return Words(
        **fields,  # type: ignore[arg-type]
        trains=keys.pop("trains", ""),
        keys=tuple(keys.items()),
    )
