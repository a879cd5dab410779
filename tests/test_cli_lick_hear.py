"""``assessor lick hear`` and ``assessor lick print`` as a person uses them."""

from __future__ import annotations

import errno
import io
import os
import re
from pathlib import Path

import click
import mido
import numpy as np
import pytest
import soundfile
from click.testing import CliRunner, Result

from assessor import lick
from assessor.cli import main

REFERENCES = Path(__file__).parents[1] / "references"
BENDS = str(REFERENCES / "half-and-whole-bends.lick")


def run(*words: object) -> Result:
    """Return what a command printed and its exit code."""
    return CliRunner().invoke(main, ["lick", *map(str, words)])


@pytest.mark.parametrize("suffix", ["wav", "flac"])
def test_a_demo_is_a_sound_file(tmp_path: Path, suffix: str) -> None:
    """It opens, is mono at 44.1 kHz, and begins with a click."""
    out = tmp_path / f"demo.{suffix}"
    done = run("hear", BENDS, "-o", out)
    assert done.exit_code == 0, done.output
    assert "66 bpm" in done.output
    samples, rate_hz = soundfile.read(out)
    assert (samples.ndim, rate_hz) == (1, 44100)
    assert np.abs(samples[:1000]).max() > 0.1


def test_a_ladder_climbs_in_steps_to_the_last_tempo(tmp_path: Path) -> None:
    """From 60 to 90 by 20 is 60, 80 and 90."""
    done = run(
        "hear", BENDS, "-o", tmp_path / "a.wav", "--tempo", 60, "--to", 90, "--by", 20
    )
    assert "60 80 90 bpm" in done.output


def test_without_click_and_count_in_it_begins_with_the_lick(tmp_path: Path) -> None:
    """Twice the lick is at least twice the notes, and nothing before."""
    out = tmp_path / "a.wav"
    words = ("--no-click", "--count-in", 0, "--repeat", 2, "--over", "A2 E3")
    assert run("hear", BENDS, "-o", out, *words).exit_code == 0
    seconds = soundfile.info(out).duration
    assert seconds > 2 * lick.read(BENDS).onsets_s()[-1]


def test_midi_has_the_tempo_and_the_bends(tmp_path: Path) -> None:
    """A Standard MIDI File at the asked tempo, the wheel moved."""
    out = tmp_path / "a.mid"
    assert run("hear", BENDS, "-o", out, "--tempo", 120).exit_code == 0
    messages = list(mido.MidiFile(file=io.BytesIO(out.read_bytes())))
    assert [m.tempo for m in messages if m.type == "set_tempo"] == [500_000]
    assert max(m.pitch for m in messages if m.type == "pitchwheel") > 5000


def test_midi_bends_by_the_bytes(tmp_path: Path) -> None:
    """MIDI 1.0: 14 bits, low seven first, 2000 hex at rest, range by parameter 0.

    Of a range of three semitones a half step is 2AAB hex (2B 55), a whole one 3555
    (55 6A), with running status (a byte E0 before the first alone).
    """
    sheet = tmp_path / "bends.lick"
    sheet.write_text(
        "tempo: 60\ntuning: D3 G3 B3 E4\n\n   h     h\n"
        "e|-5b6---5b7-|\nB|-----------|\nG|-----------|\nD|-----------|\n"
    )
    out = tmp_path / "a.mid"
    assert run("hear", sheet, "-o", out).exit_code == 0
    data = out.read_bytes()
    assert bytes.fromhex("B0 65 00 00 64 00 00 06 03") in data
    half, rest, whole, end = (
        bytes.fromhex(v) for v in ("2B 55", "E0 00 40", "55 6A", "FF 2F")
    )
    head, _, after_half = data.partition(bytes.fromhex("45 58"))[2].partition(half)
    assert whole not in head
    between, _, last = after_half.partition(whole)
    assert rest in between
    assert rest in last
    assert end in last


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("-o", "a.mp3"), "known are .wav"),
        (("-o", "nowhere/a.wav"), "there is no folder nowhere; make it"),
        (("-o", "a.wav", "--over", "H2"), "no chord known"),
        (("-o", "a.wav", "--over", "C99"), "no chord known"),
        (("-o", "a.wav", "--over", "A2 H3"), "no note name"),
        (("-o", "a.wav", "--over", "A2 A5"), "too high to hold; C1 to B4"),
        (("-o", "a.wav", "--over", "C0"), "too low"),
        (("-o", "a.wav", "--over", " "), "nothing is named"),
        (("-o", "a.wav", "--by", "10"), "--by goes with --to"),
        (("-o", "a.wav", "--over", "Am | | C"), "a bar with nothing in it"),
        (("-o", "a.wav", "--tempo", "nan"), "no number"),
        (("-o", "a.wav", "--to", "400", "--by", "0.5"), "larger ones"),
        (("-o", "a.wav", "--repeat", "200"), "minutes, more than 30"),
        (("-o", "a.mid", "--repeat", "2"), "holds the lick alone"),
        (("-o", "a.mid", "--over", "A2"), "holds the lick alone"),
        ((), "Missing option"),
    ],
    ids=str,
)
def test_wrong_use_of_hear(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...], says: str
) -> None:
    """Ends with 2, says why, and leaves nothing behind."""
    monkeypatch.chdir(tmp_path)
    done = run("hear", BENDS, *words)
    assert done.exit_code == 2
    assert says in done.output
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("command", ["hear", "print"])
def test_a_bad_lick_ends_with_three(tmp_path: Path, command: str) -> None:
    """The file's own message, no output."""
    bad = tmp_path / "bad.lick"
    bad.write_text("tempo: fast\n")
    out = tmp_path / {"hear": "a.wav", "print": "a.svg"}[command]
    done = run(command, bad, "-o", out)
    assert done.exit_code == 3
    assert "bad.lick" in done.output
    assert not out.exists()


@pytest.mark.parametrize("command", ["hear", "print"])
def test_nothing_is_written_over_unasked(tmp_path: Path, command: str) -> None:
    """An old file stays as it is until --force."""
    out = tmp_path / {"hear": "a.wav", "print": "a.svg"}[command]
    out.write_text("mine")
    done = run(command, BENDS, "-o", out)
    assert done.exit_code == 2
    assert "--force" in done.output
    assert out.read_text() == "mine"
    assert run(command, BENDS, "-o", out, "--force").exit_code == 0
    assert out.read_bytes()[:4] != b"mine"


@pytest.mark.parametrize(
    ("suffix", "head"), [("svg", b"<svg"), ("pdf", b"%PDF-"), ("png", b"\x89PNG")]
)
def test_print_writes_each_format(tmp_path: Path, suffix: str, head: bytes) -> None:
    """The file is what its ending says."""
    if suffix != "svg":
        pytest.importorskip("typst")
    out = tmp_path / f"a.{suffix}"
    done = run("print", BENDS, "-o", out, "--paper", "letter")
    assert done.exit_code == 0, done.output
    assert out.read_bytes().startswith(head)


@pytest.mark.parametrize("command", ["hear", "print", "handout"])
def test_what_was_left_out_on_reading_is_told(tmp_path: Path, command: str) -> None:
    """A MIDI file names neither strings nor frets; that they were chosen is said."""
    sheet = tmp_path / "a.lick"
    sheet.write_bytes(Path(BENDS).read_bytes())
    middle = tmp_path / "a.mid"
    assert run("hear", sheet, "-o", middle).exit_code == 0
    asked = lick.read(middle)
    assert asked.notices
    given: Path = middle
    if command == "handout":
        given = tmp_path / "a.md"
        given.write_text("![](a.mid)\n")
    out = {"hear": "a.wav", "print": "a.svg", "handout": "a.html"}[command]
    done = run(command, given, "-o", tmp_path / out)
    assert done.exit_code == 0, done.output
    assert asked.notices[0] in done.output


def test_pages_are_written_all_or_none(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """When the second page cannot be written, the first one goes, too."""
    from assessor.cli.lick import paper

    there = os.replace

    def full(part: Path, file: Path) -> None:
        if file.name == "b.svg":
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        there(part, file)

    monkeypatch.setattr(os, "replace", full)
    files = [tmp_path / "a.svg", tmp_path / "b.svg"]
    with pytest.raises(click.UsageError, match="make room"):
        paper._write_all(files, ["", ""])
    assert list(tmp_path.iterdir()) == []


def test_a_pdf_has_its_title_and_is_the_same_each_time(tmp_path: Path) -> None:
    """Whatever stands in the title; no date."""
    pytest.importorskip("typst")
    pypdf = pytest.importorskip("pypdf")
    title = '#panic() "q" <b> \\'
    file = tmp_path / "odd.lick"
    text = Path(BENDS).read_text(encoding="utf-8").partition("\n")[2]
    file.write_text(f"title: {title}\n{text}", encoding="utf-8")
    made = []
    for name in ("a.pdf", "b.pdf"):
        assert run("print", file, "-o", tmp_path / name).exit_code == 0
        made.append((tmp_path / name).read_bytes())
    assert made[0] == made[1]
    assert pypdf.PdfReader(tmp_path / "a.pdf").metadata.title == title


def test_pages_are_numbered(tmp_path: Path) -> None:
    """A lick of several pages makes as many SVG files, all named."""
    bar = "\n".join(f"{name}|-{'5-' if name == 'G' else '--'}|" for name in "eBGDAE")
    rhythm = "   q"
    system = f"\n{rhythm}\n{bar}\n"
    file = tmp_path / "long.lick"
    file.write_text("tempo: 90\nmeter: 1/4\n" + system * 160)
    done = run("print", file, "-o", tmp_path / "a.svg")
    assert done.exit_code == 0, done.output
    names = sorted(p.name for p in tmp_path.glob("*.svg"))
    assert len(names) > 1
    assert names[0] == "a-1.svg"
    assert all(name in done.output for name in names)


@pytest.mark.parametrize("title", ["Wide MMM " * 400, "x" * 5000, "宽" * 300])
def test_a_long_title_stays_on_the_paper(tmp_path: Path, title: str) -> None:
    """In some lines, the last of them saying that there was more; the tab has room."""
    file = tmp_path / "long.lick"
    text = Path(BENDS).read_text(encoding="utf-8").partition("\n")[2]
    file.write_text(f"title: {title}\n{text}", encoding="utf-8")
    done = run("print", file, "-o", tmp_path / "a.svg")
    assert done.exit_code == 0, done.output
    svg = (tmp_path / "a.svg").read_text(encoding="utf-8")
    bold = re.findall(r'font-size="19" font-weight="bold">([^<]*)<', svg)
    assert len(bold) == 4
    assert bold[-1].endswith("…")
    assert max(map(len, bold)) < 50


def test_pdf_without_typst_is_refused_with_the_remedy(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The message names the extra."""
    monkeypatch.setattr("assessor.cli.lick.paper.find_spec", lambda name: None)
    done = run("print", BENDS, "-o", tmp_path / "a.pdf")
    assert done.exit_code == 2
    assert "assessor[print]" in done.output
    assert run("print", BENDS, "-o", tmp_path / "a.svg").exit_code == 0
