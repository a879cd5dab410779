"""The hand-out held against the rules of WCAG 2.2 AA, by axe-core."""

from __future__ import annotations

from typing import Any

import pytest
from test_handout_browser import address
from test_page_axe import AXE, LEAST_PASSED, RULES, RUN
from test_page_browser import THEMES, WIDTHS, browser, see

__all__ = ["address", "browser"]  # fixtures


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("width", WIDTHS)
def test_no_rule_is_broken(browser: Any, address: str, width: int, theme: str) -> None:
    """In each layout and theme."""
    # the page lets no other script in, and axe is one
    browser.execute_cdp_cmd("Page.setBypassCSP", {"enabled": True})
    try:
        see(browser, width, theme)
        browser.get(address)
        browser.execute_script(AXE.read_text(encoding="utf-8"))
        passed, broken = browser.execute_async_script(RUN, RULES)
    finally:
        browser.execute_cdp_cmd("Page.setBypassCSP", {"enabled": False})
    assert broken == []
    assert passed >= LEAST_PASSED
