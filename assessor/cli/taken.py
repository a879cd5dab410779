"""Assessing a take by what its own file says of how it was recorded."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from assessor.cli.keeping import Wish

if TYPE_CHECKING:
    from assessor.assessment import Assessment, Settings
    from assessor.capture.slate import Slate
    from assessor.lick.notation import Lick
    from assessor.recording import Recording


@dataclass(frozen=True)
class Asked:
    """What a take is held against, as far as the user says.

    Attributes
    ----------
    take : str
    lick_path : str or None
        None = as the take's file says.
    settings : Settings
        A tempo or click of None is looked for in the take's file.
    own_tempo : bool
        True: by no click, whatever the file says.
    """

    take: str
    lick_path: str | None
    settings: Settings
    own_tempo: bool = False


@dataclass(frozen=True)
class Taken:
    """A take held against its lick, and what its file says of itself.

    `slate` is None where it says nothing.
    """

    assessment: Assessment
    heard: Recording
    slate: Slate | None


def assess_take(asked: Asked) -> Taken:
    """Hold a take against its lick.

    Raises
    ------
    AssessorError
        When a file cannot be used.
    click.UsageError
        When nobody says what was played.
    """
    from assessor import recording
    from assessor.assessment import assess
    from assessor.capture.slate import read_slate
    from assessor.passes import TEMPO_RATIOS

    slate = read_slate(asked.take)
    lick = _lick(asked, slate)
    # nothing shorter than its first note, played as fast as is looked for, can hold it
    shortest_s = float(lick.ends_s()[0]) / max(TEMPO_RATIOS)
    heard = recording.read(asked.take, shortest_s=shortest_s)
    if slate is None:
        return Taken(assess(heard, lick, asked.settings), heard, None)
    settings = _settings(asked, slate)
    by_own_words = asked.own_tempo or asked.settings.click is not None
    known = [f for f in slate.flags() if f.kind != "click_unknown" or not by_own_words]
    heard = replace(heard, flags=(*heard.flags, *known))
    return Taken(assess(heard, lick, settings), heard, slate)


def _lick(asked: Asked, slate: Slate | None) -> Lick:
    from assessor import lick
    from assessor.lick import sheet

    if asked.lick_path is not None:
        return lick.read(asked.lick_path)
    if slate is None or not slate.lick_sheet:
        message = f"{asked.take} does not say what was played: give --lick LICK"
        raise click.UsageError(message)
    return sheet.read(slate.lick_sheet, f"{Path(asked.take).name}, its tag LICK_SHEET")


def _settings(asked: Asked, slate: Slate) -> Settings:
    """Settings with what the take's file knows and the user left open."""
    from assessor.measures.clock import Click

    settings = asked.settings
    if settings.tempo_bpm is None:
        settings = replace(settings, tempo_bpm=slate.tempo_bpm)
    found = slate.click_in_take
    if settings.click is None and found is not None and not asked.own_tempo:
        settings = replace(settings, click=Click(*found))
    return settings


def wish_with(wish: Wish, slate: Slate | None) -> Wish:
    """Wish with device and time from the take's file, where the user names none."""
    if slate is None or not wish.keep:
        return wish
    began = slate.started_at
    if began is not None and (began.tzinfo is None or began > datetime.now(UTC)):
        began = None
    device = wish.device or slate.input
    return replace(wish, device=device, at=wish.at or began)
