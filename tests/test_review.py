"""A class of takes: matched, assessed once, kept, shown."""

from __future__ import annotations

import json
import os
import stat
from collections.abc import Iterator
from concurrent.futures import Executor, Future
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import made_up_class
import pytest
import soundfile
from click.testing import CliRunner

from assessor import recording
from assessor.assessment import Settings, assess
from assessor.capture.slate import ClickKind, Slate, write_flac
from assessor.cli import main
from assessor.errors import LickError, ReviewError
from assessor.measures.clock import Click
from assessor.report.class_work import listen
from assessor.review import assignment, planning, running
from assessor.review.assignment import Assignment, Player
from assessor.review.books import Books, open_books
from assessor.review.finding import finding_of
from assessor.review.jobs import Job, Outcome
from assessor.review.matching import match
from assessor.review.places import HandedIn, handed_in
from assessor.review.pseudonyms import with_pseudonyms
from assessor.review.summary import read_class
from assessor.review.workers import Processes

ASKED = assignment.of_lick(made_up_class.LICK, Settings())
NOTES = 12  # of the lick: short takes


# -------------------------------------------------------------- the assignment


def _assignment(folder: Path, text: str) -> Path:
    folder.joinpath("a.lick").write_bytes(made_up_class.LICK.read_bytes())
    file = folder / "week.toml"
    file.write_text(text, encoding="utf-8")
    return file


def test_an_assignment_is_read(tmp_path: Path) -> None:
    """Everything the format has."""
    text = """
        title = "Week 3"
        due = 2026-11-20
        tempo_bpm = 70
        tolerance = "wide"
        earlier = ["../week-2"]
        [[licks]]
        file = "a.lick"
        [[players]]
        name = "Ada Example"
        pseudonym = "Heron"
        match = ["ada", "a.example"]
        [[players]]
        name = "Bo Example"
    """
    found = assignment.read(_assignment(tmp_path, text))
    assert (found.title, found.licks[0].tempo_bpm) == ("Week 3", 70.0)
    assert found.licks[0].settings.tolerance.name == "wide"
    assert found.players[0] == Player("Ada Example", "Heron", ("ada", "a.example"))
    assert found.players[1].match == ("Bo Example",)
    assert found.due is not None
    assert (found.due.day, found.due.hour, found.due.minute) == (20, 23, 59)
    assert found.due.tzinfo is not None
    assert found.earlier == (tmp_path / "../week-2",)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "asks for no lick"),
        ("titel = 'x'", "no 'titel'"),
        ("licks = 3", r"\[\[licks\]\]"),
        ("[[licks]]\nfile = 'a.lick'\ntempo_bpm = 5", "from 20 to 400"),
        ("[[licks]]\nfile = 'a.lick'\ntempo_bpm = true", "is no number"),
        ("[[licks]]\nname = 'a.lick'", "no 'name'"),
        ("due = 'tomorrow'\n[[licks]]\nfile = 'a.lick'", "without quotes"),
        ("tolerance = 'lax'\n[[licks]]\nfile = 'a.lick'", "'lax'"),
        ("title = 3\n[[licks]]\nfile = 'a.lick'", "no text in quotes"),
        ("title = ", "no TOML"),
        ("[[licks]]\nfile='a.lick'\n[[players]]\nmatch='x'", "neither name"),
        ("[[licks]]\nfile='a.lick'\n" + 2 * "[[players]]\nname='x'\n", "twice"),
        ("[[licks]]\nfile='a.lick'\n[[licks]]\nfile='a.lick'", "several licks"),
        (
            "[[licks]]\nfile='a.lick'\n[[players]]\nname='x'\npseudonym='Heron'\n"
            "[[players]]\nname='y'\npseudonym='heron'",
            "'heron' stands twice",
        ),
    ],
)
def test_a_wrong_assignment_is_refused(tmp_path: Path, text: str, said: str) -> None:
    """With what is wrong in it, and the file's name."""
    with pytest.raises(ReviewError, match=said) as problem:
        assignment.read(_assignment(tmp_path, text))
    assert "week.toml" in str(problem.value)


def test_a_mark_before_the_text_is_passed_over(tmp_path: Path) -> None:
    """Some editors put one there (a byte order mark)."""
    file = _assignment(tmp_path, "\ufefftitle = 'x'\n[[licks]]\nfile = 'a.lick'")
    assert assignment.read(file).title == "x"


def test_an_earlier_review_came_to_its_end(tmp_path: Path) -> None:
    """Or it is told that it did not."""
    text = "earlier = ['before']\n[[licks]]\nfile = 'a.lick'\n"
    asked = assignment.read(_assignment(tmp_path, text))
    out = open_books(tmp_path / "out", create=True)
    with pytest.raises(ReviewError, match="no folder of a review"):
        planning.plan(out, asked, str(tmp_path), planning.Options())
    before = open_books(tmp_path / "before", create=True)
    planning.plan(before, ASKED, str(tmp_path), planning.Options())
    with pytest.raises(ReviewError, match="never came to its end"):
        planning.plan(out, asked, str(tmp_path), planning.Options())


def test_a_lick_that_is_not_there_is_named(tmp_path: Path) -> None:
    """The lick's own error."""
    with pytest.raises(LickError, match=r"b\.lick"):
        assignment.read(_assignment(tmp_path, "[[licks]]\nfile = 'b.lick'"))


# ---------------------------------------------------------------- who is it by

ROSTER = (
    Player("Ada Lovely", match=("ada", "a.lovely")),
    Player("Bo", match=("bo",)),
    Player("Ana Maria", match=("Ana Maria",)),
    Player("Ann", match=("Ann",)),
    Player("Mary Ann", match=("Mary Ann",)),
    Player("रवि", match=("रवि",)),
    Player("रवी", match=("रवी",)),
)


def _take(name: str) -> HandedIn:
    return HandedIn(name, f"/in/{name}", "", None)


@pytest.mark.parametrize(
    ("name", "player"),
    [
        ("ada/one.wav", "Ada Lovely"),
        ("ADA/deep/one.wav", "Ada Lovely"),
        ("week3_Ada_take2.wav", "Ada Lovely"),
        ("A.Lovely-3.m4a", "Ada Lovely"),
        ("ana-maria.wav", "Ana Maria"),
        ("bo.wav", "Bo"),
        ("bob.wav", ""),  # a word, not its beginning
        ("adabo.wav", ""),
        ("ana.wav", ""),
        ("ada and bo.wav", ""),  # two players
        ("mary-ann.wav", "Mary Ann"),  # not Ann as well
        ("ann-2.wav", "Ann"),
        ("mary ann and ann.wav", ""),
        ("ann/mary-ann.wav", ""),
        ("रवि-1.wav", "रवि"),  # the vowel sign is no letter, but tells two names apart
    ],
)
def test_takes_find_their_player(name: str, player: str) -> None:
    """By folder or by words of the file's name; what fits none or two is listed."""
    asked = replace(ASKED, players=ROSTER)
    matched, unmatched = match(asked, [_take(name)])
    assert [one.player.name for one in matched] == ([player] if player else [])
    assert len(unmatched) == (not player)


def test_without_a_roster_whoever_hands_in_is_a_player() -> None:
    """Folders, and names of files without what counts takes."""
    names = ["Ada/x.wav", "bo-1.wav", "bo-2.wav", "Cy take 3.wav", "7.wav"]
    matched, unmatched = match(ASKED, [_take(name) for name in names])
    assert [one.player.name for one in matched] == ["Ada", "bo", "bo", "Cy", "7"]
    assert unmatched == []


@pytest.mark.parametrize(
    ("first", "second", "same"),
    [
        ("ada-1.wav", "ADA (2).wav", True),
        ("ada v2.wav", "ada 2026-11-20 18.30.wav", True),
        ("s1234.wav", "s1235.wav", False),  # numbers of players, not of takes
        ("bruno1.wav", "bru-1.wav", False),
        ("Jean-Luc 1.wav", "jean_luc 2.wav", True),
        ("रवि/x.wav", "रवी/x.wav", False),
        ("★/x.wav", "♥/x.wav", False),
        ("take 1.wav", "take 2.wav", False),  # by nobody knows whom
        ("9" * 60 + "x.wav", "ada.wav", False),  # nor does it take for ever
    ],
)
def test_two_players_are_not_taken_for_one(first: str, second: str, same: bool) -> None:
    """What numbers takes is told from what belongs to a name, in any script."""
    matched, _ = match(ASKED, [_take(first), _take(second)])
    assert len(matched) == 2
    assert (matched[0].player == matched[1].player) == same


def test_a_word_of_the_lick_is_no_part_of_the_name(tmp_path: Path) -> None:
    """Only as a whole word, and wherever it stands."""
    text = "[[licks]]\nfile='a.lick'\nmatch='a'\n[[licks]]\nfile='a.lick'\n"
    asked = assignment.read(_assignment(tmp_path, text + "match='low e'"))
    names = ["ada-a-1.wav", "ada-2-low_E.wav", "a_ada.wav"]
    matched, _ = match(asked, [_take(name) for name in names])
    assert [one.player.name for one in matched] == ["ada"] * 3
    assert [asked.licks.index(one.asked) for one in matched] == [0, 1, 0]


def test_several_licks_are_told_by_their_word(tmp_path: Path) -> None:
    """A take that has no lick's word, or two, is listed."""
    text = "[[licks]]\nfile='a.lick'\nmatch='one'\n[[licks]]\nfile='a.lick'\n"
    asked = assignment.read(_assignment(tmp_path, text + "match='two'\ntempo_bpm=60"))
    takes = [_take(f"ada/{name}.wav") for name in ("one", "two", "x", "one two")]
    matched, unmatched = match(asked, takes)
    assert [asked.licks.index(one.asked) for one in matched] == [0, 1]
    assert [one.reason for one in unmatched] == [
        "fits no lick's word",
        "fits 2 licks' words",
    ]


def test_what_is_no_take_is_passed_over(tmp_path: Path) -> None:
    """Texts, licks, hidden files, the review's own folder and those of others."""
    names = ["a.wav", "b.lick", "c.txt", ".d.wav", ".e/f.wav", "out/g.wav"]
    names += ["old/class.html", "old/private/review.json", "old/takes/x.html"]
    for name in names:
        tmp_path.joinpath(name).parent.mkdir(exist_ok=True, parents=True)
        tmp_path.joinpath(name).touch()
    found = handed_in(str(tmp_path), without=tmp_path / "out")
    assert [one.name for one in found] == ["a.wav"]


def test_names_may_be_anything(folder: Path, tmp_path: Path) -> None:
    """No text at all, or words for the terminal: the take is heard all the same."""
    sound = (folder / "player-000" / "player-000.flac").read_bytes()
    hostile = [b"ada\xff.flac", b"bo\x1b[2J\n.flac", b"--help.flac", b"c'\"<b>.flac"]
    for name in hostile:
        Path(os.fsdecode(os.fsencode(tmp_path) + b"/" + name)).write_bytes(sound)
    (tmp_path / "short.lick").write_bytes((folder / "short.lick").read_bytes())
    out = tmp_path / "out"
    text = _review(tmp_path, out, "--names", "--without-reports")
    assert "4 takes of 4 players" in text
    assert "\x1b" not in text
    assert all(take.shown for take in read_class(out).takes)
    assert "4 unchanged" in _review(tmp_path, out, "--names", "--without-reports")
    assert "<b>" not in (out / "class.html").read_text(encoding="utf-8")


def test_takes_may_lie_at_a_url(tmp_path: Path) -> None:
    """Through fsspec, which is there with the extra."""
    pytest.importorskip("fsspec")
    tmp_path.joinpath("ada").mkdir()
    tmp_path.joinpath("ada", "x.wav").touch()
    found = handed_in(tmp_path.as_uri())
    assert [one.name for one in found] == ["ada/x.wav"]
    assert found[0].address.startswith("file://")
    for name in ("out/private/review.json", "out/class.html"):
        tmp_path.joinpath(name).parent.mkdir(exist_ok=True, parents=True)
        tmp_path.joinpath(name).touch()
    assert handed_in(tmp_path.as_uri()) == found
    with pytest.raises(ReviewError, match="not known"):
        handed_in("nowhere://x")
    with pytest.raises(ReviewError, match="no such folder"):
        handed_in((tmp_path / "bo").as_uri())


# ------------------------------------------------------------------ pseudonyms


def test_pseudonyms_say_nothing_and_stay() -> None:
    """Neither the name nor its place in the alphabet; the same in the next week."""
    players = [Player(f"name {k:02d}") for k in range(40)]
    first = with_pseudonyms(players, [])
    assert len({player.pseudonym for player in first}) == 40
    assert not any(player.name in player.pseudonym for player in first)
    order = [player.pseudonym for player in first]
    assert order != sorted(order)
    assert with_pseudonyms(players, first) == first


def test_one_pseudonym_is_for_one_player() -> None:
    """Also where one of them had it from before."""
    with pytest.raises(ReviewError, match="'Heron'"):
        with_pseudonyms([Player("a", "Heron"), Player("b")], [Player("b", "Heron")])
    with pytest.raises(ReviewError, match="'Heron'"):  # answers would be one file
        with_pseudonyms([Player("a", "Heron"), Player("b", "heron")], [])


# -------------------------------------------------------------------- the runs


@contextmanager
def here(workers: int) -> Iterator[Executor]:
    """An executor without processes."""

    class Here(Executor):
        def submit(self, fn: Any, /, *args: Any, **kwargs: Any) -> Any:
            future: Future[Outcome] = Future()
            future.set_result(fn(*args, **kwargs))
            return future

    yield Here()


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Five players; one hands in what is no sound, one what is empty."""
    folder = tmp_path_factory.mktemp("class")
    asked = made_up_class.write_class(folder, 3, shorter=NOTES)
    made_up_class.write_sheet(folder / "short.lick", asked)
    for name in ("player-003", "player-004"):
        folder.joinpath(name).mkdir()
    folder.joinpath("player-003", "take.wav").write_bytes(b"RIFF, not")
    folder.joinpath("player-004", "take.mp3").touch()
    return folder


def _asked(folder: Path) -> Assignment:
    return assignment.of_lick(folder / "short.lick", Settings())


def _planned(folder: Path, out: Path) -> tuple[Books, list[Job]]:
    books = open_books(out, create=True)
    options = planning.Options(report=False, sound=False)
    planning.plan(books, _asked(folder), str(folder), options)
    return books, planning.jobs(books)


def test_parallel_and_serial_results_are_the_same(folder: Path, tmp_path: Path) -> None:
    """To the last bit, whatever order they come in; a bad file is a row."""
    _, jobs = _planned(folder, tmp_path / "out")
    serial = {one.take_id: one for one in map(listen, jobs)}
    parallel = list(running.run(jobs, listen, Processes, 2))
    assert {one.take_id: one for one in parallel} == serial
    assert len(parallel) == len(jobs) == 5
    reasons = sorted(one.reason for one in parallel)
    assert reasons[:3] == ["", "", ""]
    assert "empty" in reasons[3]
    assert "no sound file" in reasons[4]
    assert not any(str(folder) in one or "player-" in one for one in reasons)


def test_done_work_is_not_done_again(folder: Path, tmp_path: Path) -> None:
    """Neither after a kill nor after all; but when take, lick or settings change."""
    books, jobs = _planned(folder, tmp_path / "out")
    for outcome in running.run(jobs[:2], listen, here, 1):
        job = next(job for job in jobs if job.take_id == outcome.take_id)
        books.write_outcome(job, outcome, "P1")
    assert [job.take_id for job in planning.undone(books, jobs)] == [
        job.take_id for job in jobs[2:]
    ]
    tight = replace(jobs[0], settings=Settings(tempo_bpm=60.0))
    assert planning.undone(books, [tight]) == [tight]
    newer = replace(jobs[0], program="2.0")
    assert planning.undone(books, [newer]) == [newer]
    record = books.records / f"{jobs[1].take_id}.json"
    record.write_bytes(record.read_bytes()[:-9])  # torn: as good as none
    assert jobs[1] in planning.undone(books, jobs)


def test_a_changed_file_is_another_take(folder: Path, tmp_path: Path) -> None:
    """Known by its content: a new date alone changes nothing."""
    mine = tmp_path / "in" / "ada" / "x.wav"
    mine.parent.mkdir(parents=True)
    source = folder / "player-000" / "player-000.flac"
    mine.write_bytes(source.read_bytes())
    (tmp_path / "in" / "short.lick").write_bytes((folder / "short.lick").read_bytes())
    first = _planned(tmp_path / "in", tmp_path / "out")[1]
    os.utime(mine, (1e9, 1e9))
    assert _planned(tmp_path / "in", tmp_path / "out")[1] == first
    mine.write_bytes((folder / "player-001" / "player-001.flac").read_bytes())
    assert _planned(tmp_path / "in", tmp_path / "out")[1] != first


# ---------------------------------------------------------- the folder, the page


def _review(folder: Path, out: Path, *more: str) -> str:
    lick = str(folder / "short.lick")
    words = ["review", str(folder), "--lick", lick, "-o", str(out), "--jobs", "1"]
    done = CliRunner().invoke(main, [*words, *more])
    assert done.exit_code == 0, done.output
    return done.output


@pytest.fixture(scope="module")
def out(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The class, reviewed from the command line."""
    out = tmp_path_factory.mktemp("review") / "out"
    _review(folder, out)
    return out


def test_the_command_tells_what_needs_a_person(folder: Path, out: Path) -> None:
    """Counts, bad files with their reason, and where the page is."""
    text = _review(folder, out)
    assert "5 takes of 5 players, 5 unchanged" in text
    assert "player-003/take.wav: this is no sound file" in text
    assert "class.html" in text


def test_nothing_that_is_shown_holds_a_name(out: Path) -> None:
    """Pages, tables and results of takes speak of pseudonyms."""
    shown = [file for file in out.rglob("*") if file.is_file()]
    shown = [file for file in shown if "private" not in file.parts]
    assert {file.name for file in shown} >= {"class.html", "class.csv"}
    assert len(shown) == 2 + 3 * 2  # and a report and a result for each good take
    for file in shown:
        text = file.read_bytes()
        assert b"player-0" not in text
        assert str(out.parent).encode() not in text


def test_a_review_that_stopped_at_once_goes_on(folder: Path, tmp_path: Path) -> None:
    """Where nothing was planned yet, such as after a wrong name."""
    lick = str(folder / "short.lick")
    words = ["review", "nowhere", "--lick", lick, "-o", str(tmp_path / "out")]
    assert CliRunner().invoke(main, words).exit_code == 3
    assert "5 takes" in _review(folder, tmp_path / "out", "--without-reports")


def test_private_files_are_for_their_owner(out: Path) -> None:
    """Folder and files."""
    private = out / "private"
    assert stat.S_IMODE(private.stat().st_mode) == 0o700
    files = [file for file in private.rglob("*.json*") if file.is_file()]
    assert {file.name for file in files} >= {"roster.json", "review.json"}
    assert {stat.S_IMODE(file.stat().st_mode) for file in files} == {0o600}


def test_each_player_has_a_row_and_each_take_its_report(out: Path) -> None:
    """Links lead to files that are there."""
    page = (out / "class.html").read_text(encoding="utf-8")
    roster = json.loads((out / "private" / "roster.json").read_text())["players"]
    for player in roster:
        assert player["pseudonym"] in page
    links = {part.split('"')[0] for part in page.split('href="')[1:]}
    assert len(links) == 3
    assert all((out / link).is_file() for link in links)
    rows = (out / "class.csv").read_text(encoding="utf-8").splitlines()
    assert len(rows) == 6
    assert sum(",refused," in row for row in rows) == 2


def test_names_are_written_where_they_are_asked_for(
    folder: Path, out: Path, tmp_path: Path
) -> None:
    """For the teacher's own eyes; unmatched files too."""
    text = "[[licks]]\nfile = '{}'\n[[players]]\nname = 'Ada X'\nmatch = 'player-000'\n"
    file = tmp_path / "week.toml"
    file.write_text(text.format(folder / "short.lick"))
    words = ["review", str(folder), "--assignment", str(file), "--without-reports"]
    done = CliRunner().invoke(main, [*words, "-o", str(tmp_path / "o"), "--names"])
    assert done.exit_code == 0, done.output
    assert "fits no player of the roster" in done.output
    assert "href" not in (tmp_path / "o" / "class.html").read_text(encoding="utf-8")
    page = (tmp_path / "o" / "class.html").read_text(encoding="utf-8")
    assert "Ada X" in page
    assert "player-001/player-001.flac" in page


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (["review", "nowhere", "-o", "o"], 2, "--lick LICK, or --assignment"),
        (["review", "nowhere", "--lick", "LICK", "-o", "o"], 3, "no such folder"),
        (["review", ".", "--lick", "no.lick", "-o", "o"], 3, "no.lick"),
        (["review", ".", "--lick", "LICK", "-o", "full"], 3, "is no review"),
        (["review", "list", "."], 3, "no folder of a review"),
        (["review", ".", "--lick", "LICK", "-o", "o", "--jobs", "0"], 2, "--jobs"),
        (["review", ".", "--lick", "LICK", "-o", "o", "--tolerance", "x"], 2, "'x'"),
    ],
)
def test_wrong_use_is_told(
    words: list[str],
    code: int,
    said: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """In words, with the usual codes."""
    monkeypatch.chdir(tmp_path)
    tmp_path.joinpath("full").mkdir()
    tmp_path.joinpath("full", "x.txt").touch()
    lick = str(made_up_class.LICK)
    words = [lick if word == "LICK" else word for word in words]
    done = CliRunner().invoke(main, words)
    assert (done.exit_code, said in done.output) == (code, True), done.output


def test_late_is_after_due(folder: Path, tmp_path: Path) -> None:
    """By the file's date; a late take counts only where there is no other."""
    text = "due = 2020-01-01\n[[licks]]\nfile = '{}'\n"
    file = tmp_path / "week.toml"
    file.write_text(text.format(folder / "short.lick"))
    books = open_books(tmp_path / "o", create=True)
    planning.plan(books, assignment.read(file), str(folder), planning.Options())
    review = read_class(books)
    assert review.due is not None
    assert review.due.astimezone(UTC) < datetime.now(UTC)
    assert all(take.late for take in review.takes)


def test_a_folder_without_takes_is_told(folder: Path, tmp_path: Path) -> None:
    """As that, and the page is there all the same."""
    (tmp_path / "short.lick").write_bytes((folder / "short.lick").read_bytes())
    text = _review(tmp_path, tmp_path / "out")
    assert "no file in the folder that may be a take" in text
    assert (tmp_path / "out" / "class.html").exists()
    done = CliRunner().invoke(main, ["review", "list", str(tmp_path / "out")])
    assert done.output == "There is no take in this review\n"


def test_what_cannot_be_written_is_told(folder: Path, tmp_path: Path) -> None:
    """Where a review is kept already; the folder's lock is one of its files."""
    out = tmp_path / "out"
    _planned(folder, out)
    (out / "private" / "lock").mkdir()
    words = ["review", str(folder), "--lick", str(folder / "short.lick"), "-o"]
    done = CliRunner().invoke(main, [*words, str(out)])
    assert (done.exit_code, "cannot be written" in done.output) == (3, True)


def test_what_a_kill_left_half_written_is_swept_up(
    folder: Path, tmp_path: Path
) -> None:
    """By the next run: it may hold sound, or names."""
    out = tmp_path / "out"
    _planned(folder, out)
    for place in ("takes", "private", "private/takes"):
        (out / place / ".x.json.123.part").touch()
    _planned(folder, out)
    assert not list(out.rglob("*.part"))


def test_a_take_that_knows_its_click_is_held_against_it(
    folder: Path, tmp_path: Path
) -> None:
    """As a single check does; the assignment's own click goes before it."""
    file = tmp_path / "in" / "ada" / "x.flac"
    file.parent.mkdir(parents=True)
    samples, rate_hz = soundfile.read(
        folder / "player-000" / "player-000.flac", dtype="float32"
    )
    asked = _asked(folder)
    slate = Slate(
        "x", asked.licks[0].lick.tempo_bpm, click=ClickKind.ACCENT, click_sent_s=0.0
    )
    write_flac(file, [samples], rate_hz, replace(slate, latency_s=0.03))
    books = open_books(tmp_path / "out", create=True)
    planning.plan(books, asked, str(tmp_path / "in"), planning.Options(report=False))
    (job,) = planning.jobs(books)
    heard = recording.read(file)
    by_click = Settings(click=Click(0.03, slate.tempo_bpm))
    expected = finding_of(assess(heard, job.lick, by_click))
    assert listen(job).found == expected
    assert finding_of(assess(heard, job.lick)) != expected
    other = Settings(click=Click(0.0))
    found = listen(replace(job, settings=other)).found
    assert found == finding_of(assess(heard, job.lick, other))
