"""What every request passes before anything is done: where from, how much, how slow.

A page of somebody else may make a browser send requests here, and a name of theirs may
be made to point at this machine.  So the name asked for must be ours (``Host``), what
changes something must come from our own page (``Origin``, ``Sec-Fetch-Site``), and
sessions are asked for everywhere but at the doors that are named (`Gate`).
"""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

SAFE_METHODS = frozenset({"GET", "HEAD"})
METHODS = SAFE_METHODS | {"POST", "PUT"}
FORM_BYTES = 64 * 1024
# Slower than a bad telephone line, nobody records over it.
SLOWEST_BYTES_PER_S = 16_000
PAUSE_S = 10.0  # between two parts of a body
FIRST_S = 10.0
YEAR_S = 365 * 24 * 3600

POLICY = (
    "default-src 'none'; script-src 'self'; worker-src 'self'; style-src 'self'; "
    "img-src 'self'; media-src 'self'; connect-src 'self'; frame-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    # not "no-referrer": with that browsers send forms with the origin "null"
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "microphone=(self), camera=(), geolocation=()",
    "Cache-Control": "no-store",
}


@dataclass(frozen=True)
class Rules:
    """What is let in.

    Attributes
    ----------
    origins : frozenset of str
        Of our own pages, as ``http://127.0.0.1:8000``.
    most_bytes : callable
        Largest body for a path.
    pause_s : float
        Longest wait for the next part of a body.
    """

    origins: frozenset[str]
    most_bytes: Callable[[str], int]
    pause_s: float = PAUSE_S

    @property
    def hosts(self) -> frozenset[str]:
        """Names we are called by, with their port where it is not the usual one."""
        return frozenset(origin.partition("://")[2] for origin in self.origins)


def origins_of(scheme: str, names: Iterable[str], port: int) -> frozenset[str]:
    """Origins of a server by each of its names, as browsers write them.

    >>> sorted(origins_of("http", ["localhost", "127.0.0.1"], 8000))
    ['http://127.0.0.1:8000', 'http://localhost:8000']
    >>> sorted(origins_of("https", ["school.example"], 443))
    ['https://school.example']
    """
    usual = {"http": 80, "https": 443}[scheme]
    end = "" if port == usual else f":{port}"
    return frozenset(f"{scheme}://{name.lower()}{end}" for name in names)


class Doors:
    """Refuses what is not ours, and bounds what comes in.

    Parameters
    ----------
    app : ASGI application
    rules : Rules
    """

    def __init__(self, app: ASGIApp, rules: Rules) -> None:
        self.app, self.rules = app, rules

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let one request in, or answer it here."""
        if scope["type"] == "lifespan":
            return await self.app(scope, receive, send)
        if scope["type"] != "http":
            return None  # no web socket is served: the server answers 403

        async def send_guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers.setdefault(name, value)
                if scope["scheme"] == "https":
                    headers["Strict-Transport-Security"] = f"max-age={YEAR_S}"
            await send(message)

        refusal = self._refusal(scope)
        if refusal is not None:
            status, words = refusal
            answer = PlainTextResponse(words, status, {"Connection": "close"})
            return await answer(scope, receive, send_guarded)
        most = self.rules.most_bytes(scope["path"])
        bounded = _Bounded(receive, most, self.rules.pause_s)
        return await self.app(scope, bounded, send_guarded)

    def _refusal(self, scope: Scope) -> tuple[int, str] | None:
        """Status and words where a request is not let in."""
        headers, method = Headers(scope=scope), scope["method"]
        if headers.getlist("host") not in [[host] for host in self.rules.hosts]:
            return 421, "this server is not called that"
        if method not in METHODS:
            return 405, "no such thing can be done here"
        if method not in SAFE_METHODS and not self._is_ours(headers):
            return 403, "this was not asked by a page of this server"
        length = headers.get("content-length", "0")
        if not length.isdecimal():
            return 400, "the length of the body is no number"
        if int(length) > self.rules.most_bytes(scope["path"]):
            return 413, too_large(self.rules.most_bytes(scope["path"]))
        return None

    def _is_ours(self, headers: Headers) -> bool:
        """Say whether a request that changes something comes from our own page."""
        site = headers.get("sec-fetch-site", "same-origin")
        return headers.get("origin") in self.rules.origins and site == "same-origin"


def too_large(most: int) -> str:
    """Words for a body that is refused.

    >>> too_large(1024 * 1024)
    'more than is taken here: at most 1.05 MB'
    """
    return f"more than is taken here: at most {most / 1e6:.3g} MB"


class _Bounded:
    """A body that ends in an error when it is too long, or comes too slowly."""

    def __init__(self, receive: Receive, most: int, pause_s: float) -> None:
        self._receive, self._most, self._pause_s = receive, most, pause_s
        self._seen, self._began_s, self._whole = 0, time.monotonic(), False

    async def __call__(self) -> Message:
        """Next part."""
        if self._whole:
            return await self._receive()
        try:
            async with asyncio.timeout(self._pause_s):
                message = await self._receive()
        except TimeoutError:
            raise _refused(408, "the rest did not come in time") from None
        self._seen += len(message.get("body", b""))
        self._whole = not message.get("more_body", False)
        if self._seen > self._most:
            raise _refused(413, too_large(self._most))
        passed_s = time.monotonic() - self._began_s - FIRST_S
        if not self._whole and passed_s * SLOWEST_BYTES_PER_S > self._seen:
            raise _refused(408, "this comes too slowly")
        return message


def _refused(status: int, words: str) -> HTTPException:
    return HTTPException(status, words, {"Connection": "close"})
