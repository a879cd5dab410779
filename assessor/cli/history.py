"""``assessor history``: the takes that were kept, listed, moved, renewed, forgotten."""

from __future__ import annotations

import json
from contextlib import AbstractContextManager
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from assessor.cli.keeping import find_lick, player_option, span_options, store_option
from assessor.cli.outputs import refuse_wrong_place
from assessor.cli.terminal import bad_files, patience, show, write
from assessor.words import plural

if TYPE_CHECKING:
    from assessor.history.store import Store
    from assessor.history.takes import Selection, Take


@click.group()
def history() -> None:
    """List, export, import, renew and forget kept takes."""


@history.command("list")
@click.argument("lick_text", metavar="[LICK]", default="")
@click.option("--player", metavar="NAME", help="Only this player's; '' = unnamed.")
@span_options
@store_option
def list_takes(
    lick_text: str,
    player: str | None,
    since: datetime | None,
    until: datetime | None,
    store_text: str | None,
) -> None:
    """List takes in order of time, on your own clock.

    LICK is a lick file, a part of its title, or left out for all.
    """
    from assessor.history.takes import takes_of

    with bad_files(), _opened(store_text) as store:
        selection = _selection(store, lick_text, player, (since, until))
        found = takes_of(store, selection)
        place = str(store.place)
    lines = [_row(take) for take in found]
    show("\n".join([*lines, f"{plural(len(found), 'take')} in {place}"]) + "\n")


def _row(take: Take) -> str:
    from assessor.history import clock

    best = take.summary.best_pass
    mark = "  –" if best.mark is None else f"{best.mark:3.0f}"
    player = f"  {take.player}" if take.player else ""
    return (
        f"{take.take_id:5d}  {clock.local(take.recorded_at):%Y-%m-%d %H:%M}  "
        f"mark {mark}  {best.tempo_bpm:3.0f} bpm  {take.title}{player}"
    )


@history.command("show")
@click.argument("take_id", metavar="NUMBER", type=int)
@store_option
def show_take(take_id: int, store_text: str | None) -> None:
    """Print the whole result of one take as JSON."""
    from assessor.history.takes import result_of

    with bad_files(), _opened(store_text) as store:
        result = result_of(store, take_id)
    show(json.dumps(result, ensure_ascii=False, indent=1) + "\n", as_is=True)


@history.command("export")
@click.argument("file", metavar="FILE")
@store_option
def export_history(file: str, store_text: str | None) -> None:
    """Write the whole history as JSON lines; - prints it."""
    from assessor.history.exchange import export_lines

    refuse_wrong_place("FILE", file)
    with bad_files(), _opened(store_text) as store:
        lines = list(export_lines(store))
    text = "\n".join(lines) + "\n"
    if file == "-":
        show(text, as_is=True)
        return
    write(Path(file), text)
    show(f"{len(lines) - 1} rows written to {file}\n")


@history.command("import")
@click.argument("file", metavar="FILE", type=click.Path(exists=True, dir_okay=False))
@store_option
def import_history(file: str, store_text: str | None) -> None:
    """Add the rows of an exported FILE; what is there already stays as it is."""
    from assessor.errors import HistoryError
    from assessor.history.exchange import import_lines
    from assessor.history.store import open_store

    with bad_files(), open_store(store_text) as store:
        try:
            with Path(file).open(encoding="utf-8") as stream:
                counts = import_lines(store, stream)
        except UnicodeDecodeError as problem:
            message = "the file is no UTF-8 text; nothing was imported"
            raise HistoryError(message, file) from problem
        except HistoryError as problem:
            raise HistoryError(problem.message, file) from problem
    new = ", ".join(plural(n, kind) for kind, n in counts.items() if n)
    show(f"New: {new or 'nothing'}\n")


@history.command("forget")
@click.option("--take", "take_id", metavar="NUMBER", type=int, help="One take.")
@click.option("--player", metavar="NAME", help="All of one player's; '' = unnamed.")
@click.option("--lick", "lick_text", metavar="LICK", default="", help="All of a lick.")
@span_options
@click.option(
    "--backups",
    is_flag=True,
    help="Also from the backups that were made when the program was renewed.",
)
@click.option("--yes", is_flag=True, help="Do not ask.")
@store_option
def forget_takes(
    take_id: int | None,
    player: str | None,
    lick_text: str,
    since: datetime | None,
    until: datetime | None,
    backups: bool,
    yes: bool,
    store_text: str | None,
) -> None:
    """Really delete takes, and practice, from the history.

    What is meant by several options at once is what fits all of them.  Recordings, and
    files you exported, are not touched.
    """
    from assessor.errors import HistoryError
    from assessor.history.forget import forget
    from assessor.history.takes import takes_of

    if take_id is None and player is None and not (lick_text or since or until):
        message = "say what: --take, --player, --lick, --since or --until"
        raise click.UsageError(message)
    with bad_files(), _opened(store_text) as store:
        selection = _selection(store, lick_text, player, (since, until))
        selection = replace(selection, take_id=take_id)
        count = len(takes_of(store, selection))
        if take_id is not None and not count:
            message = "there is no such take; assessor history list shows them"
            raise HistoryError(message, str(store.place))
        if not yes:
            question = f"Delete {plural(count, 'take')} for good?"
            click.confirm(question, abort=True, err=True)
        done = forget(store, selection, backups=backups)
    text = f"Forgotten: {plural(done.takes, 'take')}"
    text += f", {plural(done.sessions, 'practice session')}"
    if done.copies:
        text += f", {done.copies} {'copy' if done.copies == 1 else 'copies'} of takes"
    if backups:
        text += f"; {plural(done.backups, 'backup')} cleaned"
    show(text + "\n")


@history.command("again")
@click.option("--all", "everything", is_flag=True, help="Also those of this version.")
@player_option
@span_options
@store_option
def hear_again(
    everything: bool,
    player: str,
    since: datetime | None,
    until: datetime | None,
    store_text: str | None,
) -> None:
    """Assess kept takes again with this version, where their files still lie.

    Numbers of different versions are not to be compared; this makes them comparable.
    """
    from assessor.history.takes import takes_of
    from assessor.report import tool_version

    with bad_files(), _opened(store_text) as store:
        selection = _selection(store, "", player or None, (since, until))
        old = [
            take
            for take in takes_of(store, selection)
            if everything or take.tool_version != tool_version()
        ]
        said = []
        for number, take in enumerate(old, 1):
            with patience(f"listening again, {number} of {len(old)}"):
                said.append(_again(store, take))
    gone = [text for text in said if text]
    done = len(said) - len(gone)
    lines = [*gone, f"{plural(done, 'take')} assessed again"]
    show("\n".join(lines) + "\n")


def _again(store: Store, take: Take) -> str:
    """Assess one take again; words when that cannot be."""
    from assessor import recording, report
    from assessor.assessment import assess
    from assessor.errors import AssessorError
    from assessor.history.again import settings_of
    from assessor.history.licks import lick_of
    from assessor.history.takes import licks_of, replace_result, result_of

    label = f"take {take.take_id}"
    sheet = next(one.sheet for one in licks_of(store) if one.digest == take.lick)
    if sheet is None:
        return f"{label}: its lick was not kept as a sheet; check it again by hand"
    for file in (take.file, take.copied_to):
        if file is None or not Path(file).is_file():
            continue
        try:
            heard = recording.read(file)
            if heard.digest != take.digest:
                continue
            lick = lick_of(sheet).at_tempo(take.summary.written_bpm)
            settings = settings_of(result_of(store, take.take_id)["settings"])
            result = report.result(assess(heard, lick, settings))
        except AssessorError as problem:
            return f"{label}: {problem}"
        result["recording"]["name"] = Path(take.file).name
        replace_result(store, take.take_id, result)
        return ""
    return f"{label}: {take.file} is not there any more, or is another recording"


def _opened(store_text: str | None) -> AbstractContextManager[Store]:
    """A store that is there already."""
    from assessor.history.store import open_store

    return open_store(store_text, create=False)


def _selection(
    store: Store,
    lick_text: str,
    player: str | None,
    span: tuple[datetime | None, datetime | None],
) -> Selection:
    from assessor.history.takes import Selection

    lick = find_lick(store, lick_text)[0] if lick_text else None
    return Selection(player, lick, *span)
