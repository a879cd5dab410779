"""Answers of a whole class: takes drawn in parallel, put together by player."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from assessor.errors import ReviewError
from assessor.report.class_answer import FRAGMENT, answer_page, answer_take
from assessor.review import planning
from assessor.review.books import Books
from assessor.review.jobs import Outcome
from assessor.review.pseudonyms import file_stem
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
    left = Counter(take.player for take in takes)
    player_of = {take.take_id: take.player for take in takes}
    written: dict[str, Path] = {}
    drawn: dict[str, Outcome] = {}
    for outcome in run(wanted, answer_take, make_executor, workers):
        name = player_of[outcome.take_id]
        drawn[outcome.take_id] = outcome
        left[name] -= 1
        if not left[name]:  # sound is large: no more of it is held than has to be
            mine = [drawn.pop(take.take_id) for take in _takes(review, name)]
            written[name] = _write(books, review.title, name, mine)
    return [(written[name], review.names.get(name, "")) for name in sorted(written)]


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


def _write(books: Books, title: str, player: str, mine: Sequence[Outcome]) -> Path:
    pieces = [one.files[FRAGMENT] for one in mine if not one.reason]
    refused = [one.reason for one in mine if one.reason]
    page = answer_page(title, player, pieces, refused)
    return books.write_shown(f"answers/{file_stem(player)}.html", page)
