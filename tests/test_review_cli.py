"""The commands around a review: stopped and gone on with, judged blind, forgotten."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from urllib.request import HTTPCookieProcessor, build_opener

import made_up_class
import pytest
from click.testing import CliRunner

from assessor.cli import main
from assessor.cli.review.run import _left
from assessor.review.books import open_books
from assessor.review.summary import read_class

NOTES = 8
MANY = 100
TOP = Path(__file__).parents[1]
PATIENCE_S = 60.0


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Eight players."""
    folder = tmp_path_factory.mktemp("class")
    asked = made_up_class.write_class(folder, 8, shorter=NOTES)
    made_up_class.write_sheet(folder / "short.lick", asked)
    return folder


@pytest.fixture(scope="module")
def many(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """So many that a review is far from done when it has begun."""
    folder = tmp_path_factory.mktemp("many")
    asked = made_up_class.write_class(folder, MANY, shorter=NOTES)
    made_up_class.write_sheet(folder / "short.lick", asked)
    return folder


def _words(folder: Path, out: Path) -> list[str]:
    lick = str(folder / "short.lick")
    return ["review", str(folder), "--lick", lick, "-o", str(out), "--jobs", "1"]


def _run(*words: str, code: int = 0) -> str:
    done = CliRunner().invoke(main, list(words))
    assert done.exit_code == code, done.output
    return done.output


@pytest.mark.parametrize(
    ("stop", "whom"),
    [
        (signal.SIGKILL, os.killpg),  # as a power cut would: workers too
        (signal.SIGKILL, os.kill),  # the program alone: its workers go with it
        (signal.SIGINT, os.killpg),  # as a terminal does
    ],
)
def test_a_review_that_was_stopped_goes_on(
    many: Path,
    tmp_path: Path,
    stop: signal.Signals,
    whom: Callable[[int, int], None],
) -> None:
    """What was done is not done again, and the class is the one of a whole run."""
    out = tmp_path / "out"
    words = [sys.executable, "-m", "assessor", *_words(many, out)]
    environment = {**os.environ, "PYTHONPATH": str(TOP)}
    process = subprocess.Popen(
        words,
        env=environment,
        stderr=subprocess.PIPE,
        start_new_session=True,
        # a shell's background job ignores it, and all that it starts
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    )
    deadline_s = time.monotonic() + PATIENCE_S
    while len(list(out.glob("private/takes/*.json"))) < 2:
        assert time.monotonic() < deadline_s
        time.sleep(0.01)
    whom(process.pid, stop)
    # ends when nobody has this pipe open any more: no worker is left behind
    _, said = process.communicate(timeout=PATIENCE_S)
    assert process.returncode == (-9 if stop == signal.SIGKILL else 130)
    assert b"Traceback" not in said
    records = {file.name: file.read_bytes() for file in _records(out)}
    assert 2 <= len(records) < MANY
    assert f", {len(records)} unchanged" in _run(*_words(many, out))
    assert len(_records(out)) == MANY
    for name, content in records.items():
        assert (out / "private" / "takes" / name).read_bytes() == content
    assert not list(out.rglob("*.part"))
    review = read_class(out)
    assert all(take.shown for take in review.takes)


def _records(out: Path) -> list[Path]:
    return sorted(out.glob("private/takes/*.json"))


@pytest.fixture(scope="module")
def out(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The class, reviewed."""
    out = tmp_path_factory.mktemp("review") / "out"
    _run(*_words(folder, out), "--without-sound")
    return out


def test_takes_are_judged_blind(out: Path) -> None:
    """A letter a note; then the page says how far to trust the tool."""
    assert "No take was judged blind yet" in _run("review", "agree", str(out))
    takes = read_class(out).takes
    for number, take in enumerate(takes[:3]):
        assert take.found is not None
        assert take.found.mark is not None
        letters = "".join(note.verdict[0] for note in take.found.notes)
        letters = ("w" if number == 0 else letters[0]) + letters[1:]
        words = ["--verdicts", letters, "--mark", f"{take.found.mark - 10 - number}"]
        _run("review", "correct", str(out), take.take_id, *words, "--blind")
    text = _run("review", "agree", str(out))
    assert "3 takes judged blind" in text
    assert f"Same verdict on {100 * 23 / 24:.0f} % of 24 notes; Cohen's kappa" in text
    # differences of 10, 11 and 12 points: mean 11, SD 1
    assert "Mark: tool minus teacher 11 points" in text
    assert "lie from 9 points to 13 points (3 takes)" in text
    # the first take: one note of eight less right; the others alike
    share = f"Right notes: tool minus teacher {100 / 8 / 3:.0f} %"
    assert share in text
    assert "How far to trust it" in (out / "class.html").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("letters", "said"), [("rr", "2 letters for 8 notes"), ("rrrrrrrx", "'x' is none")]
)
def test_wrong_letters_are_refused(out: Path, letters: str, said: str) -> None:
    """With what was wrong."""
    take_id = read_class(out).takes[0].take_id
    words = ["review", "correct", str(out), take_id, "--verdicts", letters]
    assert said in _run(*words, code=2)


def test_answers_by_command(out: Path) -> None:
    """One file a player, and the name beside it for the teacher."""
    text = _run("review", "answer", str(out), "--player", "player-000", "--jobs", "1")
    assert text.splitlines()[-1] == "1 written"
    assert text.splitlines()[0].endswith("  player-000")
    assert len(list(out.glob("answers/*.html"))) == 1


def test_forgetting_by_command(folder: Path, tmp_path: Path) -> None:
    """After asking; the class page is without the player."""
    out = tmp_path / "out"
    _run(*_words(folder, out), "--without-reports")
    pseudonym = {p.name: p.pseudonym for p in open_books(out).read_roster()}
    words = ["review", "forget", str(out), "--player", "player-003"]
    asked = CliRunner().invoke(main, words, input="n\n")
    assert asked.exit_code == 1
    assert len(_records(out)) == 8
    assert "forgotten: 1 take, 0 corrections" in _run(*words, "--yes")
    assert len(_records(out)) == 7
    page = (out / "class.html").read_text(encoding="utf-8")
    assert pseudonym["player-003"] not in page
    assert pseudonym["player-004"] in page
    assert "nothing is known" in _run(*words, "--yes", code=3)


def test_forgetting_reaches_every_folder_that_is_named(
    folder: Path, tmp_path: Path
) -> None:
    """Also after one that does not know the player, and where no page can be made."""
    words = ["review", str(folder), "--jobs", "1", "--without-reports", "--lick"]
    outs = [str(tmp_path / name) for name in ("one", "two", "three")]
    sheet = tmp_path / "short.lick"
    sheet.write_bytes((folder / "short.lick").read_bytes())
    _run(*words, str(folder / "short.lick"), "-o", outs[0])
    _run(*words, str(folder / "short.lick"), "-o", outs[1])
    _run(*words, str(sheet), "-o", outs[2])
    sheet.unlink()
    forget = ["review", "forget", "--player", "player-003", "--yes"]
    _run(*forget, outs[0])
    text = _run(*forget, *outs[:2])
    assert text.count("forgotten: 1 take") == 1
    text = _run(*forget, *outs, code=3)
    assert "the lick of this review cannot be read" in text
    third = open_books(outs[2])
    assert "player-003" not in {player.name for player in third.read_roster()}
    assert len(_records(third.out)) == 7
    assert not (third.out / "class.html").exists()


def test_numbers_of_an_assignment_stand_in_it(folder: Path, tmp_path: Path) -> None:
    """And not beside it."""
    words = ["review", str(folder), "--assignment", "x.toml", "-o", str(tmp_path)]
    assert "stand in the assignment" in _run(*words, "--tempo", "80", code=2)


@pytest.mark.parametrize(
    ("done", "total", "elapsed_s", "said"),
    [
        (2, 10, 4.0, ""),  # too early to guess
        (3, 10, 6.0, ", 0:14 left"),
        (100, 1000, 100.0, ", 15:00 left"),
        (10, 10, 20.0, ""),
    ],
)
def test_time_left(done: int, total: int, elapsed_s: float, said: str) -> None:
    """From the pace so far."""
    assert _left(done, total, elapsed_s) == said


def test_progress_is_told(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Now and then, where the output is no terminal."""
    monkeypatch.setattr("assessor.cli.review.run.TELL_EVERY_S", 0.0)
    text = _run(*_words(folder, tmp_path / "out"), "--without-reports")
    assert "1 of 8 takes\n" in text
    assert "5 of 8 takes, 0:0" in text


def test_a_review_of_the_same_folder_waits(folder: Path, out: Path) -> None:
    """Two at once would write over each other."""
    fcntl = pytest.importorskip("fcntl")
    with (out / "private" / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        assert "under way" in _run(*_words(folder, out), code=3)


def test_a_review_can_open_its_page_at_once(folder: Path, tmp_path: Path) -> None:
    """`--serve`: what the review found, then a link that lets its owner in."""
    pytest.importorskip("starlette")
    words = [*_words(folder, tmp_path / "out"), "--without-reports", "--serve"]
    # BROWSER: what would be opened
    environment = {**os.environ, "PYTHONPATH": str(TOP), "BROWSER": "true"}
    process = subprocess.Popen(
        [sys.executable, "-m", "assessor", *words],
        env=environment,
        stdout=subprocess.PIPE,
        text=True,
    )
    try:
        assert process.stdout is not None
        said = iter(process.stdout.readline, "")
        assert "8 takes of 8 players" in next(said)
        link = next(line.strip() for line in said if "http://127.0.0.1:" in line)
        browser = build_opener(HTTPCookieProcessor())
        with browser.open(link, timeout=PATIENCE_S) as answer:
            assert "<h1" in answer.read().decode()
        process.send_signal(signal.SIGINT)
        assert process.wait(PATIENCE_S) == 0
    finally:
        process.kill()
        process.communicate()


def test_corrections_without_a_place_are_told(folder: Path, tmp_path: Path) -> None:
    """Of a lick that was written anew; they hold again when it is as it was."""
    sheet, out = tmp_path / "short.lick", tmp_path / "out"
    content = (folder / "short.lick").read_text()
    sheet.write_text(content)
    words = ["review", str(folder), "--lick", str(sheet), "-o", str(out)]
    words += ["--without-reports", "--jobs", "1"]
    _run(*words)
    take_id = read_class(out).takes[0].take_id
    _run("review", "correct", str(out), take_id, "--remark", "x")
    lost = _run("review", "correct", str(out), take_id, "--no-extra", "9")
    assert "1 correction of this take fit nothing" in lost
    assert "1 correction that fit nothing in their take" in _run(*words)
    asked = read_class(out).licks[0].lick
    made_up_class.write_sheet(sheet, replace(asked, notes=asked.notes[:-1]))
    told = "2 corrections of takes that are gone, or of another lick: kept"
    assert told in _run(*words)
    sheet.write_text(content)
    assert "of another lick" not in _run(*words)
    assert len(read_class(out).take(take_id).corrections) == 2


def test_no_correction_while_a_review_is_under_way(
    out: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It would be written over by what was under way without it."""
    fcntl = pytest.importorskip("fcntl")
    monkeypatch.setattr("assessor.report.class_work.PATIENCE_S", 0.1)
    take_id = read_class(out).takes[-1].take_id
    words = ["review", "correct", str(out), take_id, "--remark", "x"]
    with (out / "private" / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        assert "under way" in _run(*words, code=3)
    assert not read_class(out).take(take_id).corrections
