"""``assessor progress``: what changes over days and weeks, and what does not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from assessor.cli.keeping import (
    find_lick,
    many_records,
    paragraphs,
    player_option,
    span_options,
    store_option,
)
from assessor.cli.outputs import painted, refuse_wrong_place
from assessor.cli.terminal import (
    bad_files,
    say_words,
    width_of_terminal,
    write,
    wrong_value,
)

if TYPE_CHECKING:
    from assessor.history.drills import DrillProgress
    from assessor.history.progress import LickProgress
    from assessor.history.store import Store
    from assessor.history.takes import KeptLick, Selection
    from assessor.lick.notation import Lick


@click.command()
@click.argument("lick_text", metavar="[LICK]", default="")
@player_option
@span_options
@click.option("--html", "html_path", metavar="OUT", help="Write a page with pictures.")
@click.option(
    "--figure",
    "--svg",
    "figure_path",
    metavar="OUT",
    help="Write the picture of one reading of one lick, as .svg or .png.",
)
@click.option(
    "--reading",
    metavar="NAME",
    default="mark",
    show_default=True,
    help="Which one --figure draws, by its name in the report.",
)
@store_option
@many_records()
def progress(
    lick_text: str,
    player: str,
    since: datetime | None,
    until: datetime | None,
    html_path: str | None,
    figure_path: str | None,
    reading: str,
    store_text: str | None,
) -> None:
    """Tell what changes over days and weeks, and what does not.

    LICK is a lick file, a part of its title, or left out for all licks in short.
    Takes of drills of LICK are told by its own notes, where it was never played as a
    whole, too.
    """
    from assessor.errors import HistoryError
    from assessor.history import takes
    from assessor.history.cautions import cautions_of
    from assessor.history.progress import progress_of
    from assessor.history.store import open_store

    for option, file in (("--html", html_path), ("--figure", figure_path)):
        refuse_wrong_place(option, file)
    now = datetime.now(UTC)
    with bad_files(), open_store(store_text, create=False) as store:
        digest, title = None, ""
        if lick_text:
            digest, title = find_lick(store, lick_text, drilled=True)
        selection = takes.Selection(player, digest, since, until)
        found = progress_of(takes.takes_of(store, selection))
        # sheets are read only where something is drawn over them
        drawn = html_path is not None or digest is not None or len(found) == 1
        licks = _licks(takes.licks_of(store)) if drawn else {}
        drills = _drills(store, digest, licks, selection) if digest else ()
        if not found and not drills:
            message = (
                f"no take of {player or 'the unnamed player'} fits; keep takes with "
                "assessor check --keep, and see assessor history list"
            )
            raise HistoryError(message, str(store.place))
        cautions = cautions_of(store, player, now)
    if figure_path is not None:
        _write_figure(found, reading, figure_path)
    if html_path is not None:
        from assessor.report.weeks_page import weeks_page

        page = weeks_page(found, licks, cautions, drills, title=title)
        write(Path(html_path), page)
    _show(found, licks, cautions, drills, title=title)


def _licks(kept: Sequence[KeptLick]) -> dict[str, Lick]:
    """Licks whose sheets were kept, by digest."""
    from assessor.history.licks import lick_of

    return {one.digest: lick_of(one.sheet) for one in kept if one.sheet}


def _drills(
    store: Store, digest: str, licks: dict[str, Lick], selection: Selection
) -> tuple[DrillProgress, ...]:
    """Takes of the drills of a lick, in its own notes."""
    from assessor.history.drills import drills_among, drills_of
    from assessor.history.takes import takes_of

    kept = [
        take
        for drill in drills_among(digest, licks)
        for take in takes_of(store, replace(selection, lick=drill))
    ]
    return drills_of(digest, licks, kept)


def _write_figure(found: Sequence[LickProgress], reading: str, file: str) -> None:
    from assessor.figures.picture import alone
    from assessor.report.weeks_page import weeks_picture

    if len(found) != 1:
        message = "there are several licks; name the one that is to be drawn"
        if not found:
            message = "there is no take of the lick itself to draw, only of its drills"
        raise click.BadParameter(message, param_hint="--figure")
    with wrong_value("--reading"):
        drawn = alone(weeks_picture(found[0], reading))
    write(Path(file), painted(drawn, file))


def _show(
    found: Sequence[LickProgress],
    licks: dict[str, Lick],
    cautions: Sequence[str],
    drills: Sequence[DrillProgress],
    *,
    title: str,
) -> None:
    from assessor.weeks import drills_alone, in_full, overview

    width = width_of_terminal()
    if len(found) == 1:
        text = in_full(found[0], licks.get(found[0].lick), width, drills)
    elif drills:
        text = drills_alone(title, drills, width)
    else:
        text = overview(found, width)
    if cautions:
        text += "\n" + "\n".join(paragraphs("Caution", cautions, width)) + "\n"
    say_words(text)
