"""Licks of a folder, found by what they are made of.

A query is a list of terms that a lick has to meet, all of them:

* the name of one of `QUANTITIES`, such as ``skips``: the lick has some;
* a comparison with one, such as ``tempo<100`` or ``bars=2``;
* a scale, such as ``A dorian``: it holds every note; without a tonic it is taken on the
  one that the notes show;
* any other word: it stands in the title, in what the lick trains, in its tuning, meter,
  or the name of its file.
"""

from __future__ import annotations

import operator
import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from assessor.errors import LickError
from assessor.lick import read
from assessor.lick.content import TECHNIQUES, Content, content_of
from assessor.lick.hands import Crossing
from assessor.lick.harmony import pitch_classes
from assessor.lick.notation import Lick
from assessor.lick.scales import SCALE_ALIASES, SCALES, Scale, parse_scale
from assessor.lick.sheet_header import NAMED_TUNINGS

# What a folder of licks is searched for; any .xml may be something else altogether.
SUFFIXES = (".lick", ".musicxml", ".mxl", ".mid", ".midi")

INSIDE, OUTSIDE, SWEPT = Crossing.INSIDE, Crossing.OUTSIDE, Crossing.SWEPT

_COMPARISONS: dict[str, Callable[[float, float], bool]] = {
    "<=": operator.le,
    ">=": operator.ge,
    "<": operator.lt,
    ">": operator.gt,
    "=": operator.eq,
}
_COMPARISON = re.compile(r"([^<>=]*)(<=|>=|<|>|=)([^<>=]*)")
# Names of note values as searched for, by letter and tuplet of their spelling.
_VALUES = {
    "eighths": re.compile(r"e\.*"),
    "sixteenths": re.compile(r"s\.*"),
    "triplets": re.compile(r"\w\.*3"),
    "quintuplets": re.compile(r"\w\.*5"),
}


@dataclass(frozen=True)
class Entry:
    """One lick of a library.

    Attributes
    ----------
    path : Path
    lick : Lick
    content : Content
    """

    path: Path
    lick: Lick
    content: Content


@dataclass(frozen=True)
class Library:
    """What a folder holds.

    Attributes
    ----------
    entries : tuple of Entry
        In the order of their paths.
    unread : tuple of LickError
        Why the other files that look like licks cannot be read.
    """

    entries: tuple[Entry, ...]
    unread: tuple[LickError, ...]


Term = Callable[[Entry], bool]


def shipped_folder() -> Path:
    """Folder of the licks that ship: inside the installed package, or in the clone.

    Raises
    ------
    LickError
        When neither is there.
    """
    package = Path(__file__).parents[1]
    for folder in (package / "references", package.parent / "references"):
        if folder.is_dir():
            return folder
    message = "the licks that ship are not there; install the package anew"
    raise LickError(message, str(package / "references"))


def open_library(folder: Path) -> Library:
    """Read every lick of a folder and of the folders in it.

    Raises
    ------
    LickError
        When there is no such folder, or it cannot be listed.
    """
    if not folder.is_dir():
        message = "there is no such folder; name one that holds licks"
        raise LickError(message, str(folder))
    entries, unread = [], []
    for path in _lick_files(folder):
        try:
            lick = read(path)
        except LickError as problem:
            unread.append(problem)
        else:
            entries.append(Entry(path, lick, content_of(lick)))
    return Library(tuple(entries), tuple(unread))


def _lick_files(folder: Path) -> list[Path]:
    """Files that look like licks, hidden ones and folders left out."""
    found = [
        path
        for path in folder.rglob("*")
        if path.suffix.lower() in SUFFIXES
        and path.is_file()
        and not any(part.startswith(".") for part in path.relative_to(folder).parts)
    ]
    return sorted(found)


def _count(entry: Entry, name: str) -> float:
    """Notes with some technique."""
    return entry.content.techniques.get(name, 0)


def _valued(entry: Entry, pattern: re.Pattern[str]) -> float:
    """Notes of a value, alone or tied to others."""
    values = entry.content.values.items()
    return sum(n for text, n in values if any(map(pattern.fullmatch, text.split("_"))))


def _crossed(entry: Entry, kind: Crossing) -> float:
    """Crossings of the pick of some kind."""
    return [found for _, found in entry.content.crossings].count(kind)


def _chains(entry: Entry) -> float:
    """Shifts by equal steps, and cells moved by equal steps."""
    content = entry.content
    return len(content.shift_chains) + sum(len(c.chains()) for c in content.cells)


def _stretch(entry: Entry) -> float:
    """Frets of the widest stretch."""
    stretch = entry.content.demands.stretch
    return stretch.frets if stretch else 0


@dataclass(frozen=True)
class Quantity:
    """One thing that licks can be searched by.

    Attributes
    ----------
    meaning : str
        In a few words, with its unit.
    of : callable
        Its number for a lick.
    """

    meaning: str
    of: Callable[[Entry], float]


_NAMED: dict[str, tuple[str, Callable[[Entry], float]]] = {
    "tempo": ("quarter notes a minute", lambda e: e.lick.tempo_bpm),
    "notes": ("how many", lambda e: len(e.lick)),
    "bars": ("how many", lambda e: e.content.bars),
    "speed": (
        "notes a second where they are closest",
        lambda e: e.content.demands.most_notes_per_s or 0,
    ),
    "skips": ("notes reached over a string or more", lambda e: len(e.content.skips)),
    "shifts": ("moves of the fretting hand", lambda e: len(e.content.shifts)),
    "stretch": ("most frets under the hand without a shift", _stretch),
    "cells": ("groups of notes that come again", lambda e: len(e.content.cells)),
    "chains": ("shifts or moved cells by equal steps", _chains),
    "slurs": (
        "notes sounded by the fretting hand",
        lambda e: sum(len(group) - 1 for group in e.content.slurred_groups),
    ),
    "inside": ("string crossings picked inside", partial(_crossed, kind=INSIDE)),
    "outside": ("string crossings picked outside", partial(_crossed, kind=OUTSIDE)),
    "swept": ("string crossings in one stroke", partial(_crossed, kind=SWEPT)),
    "swing": ("ratio of long to short eighths", lambda e: e.lick.swing or 0),
    "capo": ("its fret", lambda e: e.lick.capo),
    "pickup": ("quarter notes before bar 1", lambda e: float(e.lick.pickup_beats)),
    **{n: (words, partial(_count, name=n)) for n, words in TECHNIQUES.items()},
    **{
        n: (f"{n}, alone, dotted or tied", partial(_valued, pattern=p))
        for n, p in _VALUES.items()
    },
}
# What licks can be searched by, by the word to type.
QUANTITIES = {name: Quantity(*each) for name, each in _NAMED.items()}


def parse_query(words: Iterable[str]) -> tuple[Term, ...]:
    """Terms of a query.

    Raises
    ------
    ValueError
        When a comparison cannot be read, or compares what is no quantity.
    """
    text = re.sub(r"\s*(<=|>=|<|>|=)\s*", r"\1", " ".join(words))
    return tuple(_terms(text.split()))


def _terms(tokens: Sequence[str]) -> Iterator[Term]:
    """Each term, scales of several words taken as one."""
    at = 0
    while at < len(tokens):
        scale, taken = _scale_from(tokens[at:])
        if scale is not None:
            yield scale
        else:
            yield _plain_term(tokens[at])
        at += taken


def _scale_from(tokens: Sequence[str]) -> tuple[Term | None, int]:
    """Scale that the tokens begin with, the longest, and how many it takes."""
    for taken in range(min(len(tokens), 4), 0, -1):
        name = " ".join(tokens[:taken])
        kind = SCALE_ALIASES.get(name.lower(), name.lower())
        if kind in SCALES:
            return _kind_term(kind), taken
        if taken > 1 or re.fullmatch(r"[A-G][#b]?m", name):
            try:
                return _scale_term(parse_scale(name)), taken
            except ValueError:
                continue
    return None, 1


def _scale_term(scale: Scale) -> Term:
    """Every note lies in the scale, and there is one that has a pitch."""
    return lambda entry: set() < pitch_classes(entry.lick) <= scale.pitch_classes


def _kind_term(kind: str) -> Term:
    """Scale on the tonic that the notes show."""

    def holds(entry: Entry) -> bool:
        tonic = entry.content.tonic
        return tonic is not None and _scale_term(Scale(tonic, kind))(entry)

    return holds


def _plain_term(token: str) -> Term:
    """Quantity, comparison, or word."""
    if token.lower() in QUANTITIES:
        has = QUANTITIES[token.lower()].of
        return lambda entry: has(entry) > 0
    compared = _COMPARISON.fullmatch(token)
    if compared is None:
        _refuse_signs(token)
        return lambda entry: token.casefold() in _text(entry)
    name, sign, number_text = compared.groups()
    if name.lower() not in QUANTITIES:
        message = f"{name!r} is no quantity; known are {', '.join(QUANTITIES)}"
        raise ValueError(message)
    try:
        number = float(number_text)
    except ValueError:
        message = f"{token!r}: after {sign} stands a number, as in 'tempo<100'"
        raise ValueError(message) from None
    compare, measure = _COMPARISONS[sign], QUANTITIES[name.lower()].of
    return lambda entry: compare(measure(entry), number)


def _refuse_signs(token: str) -> None:
    """Refuse a word with signs of comparison in it."""
    if set(token) & set("<>="):
        message = f"{token!r} is no comparison; write one like 'tempo<100'"
        raise ValueError(message)


def _text(entry: Entry) -> str:
    """Everything a word is looked for in."""
    lick = entry.lick
    names = [name for name, notes in NAMED_TUNINGS.items() if notes == str(lick.tuning)]
    parts = [lick.title, lick.trains, entry.path.stem, str(lick.tuning), *names]
    return "\n".join([*parts, str(lick.meter)]).casefold()


def search(library: Library, terms: Iterable[Term]) -> tuple[Entry, ...]:
    """Entries that meet every term."""
    terms = tuple(terms)
    return tuple(e for e in library.entries if all(term(e) for term in terms))
