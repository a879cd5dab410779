"""Really delete what a review keeps of a player."""

from __future__ import annotations

from dataclasses import dataclass

from assessor.errors import ReviewError
from assessor.review import corrections
from assessor.review.books import Books


class NobodyKnown(ReviewError):
    """A review that knows no player of that name."""


@dataclass(frozen=True)
class Forgotten:
    """What was deleted.

    Attributes
    ----------
    pseudonyms : tuple of str
        Whom it was about.
    takes, corrections, answers : int
    """

    pseudonyms: tuple[str, ...]
    takes: int
    corrections: int
    answers: int


def forget(books: Books, player: str) -> Forgotten:
    """Delete reports, results, records, corrections, answers, and the name.

    The recordings, and copies somebody sent on, are not touched.  The class page is the
    caller's to write anew.

    Parameters
    ----------
    books : Books
    player : str
        Name or pseudonym.

    Raises
    ------
    NobodyKnown
        When nothing is known of such a player.
    """
    roster = books.read_roster()
    planned = books.planned()
    known = {p.pseudonym for p in roster} | {one.player for one in planned}
    meant = {p.pseudonym for p in roster if player in (p.name, p.pseudonym)}
    meant |= {player} & known
    if not meant:
        message = f"nothing is known of {player!r} here"
        raise NobodyKnown(message, str(books.out))
    take_ids = {one.take_id for one in planned if one.player in meant}
    recorded = books.recorded_players()
    take_ids |= {take_id for take_id, player in recorded.items() if player in meant}
    books.sweep()
    dropped = corrections.drop(books.corrections, take_ids)
    books.forget(take_ids)
    answers = sum([books.forget_answer(name) for name in meant])
    books.write_roster([p for p in roster if p.pseudonym not in meant])
    _forget_in_plan(books, meant)
    return Forgotten(tuple(sorted(meant)), len(take_ids), dropped, answers)


def _forget_in_plan(books: Books, meant: set[str]) -> None:
    """Take them out of the plan, and out of what is kept for the next assignment."""
    plan = books.read_plan()
    plan["players"] = [name for name in plan["players"] if name not in meant]
    plan["takes"] = [one for one in plan["takes"] if one["player"] not in meant]
    books.write_plan(plan)
    try:
        counted = books.read_counted()
    except ReviewError:  # never written yet
        return
    kept = [one for one in counted["counted"] if one["player"] not in meant]
    books.write_counted({"title": counted["title"], "counted": kept})
