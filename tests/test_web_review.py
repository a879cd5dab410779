"""A teacher goes through a class in a real browser: hears, overrules, sees it count."""

from __future__ import annotations

import os
import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

if not os.environ.get("CI"):
    pytest.importorskip("selenium")
    pytest.importorskip("starlette")
    if not (shutil.which("chromium") and shutil.which("chromedriver")):
        pytest.skip("no chromium on this machine", allow_module_level=True)

import made_up_class
import web_servers as servers
from click.testing import CliRunner
from test_page_axe import AXE, LEAST_PASSED, RULES, RUN
from test_page_browser import browser, log, see

from assessor.assessment import Settings
from assessor.cli import main
from assessor.report.class_work import correct, renew, write_class
from assessor.review import assignment, planning
from assessor.review.books import Books, open_books
from assessor.review.corrections import Correction, What

__all__ = ["browser"]  # a fixture

PLAYERS, NOTES = 3, 12
MISSED = 4  # note that the second player leaves out


@pytest.fixture
def books(tmp_path: Path) -> Books:
    """A class of three, of whom the second leaves a note out; reports are drawn."""
    folder = tmp_path / "class"
    asked = made_up_class.write_class(folder, PLAYERS, shorter=NOTES)
    made_up_class.write_sheet(folder / "short.lick", asked)
    (folder / "player-000" / "broken.wav").write_bytes(b"RIFF, not")
    found = open_books(tmp_path / "out", create=True)
    options = planning.Options(sound=False)
    wanted = assignment.of_lick(folder / "short.lick", Settings())
    planning.plan(found, wanted, str(folder), options)
    renew(found, {one.take_id for one in found.planned()})
    write_class(found)
    return found


@pytest.fixture
def review(books: Books) -> Iterator[servers.Review]:
    """Its pages."""
    with servers.review(books) as running:
        yield running


def take_of(books: Books, player: str, ending: str = ".flac") -> str:
    """Take of a player, by the name of its folder."""
    found = [
        one.take_id
        for one in books.planned()
        if player in one.name and one.name.endswith(ending)
    ]
    return found[0]


def open_take(browser: Any, review: servers.Review, take: str, more: str = "") -> None:
    """Come by the link and open a take."""
    see(browser, 1280)
    browser.get(review.link)
    browser.get(f"http://{servers.HOST}:{review.client.port}/listen/{take}{more}")
    servers.wait_until(lambda: signs(browser)[0] != "", "the verdicts")


def signs(browser: Any) -> list[str]:
    """What stands under each note."""
    # in one step: the part of the page is replaced with every correction
    script = "return document.getElementById('state')?.dataset.signs || ''"
    return str(browser.execute_script(script)).split(" ")


def note(browser: Any, index: int) -> Any:
    """A note in the picture that is seen, with the focus on it."""
    found = browser.find_elements("css selector", f'.tab [data-note="{index}"]')
    shown = next(one for one in found if one.is_displayed())
    browser.execute_script("arguments[0].focus()", shown)
    return browser.switch_to.active_element


def class_table(browser: Any, review: servers.Review) -> str:
    """Text of the class page."""
    browser.get(f"http://{servers.HOST}:{review.client.port}/class")
    return str(browser.find_element("tag name", "body").text)


def test_a_note_is_heard_and_overruled_and_the_class_page_changes(
    browser: Any, review: servers.Review, books: Books
) -> None:
    """All of it by keyboard, from the list to the class page."""
    take = take_of(books, "player-001")
    open_take(browser, review, take)
    before = class_table(browser, review)
    browser.back()
    servers.wait_until(lambda: signs(browser)[MISSED] == "missed", "the verdicts")
    note(browser, MISSED).send_keys("\n")
    work = browser.find_element("id", "work")
    servers.wait_until(
        lambda: work.get_attribute("data-playing") == str(MISSED), "sound from there"
    )
    # words that lag behind the signs are then seen to
    browser.execute_script("htmx.config.defaultSettleDelay = 5000")
    note(browser, MISSED).send_keys("r")
    servers.wait_until(lambda: signs(browser)[MISSED] == "right*", "the correction")
    assert "by your ear" in browser.find_element("id", "noted").text
    after = class_table(browser, review)
    assert after != before
    assert "1 corrected by ear" in after
    assert log(browser) == []
    browser.back()
    servers.wait_until(lambda: signs(browser)[MISSED] == "right*", "the verdicts")
    note(browser, MISSED).send_keys("x")
    servers.wait_until(lambda: signs(browser)[MISSED] == "missed", "the tool's again")
    assert "corrected by ear" not in class_table(browser, review)


def test_what_the_teacher_says_has_an_author_and_survives(
    browser: Any, review: servers.Review, books: Books
) -> None:
    """Re-assessed, the take is shown as the teacher has it."""
    take = take_of(books, "player-001")
    open_take(browser, review, take)
    note(browser, MISSED).send_keys("u")
    servers.wait_until(lambda: signs(browser)[MISSED] == "unsure*", "the correction")
    renew(books, {take})
    [said] = review.room.read().take(take).corrections
    assert (said.author, said.value, said.note) == ("A. Teacher", "unsure", MISSED)
    browser.refresh()
    assert signs(browser)[MISSED] == "unsure*"


def test_remarks_and_marks(browser: Any, review: servers.Review, books: Books) -> None:
    """On the take and on a note; taken back again; nothing in them is HTML."""
    take = take_of(books, "player-000")
    open_take(browser, review, take)
    note(browser, 2).send_keys("e")
    words = "<b>Lift</b> the finger"
    browser.switch_to.active_element.send_keys(words)
    browser.find_element("css selector", "form[data-say=remark] button").click()
    found = browser.find_element("id", "found")
    servers.wait_until(lambda: words in found.text, "the remark")
    form = browser.find_element("css selector", "form[data-say=reading]")
    form.find_element("name", "value").send_keys("61")
    form.find_element("tag name", "button").click()
    servers.wait_until(lambda: "Mark 61 of 100" in found.text, "the mark")
    shown = review.room.read().take(take)
    assert {one.what: one.note for one in shown.corrections} == {
        What.REMARK: 2,
        What.READING: None,
    }
    for left in (1, 0):
        said = found.find_elements("css selector", "h2 + .faults button")
        assert len(said) == left + 1
        said[0].click()
        rows = "#found h2 + .faults li"
        servers.wait_until(
            lambda n=left, css=rows: (
                len(browser.find_elements("css selector", css)) == n
            ),
            "it to be taken back",
        )
    assert review.room.read().take(take).corrections == ()


def test_what_has_no_meaning_is_told(
    browser: Any, review: servers.Review, books: Books
) -> None:
    """In words, and nothing is kept."""
    take = take_of(books, "player-000")
    open_take(browser, review, take)
    form = browser.find_element("css selector", "form[data-say=reading]")
    form.find_element("name", "value").send_keys("101")
    form.find_element("tag name", "button").click()
    warned = browser.find_element("id", "warned")
    servers.wait_until(lambda: "from 0 to 100" in warned.text, "words")
    assert review.room.read().take(take).corrections == ()


def test_the_next_take_by_keyboard(
    browser: Any, review: servers.Review, books: Books
) -> None:
    """The most doubtful first; what was heard without a word does not come again."""
    see(browser, 1280)
    browser.get(review.link)
    assert "For your ears first: 1" in browser.find_element("id", "ears").text
    browser.find_element("partial link text", "Listen to the first").send_keys("\n")
    broken = take_of(books, "player-000", ".wav")
    servers.wait_until(lambda: broken in browser.current_url, "the refused take")
    assert "could not be assessed" in browser.find_element("id", "found").text
    note(browser, 0).send_keys("n")
    servers.wait_until(
        lambda: browser.find_elements("id", "ears"), "the list: nothing else waits"
    )
    assert "For your ears first: 0" in browser.find_element("id", "ears").text


def test_judged_blind(browser: Any, review: servers.Review, books: Books) -> None:
    """Nothing that was found is on the page; what is said counts as blind."""
    take = take_of(books, "player-001")
    open_take(browser, review, take, "?blind=1")
    assert signs(browser) == ["-"] * NOTES
    text = browser.find_element("id", "main").text
    assert not re.search(r"\d+ of \d+ notes right|Mark \d|missed$", text)
    note(browser, MISSED).send_keys("m")
    servers.wait_until(lambda: signs(browser)[MISSED] == "missed*", "the verdict")
    note(browser, 0).send_keys("a")
    servers.wait_until(lambda: signs(browser)[0] == "right*", "the others")
    corrections = review.room.read().take(take).corrections
    assert len(corrections) == NOTES
    assert all(one.blind for one in corrections)
    assert [one.value for one in corrections].count("missed") == 1


def test_whoever_has_no_link_sees_and_changes_nothing(
    review: servers.Review, books: Books
) -> None:
    """Nor does a page of somebody else in a browser that has it."""
    take = take_of(books, "player-001")
    for path in ("/", "/class", f"/listen/{take}", f"/takes/{take}.html"):
        assert review.client.get(path).status == 401
    inside = review.client.entered()
    say = (f"/listen/{take}/say", b"what=verdict&note=0&value=wrong")
    for headers in ({"Origin": "https://evil.example"}, {"X-CSRF-Token": "x"}):
        assert inside.ask("POST", *say, headers).status == 403
    for body in (b"", b"what=verdict&note=x&value=wrong", b"what=nothing", b"\xff"):
        assert inside.ask("POST", say[0], body).status == 400
    assert review.room.read().take(take).corrections == ()
    for path in ("/takes/..%2f..%2fprivate%2froster.json.html", "/takes/x.html",
                 "/listen/../private", f"/listen/{take[:4]}"):  # fmt: skip
        assert inside.get(path).status == 404
    assert inside.ask("POST", *say).status == 200


def test_the_class_page_leads_to_reports(review: servers.Review, books: Books) -> None:
    """With pseudonyms, unless names are asked for."""
    inside, take = review.client.entered(), take_of(books, "player-001")
    page = inside.get("/class")
    assert f"takes/{take}.html" in page.text
    assert "script-src 'none'" in page.headers["content-security-policy"]
    report = inside.get(f"/takes/{take}.html")
    assert report.status == 200
    assert "sandbox" in report.headers["content-security-policy"]
    name = next(iter(review.room.read().names.values()))
    assert name not in inside.get("/").text
    review.room.names = True
    assert name in inside.get("/").text


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 1280])
def test_no_rule_of_accessible_pages_is_broken(
    browser: Any, review: servers.Review, books: Books, width: int, theme: str
) -> None:
    """The list and a take with faults and remarks; nothing sticks out."""
    if not AXE.exists():
        pytest.skip("axe-core is not installed")
    take = take_of(books, "player-001")
    correct(books, [Correction(take, What.REMARK, "Well held", "T", note=1)])
    browser.execute_cdp_cmd("Page.setBypassCSP", {"enabled": True})
    try:
        browser.get(review.link)
        see(browser, width, theme)
        check_page(browser, width)
        open_take(browser, review, take)
        see(browser, width, theme)
        check_page(browser, width)
    finally:
        browser.execute_cdp_cmd("Page.setBypassCSP", {"enabled": False})


def check_page(browser: Any, width: int) -> None:
    """Hold a page against axe, and its width against the window's."""
    browser.execute_script(AXE.read_text(encoding="utf-8"))
    passed, broken = browser.execute_async_script(RUN, RULES)
    assert broken == []
    assert passed >= LEAST_PASSED // 2
    script = "return document.documentElement.scrollWidth"
    assert browser.execute_script(script) <= width


def test_the_command_says_what_is_wrong(tmp_path: Path) -> None:
    """No review there; another address."""
    done = CliRunner().invoke(main, ["review", "serve", str(tmp_path / "none")])
    assert done.exit_code == 3
    assert "no folder of a review" in done.output


def test_the_command_refuses_other_addresses(books: Books) -> None:
    """As the desk does."""
    words = ["review", "serve", str(books.out), "--host", "0.0.0.0", "--no-open"]
    done = CliRunner().invoke(main, words)
    assert done.exit_code == 2
    assert "over TLS" in done.output
