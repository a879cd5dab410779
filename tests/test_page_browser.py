"""The page in a real browser: no error, sound from a note, keys, widths and themes."""

from __future__ import annotations

import base64
import os
import re
import shutil
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from assessor import care, recording
from assessor import lick as licks
from assessor.assessment import assess
from assessor.history.licks import lick_of
from assessor.history.progress import progress_of
from assessor.history.takes import licks_of, takes_of
from assessor.report.compare_page import compare_page
from assessor.report.page import page
from assessor.report.weeks_page import weeks_page

CHROMIUM, DRIVER = shutil.which("chromium"), shutil.which("chromedriver")
if not os.environ.get("CI"):
    pytest.importorskip("selenium")
    if not (CHROMIUM and DRIVER):
        pytest.skip("no chromium on this machine", allow_module_level=True)

import made_up_weeks  # noqa: E402
import stores  # noqa: E402
from selenium import webdriver  # noqa: E402
from test_compare import result  # noqa: E402
from test_page import with_passes  # noqa: E402

TOP = Path(__file__).parents[1]
WIDTHS = (320, 768, 1600, 3840)
THEMES = ("light", "dark")
# Without these the browser looks for hosts that are not there.
FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--hide-scrollbars", "--autoplay-policy=no-user-gesture-required",
)  # fmt: skip
PATIENCE_S = 10.0
PATIENCE_STEP_S = 0.05
LEAST_TARGET_PX = 24  # WCAG 2.2, 2.5.8
TIME_TOLERANCE_S = 0.25  # from a press to the first look at the clock
PNG = b"\x89PNG"


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """One browser for all tests, with a profile of its own."""
    options = webdriver.ChromeOptions()
    options.binary_location = CHROMIUM
    for flag in FLAGS:
        options.add_argument(flag)
    options.add_argument(f"--user-data-dir={tmp_path_factory.mktemp('profile')}")
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    service = webdriver.ChromeService(executable_path=DRIVER)
    driver = webdriver.Chrome(options=options, service=service)
    yield driver
    driver.quit()


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """Addresses of the pages of shipped takes."""
    folder = tmp_path_factory.mktemp("pages")
    out = {}
    for name in ("wrong-notes", "three-passes", "uneven-hammer-ons"):
        words = (TOP / "recordings" / f"{name}.txt").read_text(encoding="utf-8")
        named = re.search(r"references/\S+", words)
        assert named is not None
        taken = recording.read(TOP / "recordings" / f"{name}.flac")
        text = page(assess(taken, licks.read(TOP / named.group())), taken)
        file = folder / f"{name}.html"
        file.write_text(text, encoding="utf-8")
        out[name] = file.as_uri()
    others = {
        "weeks": weeks(folder),
        "compare": compared(),
        "200 passes": page(with_passes(200)),
    }
    for name, text in others.items():
        file = folder / f"{name}.html"
        file.write_text(text, encoding="utf-8")
        out[name] = file.as_uri()
    return out


def weeks(folder: Path) -> str:
    """The page of the history of the manual, with a caution."""
    with stores.new_store("sqlite", folder) as store:
        made_up_weeks.fill(store, stores.NOW)
        found, kept = progress_of(takes_of(store)), licks_of(store)
    known = {one.digest: lick_of(one.sheet) for one in kept if one.sheet}
    return weeks_page(found, known, [care.LIMITS])


def compared() -> str:
    """The page of two takes, one of them with a note that did not sound."""
    return compare_page(result(1, 0.04, missed=3), result(2, 0.004))


def see(browser: Any, width: int, theme: str = "light") -> None:
    """Give the window a width and the system a theme."""
    size = {"width": width, "height": 900, "deviceScaleFactor": 1, "mobile": False}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    feature = {"name": "prefers-color-scheme", "value": theme}
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": [feature]})


def wait_until(true: Callable[[], Any], what: str) -> Any:
    """Wait for something the browser does in its own time."""
    end_s = time.monotonic() + PATIENCE_S
    while time.monotonic() < end_s:
        if found := true():
            return found
        time.sleep(PATIENCE_STEP_S)
    pytest.fail(f"waited {PATIENCE_S:g} s for {what}")


def clock_s(browser: Any) -> float:
    """Where the sound is."""
    return float(browser.execute_script("return document.all.take.currentTime"))


def shown_note(browser: Any, index: int) -> Any:
    """A note in the picture that is seen."""
    found = browser.find_elements("css selector", f'.take [data-note="{index}"]')
    return next(e for e in found if e.is_displayed())


def log(browser: Any) -> list[str]:
    """What the browser complains about, policy violations too."""
    return [entry["message"] for entry in browser.get_log("browser")]


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("name", ["wrong-notes", "three-passes"])
def test_it_is_whole_at_every_width_and_theme(
    browser: Any, pages: dict[str, str], name: str, width: int, theme: str
) -> None:
    """No complaint, nothing wider than the window, the theme's paper, one layout."""
    see(browser, width, theme)
    browser.get(pages[name])
    assert log(browser) == []
    root = "return document.documentElement."
    assert browser.execute_script(f"{root}scrollWidth") <= width
    paper = browser.execute_script(
        "return getComputedStyle(document.documentElement).backgroundColor"
    )
    light = sum(map(int, re.findall(r"\d+", paper)[:3])) > 3 * 127
    assert light == (theme == "light")
    layouts = browser.find_elements("css selector", ".pass:not([hidden]) .take svg")
    assert sum(e.is_displayed() for e in layouts) == 1
    assert browser.get_screenshot_as_png().startswith(PNG)


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("name", ["weeks", "compare"])
def test_pages_without_sound_are_whole(
    browser: Any, pages: dict[str, str], name: str, width: int, theme: str
) -> None:
    """No complaint, and nothing wider than the window."""
    see(browser, width, theme)
    browser.get(pages[name])
    assert log(browser) == []
    assert browser.execute_script("return document.documentElement.scrollWidth") <= (
        width
    )


def test_pressing_a_note_plays_from_it(browser: Any, pages: dict[str, str]) -> None:
    """The clock jumps to the note and goes on; the line moves in the picture."""
    see(browser, 1600)
    browser.get(pages["wrong-notes"])
    note = shown_note(browser, 8)
    from_s = float(note.get_attribute("data-from"))
    browser.execute_script("arguments[0].scrollIntoView({block:'center'})", note)
    note.find_element("css selector", "rect").click()
    wait_until(lambda: clock_s(browser) > from_s, "the sound to pass the note")
    assert clock_s(browser) < from_s + TIME_TOLERANCE_S + 1.0
    line = 'return document.querySelector(".pass:not([hidden]) .wide .now")'
    moved = f"{line}.getAttribute('transform')"
    first = wait_until(lambda: browser.execute_script(moved), "the line to be drawn")
    wait_until(lambda: browser.execute_script(moved) != first, "the line to move")
    assert "bar 1" in browser.find_element("id", "said").text
    browser.find_element("id", "play").click()
    wait_until(
        lambda: browser.execute_script("return document.all.take.paused"), "silence"
    )
    assert log(browser) == []


@pytest.mark.parametrize("name", ["wrong-notes", "three-passes", "uneven-hammer-ons"])
@pytest.mark.parametrize("source", ["take", "demo"])
def test_the_last_note_and_the_very_end_are_heard(
    browser: Any, pages: dict[str, str], name: str, source: str
) -> None:
    """The clock moves from there, and from the start again: no seek kills the sound."""
    see(browser, 1600)
    browser.get(pages[name])
    browser.find_element("css selector", f'input[value="{source}"]').click()
    sound = f"document.all.{source}"
    at = f"return {sound}.error ? -1 : {sound}.currentTime"
    at_end = f"""
        const seek = document.getElementById("seek");
        for (const back of [0.3, 0.2, 0.1, 0.01]) {{
          seek.value = Number(seek.max) - back;
          seek.dispatchEvent(new Event("input"));
        }}
        return {sound}.currentTime
    """
    assert float(browser.execute_script(at_end)) > 0
    wait_until(lambda: not browser.execute_script(f"return {sound}.seeking"), "a seek")
    last = browser.find_elements("css selector", ".take .note")[-1]
    note = shown_note(browser, int(last.get_attribute("data-note")))
    press = "arguments[0].dispatchEvent(new Event('click'))"
    for pressed in (note, shown_note(browser, 0), note):
        browser.execute_script(press, pressed)
        from_s = float(browser.execute_script(at))
        wait_until(lambda s=from_s: browser.execute_script(at) > s + 0.05, "the sound")
    assert log(browser) == []


def test_keys_go_from_note_to_note_and_play(
    browser: Any, pages: dict[str, str]
) -> None:
    """Arrow, Shift with arrow, Enter: all without a pointer."""
    see(browser, 768)
    browser.get(pages["wrong-notes"])
    browser.execute_script("arguments[0].focus()", shown_note(browser, 0))
    for index in (0, 1, 2):
        focused = browser.switch_to.active_element
        assert focused.get_attribute("data-note") == str(index)
        focused.send_keys("\ue014")  # right arrow
    focused = browser.switch_to.active_element
    focused.send_keys("\ue007")  # Enter
    from_s = float(focused.get_attribute("data-from"))
    wait_until(lambda: clock_s(browser) > from_s, "the sound to pass the note")


def test_a_slowed_loop_comes_back(browser: Any, pages: dict[str, str]) -> None:
    """Over two notes at less than full speed, the pitch kept."""
    see(browser, 1600)
    browser.get(pages["wrong-notes"])
    first = float(shown_note(browser, 3).get_attribute("data-from"))
    end = float(shown_note(browser, 5).get_attribute("data-from"))
    browser.execute_script(
        """
        const set = (id, value) => {
          const e = document.getElementById(id);
          e.value = value;
          e.dispatchEvent(new Event("change"));
        };
        set("first", 4); set("last", 5); set("speed", "0.75");
        document.getElementById("loop").checked = true;
        document.getElementById("play").click();
        """
    )
    script = "const s = document.all.take; return [s.playbackRate, s.preservesPitch]"
    assert browser.execute_script(script) == [0.75, True]
    wait_until(lambda: clock_s(browser) > (first + end) / 2, "the second note")
    wait_until(lambda: clock_s(browser) < (first + end) / 2, "the loop to come back")
    assert first - 0.1 <= clock_s(browser) <= end + TIME_TOLERANCE_S


def test_notes_to_repeat_are_chosen_by_touch(
    browser: Any, pages: dict[str, str]
) -> None:
    """On a phone, without keys: a button, the first note, the last; Escape gives up."""
    see(browser, 320)
    browser.get(pages["wrong-notes"])
    button = browser.find_element("id", "choose")
    box = button.rect
    assert box["height"] >= LEAST_TARGET_PX
    assert box["width"] >= LEAST_TARGET_PX
    button.click()
    assert button.get_attribute("aria-pressed") == "true"
    for index in (5, 3):
        note = shown_note(browser, index)
        browser.execute_script("arguments[0].scrollIntoView({block:'center'})", note)
        tap(browser, note.find_element("css selector", "rect"))
    assert button.get_attribute("aria-pressed") == "false"
    wait_until(lambda: not paused(browser), "the sound to start")
    chosen = browser.execute_script(
        "return ['first', 'last'].map((id) => document.getElementById(id).value)"
    )
    assert chosen == ["4", "6"]
    assert browser.find_element("id", "loop").is_selected()
    button.click()
    browser.switch_to.active_element.send_keys("\ue00c")
    assert button.get_attribute("aria-pressed") == "false"
    wait_until(lambda: paused(browser), "silence")
    assert log(browser) == []


def tap(browser: Any, element: Any) -> None:
    """Touch the middle of an element, as a finger does."""
    box = browser.execute_script(
        "const b = arguments[0].getBoundingClientRect(); return [b.x, b.y, b.width, "
        "b.height]",
        element,
    )
    at = {"x": box[0] + box[2] / 2, "y": box[1] + min(box[3] / 2, 40)}
    for kind, points in (("touchStart", [at]), ("touchEnd", [])):
        event = {"type": kind, "touchPoints": points}
        browser.execute_cdp_cmd("Input.dispatchTouchEvent", event)


def paused(browser: Any) -> bool:
    """Whether the take is silent."""
    return bool(browser.execute_script("return document.all.take.paused"))


def test_the_lick_as_written_is_heard_instead(
    browser: Any, pages: dict[str, str]
) -> None:
    """Changed over in the middle, the demo goes on from the same note."""
    see(browser, 1600)
    browser.get(pages["wrong-notes"])
    times = browser.find_element("id", "demo").get_attribute("data-line").split()
    note = shown_note(browser, 10)
    browser.execute_script("arguments[0].scrollIntoView({block:'center'})", note)
    note.find_element("css selector", "rect").click()
    from_s = float(note.get_attribute("data-from"))
    wait_until(lambda: clock_s(browser) > from_s, "the take to pass the note")
    browser.find_element("css selector", 'input[value="demo"]').click()
    script = "const d = document.all.demo; return d.paused ? 0 : d.currentTime"
    at_s = wait_until(lambda: browser.execute_script(script), "the demo to play")
    assert browser.execute_script("return document.all.take.paused")
    assert float(times[10]) - 0.1 <= at_s <= float(times[10]) + 2.0
    assert log(browser) == []


def test_the_line_moves_in_the_close_ups_too(
    browser: Any, pages: dict[str, str]
) -> None:
    """Where a slurred group sounds, its own picture has the line; others have none."""
    see(browser, 1600)
    browser.get(pages["uneven-hammer-ons"])
    system = browser.find_element("css selector", ".gallery .system")
    places = [p.split(",") for p in system.get_attribute("data-places").split()]
    middle = (float(places[0][0]) + float(places[-1][0])) / 2
    browser.execute_script(
        "arguments[0].dispatchEvent(new Event('click'))",
        shown_note(browser, int(middle)),
    )
    seen = """
        const lines = document.querySelectorAll(".gallery .now");
        return [...lines].map((line) => line.getAttribute("visibility"))
    """
    lines = wait_until(
        lambda: "visible" in (found := browser.execute_script(seen)) and found,
        "the line in a close-up",
    )
    assert lines[0] == "visible"
    assert lines.count("visible") == 1
    browser.switch_to.active_element.send_keys("\ue00c")  # Escape
    script = "return document.all.take.paused"
    wait_until(lambda: browser.execute_script(script), "silence")


def test_another_pass_is_shown(browser: Any, pages: dict[str, str]) -> None:
    """The chooser changes pictures, readings and where notes sound."""
    see(browser, 1600)
    browser.get(pages["three-passes"])
    best_s = float(shown_note(browser, 0).get_attribute("data-from"))
    browser.find_element("css selector", 'input[value="1"]').click()
    assert float(shown_note(browser, 0).get_attribute("data-from")) < best_s
    shown = browser.find_elements("css selector", ".pass:not([hidden])")
    assert [e.get_attribute("data-pass") for e in shown] == ["1"]


@pytest.mark.parametrize(
    "name", ["wrong-notes", "uneven-hammer-ons", "three-passes", "200 passes", "weeks"]
)
def test_it_prints_on_two_pages(browser: Any, pages: dict[str, str], name: str) -> None:
    """A4, as many pages as a sheet has."""
    browser.get(pages[name])
    settings = {"preferCSSPageSize": True, "printBackground": True}
    printed = browser.execute_cdp_cmd("Page.printToPDF", settings)["data"]
    count = len(re.findall(rb"/Type\s*/Page\b", base64.b64decode(printed)))
    assert 1 <= count <= 2
