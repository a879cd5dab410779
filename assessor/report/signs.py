"""One sign for each finding, and the rows of signs under a tab.

Every finding has a shape; colour only repeats it.  One accent pair: the low side
(early, flat) and the high side (late, sharp).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum

from assessor.alignment import Verdict
from assessor.assessment import PassAssessment
from assessor.measures.tolerance import Judgement, Reading


class Tone(Enum):
    """How a piece of text is painted."""

    PLAIN = "plain"
    LOW = "low"  # early, flat
    HIGH = "high"  # late, sharp
    QUIET = "quiet"  # inside tolerance
    STRONG = "strong"


@dataclass(frozen=True)
class Sign:
    """One sign: its shape, the same in ASCII, its tone, and its word."""

    shape: str
    ascii_shape: str
    tone: Tone
    word: str


INSIDE = Sign("·", ".", Tone.QUIET, "inside")
EARLY = Sign("<", "<", Tone.LOW, "early")
LATE = Sign(">", ">", Tone.HIGH, "late")
FLAT = Sign("↓", "v", Tone.LOW, "flat")
SHARP = Sign("↑", "^", Tone.HIGH, "sharp")
WRONG = Sign("×", "x", Tone.STRONG, "wrong")
MISSED = Sign("○", "o", Tone.STRONG, "missed")
EXTRA = Sign("¦", "+", Tone.STRONG, "extra")
UNSURE = Sign("?", "?", Tone.QUIET, "unsure")

# In the order of the legend
SIGNS = (INSIDE, EARLY, LATE, FLAT, SHARP, WRONG, MISSED, EXTRA, UNSURE)

_OF_VERDICT = {
    Verdict.RIGHT: INSIDE,
    Verdict.WRONG: WRONG,
    Verdict.MISSED: MISSED,
    Verdict.UNSURE: UNSURE,
}

# For each note of a lick, by index, the sign under it
Row = dict[int, Sign]


@dataclass(frozen=True)
class Rows:
    """What stands under a tab.

    Attributes
    ----------
    rows : dict of str to Row
        By the word in front of the row; rows with nothing to tell are left out.
    extra : dict of int to Sign
        Notes of the lick after which an extra one sounds; -1 = before the first.
    """

    rows: dict[str, Row]
    extra: dict[int, Sign]

    def used(self) -> tuple[Sign, ...]:
        """Signs that occur, in the order of the legend."""
        found = {sign for row in self.rows.values() for sign in row.values()}
        found |= set(self.extra.values())
        return tuple(sign for sign in SIGNS if sign in found)


def rows_of(found: PassAssessment) -> Rows:
    """Signs of one pass."""
    rows: dict[str, Row] = {
        "notes": {n.index: _OF_VERDICT[n.verdict] for n in found.performed.notes},
        "time": {
            note.index: _sign(note.deviation, EARLY, LATE)
            for note in found.timing.notes
        },
        "pitch": dict(_pitch(found)),
        "slurs": {
            note.index: _sign(note.interval, EARLY, LATE) for note in found.legato.notes
        },
    }
    extra = {note.after: EXTRA for note in found.accuracy.extra}
    return Rows({name: row for name, row in rows.items() if row}, extra)


def _sign(reading: Reading, low: Sign, high: Sign) -> Sign:
    """Sign of a judged reading."""
    if reading.judgement == Judgement.OUTSIDE:
        return high if reading.deviation > 0 else low
    return UNSURE if reading.judgement == Judgement.UNSURE else INSIDE


def _pitch(found: PassAssessment) -> Iterator[tuple[int, Sign]]:
    """Every bend, and the plain notes that are off."""
    for note in found.bends.plain:
        sign = _sign(note.intonation, FLAT, SHARP)
        if sign in (FLAT, SHARP):
            yield note.index, sign
    for bend in found.bends.bent:
        parts = [_sign(bend.reached, FLAT, SHARP)]
        parts += [
            _sign(r, FLAT, SHARP) for r in (bend.start, bend.end) if r is not None
        ]
        # the first part that is off speaks for the note
        off = [sign for sign in parts if sign in (FLAT, SHARP)]
        yield bend.index, (off or parts)[0]
