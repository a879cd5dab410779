"""Class page and answers in a real browser: rules for accessible pages, no leak."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import made_up_class
import pytest
from test_page_axe import AXE, LEAST_PASSED, RULES, RUN
from test_page_browser import THEMES, WIDTHS, browser, see
from test_review import here

from assessor.report.class_answers import write_answers
from assessor.report.class_work import correct, renew, write_class
from assessor.review import assignment, planning
from assessor.review.books import open_books
from assessor.review.corrections import Correction, What

__all__ = ["browser"]  # a fixture


@pytest.fixture(scope="module")
def addresses(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """A class in which everything that is ever shown is there."""
    folder = tmp_path_factory.mktemp("class")
    asked = made_up_class.write_class(folder, 4, shorter=12)
    made_up_class.write_sheet(folder / "short.lick", asked)
    folder.joinpath("player-000", "bad.wav").write_bytes(b"none")
    earlier = tmp_path_factory.mktemp("earlier") / "week 1"
    books = open_books(earlier, create=True)
    for out in (earlier, tmp_path_factory.mktemp("review") / "week 2"):
        books = open_books(out, create=True)
        text = f"""
            title = "{out.name}"
            due = 2026-01-01
            earlier = {[str(earlier)] if out != earlier else []}
            [[licks]]
            file = "{folder / "short.lick"}"
        """
        file = folder / f"{out.name}.toml"
        file.write_text(text)
        planning.plan(
            books, assignment.read(file), str(folder), planning.Options(sound=False)
        )
        renew(books, {one.take_id for one in books.planned()})
        write_class(books)
    said = []
    for one in books.planned():
        verdict = Correction(
            one.take_id, What.VERDICT, "wrong", "T", note=1, blind=True
        )
        said += [verdict, Correction(one.take_id, What.REMARK, "Well held", "T")]
    correct(books, said)
    ((answer, _),) = write_answers(books, "player-001", workers=1, make_executor=here)
    write_class(books, names=True)
    take = next(one for one in books.planned() if "player-001" in one.name)
    return {
        "class": (books.out / "class.html").as_uri(),
        "answer": answer.as_uri(),
        "take": books.report(take.take_id).as_uri(),
    }


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("width", WIDTHS[::2])
@pytest.mark.parametrize("name", ["class", "answer"])
def test_no_rule_is_broken(
    browser: Any, addresses: dict[str, str], name: str, width: int, theme: str
) -> None:
    """WCAG 2.2 AA by axe-core, with every table open; nothing runs over the edge."""
    see(browser, width, theme)
    browser.get(addresses[name])
    # what the page itself tries to load or to run against its own policy
    assert browser.get_log("browser") == []
    wide = "return document.documentElement.scrollWidth - innerWidth"
    assert browser.execute_script(wide) <= 0
    browser.execute_cdp_cmd("Page.setBypassCSP", {"enabled": True})
    try:
        browser.get(addresses[name])
        script = "for (const d of document.querySelectorAll('details')) d.open = true"
        browser.execute_script(script)
        browser.execute_script(AXE.read_text(encoding="utf-8"))
        passed, broken = browser.execute_async_script(RUN, RULES)
    finally:
        browser.execute_cdp_cmd("Page.setBypassCSP", {"enabled": False})
    assert broken == []
    assert passed >= LEAST_PASSED


def test_a_row_leads_to_its_take(browser: Any, addresses: dict[str, str]) -> None:
    """And the take's report shows what the teacher says."""
    see(browser, WIDTHS[2], "light")
    browser.get(addresses["class"])
    browser.find_element("css selector", "tbody th a").click()
    assert "What your teacher says" in browser.page_source
    assert Path(browser.current_url).suffix == ".html"


def test_the_answer_plays(browser: Any, addresses: dict[str, str]) -> None:
    """The take and the lick with a click, from inside the page."""
    browser.get(addresses["answer"])
    ready = """
        const done = arguments[0];
        const all = [...document.querySelectorAll('audio')];
        Promise.all(all.map((a) => a.readyState > 0 || new Promise(
            (r) => a.addEventListener('loadedmetadata', r)
        ))).then(() => done(all.map((a) => a.duration)));
    """
    lengths = browser.execute_async_script(ready)
    assert len(lengths) == 2
    assert min(lengths) > 2
