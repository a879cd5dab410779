"""A school's server: who is let in, what each sees, and many at one time."""

from __future__ import annotations

import re
import signal
import ssl
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import pytest

pytest.importorskip("starlette")
pytest.importorskip("argon2")

import stores
import web_servers as servers
from click.testing import CliRunner
from test_web_takes import send

from assessor import recording
from assessor.cli import main
from assessor.history import school as tables
from assessor.history.takes import Selection, takes_of
from assessor.recording import Recording
from assessor.web import passwords
from assessor.web.passwords import (
    MOST_BY_BROWSER,
    MOST_BY_NAME,
    MOST_MARKS,
    WINDOW_S,
    Marks,
    Trier,
    Tries,
)
from assessor.web.school import KNOWN_S
from assessor.web.takes import State

TOP = servers.TOP
LICK, TAKE = "triplets-into-sixteenths", "wrong-notes.flac"
PLAYERS = 50
ANSWERED_S = 240.0


@pytest.fixture(params=stores.BOTH)
def school(
    request: pytest.FixtureRequest, tmp_path: Path
) -> Iterator[servers.SchoolServer]:
    """A school with a teacher and two players, on each database."""
    with (
        stores.new_store(request.param, tmp_path) as store,
        servers.school(store, tmp_path) as running,
    ):
        running.account("teacher", teacher=True)
        running.account("anna")
        running.account("ben")
        yield running


@pytest.fixture(scope="module")
def heard() -> Recording:
    """A shipped take."""
    return recording.read(TOP / "recordings" / TAKE)


def lick_of(school: servers.SchoolServer) -> str:
    """Name of the lick in the catalogue."""
    entries = school.house.catalogue.entries
    return next(e.name for e in entries if e.file.stem == LICK)


def handed_in(school: servers.SchoolServer, client: servers.Client) -> str:
    """A take as a file; its name once it was listened to."""
    take = str(client.ask("POST", "/takes", {"lick": lick_of(school)}).json["take"])
    content = (TOP / "recordings" / TAKE).read_bytes()
    path = f"/takes/{take}/file?ending=flac"
    assert client.ask("PUT", path, content).status == 202
    found = school.house.takes.find(take, None)
    assert found is not None
    servers.wait_until(lambda: found.kept_as is not None, "the take to be kept")
    return take


def form(client: servers.Client, path: str, **fields: str) -> servers.Answer:
    """Send a form, as our pages do."""
    return client.ask("POST", path, urlencode(fields).encode())


def test_players_see_their_own_and_teachers_all(school: servers.SchoolServer) -> None:
    """And only players' own takes are theirs to change."""
    anna, ben = school.signed_in("anna"), school.signed_in("ben")
    teacher = school.signed_in("teacher")
    take = handed_in(school, anna)
    for path in (f"/takes/{take}", f"/takes/{take}/report"):
        assert anna.get(path).status == 200
        assert teacher.get(path).status == 200
        assert ben.get(path).status == 404
    assert teacher.ask("POST", f"/takes/{take}/discard").status == 404
    assert f"/takes/{take}" in anna.get(f"/licks/{lick_of(school)}/past").text
    assert take not in ben.get(f"/licks/{lick_of(school)}/past").text
    [kept] = takes_of(school.house.store, Selection(player="anna"))
    assert kept.digest
    assert takes_of(school.house.store, Selection(player="ben")) == []


def test_an_assignment_from_giving_to_mark(school: servers.SchoolServer) -> None:
    """Given by the teacher, seen and handed in by a player, seen by the teacher."""
    anna, teacher = school.signed_in("anna"), school.signed_in("teacher")
    answer = form(
        teacher, "/school/assign", lick=lick_of(school), tempo="80", due="2030-01-31"
    )
    assert answer.status == 200
    page = anna.get("/").text
    assert "Not handed in yet" in page
    assert "31 Jan 2030" in page
    take = handed_in(school, anna)
    assert "best mark" in anna.get("/").text
    assert f'/takes/{take}">mark 84' in teacher.get("/school").text
    number = re.findall(r'"assignment": "(\d+)"', teacher.get("/school").text)[0]
    assert form(teacher, "/school/end", assignment=number).status == 200
    assert "To play" not in anna.get("/").text


def test_accounts_are_made_changed_and_closed(school: servers.SchoolServer) -> None:
    """By teachers; a closed account is out at once, and its name stays taken."""
    teacher = school.signed_in("teacher")
    made = form(teacher, "/school/account", name="<b>carl", teacher="")
    assert "&lt;b&gt;carl" in made.text
    first = re.findall(r"password (\S+):", made.text)[0]
    assert first not in teacher.get("/school").text
    assert school.try_in("<b>carl", first).status == 303
    again = form(teacher, "/school/password", name="<b>carl")
    second = re.findall(r"password (\S+):", again.text)[0]
    assert school.try_in("<b>carl", first).status == 403
    assert school.try_in("<b>carl", second).status == 303
    anna = school.signed_in("anna")
    assert form(teacher, "/school/close", name="anna").status == 200
    assert anna.get("/word").status == 401
    assert school.try_in("anna", servers.PASSWORD).status == 403
    assert form(teacher, "/school/account", name="anna", teacher="").status == 409
    assert form(teacher, "/school/close", name="teacher").status == 409


def test_two_browsers_of_one_account(
    school: servers.SchoolServer, heard: Recording
) -> None:
    """Both record at one time; neither takes from the other, nor shares its word."""
    first, second = school.signed_in("anna"), school.signed_in("anna")
    assert first.headers["Cookie"] != second.headers["Cookie"]
    other = {"X-CSRF-Token": second.headers["X-CSRF-Token"]}
    assert first.ask("POST", "/takes", {}, other).status == 403
    wish = {"lick": lick_of(school), "sample_rate_hz": heard.sample_rate_hz}
    names = [str(c.ask("POST", "/takes", wish).json["take"]) for c in (first, second)]
    with ThreadPoolExecutor() as pool:
        sent = list(
            pool.map(
                lambda one: send(one[0], one[1], heard.samples),
                zip((first, second), names, strict=True),
            )
        )
    assert sent == [len(heard.samples)] * 2
    assert first.ask("POST", "/sign-out").status == 204
    assert first.get("/word").status == 401
    assert second.get("/word").status == 200


def test_signed_in_it_outlives_a_restart(tmp_path: Path) -> None:
    """Sessions are in the store; only their hashes."""
    with stores.new_store("sqlite", tmp_path) as store:
        with servers.school(store, tmp_path) as school:
            school.account("anna")
            answer = school.try_in("anna", servers.PASSWORD)
            cookie = answer.headers["set-cookie"].partition(";")[0]
            held = cookie.partition("=")[2]
        assert held not in (tmp_path / "history.db").read_bytes().decode("latin1")
        with servers.school(store, tmp_path) as school:
            name = school.house.cookie.name
            again = {"Cookie": f"{name}={held}"}
            assert school.client.ask("GET", "/word", headers=again).status == 200


# ------------------------------------------------------------------------ refused


@pytest.fixture
def small(tmp_path: Path) -> Iterator[servers.SchoolServer]:
    """A school with one player and one teacher."""
    with (
        stores.new_store("sqlite", tmp_path) as store,
        servers.school(store, tmp_path) as running,
    ):
        running.account("anna")
        running.account("teacher", teacher=True)
        yield running


def test_without_signing_in_there_is_only_the_form(
    small: servers.SchoolServer,
) -> None:
    """Pages lead to it, everything else is refused."""
    browser = {"Accept": "text/html,*/*;q=0.8"}
    led = small.client.ask("GET", "/", headers=browser)
    assert (led.status, led.headers["location"]) == (303, "/sign-in")
    assert small.client.get("/").status == 401
    assert small.client.get("/sign-in").status == 200
    assert small.client.get("/enter?token=").status == 401
    assert small.client.ask("POST", "/takes", {}).status == 401


@pytest.mark.parametrize(
    ("method", "path"),
    [
        ("GET", "/school"), ("POST", "/school/account"), ("POST", "/school/password"),
        ("POST", "/school/close"), ("POST", "/school/assign"), ("POST", "/school/end"),
    ],
)  # fmt: skip
def test_players_are_no_teachers(
    small: servers.SchoolServer, method: str, path: str
) -> None:
    """For them these pages are not there."""
    anna = small.signed_in("anna")
    assert anna.ask(method, path, b"name=teacher").status == 404
    assert len(tables.accounts_of(small.house.store)) == 2


@pytest.mark.parametrize("name", ["anna", "nobody"])
def test_many_tries_are_stopped(small: servers.SchoolServer, name: str) -> None:
    """By name, known or not, in the same words; then the right one is not let in."""
    answers = [small.try_in(name, f"wrong {n}") for n in range(9)]
    assert [answer.status for answer in answers] == [403] * 8 + [429]
    assert "not right" in answers[0].text
    assert int(answers[-1].headers["retry-after"]) > 0
    assert small.try_in("anna", servers.PASSWORD).status == (
        429 if name == "anna" else 303
    )


def test_many_tries_at_one_time_are_stopped_too(small: servers.SchoolServer) -> None:
    """They are counted before their passwords are looked at."""
    with ThreadPoolExecutor(20) as pool:
        found = list(pool.map(lambda n: small.try_in("anna", f"{n}").status, range(20)))
    assert sorted(found) == [403] * 8 + [429] * 12


def test_many_names_from_one_address_are_stopped(small: servers.SchoolServer) -> None:
    """Whoever tries one password with every name."""
    small.house.tries.by_address.most = 5
    found = [small.try_in(f"player {n}", "summer 2026").status for n in range(7)]
    assert found == [403] * 5 + [429] * 2


def test_an_own_account_does_not_clear_the_way_to_others(
    small: servers.SchoolServer,
) -> None:
    """Signing in takes back its own try only, not those with others' names."""
    small.house.tries.by_address.most = 5
    for n in range(4):
        small.try_in(f"player {n}", "summer 2026")
    assert small.try_in("anna", servers.PASSWORD).status == 303
    assert small.try_in("player 5", "summer 2026").status == 403
    assert small.try_in("player 6", "summer 2026").status == 429


# A browser that has signed in before: OWASP, "Slow Down Online Guessing Attacks with
# Device Cookies".


def known(school: servers.SchoolServer, name: str, **held: str) -> str:
    """Cookie of a browser where somebody signed in."""
    answer = school.try_in(name, servers.PASSWORD, **held)
    return kept_of(school, answer)


def kept_of(school: servers.SchoolServer, answer: servers.Answer) -> str:
    """The lasting one of the cookies that were given."""
    for cookie in answer.cookies:
        if cookie.startswith(f"{school.house.known.name}="):
            assert {"HttpOnly", "SameSite=strict"} < set(cookie.split("; "))
            assert f"Max-Age={KNOWN_S}" in cookie
            return cookie.partition(";")[0]
    message = f"no lasting cookie among {answer.cookies}"
    raise AssertionError(message)


@pytest.fixture
def timed(small: servers.SchoolServer) -> tuple[servers.SchoolServer, list[float]]:
    """A school that counts tries by a clock that we set."""
    now_s = [0.0]
    small.house.tries = Tries(lambda: now_s[0])
    return small, now_s


def keep_out(school: servers.SchoolServer, name: str = "anna") -> None:
    """A stranger's wrong tries, from more addresses than one."""
    for n in range(MOST_BY_NAME):
        school.house.tries.failed(Trier(name, f"192.0.2.{n}"))
    assert school.try_in(name, servers.PASSWORD).status == 429


def test_a_stranger_keeps_no_known_browser_out(
    timed: tuple[servers.SchoolServer, list[float]],
) -> None:
    """Unknown browsers wait; the owner's gets in, and does not clear the way."""
    small, now_s = timed
    hers = known(small, "anna")
    keep_out(small)
    assert small.try_in("anna", "wrong", Cookie=hers).status == 403
    assert small.try_in("anna", servers.PASSWORD, Cookie=hers).status == 303
    assert small.try_in("anna", servers.PASSWORD).status == 429
    now_s[0] = WINDOW_S + 1
    assert small.try_in("anna", servers.PASSWORD).status == 303


def test_an_address_that_is_stopped_keeps_no_known_browser_out(
    small: servers.SchoolServer,
) -> None:
    """Behind a school's one address sits who tries every name."""
    hers = known(small, "anna")
    small.house.tries.by_address.most = 5
    found = [small.try_in(f"player {n}", "summer 2026").status for n in range(6)]
    assert found == [403] * 5 + [429]
    assert small.try_in("anna", servers.PASSWORD, Cookie=hers).status == 303


def test_a_known_browser_has_to_wait_too(
    timed: tuple[servers.SchoolServer, list[float]],
) -> None:
    """By its own count; that of another browser of the same account is another."""
    small, now_s = timed
    hers, other = known(small, "anna"), known(small, "anna")
    tries = [small.try_in("anna", f"wrong {n}", Cookie=hers).status for n in range(9)]
    assert tries == [403] * 8 + [429]
    assert small.try_in("anna", servers.PASSWORD, Cookie=hers).status == 429
    assert small.try_in("anna", servers.PASSWORD, Cookie=other).status == 303
    now_s[0] = WINDOW_S - 10
    assert "wait 1 minute," in small.try_in("anna", "wrong", Cookie=hers).text
    now_s[0] = WINDOW_S + 1
    assert small.try_in("anna", servers.PASSWORD, Cookie=hers).status == 303


SPOILS: dict[str, Callable[[str], str]] = {
    "cut": lambda mark: mark[:-1],
    "without its code": lambda mark: mark.partition(".")[0],
    "another number": lambda mark: ("a" if mark[0] != "a" else "b") + mark[1:],
    "another code": lambda mark: mark[:-1] + ("0" if mark[-1] != "0" else "1"),
    "invented": lambda _: "A" * 22 + "." + "0" * 64,
    "no mark at all": lambda _: "\xe9;\xff:.",
    "empty": lambda _: "",
}


@pytest.mark.parametrize("spoilt", SPOILS)
def test_a_cookie_that_is_not_ours_counts_as_none(
    small: servers.SchoolServer, spoilt: str
) -> None:
    """Whatever was done to it."""
    name, _, mark = known(small, "anna").partition("=")
    keep_out(small)
    cookie = f"{name}={SPOILS[spoilt](mark)}"
    assert small.try_in("anna", servers.PASSWORD, Cookie=cookie).status == 429
    assert small.try_in("anna", servers.PASSWORD, Cookie=f"{name}={mark}").status == 303


def test_the_cookie_of_another_account_counts_as_none(
    small: servers.SchoolServer,
) -> None:
    """Who has an account of their own tries others' no more often for it."""
    theirs = known(small, "teacher")
    keep_out(small)
    assert small.try_in("anna", servers.PASSWORD, Cookie=theirs).status == 429
    assert small.try_in("teacher", servers.PASSWORD, Cookie=theirs).status == 303


def test_a_browser_of_a_classroom_knows_many(small: servers.SchoolServer) -> None:
    """Each who signed in there; it names nobody."""
    both = known(small, "teacher", Cookie=known(small, "anna"))
    assert "anna" not in both
    for name in ("anna", "teacher"):
        keep_out(small, name)
        assert small.try_in(name, servers.PASSWORD, Cookie=both).status == 303


def test_a_cookie_has_room_for_so_many() -> None:
    """The oldest make room; one account takes one place."""
    text = ""
    for n in range(MOST_MARKS + 1):
        text = Marks(text).text_with(f"player {n}", f"hash {n}")
        text = Marks(text).text_with(f"player {n}", f"hash {n}")
    marks = Marks(text)
    held = [bool(marks.number(f"player {n}", f"hash {n}")) for n in range(21)]
    assert held == [False] + [True] * MOST_MARKS
    assert len(text) < 4096 - 200  # RFC 6265, 6.1: name, value and attributes


def test_a_forgotten_account_leaves_worthless_cookies(
    small: servers.SchoolServer,
) -> None:
    """Also where somebody gets the name, and the password, again."""
    hers = known(small, "anna")
    assert tables.forget_account(small.house.store, "anna")
    found = [small.try_in("anna", "wrong", Cookie=hers).status for _ in range(9)]
    assert found == [403] * 8 + [429]
    assert small.house.tries.wait_s(Trier("anna", "127.0.0.1")) > 0
    small.house.tries = Tries()
    small.account("anna")
    keep_out(small)
    assert small.try_in("anna", servers.PASSWORD, Cookie=hers).status == 429


def test_another_password_leaves_one_browser_known(
    small: servers.SchoolServer,
) -> None:
    """The one where it was changed, though strangers try; the others are unknown."""
    hers, other = known(small, "anna"), known(small, "anna")
    anna = small.signed_in("anna")
    keep_out(small)
    new = "another long one"
    answer = form(anna, "/password", password=servers.PASSWORD, new=new)
    assert answer.status == 204
    changed = kept_of(small, answer)
    assert small.try_in("anna", new, Cookie=changed).status == 303
    for worthless in (hers, other):
        assert small.try_in("anna", new, Cookie=worthless).status == 429


def test_who_is_signed_in_guesses_no_more_often(small: servers.SchoolServer) -> None:
    """The password of now, where somebody left a browser open."""
    anna = small.signed_in("anna")
    new = "another long one"
    found = [form(anna, "/password", password=f"{n}", new=new).status for n in range(9)]
    assert found == [403] * 8 + [429]
    assert small.try_in("anna", servers.PASSWORD).status == 303


def test_guessing_over_many_addresses_is_slowed() -> None:
    """By name; each address is stopped sooner for itself, and one try is taken back."""
    now_s = [0.0]
    tries = Tries(lambda: now_s[0])
    here, there = Trier("anna", "192.0.2.1"), Trier("anna", "192.0.2.2")
    for _ in range(MOST_BY_BROWSER):
        tries.failed(here)
    assert (tries.wait_s(here), tries.wait_s(there)) == (WINDOW_S, 0.0)
    assert tries.wait_s(Trier("ben", "192.0.2.1")) == 0.0
    for n in range(MOST_BY_NAME - MOST_BY_BROWSER - 1):
        tries.failed(Trier("anna", f"198.51.100.{n}"))
    tries.failed(there)
    assert tries.wait_s(Trier("anna", "203.0.113.9")) == WINDOW_S
    tries.fine(there)
    assert tries.wait_s(Trier("anna", "203.0.113.9")) == 0.0
    assert tries.wait_s(here) == WINDOW_S


def test_a_form_of_another_page_signs_nobody_in(small: servers.SchoolServer) -> None:
    """Nobody is signed in as somebody else without knowing."""
    for origin in ("https://evil.example", "null"):
        answer = small.try_in("anna", servers.PASSWORD, Origin=origin)
        assert answer.status == 403
        assert "set-cookie" not in answer.headers


def test_the_session_before_is_not_the_session_after(
    small: servers.SchoolServer,
) -> None:
    """Session fixation: a planted cookie, real or invented, is worth nothing."""
    teacher = small.signed_in("teacher")
    planted = teacher.headers["Cookie"]
    answer = small.try_in("anna", servers.PASSWORD, Cookie=planted)
    assert planted not in answer.headers["set-cookie"]
    assert teacher.get("/word").status == 401  # signed out: another took its place


def test_a_password_is_changed(small: servers.SchoolServer) -> None:
    """Only by who knows it; every browser must sign in again."""
    anna, other = small.signed_in("anna"), small.signed_in("anna")
    new = "another long one"
    assert form(anna, "/password", password="wrong", new=new).status == 403
    assert form(anna, "/password", password=servers.PASSWORD, new="x").status == 400
    assert form(anna, "/password", password=servers.PASSWORD, new=new).status == 204
    assert [c.get("/word").status for c in (anna, other)] == [401, 401]
    assert small.try_in("anna", servers.PASSWORD).status == 403
    assert small.try_in("anna", new).status == 303


def test_passwords_are_argon2_hashes(small: servers.SchoolServer) -> None:
    """RFC 9106; no two alike, and the words are nowhere."""
    kept = [one.password_hash for one in tables.accounts_of(small.house.store)]
    assert all(one.startswith("$argon2id$") for one in kept)
    assert len(set(kept)) == 2
    assert not any(servers.PASSWORD in one for one in kept)


def test_nothing_secret_is_printed(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """Neither passwords nor cookies, right or wrong."""
    with (
        stores.new_store("sqlite", tmp_path) as store,
        servers.school(store, tmp_path) as school,
    ):
        school.account("anna")
        anna = school.signed_in("anna")
        school.try_in("anna", "a wrong password")
    printed = "".join(capfd.readouterr())
    secrets = (servers.PASSWORD, "a wrong password", *anna.headers.values())
    assert not any(secret in printed for secret in secrets)


def test_the_form_of_another_length() -> None:
    """Passwords of any length but the shortest and the longest are taken."""
    assert passwords.why_not("x" * passwords.SHORTEST) == ""
    assert passwords.why_not("x" * (passwords.LONGEST + 1)) != ""


# -------------------------------------------------------------------- by command


def test_served_by_certificate(tmp_path: Path) -> None:
    """TLS, a cookie for TLS alone, and the account that the command made."""
    key, certificate = tmp_path / "key.pem", tmp_path / "certificate.pem"
    words = "openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes"
    words += " -days 2 -subj /CN=localhost -addext subjectAltName=DNS:localhost"
    made = [*words.split(), "-keyout", str(key), "-out", str(certificate)]
    subprocess.run(made, check=True, capture_output=True)
    store = str(tmp_path / "school.db")
    words_of_account = ["school", "account", "teacher", "--teacher", "--store", store]
    said = CliRunner().invoke(main, words_of_account)
    password = re.findall(r"password (\S+)", said.output)[0]
    command = [sys.executable, "-m", "assessor", "school", "serve", "references"]
    command += ["--port", "0", "--certificate", str(certificate), "--key", str(key)]
    command += ["--name", "localhost", "--store", store]
    command += ["--takes", str(tmp_path / "takes")]
    with subprocess.Popen(command, cwd=TOP, stdout=subprocess.PIPE, text=True) as done:
        try:
            assert done.stdout is not None
            address = re.findall(r"https://\S+", done.stdout.readline())[0]
            trusted = ssl.create_default_context(cafile=str(certificate))
            headers = {"Origin": address}
            body = urlencode({"name": "teacher", "password": password}).encode()
            request = urllib.request.Request(f"{address}/sign-in", body, headers)
            opener = urllib.request.build_opener(
                urllib.request.HTTPSHandler(context=trusted), _Stay()
            )
            with opener.open(request, timeout=30) as answer:
                assert answer.status == 303
                cookies = answer.headers.get_all("set-cookie")
                assert "max-age" in answer.headers["strict-transport-security"]
            named = [cookie.partition("=")[0] for cookie in cookies]
            assert named == ["__Host-assessor", "__Host-assessor-known"]
            for cookie in cookies:
                assert {"Secure", "HttpOnly"} < set(cookie.split("; "))
                assert "samesite=strict" in cookie.lower()
        finally:
            done.send_signal(signal.SIGINT)
            done.wait(30)
    assert done.returncode == 0


class _Stay(urllib.request.HTTPRedirectHandler):
    """Shows a redirection instead of following it."""

    def http_error_303(
        self, req: Any, fp: Any, code: Any, msg: Any, headers: Any
    ) -> Any:
        """As it came."""
        return fp


def test_somebody_is_forgotten(small: servers.SchoolServer, tmp_path: Path) -> None:
    """Account, takes and history; nothing of others."""
    anna, teacher = small.signed_in("anna"), small.signed_in("teacher")
    take, other = handed_in(small, anna), handed_in(small, teacher)
    words = ["school", "forget", "anna", "--takes", str(small.house.takes.folder)]
    done = CliRunner().invoke(main, [*words, "--store", str(tmp_path / "history.db")])
    assert "the account, 1 take of the server, 1 of the history" in done.output
    assert small.house.takes.find(take, None) is None
    assert small.house.takes.find(other, None) is not None
    assert [one.player for one in takes_of(small.house.store)] == ["teacher"]
    assert small.try_in("anna", servers.PASSWORD).status == 403
    assert b"anna" not in (tmp_path / "history.db").read_bytes()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--host", "0.0.0.0"], "over TLS"),
        (["--certificate", "x.pem"], "belong together"),
    ],
)
def test_wrong_use_is_told(words: list[str], said: str) -> None:
    """Before anything is opened."""
    done = CliRunner().invoke(main, ["school", "serve", "--port", "0", *words])
    assert done.exit_code == 2
    assert said in done.output


def test_a_certificate_that_is_none(tmp_path: Path) -> None:
    """Is told in words."""
    none = tmp_path / "none.pem"
    none.write_text("nothing")
    words = ["school", "serve", "--port", "0", "--certificate", str(none)]
    words += ["--key", str(none), "--store", str(tmp_path / "school.db")]
    words += ["--takes", str(tmp_path / "takes")]
    done = CliRunner().invoke(main, words)
    assert done.exit_code == 3
    assert "cannot be used" in done.output


# ------------------------------------------------------------------------- many


def test_fifty_players_at_one_time(tmp_path: Path, heard: Recording) -> None:
    """No take is lost, each is its player's, and all come to the same mark."""
    with (
        stores.new_store("sqlite", tmp_path) as store,
        servers.school(store, tmp_path) as school,
    ):
        people = [f"player {n}" for n in range(PLAYERS)]
        kept = passwords.hashed(servers.PASSWORD)
        for name in people:
            tables.add_account(store, name, kept)
        with ThreadPoolExecutor(PLAYERS) as pool:
            clients = list(pool.map(school.signed_in, people))

            def play(client: servers.Client) -> str:
                wish = {"lick": lick_of(school), "sample_rate_hz": heard.sample_rate_hz}
                take = str(client.ask("POST", "/takes", wish).json["take"])
                assert send(client, take, heard.samples) == len(heard.samples)
                assert client.ask("POST", f"/takes/{take}/end", {}).status == 200
                return take

            names = list(pool.map(play, clients))
        end_s = time.monotonic() + ANSWERED_S
        takes = [school.house.takes.find(name, None) for name in names]
        while time.monotonic() < end_s and not all(t and t.kept_as for t in takes):
            time.sleep(0.5)
        assert all(t is not None and t.state is State.ANSWERED for t in takes)
        assert [t.about.player for t in takes if t] == people
        marks = {round(t.answer["mark"]) for t in takes if t}
        assert marks == {84}
        assert {one.player for one in takes_of(store)} == set(people)
