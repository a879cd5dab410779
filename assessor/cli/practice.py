"""``assessor practice``: plan the next practice, and log what was done."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from assessor.cli.keeping import (
    Moment,
    many_records,
    paragraphs,
    player_option,
    refuse_future,
    span_options,
    store_option,
)
from assessor.cli.terminal import Number, bad_files, patience, show, wrong_value
from assessor.words import plural

if TYPE_CHECKING:
    from assessor.history.plan import Numbers, Plan
    from assessor.history.practice import Practice
    from assessor.history.store import Store

Command = TypeVar("Command", bound=Callable[..., Any])


@click.group()
def practice() -> None:
    """Plan the next practice, and log what was done."""


@practice.command("plan")
@click.argument("minutes", metavar="MINUTES", type=Number(1, 600))
@player_option
@click.option(
    "--rule",
    "rule_text",
    metavar="NUMBERS",
    default="",
    help="Your own numbers, such as up=3,down=10,passes=5,turn=5,rest=7,licks=4.",
)
@click.option(
    "--out",
    "folder",
    metavar="FOLDER",
    help="Write how it should sound, and a click, as files to practise with.",
)
@store_option
@many_records()
def plan_practice(
    minutes: float,
    player: str,
    rule_text: str,
    folder: str | None,
    store_text: str | None,
) -> None:
    """Plan a practice of so many MINUTES from your history, breaks included."""
    from assessor.history import plan, plan_files, takes
    from assessor.history.cautions import cautions_of
    from assessor.history.licks import lick_of
    from assessor.history.progress import progress_of
    from assessor.history.store import open_store

    with wrong_value("--rule"):
        numbers = plan.parse_numbers(rule_text)
    now = datetime.now(UTC)
    with bad_files(), open_store(store_text, create=False) as store:
        found = progress_of(takes.takes_of(store, takes.Selection(player=player)))
        kept = takes.licks_of(store)
        licks = {one.digest: lick_of(one.sheet) for one in kept if one.sheet}
        cautions = cautions_of(store, player, now)
    with wrong_value("MINUTES"):
        made = plan.plan_of(found, licks, minutes, now, numbers=numbers)
    lines = [*paragraphs("Caution", cautions), *_plan_lines(made, numbers)]
    if folder is not None and made.steps:
        with bad_files(), patience("playing what is to be practised"):
            files = plan_files.write_files(made, licks, Path(folder), numbers.turn)
        lines += ["", *(f"written {file}" for file in files)]
    show("\n".join(lines) + "\n")


def _plan_lines(made: Plan, numbers: Numbers) -> Iterator[str]:
    from assessor.history.plan import EVIDENCE

    if not made.steps:
        yield ("There are no takes to plan from: keep some with assessor check --keep.")
        return
    for number, step in enumerate(made.steps):
        what = step.title if step.part is None else f"{step.title}, {step.part.name}"
        yield f"{_letter(number)}  {what}"
        yield f"   at {step.tempo_bpm:.0f} of {step.goal_bpm:.0f} bpm"
        yield from (f"   {line.strip()}" for line in paragraphs("", [step.why]))
    yield ""
    for step_now, turns in groupby(made.turns, key=lambda turn: turn.step):
        first, *_, last = [*turns] * 2
        what = "break" if step_now is None else _letter(made.steps.index(step_now))
        end = last.start_minute + last.minutes
        yield f"{first.start_minute:5.0f} to {end:.0f} min  {what}"
    yield ""
    for later in made.later:
        yield f"Later   {later.title}: from {later.due} on"
    rests = (
        f"This rests on {made.takes} take{'s' * (made.takes > 1)} on {made.days} "
        f"day{'s' * (made.days > 1)}; a tempo on the last {numbers.passes} whole "
        "passes of its lick."
    )
    yield from paragraphs("Basis", [rests, *EVIDENCE])


def _letter(number: int) -> str:
    return chr(ord("A") + number)


def log_options(command: Command) -> Command:
    """What can be said about practice when it is over."""
    options = (
        click.option("--what", metavar="WORDS", default="", help="What was practised."),
        click.option("--felt", metavar="WORDS", default="", help="How it felt."),
        click.option(
            "--strain",
            metavar="0-10",
            type=click.IntRange(0, 10),
            help="Strain or pain, 0 = none.",
        ),
        click.option(
            "--level",
            "level_dba",
            metavar="DBA",
            type=Number(20, 140),
            help="What a sound level meter showed where your ears are, A-weighted.",
        ),
    )
    for option in reversed(options):
        command = option(command)
    return command


@practice.command("start")
@click.option("--what", metavar="WORDS", default="", help="What is practised.")
@player_option
@store_option
def start(what: str, player: str, store_text: str | None) -> None:
    """Start the clock."""
    from assessor.errors import HistoryError
    from assessor.history import clock
    from assessor.history.practice import Practice, log, running
    from assessor.history.store import open_store

    now = datetime.now(UTC)
    with bad_files(), open_store(store_text) as store:
        already = running(store, player)
        if already is not None:
            since = clock.local(already.started_at)
            message = (
                f"practice is going on since {since:%Y-%m-%d %H:%M}; end it with "
                "assessor practice stop"
            )
            raise HistoryError(message)
        log(store, Practice(player, now, what=what))
    show(f"Started at {clock.local(now):%H:%M}\n")


@practice.command("stop")
@click.option(
    "--minutes",
    type=Number(0.1, 720),
    help="How long it was, where the clock ran on without you.",
)
@log_options
@player_option
@store_option
def stop(
    minutes: float | None, player: str, store_text: str | None, **said: Any
) -> None:
    """Stop the clock, and say how it was."""
    from assessor.errors import HistoryError
    from assessor.history import practice as logged
    from assessor.history.store import open_store

    now = datetime.now(UTC)
    with bad_files(), open_store(store_text, create=False) as store:
        going_on = logged.running(store, player)
        if going_on is None:
            message = "no practice was started; begin with assessor practice start"
            raise HistoryError(message, str(store.place))
        end = now
        if minutes is not None:
            end = going_on.started_at + timedelta(minutes=minutes)
            refuse_future(end, now, "--minutes")
        said["what"] = said["what"] or going_on.what
        done = replace(going_on, ended_at=end, **said)
        logged.stop(store, done)
        _show_done(store, done, now)


@practice.command("log")
@click.argument("minutes", metavar="MINUTES", type=Number(0.1, 720))
@click.option(
    "--at",
    metavar="TIME",
    type=Moment(),
    help="When it began; left out: it has just ended.",
)
@log_options
@player_option
@store_option
def log_practice(
    minutes: float,
    at: datetime | None,
    player: str,
    store_text: str | None,
    **said: Any,
) -> None:
    """Log practice of so many MINUTES that was not timed."""
    from assessor.history.practice import Practice, log
    from assessor.history.store import open_store

    now = datetime.now(UTC)
    length = timedelta(minutes=minutes)
    began = at or now - length
    refuse_future(began, now, "--at")
    refuse_future(began + length, now, "MINUTES")
    with bad_files(), open_store(store_text) as store:
        done = Practice(player, began, began + length, **said)
        log(store, done)
        _show_done(store, done, now)


def _show_done(store: Store, done: Practice, now: datetime) -> None:
    from assessor.history.cautions import cautions_of, recently

    load = recently(store, done.player, now).load
    lines = [
        f"Logged  {plural(round(done.minutes), 'minute')}; today "
        f"{load.today_minutes:.0f}, in seven days {load.week_minutes:.0f}"
    ]
    lines += paragraphs("Caution", cautions_of(store, done.player, now))
    show("\n".join(lines) + "\n")


@practice.command("list")
@player_option
@span_options
@store_option
def list_practice(
    player: str,
    since: datetime | None,
    until: datetime | None,
    store_text: str | None,
) -> None:
    """List what was logged, in order of time."""
    from assessor.history.practice import practice_of
    from assessor.history.store import open_store
    from assessor.history.takes import Selection

    with bad_files(), open_store(store_text, create=False) as store:
        found = practice_of(store, Selection(player, since=since, until=until))
    lines = [_logged_line(one) for one in found] or ["Nothing is logged."]
    show("\n".join(lines) + "\n")


def _logged_line(one: Practice) -> str:
    from assessor.history import clock

    length = "going on" if one.ended_at is None else f"{one.minutes:3.0f} min"
    words = [f"{clock.local(one.started_at):%Y-%m-%d %H:%M}  {length}"]
    words += [text for text in (one.what, one.felt) if text]
    if one.strain is not None:
        words.append(f"strain {one.strain}")
    if one.level_dba is not None:
        words.append(f"{one.level_dba:.0f} dBA")
    return "  ".join(words)
