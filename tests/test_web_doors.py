"""Who is let in to a desk, from where, with how much, and how slowly."""

from __future__ import annotations

import re
import socket
import time
from collections.abc import Iterator
from html.parser import HTMLParser
from http.client import HTTPResponse
from pathlib import Path

import pytest
from click.testing import CliRunner

pytest.importorskip("starlette")

import web_servers as servers

from assessor.cli import main
from assessor.web import serving
from assessor.web.house import Caps
from assessor.web.serving import CannotServe, listen_on

LICK = "triplets-into-sixteenths"
SMALL = Caps(piece_bytes=4_000, file_bytes=20_000, recorded_bytes=30_000)
PAUSE_S = 0.4
HTMX = {"HX-Request": "true"}
NO_TAKE = "0" * 32
GET_PATHS = ("/", "/word", "/licks/0123456789abcdef", f"/takes/{NO_TAKE}")
CHANGES = (
    ("POST", "/takes"),
    ("PUT", f"/takes/{NO_TAKE}/sound?from=0"),
    ("PUT", f"/takes/{NO_TAKE}/file"),
    ("POST", f"/takes/{NO_TAKE}/end"),
    ("POST", f"/takes/{NO_TAKE}/keep"),
    ("POST", f"/takes/{NO_TAKE}/discard"),
)


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[servers.Desk]:
    """A desk that takes little and waits for nobody."""
    folder = tmp_path_factory.mktemp("desk")
    with servers.desk(folder, caps=SMALL, pause_s=PAUSE_S) as running:
        yield running


@pytest.fixture(scope="module")
def inside(desk: servers.Desk) -> servers.Client:
    """Somebody who has opened the link."""
    return desk.client.entered()


def begun(desk: servers.Desk, client: servers.Client, rate_hz: int = 44_100) -> str:
    """Name of a new take."""
    wish = {"lick": desk.lick(LICK), "sample_rate_hz": rate_hz}
    answer = client.ask("POST", "/takes", wish)
    assert answer.status == 201
    return str(answer.json["take"])


# ------------------------------------------------------------------ without a link


@pytest.mark.parametrize("path", GET_PATHS)
def test_nothing_is_shown_without_the_link(desk: servers.Desk, path: str) -> None:
    """Nor is told whether it is there."""
    assert desk.client.get(path).status == 401


@pytest.mark.parametrize(("method", "path"), CHANGES)
def test_nothing_is_changed_without_the_link(
    desk: servers.Desk, method: str, path: str
) -> None:
    """Even when everything else is right."""
    assert desk.client.ask(method, path, b"{}").status == 401


@pytest.mark.parametrize("token", ["", "wrong", servers.TOKEN[:-1]])
def test_a_wrong_link_lets_nobody_in(desk: servers.Desk, token: str) -> None:
    """And gives no cookie."""
    answer = desk.client.get(f"/enter?token={token}")
    assert answer.status == 403
    assert "set-cookie" not in answer.headers


def test_the_link_gives_a_cookie_that_scripts_cannot_read(desk: servers.Desk) -> None:
    """And that no other site makes a browser send."""
    cookie = desk.client.get(f"/enter?token={servers.TOKEN}").headers["set-cookie"]
    assert "httponly" in cookie.lower()
    assert "samesite=strict" in cookie.lower()


def test_a_session_that_was_brought_along_is_not_taken_over(
    desk: servers.Desk,
) -> None:
    """Session fixation: whoever planted a cookie gains nothing when it is used."""
    name = desk.house.cookie.name
    planted = {"Cookie": f"{name}=planted"}
    answer = desk.client.ask("GET", f"/enter?token={servers.TOKEN}", headers=planted)
    assert answer.status == 303
    assert "planted" not in answer.headers["set-cookie"]
    assert desk.client.ask("GET", "/", headers=planted).status == 401


def test_every_session_is_another(desk: servers.Desk) -> None:
    """Two browsers of one person share nothing that could be guessed."""
    first, second = desk.client.entered(), desk.client.entered()
    assert first.headers["Cookie"] != second.headers["Cookie"]
    assert first.headers["X-CSRF-Token"] != second.headers["X-CSRF-Token"]


# ------------------------------------------------------------- from somewhere else


@pytest.mark.parametrize(
    "host", ["evil.example", "127.0.0.1", "localhost:1", "127.0.0.1.evil.example:{}"]
)
def test_another_name_is_not_answered(inside: servers.Client, host: str) -> None:
    """A name that points here (DNS rebinding) opens nothing, cookie or not."""
    named = host.format(inside.port)
    assert inside.ask("GET", "/", headers={"Host": named}).status == 421


@pytest.mark.parametrize(
    "origin", [None, "null", "https://evil.example", "http://127.0.0.1:1"]
)
@pytest.mark.parametrize(("method", "path"), CHANGES)
def test_another_page_changes_nothing(
    inside: servers.Client, method: str, path: str, origin: str | None
) -> None:
    """Neither one of another site nor one that does not say."""
    assert inside.ask(method, path, b"{}", {"Origin": origin}).status == 403


@pytest.mark.parametrize("site", ["cross-site", "same-site", "none"])
def test_the_browser_says_that_it_is_another_page(
    inside: servers.Client, site: str
) -> None:
    """Fetch metadata count, too."""
    answer = inside.ask("POST", "/takes", {}, {"Sec-Fetch-Site": site})
    assert answer.status == 403


@pytest.mark.parametrize("word", [None, "", "wrong"])
@pytest.mark.parametrize(("method", "path"), CHANGES)
def test_a_page_must_send_its_word_back(
    inside: servers.Client, method: str, path: str, word: str | None
) -> None:
    """CSRF."""
    assert inside.ask(method, path, b"{}", {"X-CSRF-Token": word}).status == 403


def test_the_word_of_another_session_will_not_do(desk: servers.Desk) -> None:
    """It belongs to one session."""
    first, second = desk.client.entered(), desk.client.entered()
    other = {"X-CSRF-Token": second.headers["X-CSRF-Token"]}
    assert first.ask("POST", "/takes", {}, other).status == 403


def test_other_methods_are_not_known(inside: servers.Client) -> None:
    """Only reading, adding and changing."""
    for method in ("DELETE", "PATCH", "TRACE", "OPTIONS"):
        assert inside.ask(method, "/").status == 405


# -------------------------------------------------------------------- what is shown


class Inline(HTMLParser):
    """Finds what a policy without ``unsafe-inline`` would stop."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Collect scripts, styles and what runs on events."""
        names = [name for name, _ in attrs]
        if tag == "style" or (tag == "script" and "src" not in names):
            self.found.append(tag)
        self.found += [n for n in names if n == "style" or n.startswith("on")]


def test_pages_have_a_policy_and_nothing_inline(
    desk: servers.Desk, inside: servers.Client
) -> None:
    """Every page, and those that say what is wrong."""
    lick = desk.lick(LICK)
    for path in ("/", f"/licks/{lick}", f"/licks/{lick}/past", "/licks/nothing"):
        answer = inside.get(path)
        policy = answer.headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert answer.headers["x-content-type-options"] == "nosniff"
        parser = Inline()
        parser.feed(answer.text)
        assert parser.found == []


def test_htmx_comes_with_its_licence(desk: servers.Desk) -> None:
    """Zero-Clause BSD."""
    assert "Zero-Clause BSD" in desk.client.get("/static/htmx.LICENSE.txt").text


SNEAKY = (
    "/static/../pages.py", "/static/..%2fpages.py", "/static/%2e%2e%2fpages.py",
    "/static/..%5cpages.py", "/static//etc/passwd", "/static/%00", "/static/desk.css",
    "/licks/../pyproject.toml", "/licks/..%2f..%2fpyproject.toml",
    "/takes/..", "/takes/../../../etc/passwd", "/takes/..%2f..%2fhistory.db",
    "/takes/%2e%2e/report", f"/takes/{NO_TAKE}/../report", "//etc/passwd",
    f"/takes/{NO_TAKE}%2fabout.json/report",
)  # fmt: skip


@pytest.mark.parametrize("path", SNEAKY)
def test_no_path_leads_out(inside: servers.Client, path: str) -> None:
    """What is not an address of ours is not there."""
    assert inside.get(path).status == 404


# ------------------------------------------------------------------------- takes


def test_a_take_is_only_its_players(desk: servers.Desk) -> None:
    """Somebody else's is as little there as one that never was."""
    anna, ben = desk.known("anna"), desk.known("ben")
    take = begun(desk, anna)
    for path in ("", "/report"):
        theirs = ben.get(f"/takes/{take}{path}")
        never = ben.get(f"/takes/{NO_TAKE}{path}")
        assert (theirs.status, theirs.text) == (404, never.text)
    for method, path in CHANGES[1:]:
        own = path.replace(NO_TAKE, take)
        assert ben.ask(method, own, b"\0\0\0\0").status == 404
    assert anna.ask("GET", f"/takes/{take}", headers=HTMX).status == 200


def test_names_of_takes_cannot_be_guessed(desk: servers.Desk) -> None:
    """128 bits by chance, and none like another."""
    client = desk.known("carl")
    names = [begun(desk, client) for _ in range(8)]
    assert len({name[:8] for name in names}) == len(names)
    assert all(re.fullmatch("[0-9a-f]{32}", name) for name in names)


def test_nobody_begins_takes_without_end(desk: servers.Desk) -> None:
    """Folders of takes that never come fill no disk."""
    client = desk.known("dora")
    wish = {"lick": desk.lick(LICK), "sample_rate_hz": 44_100}
    answers = [client.ask("POST", "/takes", wish).status for _ in range(21)]
    assert answers == [201] * 20 + [429]


@pytest.mark.parametrize(
    "wish",
    [
        {"sample_rate_hz": 1}, {"sample_rate_hz": "44100"}, {"tempo_bpm": 1e9},
        {"tempo_bpm": "nan"}, {"tempo_bpm": []}, {"click": "loud"}, {"click": []},
        {"tolerance": "../x"}, {"tolerance": {}}, {"lick": "../x"}, {"lick": None},
    ],
)  # fmt: skip
def test_wishes_that_make_no_sense(
    desk: servers.Desk, inside: servers.Client, wish: dict[str, object]
) -> None:
    """Are refused in words, not with a fault of the server."""
    answer = inside.ask("POST", "/takes", {"lick": desk.lick(LICK), **wish})
    assert answer.status in (400, 404)


@pytest.mark.parametrize("body", [b"", b"[]", b"nothing", b"[" * 20_000, b"\xff"])
def test_bodies_that_are_no_wish(inside: servers.Client, body: bytes) -> None:
    """Neither JSON nor an object."""
    assert inside.ask("POST", "/takes", body).status in (400, 404)


def test_the_name_of_a_file_is_ours(desk: servers.Desk) -> None:
    """What the player calls it is at most an ending that sound files have."""
    client = desk.known("emil")
    for ending in ("../../x", "py", "m4a", "M4A", "a" * 300, "%2e%2e%2fx"):
        take = begun(desk, client, 0)
        sent = client.ask("PUT", f"/takes/{take}/file?ending={ending}", b"no sound")
        assert sent.status == 202
        found = desk.house.takes.find(take, "emil")
        assert found is not None
        assert found.sound is not None
        assert found.sound.name in ("upload.sound", "upload.m4a")


# ------------------------------------------------------------------ much and slow


def test_a_piece_that_is_too_large(desk: servers.Desk, inside: servers.Client) -> None:
    """Said by its length, before it is read."""
    take = begun(desk, inside)
    body = bytes(SMALL.piece_bytes + 4)
    answer = inside.ask("PUT", f"/takes/{take}/sound?from=0", body)
    assert answer.status == 413
    assert "at most" in answer.text


def test_a_piece_that_hides_its_size(
    desk: servers.Desk, inside: servers.Client
) -> None:
    """In chunks, without a length: counted while it comes."""
    take = begun(desk, inside)
    chunks = iter([bytes(1_000)] * 6)
    answer = inside.ask("PUT", f"/takes/{take}/sound?from=0", chunks)
    assert answer.status == 413


def test_a_recording_without_end(desk: servers.Desk, inside: servers.Client) -> None:
    """Many small pieces are bounded, too."""
    take = begun(desk, inside)
    answers = []
    for first in range(0, 10_000, 1_000):
        path = f"/takes/{take}/sound?from={first}"
        answers.append(inside.ask("PUT", path, bytes(4_000)).status)
    assert answers == [200] * 7 + [413] + [413] * 2


def test_a_file_that_is_too_large_leaves_nothing(
    desk: servers.Desk, inside: servers.Client
) -> None:
    """In chunks: what had come is removed."""
    take = begun(desk, inside, 0)
    chunks = iter([bytes(5_000)] * 5)
    assert inside.ask("PUT", f"/takes/{take}/file?ending=wav", chunks).status == 413
    found = desk.house.takes.find(take, "")
    assert found is not None
    assert [file.name for file in found.folder.iterdir()] == ["about.json"]


def spoken(port: int, text: str) -> socket.socket:
    """Connection on which something was said."""
    link = socket.create_connection((servers.HOST, port), timeout=10)
    link.sendall(text.encode())
    return link


def test_a_body_that_does_not_come(desk: servers.Desk, inside: servers.Client) -> None:
    """After a while nobody waits any more."""
    take = begun(desk, inside)
    head = (
        f"PUT /takes/{take}/sound?from=0 HTTP/1.1\r\n"
        f"Host: {servers.HOST}:{inside.port}\r\n"
        f"Origin: http://{servers.HOST}:{inside.port}\r\n"
        f"Cookie: {inside.headers['Cookie']}\r\n"
        f"X-CSRF-Token: {inside.headers['X-CSRF-Token']}\r\n"
        "Content-Length: 400\r\n\r\n1234"
    )
    began_s = time.monotonic()
    with spoken(inside.port, head) as link:
        said = link.recv(1000)
    assert said.startswith(b"HTTP/1.1 408")
    assert PAUSE_S * 0.9 <= time.monotonic() - began_s < 5


def test_a_request_that_is_never_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A first line that does not end: hung up on, after the time for it."""
    monkeypatch.setattr(serving, "HEAD_S", PAUSE_S)
    with servers.desk(tmp_path) as desk:
        began_s = time.monotonic()
        with spoken(desk.client.port, "GET / HTT") as link:
            assert link.recv(100) == b""
        assert time.monotonic() - began_s < 5


def test_a_second_request_that_is_never_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nor is the next one on a connection waited for, though bytes trickle in."""
    monkeypatch.setattr(serving, "HEAD_S", PAUSE_S)
    with servers.desk(tmp_path) as desk:
        whole = f"GET / HTTP/1.1\r\nHost: {servers.HOST}:{desk.client.port}\r\n\r\n"
        with spoken(desk.client.port, whole) as link:
            assert answered(link) == 401
            time.sleep(2 * PAUSE_S)  # a pause between two requests is no crime
            link.sendall(whole.encode())
            assert answered(link) == 401
            assert hung_up_after_s(link) < 4


def answered(link: socket.socket) -> int:
    """Status of the next whole answer on a connection."""
    answer = HTTPResponse(link)
    answer.begin()
    answer.read()
    answer.close()
    return answer.status


def hung_up_after_s(link: socket.socket) -> float:
    """Seconds until a trickle of bytes is not taken any more, or five."""
    began_s = time.monotonic()
    while (passed_s := time.monotonic() - began_s) < 5:
        try:
            link.sendall(b"G")
        except OSError:
            break
        time.sleep(PAUSE_S / 4)
    return passed_s


# --------------------------------------------------------------- other addresses


@pytest.mark.parametrize("host", ["0.0.0.0", "192.0.2.1", "::"])
@pytest.mark.parametrize(("tls", "sign_in"), [(0, 0), (1, 0), (0, 1)])
def test_other_machines_only_with_tls_and_sign_in(
    host: str, tls: bool, sign_in: bool
) -> None:
    """Both, or it is not listened at all."""
    with pytest.raises(CannotServe, match="sign in"):
        listen_on(host, 0, tls=tls, sign_in=sign_in)


def test_the_command_refuses_other_addresses() -> None:
    """In words, with the code of wrong use."""
    done = CliRunner().invoke(main, ["desk", "--host", "0.0.0.0", "--no-open"])
    assert done.exit_code == 2
    assert "over TLS" in done.output


def test_a_port_that_is_taken() -> None:
    """Says so, and what to do."""
    with listen_on(servers.HOST, 0, tls=False, sign_in=False) as taken:
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(CannotServe, match="--port"):
            listen_on(servers.HOST, port, tls=False, sign_in=False)


def test_nothing_secret_is_printed(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """Neither the link's token nor a session's cookie or word, whatever is asked."""
    with servers.desk(tmp_path) as desk:
        client = desk.client.entered()
        client.get("/nothing")
        client.ask("POST", "/takes", b"nothing")
    printed = "".join(capfd.readouterr())
    secrets = (servers.TOKEN, *client.headers.values())
    assert not any(secret in printed for secret in secrets)
