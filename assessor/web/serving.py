"""Run an application: the socket first, so that its address is known and is ours."""

from __future__ import annotations

import asyncio
import ipaddress
import socket
import ssl
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import uvicorn
from starlette.types import ASGIApp
from uvicorn.protocols.http.h11_impl import H11Protocol

from assessor.errors import AssessorError

HEAD_S = 10.0  # for a request's first line and headers
MOST_CONNECTIONS = 500
MOST_HEAD_BYTES = 32 * 1024
LET_GO_S = 5


class CannotServe(AssessorError):
    """An address that cannot, or must not, be listened on."""


@dataclass(frozen=True)
class Tls:
    """Files of a certificate and its key, PEM."""

    certificate: str
    key: str


def is_loopback(host: str) -> bool:
    """Say whether only this machine reaches an address.

    >>> is_loopback("127.0.0.1"), is_loopback("::1"), is_loopback("localhost")
    (True, True, True)
    >>> is_loopback("0.0.0.0"), is_loopback("192.0.2.1"), is_loopback("school.example")
    (False, False, False)
    """
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def listen_on(host: str, port: int, *, tls: bool, sign_in: bool) -> socket.socket:
    """Socket that listens.

    Parameters
    ----------
    host : str
        Address; other than loopback only where `tls` and `sign_in` are true.
    port : int
        0 = any that is free.
    tls, sign_in : bool
        Whether what is said on it is encrypted, and nobody unknown is let in.

    Raises
    ------
    CannotServe
        When it must not be listened on, or the system refuses.
    """
    if not is_loopback(host) and not (tls and sign_in):
        message = (
            f"{host} can be reached from other machines: there players must sign in, "
            "over TLS; use assessor school serve --certificate FILE --key FILE, or "
            "leave --host out"
        )
        raise CannotServe(message)
    name = "127.0.0.1" if host == "localhost" else host
    family = socket.AF_INET6 if ":" in name else socket.AF_INET
    listener = socket.socket(family, socket.SOCK_STREAM)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((name, port))
    except OSError as problem:
        listener.close()
        message = (
            f"{host}, port {port}, cannot be listened on: {problem.strerror}; name "
            "another with --port"
        )
        raise CannotServe(message) from problem
    return listener


class _Impatient(H11Protocol):
    """Hangs up on whoever does not say in time what is wanted, each time anew."""

    _hang_up: asyncio.TimerHandle | None = None

    def connection_made(self, transport: Any) -> None:
        super().connection_made(transport)
        self._watch()

    def data_received(self, data: bytes) -> None:
        super().data_received(data)
        self._watch()

    def connection_lost(self, exc: Exception | None) -> None:
        self._rest()
        super().connection_lost(exc)

    @property
    def _unsaid(self) -> bool:
        return self.cycle is None or self.cycle.response_complete

    def _watch(self) -> None:
        """Let the time run from the first byte on; more bytes do not stop it."""
        if not self._unsaid:
            self._rest()
        elif self._hang_up is None:
            self._hang_up = self.loop.call_later(HEAD_S, self._is_it_said)

    def _rest(self) -> None:
        if self._hang_up is not None:
            self._hang_up.cancel()
        self._hang_up = None

    def _is_it_said(self) -> None:
        self._hang_up = None
        if self._unsaid:
            self.transport.close()


def server_of(app: ASGIApp, tls: Tls | None = None) -> uvicorn.Server:
    """Server for an application; it writes no log, so no token gets into one.

    Raises
    ------
    CannotServe
        When the certificate cannot be used.
    """
    config = uvicorn.Config(
        app,
        http=_Impatient,
        ws="none",
        log_level="error",
        access_log=False,
        server_header=False,
        proxy_headers=False,
        limit_concurrency=MOST_CONNECTIONS,
        timeout_graceful_shutdown=LET_GO_S,
        h11_max_incomplete_event_size=MOST_HEAD_BYTES,
        ssl_certfile=tls.certificate if tls else None,
        ssl_keyfile=tls.key if tls else None,
    )
    try:
        config.load()
    except (OSError, ssl.SSLError) as problem:
        message = f"the certificate or its key cannot be used: {problem}"
        raise CannotServe(message) from problem
    return uvicorn.Server(config)


def serve(
    app: ASGIApp,
    listener: socket.socket,
    *,
    tls: Tls | None = None,
    on_ready: Callable[[], None] | None = None,
) -> None:
    """Serve until somebody ends the program.

    Parameters
    ----------
    app : ASGI application
    listener : socket
        As `listen_on` made it.
    tls : Tls or None
    on_ready : callable or None
        Called when requests are answered.

    Raises
    ------
    CannotServe
        When the certificate cannot be used.
    """
    with listener:
        _run(server_of(app, tls), listener, on_ready)


def _run(
    server: uvicorn.Server, listener: socket.socket, on_ready: Callable[[], None] | None
) -> None:
    async def run() -> None:
        running = asyncio.create_task(server.serve(sockets=[listener]))
        while not (server.started or running.done()):
            await asyncio.sleep(0.01)
        if on_ready is not None and not running.done():
            on_ready()
        await running

    asyncio.run(run())
