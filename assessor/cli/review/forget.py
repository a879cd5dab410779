"""``assessor review forget``: really delete what is kept of a player."""

from __future__ import annotations

import click

from assessor.cli.terminal import bad_files, show


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
    with bad_files():
        from assessor.report.class_work import write_class
        from assessor.review.books import one_at_a_time, open_books
        from assessor.review.forgetting import forget as forget_player

        for out in outs:
            books = open_books(out)
            with one_at_a_time(books):
                done = forget_player(books, player)
                write_class(books)
            counts = {
                "take": done.takes,
                "correction": done.corrections,
                "answer": done.answers,
            }
            told = ", ".join(
                f"{n} {word}{'s' * (n != 1)}" for word, n in counts.items()
            )
            show(f"{out}: {', '.join(done.pseudonyms)} forgotten: {told}\n")
