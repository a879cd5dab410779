"""``assessor review answer``: one file a player, to send back."""

from __future__ import annotations

import click

from assessor.cli.terminal import bad_files, patience, show


@click.command()
@click.argument("out", metavar="OUT")
@click.option("--player", metavar="NAME", help="Only one: name or pseudonym.")
@click.option("--without-sound", is_flag=True, help="Leave the take's sound out.")
@click.option("--jobs", metavar="N", type=click.IntRange(1, 1024))
def answer(out: str, player: str | None, without_sound: bool, jobs: int | None) -> None:
    """Write OUT/answers/PSEUDONYM.html for every player who handed in a take.

    Takes as they are with your corrections, your remarks, and the lick with a click at
    the next tempo.  Nothing of other players is in it.
    """
    with bad_files():
        from assessor.report.class_answers import write_answers
        from assessor.review.books import one_at_a_time, open_books
        from assessor.review.running import cores

        books = open_books(out)
        with one_at_a_time(books), patience("Writing answers"):
            written = write_answers(
                books, player, sound=not without_sound, workers=jobs or cores()
            )
    lines = [f"{file}  {name}".rstrip() for file, name in written]
    show("\n".join([*lines, f"{len(lines)} written"]) + "\n")
