"""The lines of a lick sheet as text with places, and its ``key: value`` header."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import PurePath
from typing import Any

from assessor.errors import LickError
from assessor.lick.notation import Meter, Parent
from assessor.lick.parentage import parse_digest, parse_places
from assessor.tuning import STANDARD, Tuning, parse_note_name

# Wide enough for all music, narrow enough to catch a slip of the finger.
TEMPO_LIMITS_BPM = (10.0, 600.0)
# Players are heard to swing up to 3.5:1 (Friberg & Sundström 2002); below 1 the
# short eighth comes first.
SWING_LIMITS = (0.25, 4.0)
MAX_CAPO = 24

# Names the trade has for tunings (common practice), lowest string first.
NAMED_TUNINGS = {
    "standard": "E2 A2 D3 G3 B3 E4",
    "drop d": "D2 A2 D3 G3 B3 E4",
    "double drop d": "D2 A2 D3 G3 B3 D4",
    "open d": "D2 A2 D3 F#3 A3 D4",
    "open g": "D2 G2 D3 G3 B3 D4",
    "dadgad": "D2 A2 D3 G3 A3 D4",
}

# A repeat sign (`:|`) in a rhythm row is no key.
_KEY_LINE = re.compile(r"\s*(?P<key>[A-Za-z][A-Za-z ]*?)\s*:(?!\|)\s*(?P<value>.*?)\s*")
_SWING = re.compile(r"swing (\d{1,3}(?:\.\d+)?):(\d{1,3}(?:\.\d+)?)")
_NUMBER = re.compile(r"\d+(\.\d+)?")


@dataclass(frozen=True)
class Place:
    """A 0-based line and column of the sheet."""

    line: int
    column: int


@dataclass(frozen=True)
class Source:
    """The text of a sheet, and errors that point into it."""

    path: str
    lines: tuple[str, ...]

    def error(
        self, message: str, place: Place, kind: type[LickError] = LickError
    ) -> LickError:
        """Error with the place, counted from 1, and the line itself."""
        return kind(
            message,
            self.path,
            line=place.line + 1,
            column=place.column + 1,
            excerpt=self.lines[place.line].replace("\t", " "),  # keeps the caret true
        )


@dataclass(frozen=True)
class Header:
    """What stands before the first system."""

    title: str
    tempo_bpm: float
    meter: Meter = field(default_factory=Meter)
    tuning: Tuning = STANDARD
    capo: int = 0
    swing: float | None = None
    trains: str = ""
    pickup_beats: Fraction = Fraction(0)
    parent_title: str = ""
    parent_digest: str = ""
    parent_notes: tuple[int, ...] = ()
    drill: str = ""
    places: dict[str, Place] = field(default_factory=dict)

    def parent(self, source: Source, notes: int) -> Parent | None:
        """Lick that a drill of so many notes is made of.

        Raises
        ------
        LickError
            When a key is missing, or names more or fewer notes than there are.
        """
        if not {"parent_title", "parent_digest", "parent_notes"} & set(self.places):
            return None
        for name, key in (("parent_notes", "parent notes"), ("parent_title", "parent")):
            if name not in self.places:
                place = next(
                    p for n, p in self.places.items() if n.startswith("parent")
                )
                message = f"a drill needs the key `{key}` too; write it, or delete this"
                raise source.error(message, place)
        if len(self.parent_notes) != notes:
            message = (
                f"`parent notes` names {len(self.parent_notes)} notes, the sheet holds "
                f"{notes}; correct it, or delete the lines that start with `parent`"
            )
            raise source.error(message, self.places["parent_notes"])
        return Parent(
            self.parent_title, self.parent_digest, self.drill, self.parent_notes
        )


def is_skipped(line: str) -> bool:
    """Whether a line is empty or a remark of the writer (``#`` first)."""
    return not line.strip() or line.lstrip().startswith("#")


def read_header(source: Source) -> tuple[Header, int]:
    """Read the ``key: value`` lines; also return the first line after them.

    Raises
    ------
    LickError
        At a key that is unknown or written twice, at a value that cannot be
        read, or when there is no tempo.
    """
    values: dict[str, Any] = {}
    places: dict[str, Place] = {}
    for number, line in enumerate(source.lines):
        if is_skipped(line):
            continue
        found = _KEY_LINE.fullmatch(line)
        if found is None:
            break
        name, value = _read_line(source, number, found)
        places[name] = Place(number, found.start("key"))
        if name in values:
            message = f"{found['key']!r} is written twice; leave one"
            raise source.error(message, places[name])
        values[name] = value
    else:
        number = len(source.lines)
    if "tempo_bpm" not in values:
        message = "no tempo; write a line such as `tempo: 96` (quarter notes a minute)"
        raise LickError(message, source.path)
    title = PurePath(source.path).stem
    header = Header(**{"title": title, **values}, places=places)
    if header.pickup_beats >= header.meter.bar_beats:
        message = (
            f"a pickup of {header.pickup_beats} quarter notes fills a bar of "
            f"{header.meter}, which holds {header.meter.bar_beats}; leave it out"
        )
        raise source.error(message, places["pickup_beats"])
    return header, number


def _read_line(source: Source, number: int, found: re.Match[str]) -> tuple[str, Any]:
    """Field of `Header` and its value from one ``key: value`` line."""
    key = found["key"].lower()
    if key not in _READERS:
        message = f"unknown key {found['key']!r}; the keys are {', '.join(_READERS)}"
        raise source.error(message, Place(number, found.start("key")))
    try:
        return parse_value(key, found["value"])
    except ValueError as problem:
        message = f"{key}: {problem}"
        raise source.error(message, Place(number, found.start("value"))) from problem


def parse_value(key: str, text: str) -> tuple[str, Any]:
    """Field of `Header` and its value, from a known key and the text after it.

    Raises
    ------
    ValueError
        When the text cannot be read.
    """
    name, reader = _READERS[key]
    return name, reader(text)


def _tempo(text: str) -> float:
    """Quarter notes a minute.

    >>> _tempo("92.5")
    92.5
    """
    low, high = TEMPO_LIMITS_BPM
    return _between(text, low, high, "quarter notes a minute")


def _between(text: str, low: float, high: float, unit: str) -> float:
    """Read a number between two limits, both allowed."""
    if not _NUMBER.fullmatch(text) or not low <= float(text) <= high:
        message = f"found {text!r}, allowed is a number from {low:g} to {high:g} {unit}"
        raise ValueError(message)
    return float(text)


def _meter(text: str) -> Meter:
    """Time signature.

    >>> str(_meter("6/8"))
    '6/8'
    """
    found = re.fullmatch(r"(\d{1,2})\s*/\s*(\d{1,2})", text)
    count, unit = (int(found[1]), int(found[2])) if found else (0, 0)
    if count == 0 or unit not in (1, 2, 4, 8, 16, 32):
        message = f"found {text!r}, allowed is a time signature such as 4/4, 3/4 or 6/8"
        raise ValueError(message)
    return Meter(count, unit)


def _tuning(text: str) -> Tuning:
    """Tuning by its name, or by note names from the lowest string up.

    >>> str(_tuning("drop D"))
    'D2 A2 D3 G3 B3 E4'
    """
    names = NAMED_TUNINGS.get(text.lower(), text).split()
    try:
        return Tuning(tuple(parse_note_name(name) for name in reversed(names)))
    except ValueError as problem:
        known = ", ".join(NAMED_TUNINGS)
        message = (
            f"{problem}; allowed are 4 to 9 note names with octave, lowest string "
            f"first (E2 A2 D3 G3 B3 E4), or one of: {known}"
        )
        raise ValueError(message) from problem


def _capo(text: str) -> int:
    """Fret of the capo."""
    if not re.fullmatch(r"\d{1,2}", text) or int(text) > MAX_CAPO:
        message = f"found {text!r}, allowed is a fret from 0 (none) to {MAX_CAPO}"
        raise ValueError(message)
    return int(text)


def _feel(text: str) -> float | None:
    """Swing ratio, None for straight.

    >>> _feel("straight"), _feel("swing 3:2")
    (None, 1.5)
    """
    words = text.lower().split()
    if words == ["straight"]:
        return None
    found = _SWING.fullmatch(" ".join(words))
    if found and float(found[2]) > 0:
        ratio = float(Fraction(found[1]) / Fraction(found[2]))
        if SWING_LIMITS[0] <= ratio <= SWING_LIMITS[1]:
            return ratio
    message = (
        f"found {text!r}, allowed is `straight`, or `swing` with the ratio of the "
        "long to the short eighth, such as `swing 2:1` (1:4 to 4:1)"
    )
    raise ValueError(message)


def _pickup(text: str) -> Fraction:
    """Length of the incomplete first bar in quarter notes.

    >>> _pickup("1 1/2"), _pickup("0.5")
    (Fraction(3, 2), Fraction(1, 2))
    """
    whole, _, part = text.rpartition(" ")
    try:
        beats = Fraction(part) + (int(whole) if whole else 0)
    except (ValueError, ZeroDivisionError):
        beats = Fraction(0)
    if beats <= 0:
        message = f"found {text!r}, allowed is a length in quarter notes, such as 1/2"
        raise ValueError(message)
    return beats


_READERS: dict[str, tuple[str, Callable[[str], Any]]] = {
    "title": ("title", str),
    "tempo": ("tempo_bpm", _tempo),
    "meter": ("meter", _meter),
    "tuning": ("tuning", _tuning),
    "capo": ("capo", _capo),
    "feel": ("swing", _feel),
    "trains": ("trains", str),
    "pickup": ("pickup_beats", _pickup),
    "parent": ("parent_title", str),
    "parent digest": ("parent_digest", parse_digest),
    "parent notes": ("parent_notes", parse_places),
    "drill": ("drill", str),
}
