"""``assessor desk``: a page on this machine to choose, hear, record and check licks."""

from __future__ import annotations

from contextlib import suppress
from importlib.util import find_spec
from pathlib import Path

import click

from assessor.cli.keeping import player_option, store_option
from assessor.cli.terminal import bad_files, show

PORT = 8321
NEEDED = ("starlette", "uvicorn", "argon2")


def refuse_without_web() -> None:
    """Say what to install where the web libraries are not there."""
    if any(find_spec(name) is None for name in NEEDED):
        message = "this needs more packages: pip install 'assessor[web]'"
        raise click.UsageError(message)


port_option = click.option(
    "--port",
    metavar="N",
    type=click.IntRange(0, 65535),
    default=PORT,
    show_default=True,
    help="Port to listen on; 0 = any that is free.",
)
host_option = click.option(
    "--host",
    metavar="ADDRESS",
    default="127.0.0.1",
    show_default=True,
    help="Address of this machine to listen on.",
)
takes_option = click.option(
    "--takes",
    "takes_folder",
    metavar="FOLDER",
    type=click.Path(file_okay=False, path_type=Path),
    help="Where recordings are put; else your data folder.",
)


@click.command()
@click.argument(
    "folders",
    metavar="[FOLDER]...",
    nargs=-1,
    type=click.Path(exists=True, file_okay=False, path_type=Path),
)
@player_option
@host_option
@port_option
@takes_option
@store_option
@click.option(
    "--open/--no-open", "opens", default=True, help="Open the page in a browser."
)
def desk(
    folders: tuple[Path, ...],
    player: str,
    host: str,
    port: int,
    takes_folder: Path | None,
    store_text: str | None,
    opens: bool,
) -> None:
    """Open a page on this machine to choose a lick, record it, and see what came.

    FOLDER holds lick files; left out: the folder references, where there is one, else
    the one you are in.  Only who has the printed link is let in, and only from this
    machine.
    """
    refuse_without_web()
    import secrets

    from assessor.history.place import data_folder
    from assessor.history.store import open_store
    from assessor.web.app import desk_app
    from assessor.web.doors import Rules, origins_of
    from assessor.web.house import House, rooms
    from assessor.web.serving import CannotServe, listen_on, serve
    from assessor.web.sessions import Cookie, Remembered

    try:
        listener = listen_on(host, port, tls=False, sign_in=False)
    except CannotServe as problem:
        raise click.UsageError(str(problem)) from problem
    number = listener.getsockname()[1]
    with bad_files(), open_store(store_text) as store:
        house = House(
            **rooms(
                (takes_folder or data_folder() / "desk").absolute(),
                list(folders) or [usual_folder()],
            ),
            store=store,
            sessions=Remembered(),
            cookie=Cookie(f"assessor-{number}", secure=False),
            player=player,
            link_token=secrets.token_urlsafe(32),
        )
        names = ("localhost", "[::1]" if ":" in host else host)
        rules = Rules(origins_of("http", names, number), house.most_bytes)
        link = f"http://{names[1]}:{number}/enter?token={house.link_token}"

        def ready() -> None:
            count = len(house.catalogue.entries)
            show(f"Desk    {count} licks; open\n\n  {link}\n\nEnds with Ctrl-C.\n")
            if opens:
                click.launch(link)

        with suppress(KeyboardInterrupt):
            serve(desk_app(house, rules), listener, on_ready=ready)


def usual_folder() -> Path:
    """Folder of licks where none is named."""
    shipped = Path("references")
    return shipped if shipped.is_dir() else Path()
