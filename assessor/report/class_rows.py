"""One row a player: what a class page and a class table both show."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from assessor.report.readings import value_in
from assessor.review.finding import Finding
from assessor.review.summary import ClassReview, Take

# Column of the class page, and the reading in it
FOUR = {"time": "spread", "bends": "bends", "slurs": "slur spread"}


@dataclass(frozen=True)
class Cell:
    """One value, and what the tool had found where a teacher changed it.

    Attributes
    ----------
    text : str
        Empty = not measured.
    judgement : str
    tool : str
        Empty where it is the same.
    """

    text: str
    judgement: str = ""
    tool: str = ""


@dataclass(frozen=True)
class Row:
    """One player and lick.

    Attributes
    ----------
    player, name : str
        Pseudonym; name where it is asked for.
    take : Take or None
        The one that counts; None = nothing was handed in.
    others : tuple of Take
    state : str
        ``missing``, ``late``, ``refused``, ``waiting`` or empty.
    mark, notes, time, bends, slurs, tempo : Cell
    work_on : str
    before : tuple of str
        Marks of earlier assignments, the oldest first; ``–`` = none.
    remarks : int
        Corrections and remarks that hold.
    """

    player: str
    name: str
    take: Take | None
    others: tuple[Take, ...]
    state: str
    mark: Cell
    notes: Cell
    time: Cell
    bends: Cell
    slurs: Cell
    tempo: Cell
    work_on: str
    before: tuple[str, ...]
    remarks: int


NOTHING = Cell("")


def rows_of(review: ClassReview, lick: int, *, names: bool = False) -> list[Row]:
    """Rows of one lick, in the order of pseudonyms (or of names)."""
    rows = [_row(review, player, lick, names) for player in review.players]
    return sorted(rows, key=lambda row: (row.name.casefold(), row.player))


def _row(review: ClassReview, player: str, lick: int, names: bool) -> Row:
    takes = review.takes_of(player, lick)
    take = takes[0] if takes else None
    found = take.found if take else None
    shown = take.shown if take else None
    cells = {column: _reading(found, shown, name) for column, name in FOUR.items()}
    return Row(
        player=player,
        name=review.names.get(player, "") if names else "",
        take=take,
        others=tuple(takes[1:]),
        state=state_of(take),
        mark=_changed(_mark(found), _mark(shown)),
        notes=_changed(_notes(found), _notes(shown)),
        tempo=_reading(found, shown, "tempo"),
        work_on=f"{shown.place}: {shown.what}" if shown and shown.cause else "",
        before=tuple(_before(earlier.mark_of(player)) for earlier in review.earlier),
        remarks=len(take.corrections) if take else 0,
        **cells,
    )


def state_of(take: Take | None) -> str:
    """What a teacher should know of a hand-in."""
    if take is None:
        return "missing"
    if take.record is None:
        return "waiting"
    if take.shown is None:
        return "refused"
    return "late" if take.late else ""


def _before(mark: float | None) -> str:
    return "–" if mark is None else f"{mark:.0f}"


def _mark(found: Finding | None) -> str:
    return "" if found is None or found.mark is None else f"{found.mark:.0f}"


def _notes(found: Finding | None) -> str:
    if found is None:
        return ""
    known = found.readings.get("notes")
    if known is not None and known.judgement == "ear":
        return f"{known.value:.0f} %"
    return f"{found.right} of {found.judged}"


def _changed(tool: str, shown: str) -> Cell:
    return Cell(shown, tool="" if tool == shown else tool or "–")


def _reading(found: Finding | None, shown: Finding | None, name: str) -> Cell:
    texts = [_text(one, name) for one in (found, shown)]
    known = shown.readings.get(name) if shown else None
    cell = _changed(*texts)
    return Cell(cell.text, known.judgement if known else "", cell.tool)


def _text(found: Finding | None, name: str) -> str:
    known = found.readings.get(name) if found else None
    if known is None:
        return ""
    return value_in(known.value if name == "tempo" else known.off, known.unit)


def why_doubtful(take: Take) -> str:
    """Why a person should listen to a take."""
    found = take.shown
    if found is None:
        return take.record.reason if take.record else ""
    wrong = max(round(found.doubt), 1)
    parts = [f"about {wrong} of {len(found.notes)} verdicts may be wrong"]
    if found.unsure:
        parts.append(f"{found.unsure} note{'s' * (found.unsure > 1)} unsure")
    if not found.complete:
        parts.append("no pass is whole")
    return ", ".join(parts)


def say_list(words: Sequence[str]) -> str:
    """Words in a sentence.

    >>> say_list(["a", "b", "c"])
    'a, b and c'
    """
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} and {words[-1]}"
