"""A school's server: sign in, be given something to play, hand it in, see one's own.

The pages of a desk, behind accounts instead of a link.  Players see their own takes;
teachers see everybody's, give assignments and make accounts.
"""

from __future__ import annotations

import asyncio
import math
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import partial
from urllib.parse import parse_qsl

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from assessor.errors import HistoryError
from assessor.history import clock, school
from assessor.history.school import Assignment
from assessor.history.store import Store
from assessor.web import desk, passwords, shelf
from assessor.web.house import House
from assessor.web.pages import shown
from assessor.web.passwords import Marks, Trier, Tries
from assessor.web.sessions import (
    LONGEST_S,
    Cookie,
    Person,
    Session,
    csrf_of,
    hashed,
    session_of,
)
from assessor.web.takes import KeptTake, State, Takes
from assessor.words import plural

KNOWN_S = 400 * 24 * 3600  # browsers keep no cookie longer
MOST_NAME = 60  # characters that are remembered of a name that was tried
HASHES_AT_ONCE = 2  # each takes 64 MB
FRESH_S = 5.0  # a session is looked up again after so long
MOST_CACHED = 5000
NAME_LENGTH = range(1, 61)
WRONG = "name or password are not right"


class Enrolled:
    """Sessions kept in the school's store: they outlive the program."""

    def __init__(self, store: Store) -> None:
        import secrets

        self._new = partial(secrets.token_urlsafe, 32)
        self._store = store
        self._fresh: dict[str, tuple[Person, float]] = {}

    def open(self, person: Person) -> str:
        """As `assessor.web.sessions.Sessions`."""
        held = self._new()
        until = datetime.now(UTC) + timedelta(seconds=LONGEST_S)
        school.sign_in(self._store, person.name, hashed(held), until)
        return held

    def find(self, held: str) -> Session | None:
        """As `assessor.web.sessions.Sessions`; looked up once in a few seconds."""
        key, now_s = hashed(held), time.monotonic()
        person, until_s = self._fresh.get(key, (None, 0.0))
        if person is None or now_s > until_s:
            account = school.signed_in(self._store, key, datetime.now(UTC))
            self._fresh.pop(key, None)
            if account is None:
                return None
            person = Person(account.name, account.teacher)
            while len(self._fresh) >= MOST_CACHED:
                self._fresh.pop(next(iter(self._fresh)))
            self._fresh[key] = (person, now_s + FRESH_S)
        return Session(person, csrf_of(held))

    def close(self, held: str) -> None:
        """As `assessor.web.sessions.Sessions`."""
        self._fresh.pop(hashed(held), None)
        school.sign_out(self._store, hashed(held), datetime.now(UTC))

    def changed(self) -> None:
        """Look every session up again: an account was changed."""
        self._fresh.clear()


@dataclass(kw_only=True)
class School(House):
    """Everything that requests to a school's server share."""

    enrolled: Enrolled
    tries: Tries = field(default_factory=Tries)
    hashing: asyncio.Semaphore = field(
        default_factory=lambda: asyncio.Semaphore(HASHES_AT_ONCE)
    )

    def __post_init__(self) -> None:
        """Every assessed take is handed in: it goes into the history at once."""
        self.workers.on_answer = self.hand_in

    @property
    def known(self) -> Cookie:
        """The cookie of a browser that has signed in before."""
        return Cookie(f"{self.cookie.name}-known", self.cookie.secure, KNOWN_S)

    def hand_in(self, take: KeptTake) -> None:
        """Put an assessed take into the history."""
        entry = self.catalogue.find(take.about.lick)
        if entry is not None and take.sound and "problem" not in take.answer:
            shelf.keep(self.store, take, entry, str(take.sound))


# --------------------------------------------------------------------- signing in


async def sign_in_page(request: Request) -> Response:
    """The form."""
    return shown(request, "sign_in.html", problem="", name="")


async def sign_in(request: Request) -> Response:
    """Let in who knows the password; always a new session."""
    house, form = _house(request), await form_of(request)
    name, marks = form.get("name", "").strip()[:MOST_NAME], _marks(request)
    account = await asyncio.to_thread(school.account_of, house.store, name)
    kept = account.password_hash if account else None
    who = Trier(name, _address(request), marks.number(name, kept))
    if wait_s := house.tries.wait_s(who):
        minutes = plural(math.ceil(wait_s / 60), "minute")
        words = f"too many tries: wait {minutes}, or ask a teacher"
        page = shown(request, "sign_in.html", status=429, problem=words, name=name)
        page.headers["Retry-After"] = f"{wait_s:.0f}"
        return page
    # counted before it is known: many at one time must not all be let through
    house.tries.failed(who)
    async with house.hashing:
        right = await asyncio.to_thread(passwords.fits, kept, form.get("password", ""))
    if not right or account is None:
        return shown(request, "sign_in.html", status=403, problem=WRONG, name=name)
    house.tries.fine(who)
    old = request.cookies.get(house.cookie.name)
    if old:
        await asyncio.to_thread(house.sessions.close, old)
    person = Person(account.name, account.teacher)
    held = await asyncio.to_thread(house.sessions.open, person)
    response = RedirectResponse("/", 303)
    house.cookie.set(response, held)
    house.known.set(response, marks.text_with(name, account.password_hash))
    return response


def _address(request: Request) -> str:
    return request.client.host if request.client else ""


def _marks(request: Request) -> Marks:
    return Marks(request.cookies.get(_house(request).known.name, ""))


async def sign_out(request: Request) -> Response:
    """End this session."""
    house = _house(request)
    held = request.cookies.get(house.cookie.name, "")
    await asyncio.to_thread(house.sessions.close, held)
    response = Response(status_code=204, headers={"HX-Redirect": "/sign-in"})
    house.cookie.drop(response)
    return response


async def password_page(request: Request) -> Response:
    """Form to change the password."""
    return shown(request, "password.html")


async def password(request: Request) -> Response:
    """Change one's own password; every browser is signed out."""
    house, form = _house(request), await form_of(request)
    name, new = session_of(request).person.name, form.get("new", "")
    # who is signed in is known: strangers' tries do not count here
    browser = hashed(request.cookies[house.cookie.name])
    who = Trier(name, _address(request), browser)
    if house.tries.wait_s(who):
        raise HTTPException(429, "too many tries: wait a quarter of an hour")
    if problem := passwords.why_not(new):
        raise HTTPException(400, problem)
    house.tries.failed(who)
    account = await asyncio.to_thread(school.account_of, house.store, name)
    async with house.hashing:
        kept = account.password_hash if account else None
        right = await asyncio.to_thread(passwords.fits, kept, form.get("password", ""))
        if not right:
            raise HTTPException(403, "the password you have now is another")
        fresh = await asyncio.to_thread(passwords.hashed, new)
    house.tries.fine(who)
    await asyncio.to_thread(school.set_password, house.store, name, fresh)
    house.enrolled.changed()
    response = Response(status_code=204, headers={"HX-Redirect": "/sign-in"})
    house.known.set(response, _marks(request).text_with(name, fresh))
    return response


# ------------------------------------------------------------------- assignments


@dataclass(frozen=True)
class Asked:
    """An assignment as a list shows it.

    Attributes
    ----------
    what : Assignment
    due : str
    late : bool
        It was due before now.
    handed_in : tuple of KeptTake
        Answered takes of it, newest first.
    """

    what: Assignment
    due: str
    late: bool
    handed_in: tuple[KeptTake, ...]

    @property
    def best(self) -> KeptTake | None:
        """The take with the best mark."""
        marked = [take for take in self.handed_in if take.answer.get("mark")]
        return max(marked, key=lambda take: take.answer["mark"], default=None)


def asked_of(
    assignments: Sequence[Assignment], takes: Sequence[KeptTake]
) -> list[Asked]:
    """Assignments, with what one player handed in for each."""
    now = datetime.now(UTC)
    found = []
    for what in assignments:
        mine = tuple(
            take
            for take in takes
            if take.about.lick == what.lick and take.about.began >= what.given_at
        )
        due = f"{clock.local(what.due):%d %b %Y, %H:%M}" if what.due else ""
        found.append(Asked(what, due, bool(what.due and what.due < now), mine))
    return found


async def home(request: Request) -> Response:
    """Licks, and before them what is asked for; parts of the list as on a desk."""
    house, person = _house(request), session_of(request).person
    if "hx-request" in request.headers:
        return await desk.licks(request)
    given = await asyncio.to_thread(school.assignments_of, house.store)
    takes = await asyncio.to_thread(house.takes.of, person.name)
    answered = [take for take in takes if take.state is State.ANSWERED]
    return await desk.licks(request, asked=asked_of(given, answered))


# ----------------------------------------------------------------------- teachers


async def staff_room(request: Request) -> Response:
    """Players, assignments, and who handed in what."""
    house = _teachers(request)
    return await _staff_room(request, house)


async def _staff_room(request: Request, house: School, told: str = "") -> Response:
    given = await asyncio.to_thread(school.assignments_of, house.store)
    people = await asyncio.to_thread(school.accounts_of, house.store)
    answered = await asyncio.to_thread(_answered, house.takes, given)
    players = [one for one in people if not one.teacher]
    rows = [(one.name, asked_of(given, answered.get(one.name, []))) for one in players]
    return shown(
        request,
        "school.html",
        given=asked_of(given, []),
        rows=rows,
        teachers=[one.name for one in people if one.teacher],
        entries=house.catalogue.entries,
        told=told,
    )


def _answered(takes: Takes, given: Sequence[Assignment]) -> dict[str, list[KeptTake]]:
    """Answered takes by player, since the first of these assignments was given."""
    found: dict[str, list[KeptTake]] = {}
    since = min((what.given_at for what in given), default=datetime.now(UTC))
    for take in takes.all(since):
        if take.state is State.ANSWERED:
            found.setdefault(take.about.player, []).append(take)
    return found


async def add_account(request: Request) -> Response:
    """Make an account with an invented password, which is shown once."""
    house, form = _teachers(request), await form_of(request)
    name = form.get("name", "").strip()
    if len(name) not in NAME_LENGTH or not name.isprintable():
        raise HTTPException(400, "a name has 1 to 60 characters")
    new = passwords.invented()
    async with house.hashing:
        kept = await asyncio.to_thread(passwords.hashed, new)
    teacher = form.get("teacher") == "1"
    add = partial(school.add_account, house.store, name, kept, teacher=teacher)
    await _done(add)
    told = f"{name} signs in with the password {new}: it is shown only here and now"
    return await _staff_room(request, house, told)


async def new_password(request: Request) -> Response:
    """Invent another password for somebody who forgot it."""
    house, form = _teachers(request), await form_of(request)
    name, new = form.get("name", ""), passwords.invented()
    async with house.hashing:
        kept = await asyncio.to_thread(passwords.hashed, new)
    await _done(partial(school.set_password, house.store, name, kept))
    house.enrolled.changed()
    told = f"{name} signs in with the password {new}: it is shown only here and now"
    return await _staff_room(request, house, told)


async def close_account(request: Request) -> Response:
    """Let somebody sign in no more."""
    house, form = _teachers(request), await form_of(request)
    name = form.get("name", "")
    if name == session_of(request).person.name:
        raise HTTPException(409, "nobody closes their own account")
    await _done(partial(school.close_account, house.store, name))
    house.enrolled.changed()
    return await _staff_room(request, house)


async def assign(request: Request) -> Response:
    """Give everybody something to play."""
    house, form = _teachers(request), await form_of(request)
    entry = house.catalogue.find(form.get("lick", ""))
    if entry is None:
        raise HTTPException(404, "there is no such lick here")
    tempo_bpm = desk.tempo_of(form.get("tempo"), entry.lick.tempo_bpm)
    now = datetime.now(UTC)
    try:
        text = form.get("due", "")
        # a date ends at the end of its day, where the server is
        due = (
            datetime.fromisoformat(f"{text}T23:59:59").astimezone(UTC) if text else None
        )
    except (ValueError, OverflowError):
        raise HTTPException(400, "a date is written as 2026-11-25") from None
    what = Assignment(0, entry.name, entry.lick.title, tempo_bpm, due, now)
    await _done(partial(school.assign, house.store, what))
    return await _staff_room(request, house)


async def end_assignment(request: Request) -> Response:
    """Ask for something no more."""
    house, form = _teachers(request), await form_of(request)
    number = form.get("assignment", "")
    if not number.isdecimal() or len(number) > 9:
        raise HTTPException(400, "no such assignment")
    await _done(partial(school.end_assignment, house.store, int(number)))
    return await _staff_room(request, house)


async def _done(change: partial[None]) -> None:
    """Change the store; what it refuses is told."""
    try:
        await asyncio.to_thread(change)
    except HistoryError as problem:
        raise HTTPException(409, problem.message) from problem


def _house(request: Request) -> School:
    found: School = request.app.state.house
    return found


def _teachers(request: Request) -> School:
    """The school, for teachers; for others this page is not there."""
    if not session_of(request).person.teacher:
        raise HTTPException(404, "there is no such page here")
    return _house(request)


async def form_of(request: Request) -> dict[str, str]:
    """Fields of a form."""
    return dict(parse_qsl((await request.body()).decode("utf-8", "replace"), True))


ROUTES: tuple[BaseRoute, ...] = (
    Route("/sign-in", sign_in_page),
    Route("/sign-in", sign_in, methods=["POST"]),
    Route("/sign-out", sign_out, methods=["POST"]),
    Route("/password", password_page),
    Route("/password", password, methods=["POST"]),
    Route("/school", staff_room),
    Route("/school/account", add_account, methods=["POST"]),
    Route("/school/password", new_password, methods=["POST"]),
    Route("/school/close", close_account, methods=["POST"]),
    Route("/school/assign", assign, methods=["POST"]),
    Route("/school/end", end_assignment, methods=["POST"]),
    Route("/", home),
)
