"""The desk as an application: its addresses, and the doors before them."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route

from assessor.web import desk, intake, pages
from assessor.web.doors import Doors, Rules
from assessor.web.house import House
from assessor.web.sessions import Gate

DESK: tuple[BaseRoute, ...] = (
    Route("/", desk.licks),
    Route("/static/{name}", pages.static),
    Route("/word", pages.word),
    Route("/licks/{lick}", desk.desk),
    Route("/licks/{lick}/demo.flac", desk.demo),
    Route("/licks/{lick}/clicks.wav", desk.clicks),
    Route("/licks/{lick}/past", desk.past),
    Route("/takes", intake.begin, methods=["POST"]),
    Route("/takes/{take}", intake.state),
    Route("/takes/{take}/sound", intake.sound, methods=["PUT"]),
    Route("/takes/{take}/file", intake.file, methods=["PUT"]),
    Route("/takes/{take}/end", intake.end, methods=["POST"]),
    Route("/takes/{take}/report", intake.report),
    Route("/takes/{take}/keep", intake.keep, methods=["POST"]),
    Route("/takes/{take}/discard", intake.discard, methods=["POST"]),
)


def desk_app(house: House, rules: Rules) -> Starlette:
    """Desk of one player on one machine, let in by a link.

    Parameters
    ----------
    house : House
        With a `link_token`.
    rules : Rules
    """
    enter = Route("/enter", desk.enter)
    gate = Middleware(
        Gate,
        sessions=house.sessions,
        cookie=house.cookie,
        open_paths=("/enter", "/static/"),
    )
    return application(house, rules, (*DESK, enter), gate)


def application(
    house: House, rules: Rules, routes: tuple[BaseRoute, ...], gate: Middleware
) -> Starlette:
    """Application whose workers run as long as it does."""

    @asynccontextmanager
    async def lifespan(_: Starlette) -> AsyncIterator[None]:
        async with house.workers.running():
            yield

    app = Starlette(
        routes=list(routes),
        middleware=[Middleware(Doors, rules=rules), gate],
        exception_handlers={HTTPException: _told, 404: _told, 500: _failed},
        lifespan=lifespan,
    )
    app.state.house = house
    return app


async def _told(request: Request, problem: Exception) -> Response:
    assert isinstance(problem, HTTPException)
    answer = pages.told(request, problem.detail, problem.status_code)
    answer.headers.update(problem.headers or {})
    return answer


async def _failed(request: Request, _: Exception) -> Response:
    return pages.told(request, "something went wrong here; try once more", 500)
