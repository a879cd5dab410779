"""``assessor lick show`` and ``assessor lick library`` as a person uses them."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from assessor.cli import main

TOP = Path(__file__).parents[1]
REFERENCES = TOP / "references"
DIMINISHED = REFERENCES / "diminished-cell-by-minor-thirds.lick"
BOX = REFERENCES / "pentatonic-hammers-and-pulls.lick"


def run(*words: object) -> Result:
    """Return what a command printed and its exit code."""
    return CliRunner().invoke(main, ["lick", *map(str, words)])


def test_show_prints_tab_and_content() -> None:
    """The tab as on the sheet, fingers under it, then the answers."""
    done = run("show", DIMINISHED)
    assert done.exit_code == 0, done.output
    lines = done.output.splitlines()
    assert lines[0] == "One cell moved up and down by three frets"
    assert "B|----3-----6-----6-----9-----9-----12----12----15-|" in lines
    assert "   2  1  3  4  2  1  3  4  2  1  3  4  2  1  3  4" in lines
    assert "each time 3 frets up" in done.output


def test_show_reckons_with_what_is_given() -> None:
    """Key, chord, tempo."""
    done = run("show", BOX, "--key", "C", "--chord", "Am7", "--tempo", 160)
    words = " ".join(done.output.split())
    assert "160 bpm" in words
    assert "Key C major, as given" in words
    assert "none, every note lies in C major" in words
    assert "Am7: D at bar 1, beat 1.5" in words
    assert "the 6 of C major, the 1 of Am7" in words
    assert "10.67 notes a second" in words


def test_show_cautions_beyond_the_span() -> None:
    """A span of three frets is narrower than the box."""
    assert "Careful" not in run("show", BOX).output
    assert "4 frets under one hand are more than 3" in " ".join(
        run("show", BOX, "--span", 3).output.split()
    )


def test_show_for_programs() -> None:
    """JSON alone."""
    done = run("show", BOX, "--json", "--chord", "Am7")
    record = json.loads(done.stdout)
    assert record["format"] == "assessor-lick-content"
    assert record["scales"][0] == {"name": "A minor pentatonic", "not_played": 0}
    assert record["chord"] == "Am7"
    assert record["slurred_groups"][0] == [0, 1]


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (("--key", "H"), "note name"),
        (("--key", "A hyper"), "known are major"),
        (("--chord", "Cx"), "m7b5"),
        (("--span", "1"), "--span"),
        (("--tempo", "nan"), "--tempo"),
    ],
)
def test_wrong_use_says_what_is_allowed(words: tuple[str, ...], expected: str) -> None:
    """Exit code 2."""
    done = run("show", BOX, *words)
    assert done.exit_code == 2
    assert expected in done.stderr


@pytest.mark.parametrize(
    ("content", "expected"),
    [(None, "no such file"), ("", "empty"), ("title: x\n", "tempo")],
)
def test_bad_files_say_so(tmp_path: Path, content: str | None, expected: str) -> None:
    """Exit code 3, the file named."""
    path = tmp_path / "a.lick"
    if content is not None:
        path.write_text(content)
    done = run("show", path)
    assert done.exit_code == 3
    assert expected in done.stderr
    assert "a.lick" in done.stderr


def test_the_library_lists_what_each_trains() -> None:
    """All licks that ship, with their paths, from any folder."""
    done = run("library")
    assert done.exit_code == 0, done.output
    paths = sorted(REFERENCES.glob("*.lick"))
    assert f"{len(paths)} licks" in done.output
    for path in paths:
        assert path.name in done.output
    assert "trains string skips with even eighths" in done.output


def test_the_library_is_searched() -> None:
    """As in the manual; every path it prints can be shown."""
    done = run("library", "bends", "tempo<100")
    assert "half-and-whole-bends.lick" in done.output
    assert "skipped-string-arpeggios" not in done.output
    found = json.loads(run("library", "--json", "bends", "tempo<100").stdout)
    assert all(entry["quantities"]["bends"] > 0 for entry in found)
    assert all(run("show", entry["path"]).exit_code == 0 for entry in found)


def test_own_folders_are_searched_in_place_of_those_that_ship(tmp_path: Path) -> None:
    """Several at once; what cannot be read is told beside the list."""
    one, two = tmp_path / "one", tmp_path / "two"
    one.mkdir()
    two.mkdir()
    (one / "mine.lick").write_text(BOX.read_text())
    (two / "broken.lick").write_text("title: \x1b]0;x\x07\n")
    done = run("library", "--in", one, "--in", two)
    assert done.exit_code == 0
    assert "1 lick\n" in done.stdout
    assert "passed over" in done.stderr
    assert "broken.lick" in done.stderr


def test_a_path_stands_whole_on_its_line(tmp_path: Path) -> None:
    """However long, spaces and all: it can be copied."""
    folder = tmp_path / " ".join(["my licks"] * 12)
    folder.mkdir()
    (folder / "mine.lick").write_text(BOX.read_text())
    lines = run("library", "--in", folder).output.splitlines()
    assert f"    {folder / 'mine.lick'}" in lines


@pytest.mark.parametrize(
    ("words", "code", "expected"),
    [
        (("tempo<slow",), 2, "stands a number"),
        (("nothing-has-this",), 0, "0 of"),
        (("--in", "nowhere"), 3, "no such folder"),
        (("--words",), 0, "most frets under the hand"),
    ],
)
def test_what_the_library_answers(
    words: tuple[str, ...], code: int, expected: str
) -> None:
    """Wrong use, nothing found, no folder, help."""
    done = run("library", *words)
    assert (done.exit_code, expected in done.output) == (code, True)


@pytest.mark.parametrize("words", [("show", str(BOX)), ("library",)])
def test_it_works_where_only_ascii_is_printed(
    words: tuple[str, ...], tmp_path: Path
) -> None:
    """A title with letters that the terminal does not have."""
    sheet = tmp_path / "a.lick"
    sheet.write_text(BOX.read_text().replace("Pentatonic", "Läufe"), encoding="utf-8")
    words = (
        ("show", str(sheet)) if words[0] == "show" else ("library", "--in", tmp_path)
    )
    done = subprocess.run(
        [sys.executable, "-m", "assessor", "lick", *map(str, words)],
        cwd=TOP,
        env={**os.environ, "PYTHONIOENCODING": "ascii"},
        capture_output=True,
        text=True,
        check=True,
    )
    assert "L?ufe box" in done.stdout
