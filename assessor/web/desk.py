"""A player's desk: choose a lick, hear it, see its tab, read what was kept of it."""

from __future__ import annotations

import asyncio
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from assessor.capture import level
from assessor.capture.slate import ClickKind
from assessor.demo.counts import count_in_beats
from assessor.figures.playable import playable_tab
from assessor.figures.take import LAYOUTS
from assessor.history import clock
from assessor.lick.notation import Lick
from assessor.web.catalogue import Entry
from assessor.web.house import House
from assessor.web.pages import shown
from assessor.web.sessions import session_of
from assessor.web.shelf import past_of
from assessor.web.sounds import click_sound, demo_flac
from assessor.web.takes import SAMPLE_RATES_HZ, KeptTake, State

TEMPO_BPM = (20.0, 400.0)
LONGEST_DEMO_S = 600.0
CLICKS = {
    ClickKind.ACCENT: "a click on every count",
    ClickKind.SUBDIVIDED: "a click between the counts, too",
    ClickKind.COUNT_IN: "only the count-in",
    ClickKind.NONE: "no click",
}
TOLERANCES = ("wide", "usual", "tight")
MOST_LOOSE = 8  # takes shown that were not kept
PASSES = (1, 2, 3, 4, 8)


@dataclass(frozen=True)
class Said:
    """Limits and words of the level, for the browser."""

    low: float = level.LOW_DBFS
    high: float = level.HIGH_DBFS
    nothing: float = level.NOTHING_DBFS
    words: tuple[str, ...] = tuple(str(v) for v in level.Verdict)


def house_of(request: Request) -> House:
    """What the server holds."""
    found: House = request.app.state.house
    return found


def entry_of(request: Request) -> Entry:
    """Lick that the address names.

    Raises
    ------
    HTTPException
        404 when there is none.
    """
    found = house_of(request).catalogue.find(request.path_params["lick"])
    if found is None:
        raise HTTPException(404, "there is no such lick here")
    return found


def tempo_of(text: str | None, written_bpm: float) -> float:
    """Tempo from outside; as written when left out.

    Raises
    ------
    HTTPException
        400 when it is none.
    """
    try:
        tempo_bpm = float(text) if text else written_bpm
    except ValueError:
        tempo_bpm = math.nan
    if not TEMPO_BPM[0] <= tempo_bpm <= TEMPO_BPM[1]:
        message = f"a tempo lies between {TEMPO_BPM[0]:g} and {TEMPO_BPM[1]:g} bpm"
        raise HTTPException(400, message)
    return tempo_bpm


async def licks(request: Request, asked: Sequence[object] = ()) -> Response:
    """List of licks; only the list where a script asks for it.

    Parameters
    ----------
    request : Request
    asked : sequence
        What a school asks for, shown before.
    """
    house = house_of(request)
    await asyncio.to_thread(house.catalogue.refresh)
    wanted = request.query_params.get("q", "").strip().lower()
    found = [
        entry
        for entry in house.catalogue.entries
        if wanted in f"{entry.lick.title} {entry.file.stem}".lower()
    ]
    player = session_of(request).person.name
    takes = await asyncio.to_thread(house.takes.of, player)
    cut = [take for take in takes if take.state is State.COMING]
    part = "hx-request" in request.headers
    return shown(
        request,
        "lick_list.html" if part else "licks.html",
        entries=found,
        wanted=wanted,
        unread=house.catalogue.unread,
        cut=cut,
        facts=facts,
        asked=asked,
    )


def facts(lick: Lick) -> str:
    """What a list says of a lick.

    >>> from fractions import Fraction
    >>> from assessor.lick.notation import LickNote, Meter
    >>> from assessor.tuning import STANDARD
    >>> notes = (LickNote(Fraction(0), Fraction(1), 69, 1, 5),)
    >>> facts(Lick("A", 120, Meter(2, 4), STANDARD, notes))
    '1 note, 120 bpm, 2/4'
    """
    count = len(lick)
    meter = f"{lick.meter.count}/{lick.meter.unit}"
    return f"{count} note{'s' * (count != 1)}, {lick.tempo_bpm:g} bpm, {meter}"


async def desk(request: Request) -> Response:
    """One lick's desk."""
    house, entry = house_of(request), entry_of(request)
    player = session_of(request).person.name
    takes = await asyncio.to_thread(house.takes.of, player, entry.name)
    cut = [t for t in takes if t.state is State.COMING and t.coming_s > 0]
    waiting = [t for t in takes if t.state is State.WAITING]
    tabs = await asyncio.to_thread(_tabs, entry)
    return shown(
        request,
        "desk.html",
        entry=entry,
        lick=entry.lick,
        facts=facts(entry.lick),
        tabs=tabs,
        onsets=_demo_onsets(entry.lick),
        clicks={kind.value: words for kind, words in CLICKS.items()},
        tolerances=TOLERANCES,
        passes=PASSES,
        tempos=TEMPO_BPM,
        tempo=tempo_of(request.query_params.get("tempo"), entry.lick.tempo_bpm),
        cut=cut,
        waiting=waiting,
        level=Said(),
    )


@lru_cache(64)
def _tabs(entry: Entry) -> dict[str, str]:
    """Tab for each width of window."""
    title = f"Tab of {entry.lick.title}"
    return {
        name: playable_tab(entry.lick, width, name=title)
        for name, width in LAYOUTS.items()
    }


def _demo_onsets(lick: Lick) -> str:
    """When each note of the demo sounds at the written tempo, and the last one ends."""
    before_s = lick.seconds(count_in_beats(lick, 1))
    times = [*lick.onsets_s(), lick.ends_s()[-1]]
    return " ".join(f"{before_s + float(t):.4f}" for t in times)


async def demo(request: Request) -> Response:
    """The lick as it should sound."""
    entry = entry_of(request)
    tempo_bpm = tempo_of(request.query_params.get("tempo"), entry.lick.tempo_bpm)
    slower = entry.lick.tempo_bpm / tempo_bpm
    if float(entry.lick.ends_s()[-1]) * slower > LONGEST_DEMO_S:
        raise HTTPException(400, "that would last longer than ten minutes")
    key = ("demo", entry.name, entry.digest, tempo_bpm)
    sound = await house_of(request).sounds.get(
        key, lambda: demo_flac(entry.lick, tempo_bpm)
    )
    return Response(sound, media_type="audio/flac")


async def clicks(request: Request) -> Response:
    """Count-in and one turn of the click, with when what begins in the headers."""
    entry, query = entry_of(request), request.query_params
    tempo_bpm = tempo_of(query.get("tempo"), entry.lick.tempo_bpm)
    try:
        kind, rate_hz = ClickKind(query.get("kind", "")), int(query.get("rate", ""))
    except ValueError:
        raise HTTPException(400, "no such click") from None
    if rate_hz not in SAMPLE_RATES_HZ:
        raise HTTPException(400, "no such sampling rate")
    slower = entry.lick.tempo_bpm / tempo_bpm
    if float(entry.lick.ends_s()[-1]) * slower > LONGEST_DEMO_S:
        raise HTTPException(400, "that would last longer than ten minutes")
    key = ("clicks", entry.name, entry.digest, tempo_bpm, kind, rate_hz)
    sound = await house_of(request).sounds.get(
        key, lambda: click_sound(entry.lick, tempo_bpm, kind, rate_hz)
    )
    times = {"Start": sound.start_s, "Sent": sound.sent_s, "Pass": sound.pass_s}
    headers = {f"X-{name}-S": f"{value:.9f}" for name, value in times.items()}
    return Response(sound.wav, media_type="audio/wav", headers=headers)


async def past(request: Request) -> Response:
    """What was kept of a lick, as a part of its page."""
    entry, player = entry_of(request), session_of(request).person.name
    house = house_of(request)
    found = await asyncio.to_thread(
        past_of, house.store, house.takes, player, entry.digest
    )
    takes = await asyncio.to_thread(house.takes.of, player, entry.name)
    loose = [t for t in takes if t.state is State.ANSWERED and t.kept_as is None]
    return shown(
        request,
        "past.html",
        past=found,
        loose=[(t.name, _when(t), t.answer) for t in loose[:MOST_LOOSE]],
    )


def _when(take: KeptTake) -> str:
    return f"{clock.local(take.about.began):%d %b %Y, %H:%M}"
