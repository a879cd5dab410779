"""``assessor care``: sound level, practice time and breaks.

Cautions, not medicine; no level without a meter reading.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import click

from assessor.cli.keeping import Moment, paragraphs, player_option, store_option
from assessor.cli.terminal import Number, bad_files, patience, show
from assessor.words import plural

if TYPE_CHECKING:
    from assessor.history.cautions import Recently
    from assessor.history.sound import Dose, Exposure


@click.group()
def care() -> None:
    """Tell sound level, practice time and breaks; cautions, not medicine."""


@care.command("level")
@click.argument("take", metavar="TAKE")
@click.argument("meter_dba", metavar="DBA", type=Number(30, 140))
@click.option(
    "--device", metavar="NAME", required=True, help="What the take was recorded with."
)
@click.option("--at", metavar="TIME", type=Moment(), help="When; else the file's date.")
@store_option
def level(
    take: str,
    meter_dba: float,
    device: str,
    at: datetime | None,
    store_text: str | None,
) -> None:
    """Enter what a sound level meter showed while TAKE was recorded.

    Play for half a minute, microphone and meter where your ears are, the meter set to
    A and to an average over the time (LAeq), or read off the middle of slow swings.
    The levels of later takes with this device, kept with check --keep --device, are
    then known; enter it anew after the input was turned.
    """
    from assessor import recording
    from assessor.history import clock
    from assessor.history.sound import Calibration, calibrate
    from assessor.history.store import open_store
    from assessor.sound_level import equivalent_level_dbfs

    now = datetime.now(UTC)
    with bad_files():
        with patience(f"listening to {take}"):
            heard = recording.read(take)
            level_dbfs = equivalent_level_dbfs(heard.samples, heard.sample_rate_hz)
        began, notice = at, ""
        if began is None:
            modified = datetime.fromtimestamp(os.path.getmtime(take), UTC)
            began, notice = clock.recorded_at(modified, heard.duration_s, now)
        reading = Calibration(began, meter_dba, level_dbfs)
        with open_store(store_text) as store:
            calibrate(store, device, reading)
    lines = [
        f"{device}: {level_dbfs:.1f} dBFS (A-weighted) are {meter_dba:.1f} dBA, so "
        f"{reading.offset_db:+.1f} dB from {clock.local(began):%Y-%m-%d %H:%M} on"
    ]
    kinds = {flag.kind for flag in heard.flags}
    if "clipped" in kinds:
        notice = "The take is clipped: its level is too low; turn down and do it again."
    if notice:
        lines += paragraphs("Notice", [notice])
    lines += paragraphs(
        "Notice",
        [
            "This holds while input gain, place and distance stay, and only where the "
            "device has no automatic gain (many phones have: switch it off)."
        ],
    )
    show("\n".join(lines) + "\n")


@care.command("line")
@click.argument("device", metavar="DEVICE")
@click.option("--off", is_flag=True, help="It is a microphone after all.")
@store_option
def line(device: str, off: bool, store_text: str | None) -> None:
    """Say that DEVICE is a direct line: it hears no room, so no level is told."""
    from assessor.history.sound import set_line
    from assessor.history.store import open_store

    with bad_files(), open_store(store_text) as store:
        set_line(store, device, line=not off)
    show(f"{device} is {'a microphone' if off else 'a direct line'}\n")


@care.command("today")
@player_option
@click.option(
    "--child/--adult", default=None, help="Whose allowance; kept for this player."
)
@store_option
def today(player: str, child: bool | None, store_text: str | None) -> None:
    """Tell today's and this week's sound dose, minutes and breaks."""
    from assessor import care as allowances
    from assessor.history.cautions import cautions_of, recently
    from assessor.history.sound import set_child
    from assessor.history.store import open_store

    now = datetime.now(UTC)
    with bad_files(), open_store(store_text, create=False) as store:
        if child is not None:
            set_child(store, player, child=child)
        found = recently(store, player, now)
        cautions = cautions_of(store, player, now)
    lines = [*_load_lines(found), "", *_sound_lines(found), ""]
    lines += paragraphs("Caution", cautions or (allowances.LIMITS,))
    show("\n".join(lines) + "\n")


def _load_lines(found: Recently) -> Iterator[str]:
    load = found.load
    yield f"Today   {plural(round(load.today_minutes), 'minute')}"
    if found.unbroken_s >= 60:
        yield f"        {found.unbroken_s / 60:.0f} of them without a break"
    before = "no earlier week to compare with"
    if load.before_minutes is not None:
        before = f"{load.before_minutes:.0f} in a week of the four before"
    yield f"Week    {plural(round(load.week_minutes), 'minute')} ({before})"


def _sound_lines(found: Recently) -> Iterator[str]:
    from assessor import care as allowances
    from assessor.history.sound import dose_of
    from assessor.load import WEEK_DAYS

    day = found.exposures_of_days(1)
    dose = dose_of(day, allowances.NIOSH)
    yield from _dose_lines("Sound", dose, "of the day's dose by NIOSH", day)
    if dose.known_minutes:
        lex_dba = allowances.lex_8h_dba(
            (one.level_dba, one.minutes) for one in day if one.level_dba is not None
        )
        low, high = allowances.EU_ACTION_DBA
        least = "at least " if dose.unknown_minutes >= 0.5 else ""
        yield (
            f"        L_EX,8h {least}{lex_dba:.1f} dBA (EU: employers act at "
            f"{low:.0f} and {high:.0f}, limit {allowances.EU_LIMIT_DBA:.0f})"
        )
    week = found.exposures_of_days(WEEK_DAYS)
    allowance = allowances.WHO_ITU_CHILD if found.child else allowances.WHO_ITU_ADULT
    whose = "children" if found.child else "adults"
    words = f"of the week's dose by WHO and ITU ({whose})"
    yield from _dose_lines("", dose_of(week, allowance), words, week)


def _dose_lines(
    label: str, dose: Dose, words: str, exposures: list[Exposure]
) -> Iterator[str]:
    """A dose, or why there is none."""
    # what is not known only adds to it
    partly = dose.unknown_minutes >= 0.5
    at_least, at_most = ("at least ", "at most ") if partly else ("", "")
    if dose.known_minutes:
        left = ""
        if dose.left_minutes is not None and dose.latest_dba is not None:
            left = (
                f"; {at_most}{_span(dose.left_minutes)} left at "
                f"{dose.latest_dba:.0f} dBA, the latest level"
            )
        yield from paragraphs(label, [f"{at_least}{dose.percent:.0f} % {words}{left}"])
    elif not exposures:
        yield from paragraphs(label, [f"0 % {words}: nothing was played"])
    else:
        text = f"no number {words}: no level is known"
        yield from paragraphs(label, [text])
    if partly:
        why = "; ".join(dose.why)
        text = f"{dose.unknown_minutes:.0f} min are not in it: {why}"
        yield from paragraphs("", [text])


def _span(minutes: float) -> str:
    """Time in words.

    >>> _span(75), _span(600), _span(0.4)
    ('75 minutes', '10 hours', '24 seconds')
    """
    if minutes >= 180:
        return f"{minutes / 60:.0f} hours"
    return f"{minutes:.0f} minutes" if minutes >= 2 else f"{60 * minutes:.0f} seconds"
