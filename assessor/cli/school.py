"""``assessor school``: a server for a school's players and teachers."""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path

import click

from assessor.cli.desk import (
    host_option,
    port_option,
    refuse_without_web,
    takes_option,
    usual_folder,
)
from assessor.cli.keeping import store_option
from assessor.cli.terminal import bad_files, show
from assessor.words import plural

MOST_WORKERS = 64


@click.group()
def school() -> None:
    """Serve a school: accounts, assignments, takes handed in.

    assessor school account NAME --teacher makes the first account, assessor school
    serve FOLDER starts the server.
    """


@school.command()
@click.argument("name", metavar="NAME")
@click.option("--teacher", is_flag=True, help="A teacher's account; else a player's.")
@store_option
def account(name: str, teacher: bool, store_text: str | None) -> None:
    """Make an account; its password is invented, and printed once.

    For an account that is there already, a new password is made.
    """
    refuse_without_web()
    from assessor.history import school as tables
    from assessor.history.store import open_store
    from assessor.web import passwords

    password = passwords.invented()
    with bad_files(), open_store(store_text) as store:
        tables.prepare(store)
        known = tables.account_of(store, name)
        if known is None:
            kept = passwords.hashed(password)
            tables.add_account(store, name, kept, teacher=teacher)
        else:
            tables.set_password(store, name, passwords.hashed(password))
    what = "Account" if known is None else "Password"
    show(f"{what:8}{name}, password {password} (shown only here and now)\n")


@school.command()
@click.argument("name", metavar="NAME")
@takes_option
@store_option
def forget(name: str, takes_folder: Path | None, store_text: str | None) -> None:
    """Really delete somebody: account, takes, reports and history."""
    from assessor.history import school as tables
    from assessor.history.forget import forget as forget_kept
    from assessor.history.place import data_folder
    from assessor.history.store import open_store
    from assessor.history.takes import Selection
    from assessor.web.takes import Takes

    with bad_files(), open_store(store_text, create=False) as store:
        tables.prepare(store)
        found = tables.forget_account(store, name)
        takes = Takes((takes_folder or data_folder() / "school").absolute()).of(name)
        for take in takes:
            take.discard()
        kept = forget_kept(store, Selection(player=name), backups=True)
    account = "the account" if found else "no account"
    show(
        f"Forgot  {name}: {account}, {plural(len(takes), 'take')} of the server, "
        f"{kept.takes} of the history\n"
    )


@school.command()
@click.argument(
    "folders",
    metavar="[FOLDER]...",
    nargs=-1,
    type=click.Path(exists=True, file_okay=False, path_type=Path),
)
@host_option
@port_option
@click.option(
    "--name",
    "names",
    metavar="HOST",
    multiple=True,
    help="Name that browsers call it by, as in its certificate.",
)
@click.option("--certificate", metavar="FILE", help="PEM, with the whole chain.")
@click.option("--key", metavar="FILE", help="Its private key, PEM.")
@click.option(
    "--workers",
    metavar="N",
    type=click.IntRange(1, MOST_WORKERS),
    help="Takes listened to at one time; else one a core.",
)
@takes_option
@store_option
def serve(
    folders: tuple[Path, ...],
    host: str,
    port: int,
    names: tuple[str, ...],
    certificate: str | None,
    key: str | None,
    workers: int | None,
    takes_folder: Path | None,
    store_text: str | None,
) -> None:
    """Serve the licks in FOLDER to who signs in.

    Without a certificate only this machine is listened to, for trying it.  The store
    may be PostgreSQL: --store postgresql://user@host/name.
    """
    refuse_without_web()
    if (certificate is None) != (key is None):
        message = "--certificate and --key belong together"
        raise click.UsageError(message)
    from assessor.history import school as tables
    from assessor.history.place import data_folder
    from assessor.history.store import open_store
    from assessor.web.app import school_app
    from assessor.web.doors import Rules, origins_of
    from assessor.web.house import rooms
    from assessor.web.school import Enrolled, School
    from assessor.web.serving import CannotServe, Tls, listen_on
    from assessor.web.serving import serve as run
    from assessor.web.sessions import Cookie

    tls = Tls(certificate, key) if certificate and key else None
    try:
        listener = listen_on(host, port, tls=tls is not None, sign_in=True)
    except CannotServe as problem:
        raise click.UsageError(str(problem)) from problem
    number, scheme = listener.getsockname()[1], "https" if tls else "http"
    with bad_files(), open_store(store_text) as store:
        tables.prepare(store)
        enrolled = Enrolled(store)
        house = School(
            **rooms(
                (takes_folder or data_folder() / "school").absolute(),
                list(folders) or [usual_folder()],
                workers or os.cpu_count() or 1,
            ),
            store=store,
            sessions=enrolled,
            enrolled=enrolled,
            cookie=Cookie(
                "__Host-assessor" if tls else f"assessor-{number}", secure=bool(tls)
            ),
            signs_in=True,
        )
        called = names or ("localhost", f"[{host}]" if ":" in host else host)
        rules = Rules(origins_of(scheme, called, number), house.most_bytes)

        def ready() -> None:
            address = sorted(rules.origins)[0]
            text = f"School  {len(house.catalogue.entries)} licks, at {address}\n"
            if not tables.accounts_of(store):
                text += "        nobody can sign in yet: assessor school account NAME"
                text += " --teacher\n"
            show(text)

        with suppress(KeyboardInterrupt):
            run(school_app(house, rules), listener, tls=tls, on_ready=ready)
