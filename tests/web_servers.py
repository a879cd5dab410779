"""A desk on a port of this machine for tests, and a client that says what it likes."""

from __future__ import annotations

import http.client
import json
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import stores
from starlette.types import ASGIApp

from assessor.history import school as tables
from assessor.history.store import Store
from assessor.review.books import Books
from assessor.web import passwords
from assessor.web.app import desk_app, review_app, school_app
from assessor.web.doors import Rules, origins_of
from assessor.web.house import Caps, House, rooms
from assessor.web.listening import Limits
from assessor.web.review import Classroom
from assessor.web.school import Enrolled, School
from assessor.web.serving import listen_on, server_of
from assessor.web.sessions import Cookie, Person, Remembered

TOP = Path(__file__).parents[1]
HOST = "127.0.0.1"
PATIENCE_S = 60.0
STEP_S = 0.05
TOKEN = "a-token-of-a-test"


@dataclass
class Answer:
    """What came back; of a header that came more than once, the first."""

    status: int
    headers: dict[str, str]
    body: bytes
    cookies: tuple[str, ...] = ()

    @property
    def text(self) -> str:
        """Body as text."""
        return self.body.decode()

    @property
    def json(self) -> Any:
        """Body as JSON."""
        return json.loads(self.body)


@dataclass
class Client:
    """A browser's requests, by default as our own page makes them."""

    port: int
    headers: dict[str, str] = field(default_factory=dict)

    def ask(
        self,
        method: str,
        path: str,
        body: Any = None,
        headers: dict[str, str | None] | None = None,
    ) -> Answer:
        """One request; a header that is None is left out."""
        sent: dict[str, str | None] = {**self.headers}
        if method not in ("GET", "HEAD"):
            sent["Origin"] = f"http://{HOST}:{self.port}"
        sent |= headers or {}
        data = json.dumps(body).encode() if isinstance(body, dict) else body
        link = http.client.HTTPConnection(HOST, self.port, timeout=PATIENCE_S)
        named = {name: value for name, value in sent.items() if value is not None}
        link.request(method, path, data, named)
        got = link.getresponse()
        pairs = [(name.lower(), value) for name, value in got.getheaders()]
        cookies = tuple(value for name, value in pairs if name == "set-cookie")
        answer = Answer(got.status, dict(reversed(pairs)), got.read(), cookies)
        link.close()
        return answer

    def get(self, path: str) -> Answer:
        """GET."""
        return self.ask("GET", path)

    def entered(self, token: str = TOKEN) -> Client:
        """Be let in by the link, in a new session."""
        answer = self.get(f"/enter?token={token}")
        assert answer.status == 303
        cookie = answer.headers["set-cookie"].partition(";")[0]
        inside = replace(self, headers={"Cookie": cookie})
        word = inside.get("/word").text
        return replace(self, headers={"Cookie": cookie, "X-CSRF-Token": word})


@contextmanager
def running(app: ASGIApp, listener: Any) -> Iterator[None]:
    """Serve an application in a thread."""
    server = server_of(app)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]})
    thread.start()
    try:
        wait_until(lambda: server.started, "the server to start")
        yield
    finally:
        server.should_exit = True
        thread.join()
        listener.close()


@dataclass
class Desk:
    """A desk that runs."""

    house: House
    client: Client

    def known(self, player: str) -> Client:
        """Client of somebody who is signed in already."""
        held = self.house.sessions.open(Person(player))
        inside = replace(
            self.client, headers={"Cookie": f"{self.house.cookie.name}={held}"}
        )
        inside.headers["X-CSRF-Token"] = inside.get("/word").text
        return inside

    @property
    def link(self) -> str:
        """Address that lets in."""
        return f"http://{HOST}:{self.client.port}/enter?token={TOKEN}"

    def lick(self, stem: str) -> str:
        """Name of a lick by its file."""
        found = [e.name for e in self.house.catalogue.entries if e.file.stem == stem]
        return found[0]


@contextmanager
def desk(
    folder: Path,
    *,
    caps: Caps | None = None,
    limits: Limits | None = None,
    pause_s: float = 10.0,
    licks: Path = TOP / "references",
) -> Iterator[Desk]:
    """A desk with an empty history and no takes, unless the folder has some."""
    listener = listen_on(HOST, 0, tls=False, sign_in=False)
    port = listener.getsockname()[1]
    with stores.new_store("sqlite", folder) as store:
        house = House(
            **rooms(folder / "takes", [licks]),
            store=store,
            sessions=Remembered(),
            cookie=Cookie(f"assessor-{port}", secure=False),
            link_token=TOKEN,
        )
        house.caps = caps or house.caps
        house.workers.limits = limits or house.workers.limits
        rules = Rules(origins_of("http", [HOST], port), house.most_bytes, pause_s)
        with running(desk_app(house, rules), listener):
            yield Desk(house, Client(port))


@dataclass
class Review:
    """A class being reviewed."""

    room: Classroom
    client: Client

    @property
    def link(self) -> str:
        """Address that lets in."""
        return f"http://{HOST}:{self.client.port}/enter?token={TOKEN}"


@contextmanager
def review(books: Books) -> Iterator[Review]:
    """A teacher's pages for a review."""
    listener = listen_on(HOST, 0, tls=False, sign_in=False)
    port = listener.getsockname()[1]
    room = Classroom(
        sessions=Remembered(),
        cookie=Cookie(f"assessor-{port}", secure=False),
        link_token=TOKEN,
        books=books,
        author="A. Teacher",
    )
    rules = Rules(origins_of("http", [HOST], port), room.most_bytes)
    with running(review_app(room, rules), listener):
        yield Review(room, Client(port))


PASSWORD = "a long enough one"


@dataclass
class SchoolServer:
    """A school that runs."""

    house: School
    client: Client

    def account(self, name: str, *, teacher: bool = False) -> None:
        """Make an account with `PASSWORD`."""
        kept = passwords.hashed(PASSWORD)
        tables.add_account(self.house.store, name, kept, teacher=teacher)

    def try_in(self, name: str, password: str, **headers: str) -> Answer:
        """Answer to a name and a password."""
        form = urlencode({"name": name, "password": password}).encode()
        return self.client.ask("POST", "/sign-in", form, dict(headers))

    def signed_in(self, name: str) -> Client:
        """Somebody who signed in."""
        answer = self.try_in(name, PASSWORD)
        assert answer.status == 303
        cookie = answer.headers["set-cookie"].partition(";")[0]
        inside = replace(self.client, headers={"Cookie": cookie})
        inside.headers["X-CSRF-Token"] = inside.get("/word").text
        return inside


@contextmanager
def school(store: Store, folder: Path) -> Iterator[SchoolServer]:
    """A school's server on loopback, without TLS."""
    listener = listen_on(HOST, 0, tls=False, sign_in=True)
    port = listener.getsockname()[1]
    tables.prepare(store)
    enrolled = Enrolled(store)
    house = School(
        **rooms(folder / "takes", [TOP / "references"], 2),
        store=store,
        sessions=enrolled,
        enrolled=enrolled,
        cookie=Cookie(f"assessor-{port}", secure=False),
        signs_in=True,
    )
    rules = Rules(origins_of("http", [HOST], port), house.most_bytes)
    with running(school_app(house, rules), listener):
        yield SchoolServer(house, Client(port))


def wait_until(
    true: Callable[[], Any], what: str, patience_s: float = PATIENCE_S
) -> Any:
    """Wait for something that happens in its own time."""
    end_s = time.monotonic() + patience_s
    while time.monotonic() < end_s:
        if found := true():
            return found
        time.sleep(STEP_S)
    message = f"waited {patience_s:g} s for {what}"
    raise AssertionError(message)
