"""What the teacher says instead of the tool, with author, time and reason.

A log that only grows: one line of JSON a correction.  The last word on one thing holds;
the tool's finding is never touched, it is kept beside.  Corrections belong to a
recording and a lick, not to a result: another assessment of the take keeps them.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, fields, replace
from datetime import UTC, datetime
from enum import StrEnum
from pathlib import Path
from typing import Any

from assessor.errors import ReviewError
from assessor.review.private import open_private, replace_private

LONGEST_TEXT = 4000  # of a remark or a reason
VERDICTS = ("right", "wrong", "missed", "unsure")
JUDGEMENTS = ("inside", "outside")
AREAS = ("time", "bend", "slur", "pitch")
# Readings a teacher can give a pass, with the least and the most that has a meaning
READINGS = {
    "mark": (0.0, 100.0),
    "notes": (0.0, 100.0),
    "tempo": (10.0, 500.0),
    "spread": (0.0, 1000.0),
    "bends": (0.0, 1000.0),
    "pitch": (0.0, 1000.0),
    "slur spread": (0.0, 1000.0),
}
TOOL = "tool"  # as a value: the tool's own finding is to hold again


class What(StrEnum):
    """What a correction speaks of."""

    VERDICT = "verdict"  # of a note: right, wrong, missed, unsure
    JUDGEMENT = "judgement"  # of a note's time, bend, slur or pitch: inside, outside
    EXTRA = "extra"  # a note that was not asked for: none sounded there
    READING = "reading"  # of a pass: its mark, or one of its readings
    REMARK = "remark"  # on a take or a note


@dataclass(frozen=True)
class Correction:
    """One thing a teacher says of a take.

    Attributes
    ----------
    take_id : str
    what : What
    value : str or float
        What holds instead; ``"tool"`` takes an earlier correction back, an empty
        remark takes a remark back.
    author : str
    at : str
        UTC, ISO 8601.
    reason : str
    number : int or None
        Of the pass, from 0; None = the pass that counts.
    note : int or None
        0-based place in the lick; of ``extra``, place among the extra notes; None = the
        take as a whole.
    name : str
        Of a reading, or of a judgement's area.
    blind : bool
        Said without having seen what the tool found.

    Raises
    ------
    ValueError
        When it has no meaning; the message says what would have.
    """

    take_id: str
    what: What
    value: str | float
    author: str
    at: str = field(default_factory=lambda: datetime.now(UTC).isoformat("T", "seconds"))
    reason: str = ""
    number: int | None = None
    note: int | None = None
    name: str = ""
    blind: bool = False

    def __post_init__(self) -> None:
        """Refuse what has no meaning."""
        object.__setattr__(self, "what", What(self.what))
        if not self.author.strip():
            message = "a correction has an author; say who you are"
            raise ValueError(message)
        for text in (self.reason, self.value, self.author):
            if isinstance(text, str) and len(text) > LONGEST_TEXT:
                message = f"{len(text)} characters; {LONGEST_TEXT} are allowed"
                raise ValueError(message)
        if (self.note is not None and self.note < 0) or (self.number or 0) < 0:
            message = "notes and passes have no number below nought"
            raise ValueError(message)
        _check_place(self)
        if self.value != TOOL:
            CHECKS[self.what](self)

    @property
    def thing(self) -> tuple[Any, ...]:
        """What it speaks of: the last correction of one thing holds."""
        return (self.take_id, str(self.what), self.number, self.note, self.name)

    @property
    def taken_back(self) -> bool:
        """The tool's finding is to hold again."""
        return self.value == TOOL or (self.what is What.REMARK and not self.value)


def _check_place(found: Correction) -> None:
    """Refuse what speaks of nothing; also where it is taken back."""
    if found.what in (What.VERDICT, What.JUDGEMENT, What.EXTRA) and found.note is None:
        message = f"a {found.what} belongs to a note; say which"
        raise ValueError(message)
    if found.what is What.JUDGEMENT:
        _one_of(found.name, AREAS)
    if found.what is What.READING:
        _one_of(found.name, tuple(READINGS))


def _one_of(word: object, allowed: Sequence[str]) -> None:
    if word not in allowed:
        message = f"{word!r} is none of {', '.join(allowed)}"
        raise ValueError(message)


def _check_verdict(found: Correction) -> None:
    _one_of(found.value, VERDICTS)


def _check_judgement(found: Correction) -> None:
    _one_of(found.value, JUDGEMENTS)


def _check_extra(found: Correction) -> None:
    _one_of(found.value, ("none",))


def _check_reading(found: Correction) -> None:
    low, high = READINGS[found.name]
    number = isinstance(found.value, int | float) and not isinstance(found.value, bool)
    if not number or not low <= float(found.value) <= high:
        message = f"{found.name} {found.value!r}: is no number from {low:g} to {high:g}"
        raise ValueError(message)


def _check_remark(found: Correction) -> None:
    if not isinstance(found.value, str):
        message = "a remark is a text"
        raise ValueError(message)


CHECKS = {
    What.VERDICT: _check_verdict,
    What.JUDGEMENT: _check_judgement,
    What.EXTRA: _check_extra,
    What.READING: _check_reading,
    What.REMARK: _check_remark,
}


def append(log: Path, corrections: Iterable[Correction]) -> None:
    """Add corrections to a log; on the disk when it returns, all or none.

    Raises
    ------
    ReviewError
        When it cannot be written.
    """
    text = "".join(_line(correction) for correction in corrections)
    if not text:
        return
    try:
        with open_private(log, os.O_APPEND | os.O_RDWR) as stream:
            if _is_torn(log):  # a crash cut the last line off: it was never said
                text = "\n" + text
            stream.write(text.encode())
            stream.flush()
            os.fsync(stream.fileno())
    except OSError as problem:
        message = f"cannot be written: {problem.strerror}"
        raise ReviewError(message, str(log)) from problem


def _is_torn(log: Path) -> bool:
    whole = log.read_bytes()
    return bool(whole) and not whole.endswith(b"\n")


def _line(correction: Correction) -> str:
    return json.dumps(asdict(correction), ensure_ascii=False) + "\n"


def read(log: Path) -> list[Correction]:
    """Every correction ever made, the oldest first.

    A line that a crash cut off is passed over.

    Raises
    ------
    ReviewError
        When a line is no correction.
    """
    if not log.exists():
        return []
    try:
        lines = log.read_text(encoding="utf-8").split("\n")
    except (OSError, UnicodeDecodeError) as problem:
        message = f"cannot be read: {problem}"
        raise ReviewError(message, str(log)) from problem
    found = []
    for number, line in enumerate(lines, 1):
        correction = _correction(line)
        if correction is not None:
            found.append(correction)
        elif line.strip() and line.endswith("}"):
            message = f"line {number} is no correction; mend it or take it out"
            raise ReviewError(message, str(log))
    return found


def _correction(line: str) -> Correction | None:
    names = {one.name for one in fields(Correction)}
    try:
        value = json.loads(line)
        return Correction(**{key: value[key] for key in names & set(value)})
    except (ValueError, TypeError, AttributeError):
        return None


def holding(corrections: Iterable[Correction]) -> dict[str, tuple[Correction, ...]]:
    """Corrections that hold, by take: the last word on every thing, the latest last.

    Examples
    --------
    >>> first = Correction("a", What.VERDICT, "wrong", "T", note=3)
    >>> last = Correction("a", What.VERDICT, "right", "T", note=3)
    >>> holding([first, last])["a"] == (last,)
    True
    """
    last: dict[tuple[Any, ...], Correction] = {}
    for correction in corrections:
        last.pop(correction.thing, None)  # it is said now, not where it was said first
        last[correction.thing] = correction
    found: dict[str, tuple[Correction, ...]] = {}
    for correction in last.values():
        if not correction.taken_back:
            found[correction.take_id] = (
                *found.get(correction.take_id, ()),
                correction,
            )
    return found


def rename(log: Path, names: Mapping[str, str]) -> None:
    """Give takes that have a new name theirs, in everything that was said of them."""
    every = read(log)
    now = [replace(one, take_id=names.get(one.take_id, one.take_id)) for one in every]
    if now != every:
        replace_private(log, "".join(_line(correction) for correction in now))


def drop(log: Path, take_ids: set[str]) -> int:
    """Take out every correction of some takes, for good; how many there were."""
    every = read(log)
    kept = [correction for correction in every if correction.take_id not in take_ids]
    if len(kept) < len(every):
        replace_private(log, "".join(_line(correction) for correction in kept))
    return len(every) - len(kept)
