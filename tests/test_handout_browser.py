"""The hand-out in a real browser: widths, themes, sound from a note, keys, loops."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from test_page_browser import THEMES, WIDTHS, browser, log, see, wait_until

from assessor.report import handout
from assessor.report.handout_page import page

__all__ = ["address", "browser"]  # fixtures

TOP = Path(__file__).parents[1]
TEXT = """# Two bends

Play them *slowly*; `7b9` is a bend, and <b>this</b> is no HTML.

![](half-and-whole-bends.lick)

| Day | Tempo |
|:----|------:|
| one | 50 bpm |

## And from above

    e|-a line of tab that is so wide that a telephone has no room for all of it-|

![Let down again](prebends-and-releases.lick "90 bpm")

![](to-the-end.lick)
"""
SHORT_AT_THE_END = """tempo: 120
tuning: D3 G3 B3 E4
meter: 1/4

   s s s s
e|-5-7-5-8-|
B|---------|
G|---------|
D|---------|
"""
ENTER, RIGHT, ESCAPE = "\ue007", "\ue014", "\ue00c"


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Where a hand-out of two shipped licks lies."""
    folder = tmp_path_factory.mktemp("handout")
    for file in (TOP / "references").glob("*bends*.lick"):
        (folder / file.name).write_bytes(file.read_bytes())
    (folder / "to-the-end.lick").write_text(SHORT_AT_THE_END, encoding="utf-8")
    text, out = folder / "two.md", folder / "two.html"
    text.write_text(TEXT, encoding="utf-8")
    out.write_text(page(handout.read(text)), encoding="utf-8")
    return out.as_uri()


def audio(browser: Any, number: int, what: str) -> Any:
    """Something a lick's sound says of itself."""
    script = f"return document.querySelector('#lick-{number} audio').{what}"
    return browser.execute_script(script)


def shown_note(browser: Any, number: int, index: int) -> Any:
    """A note of a lick in the picture that is seen."""
    found = browser.find_elements(
        "css selector", f'#lick-{number} [data-note="{index}"]'
    )
    return next(e for e in found if e.is_displayed())


def onset_s(browser: Any, number: int, index: int) -> float:
    """When a note is heard."""
    lick = browser.find_element("id", f"lick-{number}")
    return float(lick.get_attribute("data-line").split()[index])


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("width", WIDTHS)
def test_it_is_whole_at_every_width_and_theme(
    browser: Any, address: str, width: int, theme: str
) -> None:
    """No complaint, nothing wider than the window, one picture of each lick."""
    see(browser, width, theme)
    browser.get(address)
    assert log(browser) == []
    root = "return document.documentElement."
    assert browser.execute_script(f"{root}scrollWidth") <= width
    pictures = browser.find_elements("css selector", ".lick svg")
    assert sum(e.is_displayed() for e in pictures) == 3
    assert browser.find_elements("css selector", ".words b") == []


def test_a_note_is_heard_and_only_one_lick_at_a_time(
    browser: Any, address: str
) -> None:
    """Pressing a note of one lick stops the other; the line moves, Escape stops."""
    see(browser, 1600)
    browser.get(address)
    browser.find_element("css selector", "#lick-1 .play").click()
    wait_until(lambda: audio(browser, 1, "currentTime") > 0, "the count-in")
    button = browser.find_element("css selector", "#lick-1 .play")
    wait_until(lambda: button.text == "Stop", "the button to change")
    note = shown_note(browser, 2, 5)
    browser.execute_script("arguments[0].dispatchEvent(new Event('click'))", note)
    wait_until(lambda: not audio(browser, 2, "paused"), "the other lick")
    due_s = onset_s(browser, 2, 5)
    wait_until(lambda: audio(browser, 2, "currentTime") > due_s, "the note")
    assert audio(browser, 1, "paused")
    assert button.text == "Play"
    seen = "return document.querySelector('#lick-2 .wide .now').getAttribute('{}')"
    wait_until(
        lambda: browser.execute_script(seen.format("visibility")) == "visible",
        "the line",
    )
    browser.switch_to.active_element.send_keys(ESCAPE)
    wait_until(lambda: audio(browser, 2, "paused"), "silence")
    assert log(browser) == []


def test_keys_go_from_note_to_note_and_play(browser: Any, address: str) -> None:
    """Arrow and Enter, without a pointer."""
    see(browser, 768)
    browser.get(address)
    browser.execute_script("arguments[0].focus()", shown_note(browser, 1, 0))
    for index in (0, 1):
        focused = browser.switch_to.active_element
        assert focused.get_attribute("data-note") == str(index)
        focused.send_keys(RIGHT)
    browser.switch_to.active_element.send_keys(ENTER)
    due_s = onset_s(browser, 1, 2)
    wait_until(lambda: audio(browser, 1, "currentTime") > due_s, "the third note")


def test_the_last_note_of_all_can_be_pressed(browser: Any, address: str) -> None:
    """A sixteenth before the end, where no browser can seek, is heard all the same."""
    see(browser, 1600)
    browser.get(address)
    note = shown_note(browser, 3, 3)
    browser.execute_script("arguments[0].dispatchEvent(new Event('click'))", note)
    wait_until(lambda: audio(browser, 3, "ended"), "the note and the end")
    assert audio(browser, 3, "error") is None
    assert log(browser) == []


def test_what_is_pressed_is_not_printed(browser: Any, address: str) -> None:
    """On paper stand the words and the tab alone."""
    see(browser, 1600)
    browser.get(address)
    (first, *_) = browser.find_elements("css selector", ".lick .act")
    assert first.is_displayed()
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    try:
        hidden = not first.is_displayed()
        tab = browser.find_element("css selector", "#lick-1 .wide svg").is_displayed()
    finally:
        browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})
    assert hidden
    assert tab


def test_slower_and_over_and_over(browser: Any, address: str) -> None:
    """The speed keeps the pitch; the loop starts again with the count-in."""
    see(browser, 1600)
    browser.get(address)
    lick = browser.find_element("id", "lick-1")
    choice = lick.find_element("css selector", 'option[value="0.5"]')
    assert choice.text == "33 bpm (50 %)"
    choice.click()
    lick.find_element("class name", "loop").click()
    lick.find_element("class name", "play").click()
    wait_until(lambda: not audio(browser, 1, "paused"), "the sound")
    assert audio(browser, 1, "playbackRate") == 0.5
    assert audio(browser, 1, "preservesPitch")
    end = "document.querySelector('#lick-1 audio')"
    browser.execute_script(f"{end}.currentTime = {end}.duration - 0.4")
    wait_until(lambda: 0 < audio(browser, 1, "currentTime") < 5, "the start again")
    assert not audio(browser, 1, "paused")
    assert log(browser) == []
