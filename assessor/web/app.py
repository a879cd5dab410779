"""Pages as applications: their addresses, and the doors before them."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import AbstractAsyncContextManager, asynccontextmanager, nullcontext

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route

from assessor.web import desk, intake, linked, pages, review, school
from assessor.web.doors import Doors, Rules
from assessor.web.house import Door, House
from assessor.web.review import Classroom
from assessor.web.school import School
from assessor.web.sessions import Gate

SHARED: tuple[BaseRoute, ...] = (
    Route("/static/{name}", pages.static),
    Route("/word", pages.word),
)
DESK: tuple[BaseRoute, ...] = (
    *SHARED,
    Route("/", desk.licks),
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
        With a `link_token`; its workers run as long as the application does.
    rules : Rules
    """
    routes = (*DESK, Route("/enter", linked.enter))
    return application(house, rules, routes, linked.gate(house), house.workers.running)


def review_app(classroom: Classroom, rules: Rules) -> Starlette:
    """Takes of a class for its teacher, let in by a link."""
    routes = (*review.ROUTES, *SHARED, Route("/enter", linked.enter))
    return application(classroom, rules, routes, linked.gate(classroom), nullcontext)


def school_app(house: School, rules: Rules) -> Starlette:
    """A school's desk, let in by name and password."""
    gate = Middleware(
        Gate,
        sessions=house.sessions,
        cookie=house.cookie,
        open_paths=("/sign-in", "/static/"),
        sign_in="/sign-in",
    )
    routes = (*school.ROUTES, *DESK)
    return application(house, rules, routes, gate, house.workers.running)


def application(
    door: Door,
    rules: Rules,
    routes: Sequence[BaseRoute],
    gate: Middleware,
    while_running: Callable[[], AbstractAsyncContextManager[None]],
) -> Starlette:
    """Application behind its doors."""

    @asynccontextmanager
    async def lifespan(_: Starlette) -> AsyncIterator[None]:
        async with while_running():
            yield

    app = Starlette(
        routes=list(routes),
        middleware=[Middleware(Doors, rules=rules), gate],
        exception_handlers={HTTPException: _told, 404: _told, 500: _failed},
        lifespan=lifespan,
    )
    app.state.house = door
    return app


async def _told(request: Request, problem: Exception) -> Response:
    assert isinstance(problem, HTTPException)
    answer = pages.told(request, problem.detail, problem.status_code)
    answer.headers.update(problem.headers or {})
    return answer


async def _failed(request: Request, _: Exception) -> Response:
    return pages.told(request, "something went wrong here; try once more", 500)
