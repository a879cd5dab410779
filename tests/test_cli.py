"""`assessor check` as a person and a script use it."""

from __future__ import annotations

import errno
import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from assessor import cli

TOP = Path(__file__).parents[1]
FLAT = (
    str(TOP / "recordings" / "flat-bend.flac"),
    "--lick",
    str(TOP / "references" / "half-and-whole-bends.lick"),
)
CLEAN = (
    str(TOP / "recordings" / "clean.flac"),
    "--lick",
    str(TOP / "references" / "skipped-string-arpeggios.lick"),
)


def check(*arguments: str) -> Result:
    """Run `assessor check` in this process."""
    return CliRunner().invoke(cli.main, ["check", *arguments])


def spawn(*arguments: str, **environment: str) -> subprocess.CompletedProcess[str]:
    """Run the program as a shell does."""
    return subprocess.run(
        [sys.executable, "-m", "assessor", *arguments],
        capture_output=True,
        cwd=TOP,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1", **environment},
        encoding=environment.get("PYTHONIOENCODING", "utf-8"),
        check=False,
    )


def test_take_is_reported() -> None:
    """Tab, readings, one thing to work on; exit code 0 although a bend is flat."""
    done = check(*FLAT)
    assert (done.exit_code, done.stderr) == (0, "")
    for words in ("Half and whole bends", "G|-7b9~", "↓ flat", "Mark", "Work on bar"):
        assert words in done.stdout
    assert max(len(line) for line in done.stdout.splitlines()) <= 80
    assert "\x1b" not in done.stdout


@pytest.mark.parametrize(
    ("take", "more", "code"),
    [
        (FLAT, [], 1),
        (FLAT, ["--tolerance", "wide"], 0),  # the bends are 35 to 44 cents flat
        (FLAT, ["--tolerance", "bend=50c"], 0),
        (CLEAN, [], 0),
        (CLEAN, ["--tolerance", "timing=1ms"], 1),
    ],
)
def test_enforced_tolerance(take: tuple[str, ...], more: list[str], code: int) -> None:
    """Exit code 1 means outside tolerance, and only when asked for."""
    assert check(*take, "--enforce", *more).exit_code == code
    assert check(*take, *more).exit_code == 0


def test_result_file(tmp_path: Path) -> None:
    """--json writes the result and prints the report; an earlier one is replaced."""
    out = tmp_path / "result.json"
    first = check(*FLAT, "--json", str(out))
    again = check(*FLAT, "--json", str(out), "--tempo", "60", "--click=0.25")
    assert (first.exit_code, again.exit_code) == (0, 0)
    assert "Mark" in again.stdout
    found = json.loads(out.read_text(encoding="utf-8"))
    assert found["format"] == "assessor-result"
    assert found["settings"]["click"] == {"offset_s": 0.25, "tempo_bpm": None}
    assert found["lick"]["asked_tempo_bpm"] == 60.0
    assert found["passes"][0]["timing"]["against"] == "click"
    assert list(tmp_path.iterdir()) == [out]


def test_result_on_standard_output() -> None:
    """--json - prints the result alone."""
    found = json.loads(check(*FLAT, "--json", "-").stdout)
    assert len(found["passes"][0]["notes"]) == 14


def test_file_that_is_no_result_is_not_written_over(tmp_path: Path) -> None:
    """A take named where the result should go stays as it is."""
    other = tmp_path / "take.wav"
    other.write_bytes(b"RIFF....WAVE")
    done = check(*FLAT, "--json", str(other))
    assert done.exit_code == 2
    assert "no earlier result" in done.stderr
    assert other.read_bytes() == b"RIFF....WAVE"


def test_failed_write_leaves_the_earlier_result(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """When the result cannot be put in place, the old one is still whole."""
    out = tmp_path / "result.json"
    out.write_text('{"format": "assessor-result"}', encoding="utf-8")

    def full(*_: Any) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    done = check(*FLAT, "--json", str(out))
    assert done.exit_code == 2
    assert "No space left" in done.stderr
    assert out.read_text(encoding="utf-8") == '{"format": "assessor-result"}'
    assert list(tmp_path.iterdir()) == [out]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ([FLAT[0]], "--lick"),
        ([*FLAT, "--tolerance", "loose"], "neither wide, usual, tight"),
        ([*FLAT, "--tempo", "0"], "20<=x<=400"),
        ([*FLAT, "--tempo", "nan"], "no number"),
        ([*FLAT, "--click", "soon"], "not a valid"),
        ([*FLAT, "--tracker", "ear"], "'own', 'pyin'"),
        ([*FLAT, "--json", "no/such/folder/x.json"], "folder"),
        ([*FLAT, "--json", "."], "folder"),
        ([*FLAT, "two", "takes"], "unexpected extra"),
    ],
)
def test_wrong_use(arguments: list[str], words: str) -> None:
    """Exit code 2, and what is allowed."""
    done = check(*arguments)
    assert done.exit_code == 2
    assert words in done.stderr
    assert done.stdout == ""


@pytest.mark.parametrize(
    ("take", "lick", "words"),
    [
        ("nowhere.wav", FLAT[2], "nowhere.wav: there is no such file"),
        (FLAT[0], "nowhere.lick", "nowhere.lick: there is no such file"),
        (FLAT[2], FLAT[2], "no sound file"),
        (FLAT[0], FLAT[0], "not that of a lick"),
        (FLAT[0], CLEAN[2], "this take is not the lick"),
    ],
)
def test_bad_file(take: str, lick: str, words: str) -> None:
    """Exit code 3 and a sentence, never a trace of the program's insides."""
    done = check(take, "--lick", lick)
    assert done.exit_code == 3
    assert done.stderr.startswith("assessor: ")
    assert words in done.stderr
    assert "Traceback" not in done.output


def test_second_opinion_of_pyin() -> None:
    """--tracker pyin checks every note; on a clean take both agree."""
    found = json.loads(check(*CLEAN, "--tracker", "pyin", "--json", "-").stdout)
    opinion = found["second_opinion"]
    assert opinion["disagreements"] == []
    assert opinion["agreed"] >= 25  # of 29 notes; pYIN loses some short ones


@pytest.mark.parametrize("encoding", ["ascii", "latin-1", "utf-8"])
def test_any_encoding_of_the_stream(encoding: str) -> None:
    """Where the signs cannot be written ASCII takes their place."""
    done = spawn("check", *FLAT, PYTHONIOENCODING=encoding)
    assert done.returncode == 0
    assert ("↓ flat" if encoding == "utf-8" else "v flat") in done.stdout


def test_colour_when_asked_for() -> None:
    """Never in a pipe unless asked for."""
    assert "\x1b[" in check(*FLAT, "--colour", "always").stdout
    assert "\x1b[" not in check(*FLAT, "--colour", "never").stdout


def test_reader_that_goes_away_is_no_error() -> None:
    """`assessor check ... | head -1`."""
    with subprocess.Popen(
        [sys.executable, "-m", "assessor", "check", *FLAT],
        cwd=TOP,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    ) as program:
        assert program.stdout is not None
        assert program.stderr is not None
        program.stdout.close()
        assert program.stderr.read() == b""
        assert program.wait(60) == 0


def test_help_is_quick_and_loads_nothing_heavy() -> None:
    """--help and --version; no numpy before a command runs."""
    code = "import sys, assessor.cli; print('numpy' in sys.modules)"
    loaded = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=True,
        cwd=TOP,
    )
    assert loaded.stdout == "False\n"
    before = os.times()
    done = spawn("--help")
    after = os.times()
    # its own time, whatever else the machine does; measured 0.05 s
    took_s = after.children_user - before.children_user
    assert took_s + after.children_system - before.children_system < 1.0
    assert "check" in done.stdout
    assert spawn("--version").stdout.startswith("assessor ")


def test_default_path_loads_no_large_library() -> None:
    """Neither librosa nor scipy.signal nor lxml to check a FLAC against a sheet."""
    code = (
        "import sys; from assessor import cli\n"
        "try: cli.main(sys.argv[1:])\n"
        "except SystemExit: pass\n"
        "print(sorted({'librosa', 'scipy.signal', 'lxml', 'mido', 'rich', 'av'}"
        " & set(sys.modules)), file=sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, "check", *FLAT],
        capture_output=True,
        text=True,
        check=True,
        cwd=TOP,
    )
    assert done.stderr == "[]\n"


def test_a_title_cannot_command_the_terminal(tmp_path: Path) -> None:
    """Whoever wrote the lick; a program that reads JSON gets the title as it is."""
    sheet = Path(CLEAN[2]).read_text(encoding="utf-8")
    title = "Clear \x1b[2J\x1b]0;window\x07 all"
    lick = tmp_path / "x.lick"
    _, rest = sheet.split("\n", 1)
    lick.write_text(f"title: {title}\n{rest}", encoding="utf-8")
    asked = CLEAN[0], "--lick", str(lick)
    assert check(*asked).stdout.startswith("Clear ?[2J?]0;window? all\n")
    result = json.loads(check(*asked, "--json", "-").stdout)
    assert result["lick"]["title"] == title


@pytest.mark.parametrize(
    ("place", "words"),
    [
        ("taken", "that is a folder; name a file"),
        ("no/report.html", "there is no folder {folder}/no; make it, or name another"),
        ("closed/report.html", "nothing may be written to the folder {folder}/closed"),
    ],
)
def test_where_nothing_can_be_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, place: str, words: str
) -> None:
    """Said before anything is heard, with what to do; root's files are always open."""
    for name in ("taken", "closed"):
        (tmp_path / name).mkdir()
    is_open = os.access
    monkeypatch.setattr(
        os,
        "access",
        lambda path, mode: "closed" not in str(path) and is_open(path, mode),
    )
    done = check(*CLEAN, "--html", str(tmp_path / place))
    assert done.exit_code == 2
    assert words.format(folder=tmp_path) in done.output
    assert "Mark" not in done.output


def test_a_full_disk_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """With the file and what to do, and nothing half-written is left."""
    out = tmp_path / "report.html"

    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "replace", full)
    done = check(*CLEAN, "--html", str(out))
    assert done.exit_code == 2
    assert f"{out}: cannot be written: No space left on device; make room" in (
        done.output
    )
    assert list(tmp_path.iterdir()) == []
