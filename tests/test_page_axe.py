"""The pages held against the rules for accessible pages, by axe-core (WCAG 2.2 AA)."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import pytest
from test_page_browser import THEMES, WIDTHS, browser, pages, see

TOP = Path(__file__).parents[1]
# npm install --no-save --prefix .venv/npm axe-core
AXE = TOP / ".venv" / "npm" / "node_modules" / "axe-core" / "axe.min.js"
if not AXE.exists() and not os.environ.get("CI"):
    pytest.skip("axe-core is not installed", allow_module_level=True)

__all__ = ["browser", "pages"]  # fixtures

RUN = """
const [rules, done] = arguments;
axe.run(document, { runOnly: rules }).then((found) =>
  done([found.passes.length, found.violations.map((v) => `${v.id}: ${v.help}`)]));
"""
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
LEAST_PASSED = 30  # rules that found something to hold against themselves


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("name", ["three-passes", "weeks", "compare"])
def test_no_rule_is_broken(
    browser: Any,
    pages: dict[str, str],
    name: str,
    width: int,
    theme: str,
) -> None:
    """With every table open."""
    # the page lets no other script in, and axe is one
    browser.execute_cdp_cmd("Page.setBypassCSP", {"enabled": True})
    try:
        see(browser, width, theme)
        browser.get(pages[name])
        script = "for (const d of document.querySelectorAll('details')) d.open = true"
        browser.execute_script(script)
        browser.execute_script(AXE.read_text(encoding="utf-8"))
        passed, broken = browser.execute_async_script(RUN, RULES)
    finally:
        browser.execute_cdp_cmd("Page.setBypassCSP", {"enabled": False})
    assert broken == []
    assert passed >= LEAST_PASSED
