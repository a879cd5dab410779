"""Who is at the other end: sessions, and the word that a page must send back (CSRF).

The browser holds a random number; here only its hash is kept, so that nobody who reads
this memory, or a copy of it, can use it.  A new one is made at every sign-in, whatever
the browser came with.
"""

from __future__ import annotations

import asyncio
import hashlib
import hmac
import secrets
import time
from dataclasses import dataclass
from typing import Protocol

from starlette.datastructures import Headers
from starlette.requests import Request
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Receive, Scope, Send

from assessor.web.doors import SAFE_METHODS

TOKEN_BYTES = 32
MOST_SESSIONS = 200
LONGEST_S = 12 * 3600.0
CSRF_HEADER = "x-csrf-token"


@dataclass(frozen=True)
class Person:
    """Who is signed in.

    Attributes
    ----------
    name : str
        Empty for the one player of a machine.
    teacher : bool
    """

    name: str
    teacher: bool = False


@dataclass(frozen=True)
class Session:
    """One browser of one person.

    Attributes
    ----------
    person : Person
    csrf : str
        What pages of this session send back.
    """

    person: Person
    csrf: str


class Sessions(Protocol):
    """Where sessions are kept."""

    def open(self, person: Person) -> str:
        """Make a new session; what the browser is to hold."""

    def find(self, held: str) -> Session | None:
        """Session of what a browser holds; None when there is none any more."""

    def close(self, held: str) -> None:
        """End a session."""


def hashed(held: str) -> str:
    """What is kept of a random number."""
    return hashlib.sha256(held.encode()).hexdigest()


def csrf_of(held: str) -> str:
    """Word of a session's pages; tells nothing about what the browser holds."""
    return hmac.new(held.encode(), b"csrf", "sha256").hexdigest()


class Remembered:
    """Sessions for as long as this program runs."""

    def __init__(self) -> None:
        self._known: dict[str, tuple[Person, float]] = {}

    def open(self, person: Person) -> str:
        """As `Sessions`; the oldest makes room."""
        while len(self._known) >= MOST_SESSIONS:
            self._known.pop(next(iter(self._known)))
        held = secrets.token_urlsafe(TOKEN_BYTES)
        self._known[hashed(held)] = (person, time.monotonic() + LONGEST_S)
        return held

    def find(self, held: str) -> Session | None:
        """As `Sessions`."""
        person, until_s = self._known.get(hashed(held), (None, 0.0))
        if person is None or time.monotonic() > until_s:
            return None
        return Session(person, csrf_of(held))

    def close(self, held: str) -> None:
        """As `Sessions`."""
        self._known.pop(hashed(held), None)


@dataclass(frozen=True)
class Cookie:
    """The cookie that a browser holds.

    Attributes
    ----------
    name : str
    secure : bool
        Only sent over TLS.
    longest_s : int or None
        How long the browser keeps it; None = until it is closed.
    """

    name: str
    secure: bool
    longest_s: int | None = None

    def set(self, response: Response, held: str) -> None:
        """Give it to a browser."""
        response.set_cookie(
            self.name,
            held,
            max_age=self.longest_s,
            path="/",
            httponly=True,
            samesite="strict",
            secure=self.secure,
        )

    def drop(self, response: Response) -> None:
        """Take it back."""
        response.delete_cookie(
            self.name, path="/", httponly=True, samesite="strict", secure=self.secure
        )


class Gate:
    """Lets nobody without a session past the open doors, and no change without CSRF.

    Parameters
    ----------
    app : ASGI application
        Finds the session as ``request.state.session``.
    sessions : Sessions
    cookie : Cookie
    open_paths : tuple of str
        Beginnings of paths that need no session.
    sign_in : str
        Where somebody without one is sent; empty = nowhere, but told.
    """

    def __init__(
        self,
        app: ASGIApp,
        sessions: Sessions,
        cookie: Cookie,
        *,
        open_paths: tuple[str, ...],
        sign_in: str = "",
    ) -> None:
        self.app, self.sessions, self.cookie = app, sessions, cookie
        self.open_paths, self.sign_in = open_paths, sign_in

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let one request in, or answer it here."""
        if scope["type"] != "http" or scope["path"].startswith(self.open_paths):
            return await self.app(scope, receive, send)
        request = Request(scope)
        held = request.cookies.get(self.cookie.name, "")
        session = await asyncio.to_thread(self.sessions.find, held) if held else None
        if session is None:
            return await self._turned_away(scope)(scope, receive, send)
        if scope["method"] not in SAFE_METHODS and not _sent_back(scope, session):
            answer = PlainTextResponse("this page is too old: load it again", 403)
            return await answer(scope, receive, send)
        request.state.session = session
        return await self.app(scope, receive, send)

    def _turned_away(self, scope: Scope) -> Response:
        # a script that asks is told; it would take the form for its answer
        page = "text/html" in Headers(scope=scope).get("accept", "")
        if self.sign_in and page and scope["method"] == "GET":
            return RedirectResponse(self.sign_in, 303)
        words = "not signed in" if self.sign_in else NO_LINK
        return PlainTextResponse(words, 401)


NO_LINK = (
    "Open the link that the program printed in the terminal: only who has it is let in."
)


def _sent_back(scope: Scope, session: Session) -> bool:
    sent = Headers(scope=scope).get(CSRF_HEADER, "")
    return hmac.compare_digest(sent.encode(), session.csrf.encode())


def session_of(request: Request) -> Session:
    """Session that `Gate` found."""
    found: Session = request.state.session
    return found
