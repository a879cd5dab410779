"""Templates, and what the server gives out of its own: style, scripts."""

from __future__ import annotations

from functools import cache
from importlib import resources
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response

from assessor.figures.picture import COLOURS, SHAPES
from assessor.report import tool_version
from assessor.web.sessions import session_of

SHIPPED = {
    "htmx.min.js": "text/javascript",
    "forms.js": "text/javascript",
    "tab.js": "text/javascript",
    "desk.js": "text/javascript",
    "review.js": "text/javascript",
    "sending.js": "text/javascript",
    "recorder.js": "text/javascript",
    "icon.svg": "image/svg+xml",
    "htmx.LICENSE.txt": "text/plain",
}
KEEP = {"Cache-Control": "private, max-age=3600"}


@cache
def _templates() -> Environment:
    return Environment(
        loader=PackageLoader("assessor.web"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def shown(
    request: Request, template: str, /, *, status: int = 200, **values: Any
) -> HTMLResponse:
    """A page or a part of one, for whoever is signed in."""
    session = getattr(request.state, "session", None)
    text = (
        _templates()
        .get_template(template)
        .render(
            session=session,
            house=request.app.state.house,
            path=request.url.path,
            version=tool_version(),
            **values,
        )
    )
    return HTMLResponse(text, status)


def told(request: Request, words: str, status: int) -> Response:
    """A page that says what is wrong; for scripts the words alone."""
    asked_by_script = "hx-request" in request.headers or request.method != "GET"
    if asked_by_script:
        return Response(words, status, media_type="text/plain")
    return shown(request, "told.html", status=status, words=words)


@cache
def _shipped(name: str) -> str:
    folder = resources.files("assessor.web") / "static"
    return (folder / name).read_text(encoding="utf-8")


async def static(request: Request) -> Response:
    """A shipped file, by its name alone."""
    name = request.path_params["name"]
    if name == f"style-{tool_version()}.css":
        text = COLOURS + SHAPES + _shipped("desk.css")
        return Response(text, media_type="text/css", headers=KEEP)
    if name not in SHIPPED:
        return Response("no such file", 404, media_type="text/plain")
    return Response(_shipped(name), media_type=SHIPPED[name], headers=KEEP)


async def word(request: Request) -> Response:
    """What pages of this session send back; for a page whose session was renewed."""
    return Response(session_of(request).csrf, media_type="text/plain")
