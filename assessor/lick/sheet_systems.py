"""Systems of a lick sheet: which line is which, and what the rows besides tab say."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import zip_longest

from assessor.lick.sheet_header import TEMPO_LIMITS_BPM, Place, Source, is_skipped
from assessor.lick.sheet_signs import VALUE, value_beats
from assessor.lick.sheet_tab import Sign, scan
from assessor.tuning import Tuning, note_name, parse_note_name

# The `|:` of a repeat stands in rhythm rows only, so `e |:` is no tab line.
_TAB_LINE = re.compile(
    r"\s*(?P<name>[A-Ga-g][#b♯♭]?)(?P<octave>\d?)\s*(?P<bar>\|)(?!:)"
)
_RHYTHM_SIGN = re.compile(
    r"(?P<space>\ +) | (?P<open>\|:) | (?P<close>:\|(?:x(?P<count>\d{1,3}))?)"
    r"| @(?P<tempo>\d+(?:\.\d+)?) | (?P<value>" + VALUE.pattern + ")",
    re.VERBOSE | re.IGNORECASE,
)
_RHYTHM_ALLOWED = (
    "allowed in a rhythm row are the values w h q e s t x, each with dots, a tuplet "
    "number or a tie _ after it or the r of a rest before it; @tempo; |: and :|x2"
)


@dataclass(frozen=True)
class Mark:
    """A sign of a rhythm row.

    `kind` is ``value``, ``rest``, ``tempo``, ``open`` or ``close`` (of a
    repeat).  `beats` belongs to values and rests; `number` is a tempo in quarter
    notes a minute or a repeat count.
    """

    kind: str
    text: str
    place: Place
    beats: Fraction = Fraction(0)
    tied: bool = False
    number: float = 0.0


@dataclass(frozen=True)
class Letter:
    """A letter of a stroke or finger row."""

    text: str
    place: Place


@dataclass(frozen=True)
class SystemText:
    """One system, sign by sign.

    Attributes
    ----------
    marks : tuple of Mark
        The rhythm row.
    strokes, fingers : tuple of Letter
        The rows over and under the tab; empty where they are left out.
    signs : tuple of tuple of Sign
        The tab lines, string 1 first, each from its first bar line on.
    opening : int
        Column of the bar line the system starts with.
    bar_lines : tuple of int
        Columns of the bar lines after it.
    closed : bool
        Whether the system ends with a bar line.
    tab_lines : tuple of int
        0-based line of each tab line.
    """

    marks: tuple[Mark, ...]
    strokes: tuple[Letter, ...]
    fingers: tuple[Letter, ...]
    signs: tuple[tuple[Sign, ...], ...]
    opening: int
    bar_lines: tuple[int, ...]
    closed: bool
    tab_lines: tuple[int, ...]


def read_systems(source: Source, start: int, tuning: Tuning) -> list[SystemText]:
    """Systems of a sheet from line `start` on.

    Raises
    ------
    LickError
        At a line that is no part of a system, at tab lines that are too few,
        too many, wrongly named or out of line, and at signs no row has.
    """
    return [_system(source, block, tuning) for block in _blocks(source.lines, start)]


def _blocks(lines: Sequence[str], start: int) -> Iterator[list[int]]:
    """Runs of lines with nothing empty between, as line numbers."""
    block: list[int] = []
    for number in range(start, len(lines)):
        if not is_skipped(lines[number]):
            block.append(number)
        elif block and not lines[number].strip():
            yield block
            block = []
    if block:
        yield block


def _system(source: Source, block: list[int], tuning: Tuning) -> SystemText:
    """Tell the rows of a block apart and read each."""
    for number in block:
        if "\t" in source.lines[number]:
            message = "found a tab character; write spaces, so that columns are true"
            place = Place(number, source.lines[number].index("\t"))
            raise source.error(message, place)
    above, tab, below = _split(source, block, tuning)
    openings = [_check_name(source, n, k, tuning) for k, n in enumerate(tab, start=1)]
    opening = max(openings, key=openings.count)
    for number, column in zip(tab, openings, strict=True):
        if column != opening:
            message = (
                f"this tab line starts with its | in column {column + 1}, the others "
                f"in column {opening + 1}; write them under each other"
            )
            raise source.error(message, Place(number, column))
    signs = tuple(tuple(scan(source, n, opening)) for n in tab)
    bar_lines = _bar_lines(source, tab, signs)
    stop = len(source.lines[tab[0]].rstrip())
    return SystemText(
        marks=tuple(_rhythm(source, above[0])),
        strokes=_letters(source, above[1:]),
        fingers=_letters(source, below),
        signs=signs,
        opening=opening,
        bar_lines=bar_lines,
        closed=bool(bar_lines) and source.lines[tab[0]][stop - 1] == "|",
        tab_lines=tuple(tab),
    )


def _split(
    source: Source, block: list[int], tuning: Tuning
) -> tuple[list[int], list[int], list[int]]:
    """Lines over the tab, the tab lines, and the lines under it."""
    tab = [n for n in block if _TAB_LINE.match(source.lines[n])]
    for number in block:
        if number not in tab and "--" in source.lines[number]:
            message = (
                "a tab line starts with the name of its string and |, such as `G|`"
            )
            raise source.error(message, Place(number, 0))
    if not tab:
        message = (
            "this line is no part of a system; a system is a rhythm row over "
            f"{tuning.strings} tab lines, and `key: value` lines stand before the first"
        )
        raise source.error(message, Place(block[0], 0))
    above = [n for n in block if n < tab[0]]
    below = [n for n in block if n > tab[-1]]
    if len(tab) != tuning.strings or len(above) + len(tab) + len(below) != len(block):
        message = (
            f"found {len(tab)} tab lines, allowed are the {tuning.strings} of the "
            f"tuning {tuning} one under the other; leave an empty line between systems"
        )
        raise source.error(message, Place(tab[0], 0))
    if not 1 <= len(above) <= 2 or len(below) > 1:
        message = (
            f"found {len(above)} rows over the tab and {len(below)} under it; allowed "
            "are a rhythm row and a stroke row over it and a finger row under it"
        )
        raise source.error(message, Place(block[0], 0))
    return above, tab, below


def _check_name(source: Source, number: int, string: int, tuning: Tuning) -> int:
    """Column of the bar line a tab line starts with, its string name checked."""
    found = _TAB_LINE.match(source.lines[number])
    assert found is not None  # told apart by the same pattern
    written = parse_note_name(found["name"] + (found["octave"] or "4"))
    expected = tuning.open_midi[string - 1]
    if (written - expected) % (12 if not found["octave"] else 128):
        message = (
            f"found the string name {found['name'] + found['octave']}, but string "
            f"{string} of the tuning {tuning} is {note_name(expected)}"
        )
        raise source.error(message, Place(number, found.start("name")))
    return found.start("bar")


def _bar_lines(
    source: Source, tab: list[int], signs: tuple[tuple[Sign, ...], ...]
) -> tuple[int, ...]:
    """Columns of the bar lines after the first, the same in every tab line."""
    lines = [[s.place.column for s in line[1:] if s.kind == "bar"] for line in signs]
    # Most lines are right: the one that differs from them is the one to mend.
    usual = max(lines, key=lines.count)
    for number, columns in zip(tab, lines, strict=True):
        for mine, theirs in zip_longest(columns, usual):
            if mine != theirs:
                found, allowed = (
                    "none" if column is None else f"one in column {column + 1}"
                    for column in (mine, theirs)
                )
                message = (
                    f"a bar line goes through all tab lines: found {found}, where the "
                    f"other lines have {allowed}; look for a dash too many or too few"
                )
                place = Place(number, min(c for c in (mine, theirs) if c is not None))
                raise source.error(message, place)
    return tuple(usual)


def _rhythm(source: Source, number: int) -> Iterator[Mark]:
    """Signs of a rhythm row."""
    text = source.lines[number].rstrip()
    at = 0
    while at < len(text):
        place = Place(number, at)
        found = _RHYTHM_SIGN.match(text, at)
        if found is None:
            message = f"found {text[at]!r}; {_RHYTHM_ALLOWED}"
            raise source.error(message, place)
        at = found.end()
        if found["space"] is None:
            yield _mark(source, found, place)


def _mark(source: Source, found: re.Match[str], place: Place) -> Mark:
    """One sign of a rhythm row, its numbers checked."""
    text = found[0]
    if found["open"]:
        return Mark("open", text, place)
    if found["close"]:
        count = int(found["count"] or 2)
        if not 2 <= count <= 99:
            message = f"found a repeat count of {count}, allowed is 2 to 99"
            raise source.error(message, place)
        return Mark("close", text, place, number=count)
    if found["tempo"]:
        tempo_bpm = float(found["tempo"])
        low, high = TEMPO_LIMITS_BPM
        if not low <= tempo_bpm <= high:
            message = (
                f"found a tempo of {tempo_bpm:g}, allowed is {low:g} to {high:g} "
                "quarter notes a minute"
            )
            raise source.error(message, place)
        return Mark("tempo", text, place, number=tempo_bpm)
    value = VALUE.fullmatch(text.lower())
    assert value is not None  # part of the same pattern
    try:
        beats = value_beats(value)
    except ValueError as problem:
        message = f"found {text!r}: {problem}"
        raise source.error(message, place) from problem
    kind = "rest" if value["rest"] else "value"
    if value["rest"] and value["tie"]:
        message = f"found {text!r}: a rest has no tie; write two rests"
        raise source.error(message, place)
    return Mark(kind, text, place, beats, tied=bool(value["tie"]))


def _letters(source: Source, rows: list[int]) -> tuple[Letter, ...]:
    """Letters of a stroke or finger row, if there is one."""
    return tuple(
        Letter(letter.lower(), Place(number, column))
        for number in rows
        for column, letter in enumerate(source.lines[number])
        if letter != " "
    )
