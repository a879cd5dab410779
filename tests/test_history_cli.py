"""`check --keep`, `history`, `progress`, `practice`, `care` as a person uses them."""

from __future__ import annotations

import gc
import json
import os
import re
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import stores
from click.testing import CliRunner, Result

from assessor import cli, recording
from assessor.history.place import VARIABLE
from assessor.history.store import open_store
from assessor.history.takes import keep, takes_of
from assessor.sound_level import equivalent_level_dbfs

TOP = Path(__file__).parents[1]
FLAT = str(TOP / "recordings" / "flat-bend.flac")
BENDS = str(TOP / "references" / "half-and-whole-bends.lick")


@pytest.fixture(autouse=True)
def place(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Iterator[Path]:
    """Every test has its own store, by the environment."""
    monkeypatch.setenv(VARIABLE, str(tmp_path / "store" / "history.db"))
    yield tmp_path / "store" / "history.db"
    gc.unfreeze()  # some commands freeze what they read, as they are to end soon


@pytest.fixture(params=stores.BOTH)
def where(
    request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> Iterator[str]:
    """The store of the environment, on each database."""
    with stores.place(request.param, tmp_path) as text:
        monkeypatch.setenv(VARIABLE, text)
        yield text


def run(*arguments: str, code: int = 0, given: str | None = None) -> Result:
    """Run the program in this process; a trace of its insides is never seen."""
    done = CliRunner().invoke(cli.main, arguments, input=given)
    assert done.exit_code == code, done.output
    assert "Traceback" not in done.output
    return done


def check(*more: str, code: int = 0) -> Result:
    """Check the take with flat bends."""
    return run("check", FLAT, "--lick", BENDS, *more, code=code)


def fill(where: str | Path, days: int = 12) -> None:
    """A take a day up to yesterday, getting better."""
    now = datetime.now(UTC)
    with open_store(str(where)) as store:
        for k in range(days):
            what = stores.to_keep(k, late_ms=40.0 - 3 * k)
            began = now - timedelta(days=days - k)
            keep(store, replace(what, recorded_at=began), now)


def test_nothing_is_kept_unless_asked(place: Path) -> None:
    """A plain check leaves no store behind."""
    check()
    assert not place.parent.exists()


def test_plain_check_loads_no_database(tmp_path: Path) -> None:
    """Neither SQLAlchemy nor alembic nor the history."""
    code = (
        "import sys; from assessor import cli\n"
        "try: cli.main(sys.argv[1:])\n"
        "except SystemExit: pass\n"
        "print(sorted({'sqlalchemy', 'alembic', 'assessor.history.store'}"
        " & set(sys.modules)), file=sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, "check", FLAT, "--lick", BENDS],
        capture_output=True,
        text=True,
        check=True,
        cwd=TOP,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
    )
    assert done.stderr == "[]\n"


def test_kept_take(where: str) -> None:
    """Told, listed, shown whole; a second time it is noticed."""
    first = check("--keep", "--player", "Ada", "--at", "2026-01-05 18:30")
    assert "Kept    as take 1 of your history" in first.stdout
    again = check("--keep", "--player", "Ada")
    assert "already: this is take 1, with the same result" in again.stdout
    tight = check("--keep", "--player", "Ada", "--tolerance", "tight")
    assert "take 1 now has this result" in tight.stdout
    listed = run("history", "list").stdout
    assert "2026-01-05 18:30" in listed
    assert "Half and whole bends" in listed
    assert "1 take in" in listed
    shown = json.loads(run("history", "show", "1").stdout)
    assert shown["settings"]["tolerance"]["name"] == "tight"
    assert shown["recording"]["name"] == "flat-bend.flac"


def test_result_on_standard_output_stays_alone() -> None:
    """With --json -, what is said about keeping goes to the other stream."""
    done = check("--keep", "--json", "-")
    assert json.loads(done.stdout)["format"] == "assessor-result"
    assert "Kept" in done.stderr


def test_copy_only_when_asked(place: Path) -> None:
    """And forgetting the take deletes it."""
    check("--keep")
    assert not (place.parent / "takes").exists()
    check("--keep", "--copy")
    (copy,) = (place.parent / "takes").iterdir()
    assert copy.read_bytes() == Path(FLAT).read_bytes()
    assert "1 copy of takes" in run("history", "forget", "--take", "1", "--yes").stdout
    assert not copy.exists()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--player", "Ada"], "need --keep"),
        (["--keep", "--at", "soon"], "is no time"),
        (["--keep", "--at", "2999-01-01"], "yet to come"),
    ],
)
def test_wrong_use_of_keeping(arguments: list[str], words: str) -> None:
    """Exit code 2, before anything is heard."""
    assert words in check(*arguments, code=2).stderr


def test_store_that_cannot_be_made(tmp_path: Path) -> None:
    """Exit code 3; the report is there all the same."""
    (tmp_path / "file").write_text("", encoding="utf-8")
    done = check("--keep", "--store", str(tmp_path / "file" / "x.db"), code=3)
    assert "Mark" in done.stdout
    assert "the store cannot be made" in done.stderr


def test_export_and_import(where: str, tmp_path: Path) -> None:
    """To a file and into another store; other files are not written over."""
    check("--keep")
    out = tmp_path / "all.jsonl"
    run("history", "export", str(out))
    run("history", "export", str(out))
    other = str(tmp_path / "other.db")
    done = run("history", "import", str(out), "--store", other)
    assert "New: 1 player, 1 lick, 1 take" in done.stdout
    assert "New: nothing" in run("history", "import", str(out)).stdout
    letter = tmp_path / "letter.txt"
    letter.write_text("dear", encoding="utf-8")
    assert "no earlier export" in run("history", "export", str(letter), code=2).stderr
    done = run("history", "export", str(tmp_path), code=2)
    assert "that is a folder; name a file" in done.stderr
    broken = run("history", "import", str(letter), code=3)
    assert re.search(r"letter\.txt: line 1", broken.stderr)


def test_forget_asks_first(where: str) -> None:
    """And says nothing is meant when nothing is said."""
    check("--keep")
    run("history", "forget", "--take", "1", given="n\n", code=1)
    assert "1 take in" in run("history", "list").stdout
    assert "say what" in run("history", "forget", code=2).stderr
    done = run("history", "forget", "--take", "7", "--yes", code=3)
    assert "there is no such take" in done.stderr
    assert "Forgotten: 1 take" in (
        run("history", "forget", "--take", "1", given="y\n").stdout
    )
    assert "0 takes in" in run("history", "list").stdout


def test_assess_again(where: str, tmp_path: Path) -> None:
    """A take of an older version is heard again where its file still lies."""
    take = tmp_path / "mine.flac"
    take.write_bytes(Path(FLAT).read_bytes())
    run("check", str(take), "--lick", BENDS, "--keep", "--tolerance", "timing=9ms")
    with open_store(where) as store:
        before = run("history", "show", "1").stdout
        with store.engine.begin() as connection:
            connection.exec_driver_sql("UPDATE take SET tool_version = '0.0.1'")
    assert "1 take assessed again" in run("history", "again").stdout
    assert run("history", "show", "1").stdout == before
    assert "0 takes assessed again" in run("history", "again").stdout
    take.write_bytes(b"something else")
    again = run("history", "again", "--all").stdout
    assert "take 1: " in again
    assert "0 takes assessed again" in again


@pytest.mark.parametrize(
    "arguments",
    [
        ["history", "list"],
        ["history", "export", "-"],
        ["progress"],
        ["practice", "plan", "20"],
        ["practice", "stop"],
        ["care", "today"],
    ],
)
def test_looking_makes_no_store(place: Path, arguments: list[str]) -> None:
    """Exit code 3 and how to begin."""
    assert "no history yet" in run(*arguments, code=3).stderr
    assert not place.exists()


def test_progress_in_full_and_as_files(where: str, tmp_path: Path) -> None:
    """The terminal, a page and a picture."""
    fill(where)
    page, picture = tmp_path / "p.html", tmp_path / "p.svg"
    files = ["--html", str(page), "--svg", str(picture), "--reading", "timing spread"]
    run("progress", "sixteen", *files)
    done = run("progress", "sixteen", *files)  # earlier ones are written over
    assert "12 takes on 12 days" in done.stdout
    assert "better: -" in done.stdout
    assert "Where something went wrong" in page.read_text(encoding="utf-8")
    assert picture.read_text(encoding="utf-8").startswith("<svg")
    again = ["progress", "--svg", str(picture), "--reading", "taste"]
    assert "there are mark" in run(*again, code=2).stderr
    assert "fits no licks" in run("progress", "nothing", code=3).stderr
    assert "no take of Bob" in run("progress", "--player", "Bob", code=3).stderr


def test_progress_does_not_write_over_other_files(place: Path, tmp_path: Path) -> None:
    """A letter stays a letter."""
    fill(place, 1)
    letter = tmp_path / "letter.html"
    letter.write_text("dear", encoding="utf-8")
    for option in ("--html", "--figure"):
        run("progress", option, str(letter), code=2)
    assert letter.read_text(encoding="utf-8") == "dear"


def test_a_picture_of_progress_is_what_its_name_says(
    place: Path, tmp_path: Path
) -> None:
    """PNG in a .png; no other form."""
    pytest.importorskip("typst")
    fill(place, 5)
    for _ in range(2):  # an earlier one is written over
        run("progress", "--figure", str(tmp_path / "p.png"))
    assert (tmp_path / "p.png").read_bytes().startswith(b"\x89PNG")
    other = run("progress", "--figure", str(tmp_path / "p.jpg"), code=2)
    assert ".svg or .png" in other.stderr


def test_plan_and_files(where: str, tmp_path: Path) -> None:
    """What, at which tempo, why, on what it rests; and how to change the numbers."""
    fill(where)
    folder = tmp_path / "plan"
    done = run("practice", "plan", "12", "--out", str(folder))
    for words in (
        "Sixteen of them",
        "of 100 bpm",
        "This rests on 12 takes",
        "no study",
    ):
        assert words in done.stdout
    assert len(list(folder.glob("*.flac"))) == 2
    assert "passes=1…50" in run("practice", "plan", "9", "--rule", "x", code=2).stderr
    assert "less than one turn" in run("practice", "plan", "2", code=2).stderr


def test_practice_log(where: str) -> None:
    """Start, stop, afterwards; strain is answered at once."""
    assert "Started" in run("practice", "start", "--what", "shifts").stdout
    assert "going on since" in run("practice", "start", code=3).stderr
    done = run("practice", "stop", "--minutes", "300", code=2)
    assert "yet to come" in done.stderr
    done = run("practice", "stop", "--minutes", "0.1", "--felt", "tired")
    assert "Logged" in done.stdout
    past = ["practice", "log", "30", "--at", "2026-01-05 18:00"]
    run(*past, "--strain", "0", "--level", "88")
    assert "written down already" in run(*past, code=3).stderr
    listed = run("practice", "list").stdout
    assert "shifts  tired" in listed
    assert "30 min  strain 0  88 dBA" in listed
    day_before = f"{datetime.now() - timedelta(hours=20):%Y-%m-%d %H:%M}"
    strained = run("practice", "log", "5", "--at", day_before, "--strain", "1")
    assert "stop for today" in strained.stdout
    assert "0<=x<=10" in run("practice", "log", "5", "--strain", "11", code=2).stderr
    future = ["practice", "log", "5", "--at", "2999-01-01"]
    assert "yet to come" in run(*future, code=2).stderr
    just_now = f"{datetime.now():%Y-%m-%d %H:%M}"
    done = run("practice", "log", "60", "--at", just_now, code=2)
    assert "yet to come" in done.stderr


def test_meter_reading_makes_levels_known(where: str) -> None:
    """Calibrated by a take, the same take measures what the meter showed."""
    heard = recording.read(FLAT)
    level_dbfs = equivalent_level_dbfs(heard.samples, heard.sample_rate_hz)
    at = ["--at", f"{datetime.now() - timedelta(minutes=2):%Y-%m-%d %H:%M}"]
    done = run("care", "level", FLAT, "94", "--device", "phone", *at)
    assert f"{level_dbfs:.1f} dBFS (A-weighted) are 94.0 dBA" in done.stdout
    assert "automatic gain" in done.stdout
    check("--keep", "--device", "phone", *at)
    with open_store(where) as store:
        assert takes_of(store)[0].a_level_dbfs == pytest.approx(level_dbfs)
    said = run("care", "today", "--child").stdout
    # 16 s of an hour at 94 dBA
    assert re.search(r"0 % of the day's dose by NIOSH; 60 minutes left at 94 dBA", said)
    assert "(children)" in said
    assert "(children)" in run("care", "today").stdout
    assert "(adults)" in run("care", "today", "--adult").stdout


def test_no_level_of_a_direct_line(where: str) -> None:
    """No number, and why; nor can it be calibrated."""
    run("care", "line", "interface")
    check("--keep", "--device", "interface")
    level = ["care", "level", FLAT, "94", "--device", "interface"]
    assert "hears no room" in run(*level, code=3).stderr
    said = run("care", "today").stdout
    assert "dBA left" not in said
    assert "not medical advice" in said


def test_every_command_has_help() -> None:
    """Each with its own words."""
    for group, names in (
        ("history", ("list", "show", "export", "import", "forget", "again")),
        ("practice", ("plan", "start", "stop", "log", "list")),
        ("care", ("level", "line", "today")),
    ):
        for name in names:
            assert len(run(group, name, "--help").stdout) > 100
    assert "--html" in run("progress", "--help").stdout
