"""``assessor review forget``: really delete what is kept of a player."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import click

from assessor.cli.terminal import BAD_FILE, bad_files, printable, show
from assessor.errors import AssessorError
from assessor.words import plural

if TYPE_CHECKING:
    from assessor.review.forgetting import Forgotten


@click.command()
@click.argument("outs", metavar="OUT...", nargs=-1, required=True)
@click.option("--player", metavar="NAME", required=True, help="Name or pseudonym.")
@click.option("--yes", is_flag=True, help="Do not ask.")
def forget(outs: tuple[str, ...], player: str, yes: bool) -> None:
    """Delete reports, results, corrections, answers and the name of a player.

    OUT are folders of reviews: name each one there is.  Recordings that were handed in,
    and files that you sent on, are not touched; results in a history (--store) are
    deleted by assessor history forget --player PSEUDONYM.
    """
    if not yes:
        where = outs[0] if len(outs) == 1 else f"{len(outs)} reviews"
        question = f"Delete everything of {player} in {where} for good?"
        click.confirm(question, abort=True, err=True)
    from assessor.review.forgetting import NobodyKnown

    done: list[str] = []
    unknown: list[str] = []
    problems: list[str] = []
    with bad_files():
        for out in outs:  # one that cannot be read must not keep the others
            try:
                done.append(_told(out, _forgotten(out, player)))
            except NobodyKnown as problem:
                unknown.append(str(problem))
            except AssessorError as problem:
                problems.append(str(problem))
    show("".join(done))
    problems += [] if done else unknown
    for text in problems:
        click.echo(printable(f"assessor: {text}"), err=True)
    if problems:
        sys.exit(BAD_FILE)


def _forgotten(out: str, player: str) -> Forgotten:
    from assessor.report.class_work import CLASS_PAGE, CLASS_TABLE, write_class
    from assessor.review.books import one_at_a_time, open_books
    from assessor.review.forgetting import forget as forget_player

    books = open_books(out)
    with one_at_a_time(books):
        done = forget_player(books, player)
        books.forget_shown(CLASS_PAGE, CLASS_TABLE)  # should new ones not be made
        write_class(books)
    return done


def _told(out: str, done: Forgotten) -> str:
    counts = {"take": done.takes, "correction": done.corrections}
    counts["answer"] = done.answers
    told = ", ".join(plural(n, word) for word, n in counts.items())
    return f"{out}: {', '.join(done.pseudonyms)} forgotten: {told}\n"
