"""A hand-out: words and licks, on paper and as a page, whatever stands in the text."""

from __future__ import annotations

import base64
import io
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner
from test_page import HOSTILE, Elements

from assessor.cli import main
from assessor.errors import HandoutError
from assessor.report import handout
from assessor.report.handout_page import page
from assessor.report.sound import practice_clip

REFERENCES = Path(__file__).parents[1] / "references"
SHEET = """title: {title}
tempo: 90
trains: {trains}
pickup: 1

   q   q q e  e
e|---|-5-7-5-h8-|
B|---|----------|
G|-5-|----------|
D|---|----------|
A|---|----------|
E|---|----------|
"""
TEXT = """# Week *one*

Say it, then play it.

![](a.lick)

## Slowly

![The same again](a.lick "60 bpm")

See [the first](#lick-1), [the web](https://example.org), [a file](other.md).
"""
A4_PT, LETTER_PT = (595.28, 841.89), (612.0, 792.0)
SIZE_TOLERANCE_PT = 0.1

Write = Callable[..., Path]


@pytest.fixture
def written(tmp_path: Path) -> Write:
    """Return a way to write a text with a lick beside it."""

    def write(text: str, title: str = "Two strings", trains: str = "a slur") -> Path:
        sheet = SHEET.format(title=title, trains=trains)
        (tmp_path / "a.lick").write_text(sheet, encoding="utf-8")
        file = tmp_path / "doc.md"
        file.write_text(text, encoding="utf-8")
        return file

    return write


def run(*words: object) -> tuple[int, str]:
    """Exit code of the command and what it printed."""
    done = CliRunner().invoke(main, ["lick", "handout", *map(str, words)])
    return done.exit_code, done.output


def paper_words(pdf: bytes) -> list[str]:
    """Words of each page of a PDF."""
    pypdf = pytest.importorskip("pypdf")
    return [p.extract_text() for p in pypdf.PdfReader(io.BytesIO(pdf)).pages]


def on_paper(file: Path, **more: Any) -> bytes:
    """PDF of a text."""
    pytest.importorskip("typst")
    from assessor.report.handout_paper import pdf

    return pdf(handout.read(file), **more)


# ------------------------------------------------------------------- reading


def test_licks_are_numbered_titled_and_set_to_a_tempo(written: Write) -> None:
    """One below the heading they stand under; title and tempo from the text."""
    made = handout.read(written(TEXT))
    assert (made.title, made.titled) == ("Week one", True)
    found = [(n.heading, n.level, n.lick.tempo_bpm) for n in made.licks]
    assert found == [("1. Two strings", 2, 90.0), ("2. The same again", 3, 60.0)]


def test_a_text_without_a_title_has_its_files_name(written: Write) -> None:
    """And licks that stand under no heading have the second level."""
    made = handout.read(written("![](a.lick)"))
    assert (made.title, made.titled, made.licks[0].level) == ("doc", False, 2)


def test_a_name_with_spaces_is_found(tmp_path: Path) -> None:
    """In angle brackets, as Markdown has it; other formats are licks, too."""
    sheet = SHEET.format(title="", trains="")
    (tmp_path / "my own lick.lick").write_text(sheet)
    file = tmp_path / "doc.md"
    file.write_text("![](<my own lick.lick>)\n")
    assert handout.read(file).licks[0].lick.tempo_bpm == 90


@pytest.mark.parametrize(
    ("text", "line", "says"),
    [
        ("", None, "no lick is put into this text"),
        ("only words", None, r"!\[\]\(NAME.lick\) on a line of its own"),
        ("a\n\nsee ![](a.lick) here", 3, "a picture among words"),
        ("- x\n- ![](a.lick)", 2, "a picture among words"),
        ("![](none.lick)", 1, "none.lick: there is no such file"),
        ("\n![](photo.png)", 2, "ending '.png' is not that of a lick"),
        ("![]()", 1, "this is a folder; name the lick file"),
        ('![](a.lick "fast")', 1, "how it is played, such as \"60 bpm\".*not 'fast'"),
        ('![](a.lick "500 bpm")', 1, "from 20 to 400"),
        ('![](a.lick "60 bpm over H")', 1, "no chord known here"),
        ('![](a.lick "over")', 1, "not 'over'"),
        ("x\n\n" + 21 * ">" + " x", 3, "nested 21 deep, more than 20"),
        ("*" * 60 + "x" + "*" * 60, 1, "more than 20; write it flatter"),
        ("x" * (2**20 + 1), None, "1048577 bytes of text, more than 1048576"),
    ],
)
def test_what_cannot_be_handed_out(
    written: Write, text: str, line: int | None, says: str
) -> None:
    """The text's line, what is wrong, and what to do."""
    file = written(text)
    with pytest.raises(HandoutError, match=says) as caught:
        handout.read(file)
    assert caught.value.line == line
    where = str(file) if line is None else f"{file}, line {line}"
    assert str(caught.value).startswith(f"{where}: ")


def test_a_broken_lick_is_named_with_both_places(written: Write) -> None:
    """Line of the text, and line of the lick."""
    file = written(TEXT)
    (file.parent / "a.lick").write_text("tempo: fast\n")
    with pytest.raises(HandoutError, match=r"doc.md, line 5: .*a.lick, line 1"):
        handout.read(file)


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda file: None, "no such file"),
        (lambda file: file.mkdir(), "this is a folder; name the text in it"),
        (lambda file: file.write_bytes(b"a\n\xff"), "line 2: byte 0xff is no UTF-8"),
    ],
)
def test_files_that_are_no_text(
    tmp_path: Path, make: Callable[[Path], object], says: str
) -> None:
    """Refused with the reason."""
    file = tmp_path / "doc.md"
    make(file)
    with pytest.raises(HandoutError, match=says):
        handout.read(file)


# ---------------------------------------------------------------- the page


def test_the_page_is_whole_and_closed(written: Write) -> None:
    """Nothing from outside; script and style by their hashes alone."""
    seen = Elements(page(handout.read(written(TEXT))))
    addresses = [a[k] for _, a in seen.tags for k in ("src", "href") if k in a]
    sounds = [a for a in addresses if str(a).startswith("data:audio/flac;base64,")]
    assert len(sounds) == 2
    assert set(addresses) - set(sounds) == {"#lick-1", "https://example.org"}
    (policy,) = [str(m["content"]) for m in seen.named("meta") if "http-equiv" in m]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert [a for _, a in seen.tags if "style" in a] == []
    headings = [tag for tag, _ in seen.tags if re.fullmatch(r"h\d", tag)]
    assert headings == ["h1", "h2", "h2", "h3"]


def test_the_sound_starts_with_a_bar_and_ends_on_a_bar_line(written: Write) -> None:
    """Pickup of one in 4/4 at 60: seven clicks before it; 12 beats make three bars."""
    text = page(handout.read(written('![](a.lick "60 bpm")')))
    (audio,) = Elements(text).named("audio")
    content = base64.b64decode(str(audio["src"]).partition(",")[2])
    samples, rate_hz = soundfile.read(io.BytesIO(content))
    assert len(samples) == 12 * rate_hz
    (section,) = Elements(text).named("section")
    line_s = [float(t) for t in str(section["data-line"]).split()]
    assert line_s == pytest.approx([7, 8, 9, 10, 10.5, 11])
    assert np.abs(samples[-10:]).max() < 0.01


def test_a_lick_is_played_over_what_the_text_says(written: Write) -> None:
    """A chord, or one to the bar; the count-in before chords has clicks alone."""
    quiet = []
    for words in ("60 bpm", "60 bpm over Am7", "60 BPM over Am7 | D2 A2", "over E"):
        (one,) = handout.read(written(f'![](a.lick "{words}")')).licks
        assert one.lick.tempo_bpm == (90 if words == "over E" else 60)
        address = practice_clip(one.lick, one.over_midi).address
        content = base64.b64decode(address.partition(",")[2])
        samples, rate_hz = soundfile.read(io.BytesIO(content))
        quiet.append(np.abs(samples[rate_hz * 2 // 5 : rate_hz // 2]).max() == 0)
    assert quiet == [True, False, True, False]


def test_every_note_is_named(written: Write) -> None:
    """Once in each of three widths, with string, fret and what is done with it."""
    seen = Elements(page(handout.read(written("![](a.lick)")), sound=False))
    notes = [a for _, a in seen.tags if a.get("class") == "note"]
    said = [str(a["aria-label"]) for a in notes]
    assert len(said) == 3 * 5
    assert said[4] == "bar 1, beat 3.5: C5, string 1, fret 8, hammered on"
    assert seen.named("audio") == []


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_words_stay_words(written: Write, text: str) -> None:
    """In headings, paragraphs, tables, code, and in the lick itself."""
    cell = text.replace("|", " ")
    words = (
        f"# {text}\n\n{text}\n\n|{cell}|\n|:-:|\n|{cell}|\n\n```{text}\n{text}\n```\n"
    )
    made = handout.read(written(f"{words}\n![](a.lick)", title=text, trains=text))
    out = page(made, sound=False)
    seen = Elements(out)
    assert len(seen.named("script")) == len(seen.named("style")) == 1
    assert seen.named("img") == []
    assert [a for _, a in seen.tags if any(k.startswith("on") for k in a)] == []
    assert f"1. {text}" in "".join(seen.texts["h2"])


@pytest.mark.parametrize(
    "link",
    [
        "[x](javascript:alert(1))", "[x](data:text/html,a)", "[x](file:///etc/x)",
        "[x](//example.org)", "[x](#lick-9)", "<ftp://example.org>",
        f"[x](https://{'a' * 3000})",
    ],
)  # fmt: skip
def test_links_to_nowhere_are_words(written: Write, link: str) -> None:
    """Only the web, mail and the hand-out's own licks are led to."""
    made = handout.read(written(f"{link}\n\n![](a.lick)"))
    assert Elements(page(made, sound=False)).named("a") == []


def test_the_staff_comes_along(written: Write) -> None:
    """On the page and on paper, over the same tab."""
    pytest.importorskip("verovio")
    file = written("![](a.lick)")
    made = handout.read(file)
    plain, staved = page(made, sound=False), page(made, staff=True, sound=False)
    assert "scale(.72" in staved
    assert "scale(.72" not in plain
    labels = [
        [a["aria-label"] for _, a in Elements(text).tags if a.get("class") == "note"]
        for text in (plain, staved)
    ]
    assert labels[0] == labels[1]
    assert len(on_paper(file, staff=True)) != len(on_paper(file))


# ------------------------------------------------------------------- on paper


@pytest.mark.parametrize(
    ("paper", "size_pt"), [("a4", A4_PT), ("letter", LETTER_PT)], ids=["a4", "letter"]
)
def test_the_paper_has_its_size(
    written: Write, paper: str, size_pt: tuple[float, float]
) -> None:
    """ISO 216 A4 and ANSI letter, in points; all words and both headings on it."""
    pypdf = pytest.importorskip("pypdf")
    pdf = on_paper(written(TEXT), paper=paper)
    (sheet,) = pypdf.PdfReader(io.BytesIO(pdf)).pages
    size = (float(sheet.mediabox.width), float(sheet.mediabox.height))
    assert size == pytest.approx(size_pt, abs=SIZE_TOLERANCE_PT)
    (words,) = paper_words(pdf)
    for said in ("Week one", "Say it, then play it.", "2. The same again", "= 60"):
        assert said in words


@pytest.mark.parametrize(
    "text",
    [
        "#panic(1) $x$ @ref <label> // /* = no",
        "`#panic()`\n\n```typ\n#panic()\n```",
        "#\n\n-\n\n>\n\n1.",
        19 * ">" + " deep",
        "".join("  " * k + "- x\n" for k in range(9)),
        "a\x00b\x07c\x1b[31m \uffff",
        "|a|b|\n|-:|:-:|\n" + "|x|y|\n" * 120,
        "~~x~~ **y** *z* \\\nnew<br>line\n\n---\n\n7. seven",
        *HOSTILE,
    ],
)
def test_nothing_in_the_words_is_set_as_typst(written: Write, text: str) -> None:
    """Signs of the typesetter are words; so is every odd text."""
    pages = paper_words(on_paper(written(f"{text}\n\n![](a.lick)", title="Two = #3")))
    assert "1. Two = #3" in "".join(pages)
    if "panic" in text:
        assert "#panic(" in "".join(pages)


def test_a_hand_out_is_the_same_file_each_time(written: Write) -> None:
    """No date, no chance."""
    file = written(TEXT)
    assert on_paper(file) == on_paper(file)
    made = handout.read(file)
    assert page(made) == page(made)


def test_a_lick_is_not_torn_from_its_heading(written: Write) -> None:
    """Where the page ends, heading and first system go on to the next together."""
    for lines in range(25, 40, 2):
        words = "line\n\n" * lines
        pages = paper_words(on_paper(written(f"{words}![](a.lick)")))
        (with_heading,) = [p for p in pages if "1. Two strings" in p]
        assert "= 90" in with_heading
    assert len(pages) > 1


# ---------------------------------------------------------------- the command


@pytest.mark.parametrize("suffix", ["pdf", "html"])
def test_the_command_writes_what_its_ending_says(
    written: Write, tmp_path: Path, suffix: str
) -> None:
    """Says what it wrote, never over another file unasked."""
    if suffix == "pdf":
        pytest.importorskip("typst")
    file, out = written(TEXT), tmp_path / f"out.{suffix}"
    code, said = run(file, "-o", out)
    assert code == 0, said
    assert "2 licks" in said
    head = {"pdf": b"%PDF-", "html": b"<!DOCTYPE html>"}[suffix]
    assert out.read_bytes().startswith(head)
    out.write_text("mine")
    code, said = run(file, "-o", out)
    assert (code, out.read_text()) == (2, "mine")
    assert "--force" in said
    assert run(file, "-o", out, "--force", "--paper", "letter")[0] == 0
    assert out.read_bytes().startswith(head)


def test_a_bad_text_ends_with_three_and_leaves_nothing(
    written: Write, tmp_path: Path
) -> None:
    """The message has file and line."""
    code, said = run(written("x\n\n![](no.lick)"), "-o", tmp_path / "out.html")
    assert code == 3
    assert "doc.md, line 3: " in said
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.lick", "doc.md"]


@pytest.mark.parametrize("name", ["out.docx", "nowhere/out.pdf"])
def test_wrong_use(written: Write, name: str, tmp_path: Path) -> None:
    """Ends with 2."""
    assert run(written(TEXT), "-o", tmp_path / name)[0] == 2


def test_paper_without_typst_is_refused_with_the_remedy(
    written: Write, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The extra is named; the page needs nothing."""
    monkeypatch.setattr("assessor.cli.lick.paper.find_spec", lambda name: None)
    code, said = run(written(TEXT), "-o", tmp_path / "a.pdf")
    assert code == 2
    assert "assessor[print]" in said
    assert run(written(TEXT), "-o", tmp_path / "a.html", "--without-sound")[0] == 0
