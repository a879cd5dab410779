"""Answers of a whole class: takes drawn in parallel, put together by player."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from assessor.errors import ReviewError
from assessor.report.class_answer import FRAGMENT, answer_page, answer_take
from assessor.review import planning
from assessor.review.books import Books
from assessor.review.jobs import Outcome
from assessor.review.pseudonyms import shown_name
from assessor.review.running import MakeExecutor, run
from assessor.review.summary import ClassReview, Take, read_class
from assessor.review.workers import Processes


def write_answers(
    books: Books,
    player: str | None = None,
    *,
    sound: bool = True,
    workers: int = 1,
    make_executor: MakeExecutor = Processes,
) -> list[tuple[Path, str]]:
    """Write one file a player.

    Parameters
    ----------
    books : Books
    player : str or None
        Name or pseudonym; None = everybody who handed in a take.
    sound : bool
        Whether the takes can be heard in it.
    workers : int
    make_executor : callable
        As `assessor.review.running.run` takes it.

    Returns
    -------
    list of (Path, str)
        Files, with the player's name where it is known: for the teacher.

    Raises
    ------
    ReviewError
        When there is no such player.
    """
    review = read_class(books)
    takes = [take for name in _meant(review, player) for take in _takes(review, name)]
    jobs = {job.take_id: replace(job, sound=sound) for job in planning.jobs(books)}
    wanted = [jobs[take.take_id] for take in takes]
    outcomes = {
        one.take_id: one for one in run(wanted, answer_take, make_executor, workers)
    }
    players = list(dict.fromkeys(take.player for take in takes))
    return [_write(books, review, name, outcomes) for name in players]


def _meant(review: ClassReview, player: str | None) -> Sequence[str]:
    if player is None:
        return review.players
    found = [p for p in review.players if player in (p, review.names.get(p))]
    if not found:
        message = f"there is no player {player!r} in this review"
        raise ReviewError(message)
    return found


def _takes(review: ClassReview, player: str) -> list[Take]:
    """Takes of one player, by lick, those that count first."""
    licks = range(len(review.licks))
    return [take for number in licks for take in review.takes_of(player, number)]


def _write(
    books: Books, review: ClassReview, player: str, outcomes: dict[str, Outcome]
) -> tuple[Path, str]:
    mine = [outcomes[take.take_id] for take in _takes(review, player)]
    pieces = [one.files[FRAGMENT] for one in mine if not one.reason]
    refused = [one.reason for one in mine if one.reason]
    page = answer_page(review.title, player, pieces, refused)
    file = books.write_shown(f"answers/{shown_name(player)}.html", page)
    return file, review.names.get(player, "")
