"""The report as a page: one file, nothing from outside, every text as text."""

from __future__ import annotations

import base64
import csv
import hashlib
import io
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import hand_made as made
import numpy as np
import pytest
import soundfile
from click.testing import CliRunner
from test_figures import LICK, bent_note, faulty

from assessor import lick as licks
from assessor import recording, report
from assessor.alignment import Verdict
from assessor.assessment import Assessment, assess
from assessor.cli import main
from assessor.lick.notation import Parent
from assessor.recording import Recording
from assessor.report.notes_csv import HEAD, notes_csv
from assessor.report.page import MOST_DRAWN, page
from assessor.report.sound import SILENT_SAMPLES, demo_clip
from assessor.sound_level import equivalent_level_dbfs

TOP = Path(__file__).parents[1]
MOST_BYTES = 600_000  # of a page for ten seconds without sound
MOST_BYTES_HOUR = 5_000_000
QUANTISED = 1 / 2**15  # one step of 16 bits

HOSTILE = [
    "<script>alert(1)</script>",
    "</title></style></script><img src=x onerror=alert(1)>",
    "\"double\" & 'single' {{ 7 * 7 }}",
    "🎸 émoji",
    "גיטרה \u202e abc",
]


class Elements(HTMLParser):
    """Start tags with their attributes, text by the tag it stands in."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.texts: dict[str, list[str]] = {}
        self._open = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Keep every tag."""
        self.tags.append((tag, dict(attrs)))
        self._open = tag

    def handle_data(self, data: str) -> None:
        """Keep the text right after a tag."""
        self.texts.setdefault(self._open, []).append(data)

    def named(self, tag: str) -> list[dict[str, str | None]]:
        """Attributes of every element of a name."""
        return [attrs for name, attrs in self.tags if name == tag]


def with_passes(count: int) -> Assessment:
    """A take of many passes, each with its own late note."""
    passes = []
    for k in range(count):
        late_s = np.zeros(16)
        late_s[k % 16] = 0.06
        notes: list[Any] = made.as_written(LICK, start_s=1 + 6.0 * k, late_s=late_s)
        verdicts = {15: Verdict.UNSURE}
        passes.append(made.passage(notes, verdicts=verdicts))
    return made.assessed(LICK, *passes, best=count // 2, duration_s=6.0 * count)


def test_a_drill_names_the_notes_of_its_parent() -> None:
    """In the facts, in the table of notes, and at the place to work on."""
    found = faulty()
    places = tuple(range(40, 40 + len(found.lick)))
    parent = Parent("<A> parent", "", "one cell", places)
    drill = replace(found, lick=replace(found.lick, parent=parent))
    text = page(drill)
    assert "a drill of &lt;A&gt; parent" in text
    assert text.count('<th scope="col">Note of the parent</th>') == 1
    for place in places:
        assert f"<td>{place + 1}</td></tr>" in text
    assert found.best_pass.focus is not None
    worst = found.best_pass.focus.worst
    assert f"(note {places[worst] + 1} of the parent)</strong>" in text
    assert "of the parent" not in page(found)


def decoded(address: str) -> tuple[np.ndarray, int]:
    """What is heard of a FLAC address, without the silence after it, and its rate."""
    flac = io.BytesIO(base64.b64decode(address.removeprefix("data:audio/flac;base64,")))
    samples, rate_hz = soundfile.read(flac)
    assert not np.any(samples[-SILENT_SAMPLES:])
    return samples[:-SILENT_SAMPLES], rate_hz


def sound() -> Recording:
    """A second of a tone."""
    tone = 0.3 * np.sin(2 * np.pi * 220 * np.arange(22050) / 22050)
    return Recording(tone.astype(np.float32), 22050, "take.wav", "0" * 64)


@pytest.mark.parametrize("text", HOSTILE)
def test_titles_and_names_are_text(text: str) -> None:
    """What a lick or a file is called is shown, and never run."""
    found = faulty(title=text, trains=text, notices=(text,))
    plain = Elements(page(faulty()))
    hostile = Elements(
        page(made.assessed(found.lick, found.passes[0].performed, name=text))
    )
    assert "".join(hostile.texts["h1"]).strip() == text
    assert text in "".join(hostile.texts["bdi"])
    assert any(text in told for told in hostile.texts["p"])  # what it trains
    assert any(text in told for told in hostile.texts["li"])  # a caution
    names = ("script", "img", "style", "audio")
    assert [len(hostile.named(n)) for n in names] == [
        len(plain.named(n)) for n in names
    ]
    assert not any(key.startswith("on") for _, attrs in hostile.tags for key in attrs)


def test_only_its_own_script_and_style_may_run() -> None:
    """The policy names their hashes and nothing else; no attribute needs a style."""
    text = page(faulty(), sound())
    found = Elements(text)
    (policy,) = [
        str(m["content"])
        for m in found.named("meta")
        if m.get("http-equiv") == "Content-Security-Policy"
    ]
    rules = dict(rule.strip().split(" ", 1) for rule in policy.split(";"))
    assert rules["default-src"] == "'none'"
    assert rules["media-src"] == "data:"
    for tag in ("script", "style"):
        (inner,) = re.findall(f"<{tag}>(.*?)</{tag}>", text, re.DOTALL)
        digest = base64.b64encode(hashlib.sha256(inner.encode()).digest()).decode()
        assert rules[f"{tag}-src"] == f"'sha256-{digest}'"
    assert not any("style" in attrs for _, attrs in found.tags)


def test_nothing_comes_from_outside() -> None:
    """No address but those of name spaces and of the sound itself."""
    found = Elements(page(faulty(), sound()))
    for tag, attrs in found.tags:
        for key in ("src", "href", "xlink:href", "data", "poster", "action"):
            assert attrs.get(key) is None or str(attrs[key]).startswith("data:"), tag


def test_every_picture_has_its_table() -> None:
    """Every section with pictures holds a table that opens."""
    text = page(with_passes(3))
    sections = re.findall(r"<section(.*?)</section>", text, re.DOTALL)
    drawn = [s for s in sections if 'class="picture"' in s and "summary" not in s[:30]]
    assert len(drawn) >= 4
    for section in drawn:
        assert "<details" in section
        assert "<table>" in section


def test_the_summary_says_what_the_terminal_says() -> None:
    """The same lines, the mark with its formula, and what to work on."""
    found = faulty()
    text = " ".join(page(found).split())
    focus = found.best_pass.focus
    assert focus is not None
    assert focus.advice in text
    assert found.best_pass.mark.formula.replace(" x ", " × ") in text
    for line in report.readings.lines_of(found.best_pass):
        assert line.text in text


def test_a_take_of_ten_seconds_is_small() -> None:
    """Without sound; the figures lie in the margin of the shipped recordings too."""
    assert len(page(faulty()).encode()) < MOST_BYTES


def test_an_hour_of_passes_is_small() -> None:
    """All passes in one picture, a few drawn in full."""
    text = page(with_passes(200))
    assert len(text.encode()) < MOST_BYTES_HOUR
    drawn = [a for t, a in Elements(text).tags if t == "div" and a.get("data-pass")]
    assert len(drawn) == MOST_DRAWN


def test_the_sound_is_the_take() -> None:
    """FLAC in the page, decoded again, is what was recorded."""
    taken = sound()
    audio, demo = Elements(page(faulty(), taken)).named("audio")
    heard, rate_hz = decoded(str(audio["src"]))
    assert rate_hz == 22050
    assert np.max(np.abs(heard - taken.samples)) <= QUANTISED
    times_s = [float(t) for t in str(demo["data-line"]).split()]
    assert np.diff(times_s) == pytest.approx(
        np.diff([*LICK.onsets_s(), LICK.ends_s()[-1]]), abs=0.0011
    )


def test_the_demo_is_as_high_and_as_loud_as_the_take() -> None:
    """Three frets up on a guitar tuned 20 cents flat, and softer."""
    held = made.lick([0], last_beats=4)
    heard = []
    for moved_cents, level in ((0.0, None), (280.0, -40.0)):
        clip = demo_clip(held, moved_cents=moved_cents, level_dbfs=level)
        heard.append(decoded(clip.address))
    assert equivalent_level_dbfs(*heard[1]) == pytest.approx(-40.0, abs=0.1)
    first_hz, moved_hz = (fundamental_hz(*one) for one in heard)
    assert 1200 * np.log2(moved_hz / first_hz) == pytest.approx(280.0, abs=2.0)


def fundamental_hz(samples: np.ndarray, rate_hz: int) -> float:
    """Of a C4 or somewhat more, below its second partial."""
    size = 2**21
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(len(samples)), size))
    return float(np.argmax(spectrum[: round(450 * size / rate_hz)])) * rate_hz / size


def test_the_demo_in_the_page_of_a_moved_take_is_moved() -> None:
    """And it is said; else the demo would not be what is written."""
    held = made.lick([0], last_beats=4)
    found = made.assessed(held, made.passage(made.as_written(held)))
    moved = replace(found, transposition=-1, tuning_cents=30.0)
    heard_hz = []
    for one, words in ((found, "as written"), (moved, "as written, 1 fret lower")):
        elements = Elements(page(one, sound()))
        assert words in [text.strip() for text in elements.texts["input"]]
        (demo,) = [a for a in elements.named("audio") if a["id"] == "demo"]
        heard_hz.append(fundamental_hz(*decoded(str(demo["src"]))))
    assert 1200 * np.log2(heard_hz[1] / heard_hz[0]) == pytest.approx(-70.0, abs=2.0)


def test_of_a_long_take_the_drawn_passes_are_heard() -> None:
    """Each pass that is drawn names a clip in which it lies."""
    found = with_passes(30)
    samples = np.linspace(-0.5, 0.5, 190 * 8000, dtype=np.float32)
    clips, drawn = [], []
    for tag, attrs in Elements(page(found, Recording(samples, 8000, "a", "0"))).tags:
        if attrs.get("class") == "clip":
            clips.append(attrs)
        if tag == "div" and attrs.get("data-pass"):
            drawn.append(attrs)
    assert len(clips) == len(drawn) == MOST_DRAWN
    for one in drawn:
        clip = clips[int(str(one["data-clip"]))]
        start_s = float(str(clip["data-start"]))
        line_s = [float(t) for t in str(one["data-line"]).split()]
        assert start_s <= line_s[0]
        assert line_s[-1] <= start_s + float(str(clip["data-length"]))
        heard, _ = decoded(str(clip["src"]))
        first = round(start_s * 8000)
        part = samples[first : first + len(heard)]
        assert np.max(np.abs(heard - part)) <= QUANTISED


def test_no_sound_no_player() -> None:
    """Left out, neither the sound nor its controls are there."""
    found = Elements(page(faulty()))
    assert found.named("audio") == []
    assert found.named("select") == []


def test_nothing_judged_is_told_as_such() -> None:
    """A single unsure note makes a page without a mark."""
    single = made.lick([0])
    passage = made.passage([None], verdicts={0: Verdict.UNSURE}, complete=False)
    text = page(made.assessed(single, passage))
    assert "Nothing could be judged" in text
    assert "of 100" not in text


# ------------------------------------------------------------------------- CSV


def test_csv_has_a_row_for_every_note() -> None:
    """Written notes of each pass, then its extra ones."""
    found = faulty()
    rows = list(csv.DictReader(io.StringIO(notes_csv(found))))
    assert list(rows[0]) == list(HEAD)
    assert [r["note"] for r in rows] == [*(str(k + 1) for k in range(16)), ""]
    late = found.passes[0].timing.notes
    by_index = {n.index: n.deviation for n in late}
    assert float(rows[11]["deviation_ms"]) == pytest.approx(
        by_index[11].value, abs=0.05
    )
    assert rows[11]["deviation_judgement"] == "outside"
    assert rows[7]["verdict"] == "missed"
    assert rows[7]["onset_s"] == ""
    assert rows[15]["pitch_judgement"] == "outside"
    assert rows[5]["slur_judgement"] == "outside"
    assert rows[16]["verdict"] == "extra"
    assert bent_note(150.0).onset_s == pytest.approx(float(rows[15]["onset_s"]))


# ---------------------------------------------------------------- command line

TAKE = str(TOP / "recordings" / "wrong-notes.flac")
SHEET = str(TOP / "references" / "triplets-into-sixteenths.lick")


def check(*words: str) -> Any:
    """Run ``assessor check`` on a shipped take."""
    return CliRunner().invoke(main, ["check", TAKE, "--lick", SHEET, *words])


def test_check_writes_page_picture_and_table(tmp_path: Path) -> None:
    """All at once; a second run writes over the first."""
    files = {
        "--html": tmp_path / "report.html",
        "--figure": tmp_path / "take.svg",
        "--csv": tmp_path / "notes.csv",
    }
    words = [word for option, file in files.items() for word in (option, str(file))]
    assert check(*words).exit_code == 0
    with_sound = files["--html"].stat().st_size
    assert check(*words, "--without-sound").exit_code == 0
    without = files["--html"].stat().st_size
    assert without < MOST_BYTES
    assert without < with_sound / 2
    assert files["--figure"].read_text(encoding="utf-8").startswith("<svg")
    assert files["--csv"].read_text(encoding="utf-8").startswith("pass,note")


def test_the_picture_is_written_as_png_too(tmp_path: Path) -> None:
    """A whole PNG, written over by the next run, but no other PNG is."""
    pytest.importorskip("typst")
    file = tmp_path / "take.png"
    assert check("--figure", str(file)).exit_code == 0
    first = file.read_bytes()
    assert first.startswith(b"\x89PNG")
    assert first.endswith(b"IEND\xaeB`\x82")
    assert check("--figure", str(file)).exit_code == 0
    assert file.read_bytes() == first
    file.write_bytes(first[:33] + first[60:])
    done = check("--figure", str(file))
    assert done.exit_code == 2
    assert "no earlier picture" in done.output


def test_a_picture_has_a_known_form(tmp_path: Path) -> None:
    """Told before anything is heard."""
    done = check("--figure", str(tmp_path / "take.gif"))
    assert done.exit_code == 2
    assert ".svg or .png" in done.output


@pytest.mark.parametrize("option", ["--html", "--figure", "--csv"])
def test_other_files_are_not_written_over(tmp_path: Path, option: str) -> None:
    """Neither the take, nor a folder, nor anybody's notes."""
    note = tmp_path / "diary.html"
    note.write_text("<html>my own page</html>", encoding="utf-8")
    for place in (TAKE, str(tmp_path), str(note), str(tmp_path / "no" / "x.html")):
        done = check(option, place)
        assert done.exit_code == 2
        assert option in done.output
    assert "my own" in note.read_text(encoding="utf-8")


def test_the_page_of_a_real_take_embeds_it_whole(tmp_path: Path) -> None:
    """The sound lasts as long as the take."""
    taken = recording.read(TAKE)
    found = assess(taken, licks.read(SHEET))
    audio, _ = Elements(page(found, taken)).named("audio")
    heard, rate_hz = decoded(str(audio["src"]))
    assert len(heard) / rate_hz == pytest.approx(taken.duration_s, abs=0.001)
