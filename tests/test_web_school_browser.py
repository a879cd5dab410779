"""A school in a real browser: a form lets in, pages are whole and accessible."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

if not os.environ.get("CI"):
    pytest.importorskip("selenium")
    pytest.importorskip("starlette")
    pytest.importorskip("argon2")
    if not (shutil.which("chromium") and shutil.which("chromedriver")):
        pytest.skip("no chromium on this machine", allow_module_level=True)

import stores
import web_servers as servers
from test_page_axe import AXE
from test_page_browser import browser, log, see
from test_web_review import check_page

__all__ = ["browser"]  # a fixture

TOP = servers.TOP


@pytest.fixture
def school(tmp_path: Path) -> Iterator[servers.SchoolServer]:
    """A school with a teacher and a player."""
    with (
        stores.new_store("sqlite", tmp_path) as store,
        servers.school(store, tmp_path) as running,
    ):
        running.account("Frau Lehr", teacher=True)
        running.account("anna")
        yield running


def address(school: servers.SchoolServer, path: str = "/") -> str:
    """Where a page is."""
    return f"http://{servers.HOST}:{school.client.port}{path}"


def sign_in(browser: Any, school: servers.SchoolServer, name: str) -> None:
    """Fill in the form, by keyboard."""
    browser.delete_all_cookies()
    browser.get(address(school))
    browser.find_element("name", "name").send_keys(name)
    browser.find_element("name", "password").send_keys(servers.PASSWORD + "\n")
    servers.wait_until(
        lambda: browser.find_elements("css selector", ".licks"), "the licks"
    )


def by_text(browser: Any, text: str) -> Any:
    """A button by its words."""
    return browser.find_element("xpath", f'//button[normalize-space()="{text}"]')


def test_from_the_assignment_to_the_mark(
    browser: Any, school: servers.SchoolServer
) -> None:
    """Teacher gives, player hands a file in, teacher opens the report."""
    see(browser, 1280)
    sign_in(browser, school, "Frau Lehr")
    browser.find_element("link text", "School").click()
    option = "//option[starts-with(., 'Dorian')]"
    servers.wait_until(lambda: browser.find_elements("xpath", option), "the licks")
    browser.find_element("xpath", option).click()
    browser.find_element("name", "tempo").send_keys("80")
    by_text(browser, "Give it").click()
    servers.wait_until(lambda: "End it" in browser.page_source, "the assignment")
    by_text(browser, "Sign out").click()
    servers.wait_until(lambda: "/sign-in" in browser.current_url, "the form")
    sign_in(browser, school, "anna")
    browser.find_element("css selector", ".asked a").click()
    file = servers.wait_until(lambda: browser.find_elements("id", "file"), "a desk")
    assert browser.find_element("id", "tempo").get_attribute("value") == "80"
    file[0].send_keys(str(TOP / "recordings" / "wrong-notes.flac"))
    servers.wait_until(
        lambda: browser.find_elements("css selector", "iframe.report"), "the report"
    )
    assert "Kept in the history" in browser.find_element("id", "result").text
    sign_in(browser, school, "Frau Lehr")
    browser.get(address(school, "/school"))
    browser.find_element("partial link text", "mark").click()
    servers.wait_until(
        lambda: browser.find_elements("css selector", "iframe.report"), "the report"
    )
    assert log(browser) == []


def test_what_is_refused_is_said_on_the_page(
    browser: Any, school: servers.SchoolServer
) -> None:
    """A name that is taken; a wrong password."""
    see(browser, 1280)
    browser.delete_all_cookies()
    browser.get(address(school))
    browser.find_element("name", "name").send_keys("anna")
    browser.find_element("name", "password").send_keys("wrong\n")
    servers.wait_until(lambda: "are not right" in browser.page_source, "words")
    sign_in(browser, school, "Frau Lehr")
    browser.get(address(school, "/school"))
    browser.find_element("css selector", "#accounts + form [name=name]").send_keys(
        "anna\n"
    )
    warned = browser.find_element("id", "warned")
    servers.wait_until(lambda: "another name" in warned.text, "words")
    log(browser)  # answers that are no success are told there


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 1280])
def test_no_rule_of_accessible_pages_is_broken(
    browser: Any, school: servers.SchoolServer, width: int, theme: str
) -> None:
    """The form, the licks, the password, the school with everything in it."""
    if not AXE.exists():
        pytest.skip("axe-core is not installed")
    teacher = school.signed_in("Frau Lehr")
    lick = school.house.catalogue.entries[0].name
    body = f"lick={lick}&due=2030-01-31".encode()
    assert teacher.ask("POST", "/school/assign", body).status == 200
    browser.execute_cdp_cmd("Page.setBypassCSP", {"enabled": True})
    try:
        see(browser, width, theme)
        browser.delete_all_cookies()
        browser.get(address(school))
        check_page(browser, width)
        sign_in(browser, school, "Frau Lehr")
        for path in ("/", "/password", "/school"):
            browser.get(address(school, path))
            check_page(browser, width)
    finally:
        browser.execute_cdp_cmd("Page.setBypassCSP", {"enabled": False})
