"""Takes come in: begun, sent in pieces or as a file, ended, listened to, answered."""

from __future__ import annotations

import asyncio
import json
import math
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response

from assessor.capture.slate import ClickKind, Ended
from assessor.errors import HistoryError
from assessor.web import shelf
from assessor.web.catalogue import Entry
from assessor.web.desk import TOLERANCES, house_of, tempo_of
from assessor.web.house import MOST_COMING
from assessor.web.pages import shown
from assessor.web.sessions import session_of
from assessor.web.takes import (
    ENDINGS,
    SAMPLE_RATES_HZ,
    About,
    Ending,
    KeptTake,
    State,
    TakeGap,
    Takes,
)

MOST_NAME = 80
MOST_DROPOUTS = 200
LONGEST_S = 24 * 3600.0
NEVER_CAME = timedelta(hours=1)  # a take without any sound after so long
# A report brings a policy of its own; it is shown inside our page, as a stranger.
REPORT_HEADERS = {
    "Content-Security-Policy": "sandbox allow-scripts; frame-ancestors 'self'",
}


def take_of(request: Request) -> KeptTake:
    """Take that the address names, if whoever asks may see it.

    Raises
    ------
    HTTPException
        404 when there is none, and just so when it is somebody else's.
    """
    person = session_of(request).person
    player = None if person.teacher else person.name
    found = house_of(request).takes.find(request.path_params["take"], player)
    if found is None:
        raise HTTPException(404, "there is no such take here")
    return found


def own_take_of(request: Request) -> KeptTake:
    """As `take_of`, but to change it: nobody's but one's own."""
    person = session_of(request).person
    found = house_of(request).takes.find(request.path_params["take"], person.name)
    if found is None:
        raise HTTPException(404, "there is no such take here")
    return found


async def begin(request: Request) -> Response:
    """Make a new take; answers with its name."""
    house, wish = house_of(request), await _json(request)
    entry = house.catalogue.find(str(wish.get("lick", "")))
    if entry is None:
        raise HTTPException(404, "there is no such lick here")
    about = _about(request, wish, entry)
    if await asyncio.to_thread(_coming, house.takes, about.player) >= MOST_COMING:
        words = "too many takes were begun and not ended: throw some of them away"
        raise HTTPException(429, words)
    take = await asyncio.to_thread(house.takes.begin, about)
    return JSONResponse({"take": take.name}, 201)


def _coming(takes: Takes, player: str) -> int:
    """How many takes of a player are on their way; what never came is removed."""
    coming = [take for take in takes.of(player) if take.state is State.COMING]
    long_ago = datetime.now(UTC) - NEVER_CAME
    empty = [t for t in coming if not t.coming_s and t.about.began < long_ago]
    for take in empty:
        take.discard()
    return len(coming) - len(empty)


def _about(request: Request, wish: dict[str, Any], entry: Entry) -> About:
    rate_hz, tempo = wish.get("sample_rate_hz", 0), wish.get("tempo_bpm")
    tolerance, kind = wish.get("tolerance", "usual"), wish.get("click", "none")
    known = tolerance in TOLERANCES and kind in list(ClickKind)
    if not known or not (rate_hz == 0 or rate_hz in SAMPLE_RATES_HZ):
        raise HTTPException(400, "no such tolerance, click or sampling rate")
    return About(
        player=session_of(request).person.name,
        lick=entry.name,
        tempo_bpm=tempo_of(None if tempo is None else str(tempo), entry.lick.tempo_bpm),
        tolerance=tolerance,
        click=kind,
        sample_rate_hz=rate_hz,
        input=str(wish.get("input", ""))[:MOST_NAME],
    )


async def sound(request: Request) -> Response:
    """Add a piece to a recording; answers with how many frames are there."""
    take, caps = own_take_of(request), house_of(request).caps
    text = request.query_params.get("from", "")
    if take.state is not State.COMING or not take.journal.exists():
        raise HTTPException(409, "this take is not being recorded any more")
    if not text.isdecimal() or len(text) > 12:
        raise HTTPException(400, "a piece says from which frame on it is")
    body = await request.body()
    if int(text) * 4 + len(body) > caps.recorded_bytes:
        raise HTTPException(413, "this take is longer than is taken here")
    try:
        have = await asyncio.to_thread(take.append, int(text), body)
    except TakeGap as gap:
        return JSONResponse({"have": gap.have}, 409)
    except ValueError as problem:
        raise HTTPException(400, str(problem)) from problem
    return JSONResponse({"have": have})


async def file(request: Request) -> Response:
    """Take in a whole sound file, as it is; its name is not used but for its ending."""
    take = own_take_of(request)
    ending = request.query_params.get("ending", "").lower()
    if take.state is not State.COMING or take.about.sample_rate_hz:
        raise HTTPException(409, "this take has its sound")
    kept = take.folder / f"upload.{ending if ending in ENDINGS else 'sound'}"
    part = take.folder / "coming"
    try:
        await _write(request, part)
        part.replace(kept)
    finally:
        part.unlink(missing_ok=True)
    await asyncio.to_thread(take.end, Ending())
    house_of(request).workers.ask(take)
    return JSONResponse({"take": take.name}, 202)


async def _write(request: Request, part: Path) -> None:
    with part.open("wb") as stream:
        async for piece in request.stream():
            await asyncio.to_thread(stream.write, piece)


async def end(request: Request) -> Response:
    """All of a recording is here: listen to it."""
    take = own_take_of(request)
    if take.state is State.COMING:
        if not take.journal.exists():
            raise HTTPException(409, "this take has no sound yet")
        ending = _ending(await _json(request))
        await asyncio.to_thread(take.end, ending)
    house_of(request).workers.ask(take)
    return _state(request, take)


def _ending(wish: dict[str, Any]) -> Ending:
    # nothing is said of a take whose page was closed while it was recorded
    times, sent = wish.get("dropouts_s", []), wish.get("click_sent_s")
    ended = wish.get("ended", Ended.KILLED.value)
    fine = (
        isinstance(times, list)
        and all(_is_time(at_s) for at_s in times)
        and (sent is None or _is_time(sent))
        and ended in list(Ended)
    )
    if not fine:
        raise HTTPException(400, "these are no times of a take")
    return Ending(sent, tuple(map(float, times[:MOST_DROPOUTS])), ended)


def _is_time(value: object) -> bool:
    return (
        isinstance(value, int | float)
        and math.isfinite(value)
        and abs(value) <= LONGEST_S
    )


async def state(request: Request) -> Response:
    """How far a take is, as a part of its page; asks again by itself."""
    return _state(request, take_of(request))


def _state(request: Request, take: KeptTake) -> HTMLResponse:
    house = house_of(request)
    entry = house.catalogue.find(take.about.lick)
    now = State.WAITING if house.workers.hands_in(take) else take.state
    answered = now is State.ANSWERED
    part = "hx-request" in request.headers or request.method != "GET"
    page = shown(
        request,
        "take.html" if part else "take_page.html",
        take=take,
        own=take.about.player == session_of(request).person.name,
        state=now.value,
        waiting=house.workers.length,
        answer=take.answer if answered else {},
        entry=entry,
        said=(),
    )
    if answered:
        page.headers["HX-Trigger"] = "answered"
    return page


async def report(request: Request) -> Response:
    """The report of a take, a page of its own with its own policy."""
    page = take_of(request).folder / "report.html"
    if not page.exists():
        raise HTTPException(404, "this take has no report")
    text = await asyncio.to_thread(page.read_text, encoding="utf-8")
    return HTMLResponse(text, headers=REPORT_HEADERS)


async def keep(request: Request) -> Response:
    """Put a take into the history."""
    house, take = house_of(request), own_take_of(request)
    entry = house.catalogue.find(take.about.lick)
    if entry is None or not (take.folder / "result.json").exists():
        raise HTTPException(409, "this take cannot be kept: it was not assessed")
    place = str(take.sound or take.folder)
    put = partial(shelf.keep, house.store, take, entry, place)
    try:
        said = await asyncio.to_thread(put)
    except HistoryError as problem:
        raise HTTPException(503, str(problem)) from problem
    answer = shown(
        request,
        "take.html",
        take=take,
        own=True,
        state=take.state.value,
        waiting=0,
        answer=take.answer,
        entry=entry,
        said=said,
    )
    answer.headers["HX-Trigger"] = "kept"
    return answer


async def discard(request: Request) -> Response:
    """Throw a take away, unless it is in the history."""
    take = own_take_of(request)
    if take.kept_as is not None:
        raise HTTPException(409, "this take is in the history: forget it there")
    await asyncio.to_thread(take.discard)
    headers = {"HX-Trigger": "thrown"}
    return HTMLResponse('<p role="status">Thrown away.</p>', headers=headers)


async def _json(request: Request) -> dict[str, Any]:
    """Body as an object; none is an empty one.

    Raises
    ------
    HTTPException
        400 when it is none.
    """
    try:
        found = json.loads(await request.body() or "{}")
    except (ValueError, RecursionError):
        found = None
    if not isinstance(found, dict):
        raise HTTPException(400, "this is no JSON object")
    return found
