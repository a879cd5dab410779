"""``assessor review serve``: go through the takes of a class in a browser."""

from __future__ import annotations

from contextlib import suppress

import click

from assessor.cli.desk import host_option, port_option, refuse_without_web
from assessor.cli.terminal import bad_files, show


@click.command()
@click.argument("out", metavar="OUT")
@click.option("--author", metavar="NAME", help="Who says so; else your login name.")
@click.option("--names", is_flag=True, help="Show names beside pseudonyms.")
@host_option
@port_option
@click.option(
    "--open/--no-open", "opens", default=True, help="Open the page in a browser."
)
def serve(
    out: str, author: str | None, names: bool, host: str, port: int, opens: bool
) -> None:
    """Open a page on this machine to hear takes, overrule, and go to the next.

    OUT is a review's folder.  Takes that the tool is unsure of come first; what you say
    counts at once in the class page.  Only who has the printed link is let in, and only
    from this machine.
    """
    refuse_without_web()
    import secrets

    from assessor.review.books import environment_author, open_books
    from assessor.review.summary import read_class
    from assessor.web.app import review_app
    from assessor.web.doors import Rules, origins_of
    from assessor.web.review import Classroom
    from assessor.web.serving import CannotServe, listen_on
    from assessor.web.serving import serve as run
    from assessor.web.sessions import Cookie, Remembered

    with bad_files():
        books = open_books(out)
        read_class(books)
    try:
        listener = listen_on(host, port, tls=False, sign_in=False)
    except CannotServe as problem:
        raise click.UsageError(str(problem)) from problem
    number = listener.getsockname()[1]
    classroom = Classroom(
        sessions=Remembered(),
        cookie=Cookie(f"assessor-{number}", secure=False),
        link_token=secrets.token_urlsafe(32),
        books=books,
        author=author or environment_author(),
        names=names,
    )
    name = "[::1]" if ":" in host else host
    rules = Rules(origins_of("http", ("localhost", name), number), classroom.most_bytes)
    link = f"http://{name}:{number}/enter?token={classroom.link_token}"

    def ready() -> None:
        show(f"Review  open\n\n  {link}\n\nEnds with Ctrl-C.\n")
        if opens:
            click.launch(link)

    with bad_files(), suppress(KeyboardInterrupt):
        run(review_app(classroom, rules), listener, on_ready=ready)
