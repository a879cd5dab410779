"""Options about the store that several commands share, and keeping a take in it.

The database libraries are imported only where a store is opened.
"""

from __future__ import annotations

import gc
import os
import shutil
import textwrap
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from assessor.assessment import Assessment
    from assessor.history.store import Store
    from assessor.history.takes import KeptLick
    from assessor.recording import Recording

    ParamType = click.ParamType[datetime]
else:  # no generic class before click 8.4
    ParamType = click.ParamType

Command = TypeVar("Command", bound=Callable[..., Any])

store_option = click.option(
    "--store",
    "store_text",
    metavar="PATH-OR-URL",
    help=(
        "Where takes are kept: an SQLite file or postgresql://user@host/name; else "
        "ASSESSOR_STORE, else your data folder."
    ),
)
player_option = click.option(
    "--player", metavar="NAME", default="", help="Who plays; left out: one, unnamed."
)
device_option = click.option(
    "--device", metavar="NAME", default="", help="What the take was recorded with."
)


class Moment(ParamType):
    """A time on the player's clock, as ``2026-11-25 18:30``; UTC inside."""

    name = "time"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> datetime:
        """Convert, and say so where the clock was changed at that time."""
        if isinstance(value, datetime):
            return value
        from assessor.history import clock

        try:
            moment, notice = clock.parse(str(value), datetime.now(UTC))
        except ValueError as problem:
            self.fail(str(problem), param, ctx)
        if notice:
            click.echo(f"Notice  {notice}", err=True)
        return moment


@contextmanager
def many_records() -> Iterator[None]:
    """Read ten thousand small records without the collector looking through them.

    Nothing among them is garbage, nor among the modules that are imported to read them;
    looking costs a third of the time, and again as the program ends.
    """
    gc.disable()
    try:
        yield
    finally:
        gc.freeze()
        gc.enable()


def span_options(command: Command) -> Command:
    """``--since`` and ``--until``."""
    until = click.option(
        "--until", metavar="TIME", type=Moment(), help="Before this time."
    )
    since = click.option(
        "--since",
        metavar="TIME",
        type=Moment(),
        help="From this time on, such as 2026-11-25 or '2026-11-25 18:30'.",
    )
    return since(until(command))


def keep_options(command: Command) -> Command:
    """Everything ``check`` needs to know to keep a take."""
    options = (
        click.option("--keep", is_flag=True, help="Keep the take in your history."),
        player_option,
        device_option,
        click.option(
            "--at",
            metavar="TIME",
            type=Moment(),
            help="When the take was recorded, where the file's date is wrong.",
        ),
        click.option(
            "--copy",
            is_flag=True,
            help="Keep a copy of the file as well, not only where it lies.",
        ),
        store_option,
    )
    for option in reversed(options):
        command = option(command)
    return command


def refuse_future(moment: datetime, now: datetime, option: str) -> None:
    """End the program where an option means a time that is yet to come."""
    from assessor.history import clock

    if moment > now + clock.SLACK:
        message = f"{clock.local(moment):%Y-%m-%d %H:%M} is yet to come"
        raise click.BadParameter(message, param_hint=option)


@dataclass(frozen=True)
class Wish:
    """What a user says about keeping a take."""

    keep: bool
    player: str
    device: str
    at: datetime | None
    copy: bool
    store_text: str | None

    def check(self) -> None:
        """Refuse what has no meaning without ``--keep``."""
        given = self.player or self.device or self.at or self.copy or self.store_text
        if given and not self.keep:
            message = "--player, --device, --at, --copy and --store need --keep"
            raise click.UsageError(message)
        if self.at is not None:
            refuse_future(self.at, datetime.now(UTC), "--at")


def keep(
    wish: Wish, assessment: Assessment, recording: Recording, files: tuple[str, str]
) -> str:
    """Put a take into the store; what there is to say about it.

    Parameters
    ----------
    wish : Wish
    assessment : Assessment
    recording : Recording
    files : (take, lick)
        As the user named them.

    Raises
    ------
    HistoryError
        When the store refuses.
    """
    from assessor import report
    from assessor.history import takes
    from assessor.history.cautions import cautions_of
    from assessor.history.store import open_store

    now = datetime.now(UTC)
    take_file, lick_file = (str(Path(file).absolute()) for file in files)
    began, notice = _began(wish, take_file, recording.duration_s, now)
    with open_store(wish.store_text) as store:
        copy = _copied(take_file, store.place.copies, recording) if wish.copy else None
        what = takes.ToKeep(
            result=report.result(assessment),
            lick=assessment.lick.at_tempo(assessment.written_tempo_bpm),
            lick_file=lick_file,
            take_file=take_file,
            recorded_at=began,
            player=wish.player,
            device=wish.device,
            a_level_dbfs=_level_dbfs(recording) if wish.device else None,
            copy=copy,
        )
        kept = takes.keep(store, what, now)
        lines = [f"Kept    {KEPT[kept.how].format(kept.take_id)} ({store.place})"]
        lines += [f"Notice  {text}" for text in (notice, *kept.notices) if text]
        said = cautions_of(store, wish.player, now)
        lines += paragraphs("Caution", said)
    return "\n".join(lines) + "\n"


KEPT = {
    "new": "as take {} of your history",
    "same": "already: this is take {}, with the same result; not counted twice",
    "replaced": "already: take {} now has this result instead of its earlier one",
}


def paragraphs(label: str, sentences: Sequence[str], width: int = 80) -> list[str]:
    """Sentences under one label, wrapped."""
    lines = []
    for number, sentence in enumerate(sentences):
        lines += textwrap.wrap(
            sentence,
            width,
            initial_indent=("" if number else label).ljust(8),
            subsequent_indent=" " * 8,
            break_on_hyphens=False,
        )
    return lines


def _began(
    wish: Wish, take_file: str, duration_s: float, now: datetime
) -> tuple[datetime, str]:
    """When a take began, and words where a clock was wrong."""
    from assessor.history import clock

    if wish.at is None:
        modified = datetime.fromtimestamp(os.path.getmtime(take_file), UTC)
        return clock.recorded_at(modified, duration_s, now)
    return wish.at, ""


def _level_dbfs(recording: Recording) -> float:
    from assessor.sound_level import equivalent_level_dbfs

    return equivalent_level_dbfs(recording.samples, recording.sample_rate_hz)


def _copied(take_file: str, folder: Path, recording: Recording) -> str:
    """Copy a take to where copies are; whole or not at all."""
    copy = folder / f"{recording.digest}{Path(take_file).suffix.lower()}"
    part = copy.with_suffix(".part")
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        if not copy.exists():
            shutil.copyfile(take_file, part)
            os.replace(part, copy)
    except OSError as problem:
        message = f"{copy}: cannot be written: {problem.strerror}"
        raise click.BadParameter(message, param_hint="--copy") from problem
    return str(copy)


def find_lick(store: Store, text: str, *, drilled: bool = False) -> tuple[str, str]:
    """Digest and title of a lick of the history.

    Parameters
    ----------
    store : Store
    text : str
        The lick's file, its title or a part of it, or the beginning of its digest.
    drilled : bool
        A lick is known, too, where only drills of it were kept; what was kept itself
        goes first.

    Raises
    ------
    HistoryError
        When it is none, or several.
    """
    from assessor.errors import HistoryError
    from assessor.history.takes import licks_of

    kept = licks_of(store)
    found = next(filter(None, _fitting(kept, text, drilled=drilled)), {})
    if len(found) == 1:
        return next(iter(found.items()))
    known = found or {one.digest: one.title for one in kept}
    titles = ", ".join(map(repr, known.values())) or "none"
    message = f"{text!r} fits {len(found) or 'no'} licks; there are {titles}"
    raise HistoryError(message, str(store.place))


def _fitting(
    kept: Sequence[KeptLick], text: str, *, drilled: bool
) -> Iterator[dict[str, str]]:
    """Titles of licks that fit a text, by digest: the closest fit first."""
    from assessor import lick
    from assessor.history.drills import parents_of
    from assessor.history.licks import digest_of

    digest = digest_of(lick.read(text)) if Path(text).is_file() else None
    wanted = text.lower()

    def exact(known: dict[str, str]) -> dict[str, str]:
        if digest is not None:
            return {digest: known[digest]} if digest in known else {}
        return {d: title for d, title in known.items() if title.lower() == wanted}

    def partly(known: dict[str, str]) -> dict[str, str]:
        if digest is not None:
            return {}
        return {
            d: title
            for d, title in known.items()
            if wanted in title.lower() or d.startswith(text)
        }

    titles = {one.digest: one.title for one in kept}
    yield exact(titles)
    # only now, since every sheet is read for it
    parents = parents_of(kept) if drilled else {}
    yield exact(parents)
    yield partly(titles)
    yield partly(parents)
