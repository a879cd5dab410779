"""A teacher goes through the takes of a class: listens, overrules, goes to the next."""

from __future__ import annotations

import asyncio
import io
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import partial
from typing import Any
from urllib.parse import parse_qsl

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from assessor.errors import AssessorError
from assessor.figures.playable import playable_tab
from assessor.figures.take import LAYOUTS
from assessor.lick.notation import Lick
from assessor.measures.focus import say_place
from assessor.report.class_page import class_page
from assessor.report.class_rows import state_of, why_doubtful
from assessor.report.class_work import correct
from assessor.review.books import Books
from assessor.review.corrections import READINGS, TOOL, Correction, What
from assessor.review.finding import Finding
from assessor.review.places import at_hand
from assessor.review.summary import ClassReview, Take, doubtful, read_class
from assessor.web.doors import FORM_BYTES
from assessor.web.house import Door, Sounds
from assessor.web.pages import shown

BEFORE_S, AFTER_S = 1.0, 2.0  # heard around the pass that counts
# Which area a word at a note speaks of; what is flat or sharp there is a bend or not
AREAS = {"early": "time", "late": "time", "uneven": "slur"}
PAGE_POLICY = "script-src 'none'; frame-ancestors 'none'"
REPORT_POLICY = "sandbox allow-scripts allow-popups; frame-ancestors 'self'"


@dataclass(kw_only=True)
class Classroom(Door):
    """Everything that requests of a teacher share.

    Attributes
    ----------
    books : Books
    author : str
        Who says what is said.
    names : bool
        Names are shown beside pseudonyms.
    passed : set of str
        Takes that were listened to in this sitting without a word.
    """

    books: Books
    author: str
    names: bool = False
    home: str = "Takes"
    passed: set[str] = field(default_factory=set)
    sounds: Sounds = field(default_factory=Sounds)
    saying: asyncio.Lock = field(default_factory=asyncio.Lock)

    def most_bytes(self, path: str) -> int:
        """Largest body that a path takes."""
        return FORM_BYTES

    def read(self) -> ClassReview:
        """The class as it stands."""
        return read_class(self.books)

    async def read_soon(self) -> ClassReview:
        """The class as it stands, read in another thread.

        Raises
        ------
        HTTPException
            409, with what is wrong with the review's folder or its licks.
        """
        try:
            return await asyncio.to_thread(self.read)
        except AssessorError as problem:
            raise HTTPException(409, str(problem)) from problem


@dataclass(frozen=True)
class Line:
    """One take in a list."""

    take: Take
    who: str
    lick: str
    mark: str
    why: str


@dataclass(frozen=True)
class SaidAbout:
    """A correction in words, and what takes it back."""

    place: str
    text: str
    values: dict[str, object]


async def takes(request: Request) -> Response:
    """Every take: first those that need ears, then those that were heard."""
    room = _room(request)
    review = await room.read_soon()
    waiting = _waiting(room, review)
    first = {take.take_id for take in waiting}
    rest = [take for take in review.takes if take.take_id not in first]
    return shown(
        request,
        "review_list.html",
        review=review,
        waiting=[_line(room, review, take) for take in waiting],
        rest=[_line(room, review, take) for take in rest],
    )


def _waiting(room: Classroom, review: ClassReview) -> list[Take]:
    """Takes for ears, the most doubtful first."""
    return [take for take in doubtful(review) if take.take_id not in room.passed]


def _line(room: Classroom, review: ClassReview, take: Take) -> Line:
    mark = take.shown.mark if take.shown else None
    name = review.names.get(take.player, "") if room.names else ""
    return Line(
        take,
        f"{take.player} {name}".strip(),
        review.licks[take.planned.lick].lick.title,
        "–" if mark is None else f"{mark:.0f}",
        why_doubtful(take) or state_of(take),
    )


async def listen(request: Request) -> Response:
    """One take to be listened to; `blind` hides what was found."""
    room, (review, take) = _room(request), await _take(request)
    lick = review.licks[take.planned.lick].lick
    blind = request.query_params.get("blind") == "1"
    waiting = _waiting(room, review)
    tabs = await asyncio.to_thread(_tabs, lick)
    return shown(
        request,
        "review_take.html",
        take=take,
        line=_line(room, review, take),
        lick=lick,
        tabs=tabs,
        left=len(waiting),
        readings=tuple(READINGS),
        **_found(take, lick, blind=blind),
    )


def _tabs(lick: Lick) -> dict[str, str]:
    title = f"Tab of {lick.title}"
    return {
        name: playable_tab(lick, width, name=title) for name, width in LAYOUTS.items()
    }


def _found(take: Take, lick: Lick, *, blind: bool) -> dict[str, Any]:
    """What the part of the page shows that changes with every correction."""
    finding, tool = take.shown, take.found
    by_note = {
        one.note: one.value
        for one in take.corrections
        if _is_verdict_of(one, take) and one.note is not None
    }
    return {
        "finding": finding,
        "tool": tool,
        "blind": blind,
        "signs": "" if finding is None else _signs(finding, by_note, blind=blind),
        "starts": _starts(finding),
        "faults": [] if finding is None or blind else list(_faults(finding, lick)),
        "said": [_said(one, lick) for one in take.corrections],
    }


def _is_verdict_of(one: Correction, take: Take) -> bool:
    """Say whether it judges a note of the pass that is shown."""
    best = None if take.shown is None else take.shown.best
    return one.what is What.VERDICT and one.number in (None, best)


def _signs(finding: Finding, said: Mapping[int, object], *, blind: bool) -> str:
    """Verdict of each note, with what is outside, and ``*`` where a teacher spoke."""
    signs = []
    for index, note in enumerate(finding.notes):
        words = [note.verdict, *note.outside]
        if blind:
            words = [str(said[index])] if index in said else ["-"]
        signs.append("+".join(words) + "*" * (index in said))
    return " ".join(signs)


def _starts(finding: Finding | None) -> str:
    """Where each note is heard, or was due, in the take."""
    if finding is None:
        return ""
    times = [n.due_s if n.onset_s is None else n.onset_s for n in finding.notes]
    return " ".join(f"{at_s:.3f}" for at_s in times)


def _faults(finding: Finding, lick: Lick) -> Iterator[dict[str, object]]:
    """What can be overruled beside a verdict: each word at a note, each extra note."""
    for index, note in enumerate(finding.notes):
        for word in note.outside:
            if word == "extra":
                continue
            bent = lick.notes[index].bend is not None
            area = AREAS.get(word, "bend" if bent else "pitch")
            values = {"what": "judgement", "note": index, "name": area}
            place = say_place(lick, index)
            yield {"text": f"{place}: {word}", "values": values | {"value": "inside"}}
    for index, at_s in enumerate(finding.extras_s):
        values = {"what": "extra", "note": index, "value": "none"}
        yield {"text": f"an extra note at {at_s:.1f} s", "values": values}


def _said(one: Correction, lick: Lick) -> SaidAbout:
    place = ""
    if one.note is not None and one.what is not What.EXTRA and one.note < len(lick):
        place = say_place(lick, one.note)
    words = f"{one.name} {one.value}".strip()
    if one.what is What.EXTRA:
        words = f"extra note {(one.note or 0) + 1}: none sounded there"
    back = "" if one.what is What.REMARK else TOOL
    values = {"what": str(one.what), "name": one.name, "value": back}
    for name, number in (("note", one.note), ("number", one.number)):
        if number is not None:
            values[name] = str(number)
    return SaidAbout(place, words, dict(values))


async def say(request: Request) -> Response:
    """Keep what the teacher says; everything that is shown follows."""
    room, (review, take) = _room(request), await _take(request)
    lick = review.licks[take.planned.lick].lick
    form = dict(parse_qsl((await request.body()).decode("utf-8", "replace"), True))
    blind = form.get("blind") == "1"
    try:
        wanted = list(_corrections(form, take, room.author, blind=blind))
        async with room.saying:
            now = await asyncio.to_thread(correct, room.books, wanted)
    except ValueError as problem:
        raise HTTPException(400, str(problem)) from problem
    except AssessorError as problem:
        raise HTTPException(409, str(problem)) from problem
    return shown(
        request, "review_found.html", take=now.take(take.take_id), lick=lick,
        **_found(now.take(take.take_id), lick, blind=blind),
    )  # fmt: skip


def _corrections(
    form: dict[str, str], take: Take, author: str, *, blind: bool
) -> Iterator[Correction]:
    """Corrections that a form says.

    Raises
    ------
    ValueError
        When it says none that has a meaning.
    """
    what, value = What(form.get("what", "")), form.get("value", "")
    new = partial(
        Correction,
        take.take_id,
        what,
        author=author,
        reason=form.get("reason", ""),
        name=form.get("name", ""),
        blind=blind,
    )
    if what is What.VERDICT and form.get("note") == "rest":
        spoken = {one.note for one in take.corrections if _is_verdict_of(one, take)}
        count = len(take.shown.notes) if take.shown else 0
        yield from (new(value, note=k) for k in range(count) if k not in spoken)
        return
    note, number = (
        int(form[key]) if form.get(key) else None for key in ("note", "number")
    )
    given = float(value) if what is What.READING and value != TOOL else value
    yield new(given, note=note, number=number)


async def onward(request: Request) -> Response:
    """Leave a take, and go to the next one that needs ears."""
    room, (review, take) = _room(request), await _take(request)
    room.passed.add(take.take_id)
    waiting = _waiting(room, review)
    address = f"/listen/{waiting[0].take_id}" if waiting else "/"
    return Response(status_code=204, headers={"HX-Redirect": address})


async def sound(request: Request) -> Response:
    """The pass that counts, with a little around it; where it begins in a header."""
    room, (_, take) = _room(request), await _take(request)
    make = partial(_flac, take)
    try:
        begins_s, content = await room.sounds.get(("take", take.take_id), make)
    except AssessorError as problem:
        raise HTTPException(404, "the sound of this take cannot be read") from problem
    headers = {"X-Begins-S": f"{begins_s:.6f}"}
    return Response(content, media_type="audio/flac", headers=headers)


def _flac(take: Take) -> tuple[float, bytes]:
    import soundfile

    from assessor import recording

    with at_hand(take.planned.address) as file:
        heard = recording.read(file)
    rate_hz, samples = heard.sample_rate_hz, heard.samples
    first, end = _span(take, heard.duration_s)
    part = samples[round(first * rate_hz) : round(end * rate_hz)]
    stream = io.BytesIO()
    soundfile.write(stream, part, rate_hz, format="FLAC", subtype="PCM_16")
    return first, stream.getvalue()


def _span(take: Take, duration_s: float) -> tuple[float, float]:
    """Seconds of a take that hold the pass that counts."""
    finding = take.shown
    if finding is None or not finding.notes:
        return 0.0, min(duration_s, 60.0)
    times = [n.due_s if n.onset_s is None else n.onset_s for n in finding.notes]
    times += finding.extras_s if finding.passes == 1 else ()
    return max(min(times) - BEFORE_S, 0.0), min(max(times) + AFTER_S, duration_s)


async def class_shown(request: Request) -> Response:
    """The class page as it stands."""
    room = _room(request)
    text = await asyncio.to_thread(class_page, await room.read_soon(), names=room.names)
    return HTMLResponse(text, headers={"Content-Security-Policy": PAGE_POLICY})


async def report(request: Request) -> Response:
    """A take's own report."""
    room, (_, take) = _room(request), await _take(request)
    file = room.books.report(take.take_id)
    if not file.exists():
        raise HTTPException(404, "this take has no report")
    text = await asyncio.to_thread(file.read_text, encoding="utf-8")
    return HTMLResponse(text, headers={"Content-Security-Policy": REPORT_POLICY})


async def first(request: Request) -> Response:
    """The take that needs ears most."""
    room = _room(request)
    waiting = _waiting(room, await room.read_soon())
    address = f"/listen/{waiting[0].take_id}" if waiting else "/"
    return RedirectResponse(address, 303)


def _room(request: Request) -> Classroom:
    found: Classroom = request.app.state.house
    return found


async def _take(request: Request) -> tuple[ClassReview, Take]:
    """Take that the address names.

    Raises
    ------
    HTTPException
        404 when there is none.
    """
    review = await _room(request).read_soon()
    wanted = request.path_params["take"]
    for take in review.takes:
        if take.take_id == wanted:
            return review, take
    raise HTTPException(404, "there is no such take in this class")


ROUTES: tuple[BaseRoute, ...] = (
    Route("/", takes),
    Route("/class", class_shown),
    Route("/first", first),
    Route("/listen/{take}", listen),
    Route("/listen/{take}/sound.flac", sound),
    Route("/listen/{take}/say", say, methods=["POST"]),
    Route("/listen/{take}/onward", onward, methods=["POST"]),
    Route("/takes/{take}.html", report),
)
