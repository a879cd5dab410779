"""Come in by the link that the program printed."""

from __future__ import annotations

from hmac import compare_digest

from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import PlainTextResponse, RedirectResponse, Response

from assessor.web.house import Door
from assessor.web.sessions import Gate, Person

OPEN_PATHS = ("/enter", "/static/")


async def enter(request: Request) -> Response:
    """Let in who has the link; always a new session, whatever the browser came with."""
    door: Door = request.app.state.house
    token = request.query_params.get("token", "")
    if not door.link_token or not compare_digest(
        token.encode(), door.link_token.encode()
    ):
        words = "this link is not, or no longer, right: take the one in the terminal"
        return PlainTextResponse(words, 403)
    response = RedirectResponse("/", 303)
    door.cookie.set(response, door.sessions.open(Person(door.player)))
    return response


def gate(door: Door) -> Middleware:
    """Lets in who came by the link, and nobody else."""
    return Middleware(
        Gate, sessions=door.sessions, cookie=door.cookie, open_paths=OPEN_PATHS
    )
