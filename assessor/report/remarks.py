"""What a teacher says of a take, in words, beside what the tool had found."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from assessor.assessment import Assessment
from assessor.measures.focus import say_place
from assessor.report.readings import value_in
from assessor.review.corrections import Correction, What
from assessor.review.overruling import UNITS


@dataclass(frozen=True)
class Said:
    """One thing a teacher says.

    Attributes
    ----------
    place : str
        Where; empty for the take as a whole.
    text : str
    reason, author, day : str
    """

    place: str
    text: str
    reason: str
    author: str
    day: str


def remarks_of(
    tool: Assessment,
    corrections: Sequence[Correction],
    left_over: Sequence[Correction] = (),
) -> tuple[Said, ...]:
    """Say corrections and remarks of one take.

    Parameters
    ----------
    tool : Assessment
        As the tool found it.
    corrections : sequence of Correction
        That hold.
    left_over : sequence of Correction
        Those of them that fit nothing any more; they are said all the same.
    """
    return tuple(_said(tool, one, one in left_over) for one in corrections)


def _said(tool: Assessment, one: Correction, lost: bool) -> Said:
    place = ""
    number = tool.best if one.number is None else one.number
    if one.note is not None and one.what is not What.EXTRA:
        inside = one.note < len(tool.lick)
        place = say_place(tool.lick, one.note) if inside else f"note {one.note + 1}"
    if len(tool.passes) > 1 and one.what is not What.REMARK:
        place = f"pass {number + 1}, {place}" if place else f"pass {number + 1}"
    text = TEXTS[one.what](tool, one, number)
    if lost:
        text += " (the place it speaks of is not in the take any more)"
    return Said(place, text, one.reason, one.author, one.at[:10])


def _verdict(tool: Assessment, one: Correction, number: int) -> str:
    if number >= len(tool.passes) or (one.note or 0) >= len(tool.lick):
        return str(one.value)
    was = tool.passes[number].performed.notes[one.note or 0].verdict
    return f"{one.value}" if was == one.value else f"{one.value}, not {was}"


def _judgement(tool: Assessment, one: Correction, number: int) -> str:
    return f"{one.name} {one.value} the tolerance, by ear"


def _extra(tool: Assessment, one: Correction, number: int) -> str:
    return f"extra note {(one.note or 0) + 1}: none sounded there"


def _reading(tool: Assessment, one: Correction, number: int) -> str:
    if one.name == "mark":
        return f"mark {float(one.value):.0f} of 100, by ear"
    return f"{one.name} {value_in(float(one.value), UNITS[one.name])}, by ear"


def _remark(tool: Assessment, one: Correction, number: int) -> str:
    return str(one.value)


TEXTS = {
    What.VERDICT: _verdict,
    What.JUDGEMENT: _judgement,
    What.EXTRA: _extra,
    What.READING: _reading,
    What.REMARK: _remark,
}
