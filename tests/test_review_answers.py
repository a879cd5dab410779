"""What goes back to each player: nothing of others in it, everything of theirs."""

from __future__ import annotations

import base64
import json
import re
from dataclasses import replace
from pathlib import Path

import made_up_class
import pytest
import soundfile
import stores
from click.testing import CliRunner
from test_review import here

from assessor.assessment import Assessment, Settings, assess
from assessor.cli import main
from assessor.errors import ReviewError
from assessor.history.store import open_store
from assessor.history.takes import takes_of
from assessor.lick import read as read_lick
from assessor.recording import read as read_recording
from assessor.report.class_answer import next_tempo
from assessor.report.class_answers import write_answers
from assessor.report.class_work import correct, renew, write_class
from assessor.review import assignment, planning
from assessor.review.books import Books, open_books
from assessor.review.corrections import Correction, What

NOTES = 8


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three players and a broken second take."""
    folder = tmp_path_factory.mktemp("class")
    asked = made_up_class.write_class(folder, 3, shorter=NOTES)
    made_up_class.write_sheet(folder / "short.lick", asked)
    folder.joinpath("player-000", "second.wav").write_bytes(b"no sound")
    return folder


@pytest.fixture(scope="module")
def books(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Books:
    """The class, reviewed, with a remark to each."""
    books = open_books(tmp_path_factory.mktemp("review") / "out", create=True)
    asked = assignment.of_lick(folder / "short.lick", Settings())
    planning.plan(books, asked, str(folder), planning.Options())
    takes = {one.take_id: one.player for one in books.planned()}
    renew(books, takes)
    write_class(books)
    said = [
        Correction(take_id, What.REMARK, f"For {player} alone", "T")
        for take_id, player in takes.items()
    ]
    correct(books, said)
    return books


def test_nothing_of_others_is_in_an_answer(books: Books) -> None:
    """Neither pseudonym, nor name, nor remark, nor take."""
    written = write_answers(books, workers=1, make_executor=here)
    assert len(written) == 3
    roster = {player.pseudonym: player.name for player in books.read_roster()}
    takes = books.planned()
    for file, name in written:
        text = file.read_text(encoding="utf-8")
        mine = file.stem
        assert roster[mine] == name
        assert f"For {mine} alone" in text
        words = re.sub(r"base64,[A-Za-z0-9+/=]+", "", text)  # of a sound anything is
        for other in set(roster) - {mine}:
            assert other not in words
        assert not any(name in words for name in roster.values())
        assert not any(one.take_id in words for one in takes)
        # the player's take, and the lick with a click at the next tempo
        assert text.count('src="data:audio/flac;base64,') == 2
        assert re.search(r"Practise next: \d+ bpm", text)


def test_a_take_that_could_not_be_heard_is_said_so(books: Books) -> None:
    """With its reason, beside the one that could."""
    ((file, _),) = write_answers(books, "player-000", workers=1, make_executor=here)
    text = file.read_text(encoding="utf-8")
    assert "Could not be heard" in text
    assert "no sound file" in text
    assert text.count("<article>") == 1


def test_an_answer_can_be_without_sound(books: Books) -> None:
    """The lick to practise stays."""
    ((file, _),) = write_answers(
        books, "player-001", sound=False, workers=1, make_executor=here
    )
    text = file.read_text(encoding="utf-8")
    assert text.count('src="data:audio/flac;base64,') == 1
    assert "Your take" not in text


def test_nobody_of_that_name(books: Books) -> None:
    """An answer to nobody is refused."""
    with pytest.raises(ReviewError, match="no player 'Zoe'"):
        write_answers(books, "Zoe", workers=1, make_executor=here)


@pytest.fixture(scope="module")
def assessments(folder: Path) -> dict[str, Assessment]:
    """A take in which all is right, and one with a note left out."""
    asked = read_lick(folder / "short.lick")
    return {
        name: assess(read_recording(folder / name / f"{name}.flac"), asked)
        for name in ("player-000", "player-001")
    }


@pytest.mark.parametrize(
    ("name", "written", "tempo_bpm"),
    [
        ("player-000", 1.0, 92),  # there: keep it
        ("player-000", 1.5, 97),  # 5 % faster
        ("player-000", 1.03, 95),  # not beyond the written one
        ("player-001", 1.0, 83),  # 10 % slower
        ("player-001", 2.5, 115),  # not below half the written one
    ],
)
def test_the_next_tempo(
    assessments: dict[str, Assessment], name: str, written: float, tempo_bpm: int
) -> None:
    """From 92 bpm, by what was inside, towards the written tempo."""
    found = assessments[name]
    found = replace(found, written_tempo_bpm=92 * written)
    clean = replace(found.best_pass, faults=())
    if name == "player-000":
        found = replace(found, passes=(clean,))
    assert next_tempo(found).tempo_bpm == tempo_bpm


@pytest.mark.parametrize("kind", stores.BOTH)
def test_results_go_into_a_history_by_pseudonym(
    folder: Path, tmp_path: Path, kind: str
) -> None:
    """On both databases; a second run keeps nothing twice."""
    with stores.place(kind, tmp_path) as place:
        words = ["review", str(folder), "--lick", str(folder / "short.lick")]
        words += ["-o", str(tmp_path / "out"), "--jobs", "1", "--without-reports"]
        for _ in range(2):
            done = CliRunner().invoke(main, [*words, "--store", place])
            assert done.exit_code == 0, done.output
            assert "Kept    3 results" in done.output
        with open_store(place) as store:
            takes = takes_of(store)
        pseudonyms = {p.pseudonym for p in open_books(tmp_path / "out").read_roster()}
        assert {take.player for take in takes} == pseudonyms
        assert len(takes) == 3
        assert not any("player-0" in take.file for take in takes)


HOSTILE = "../../<img src=x onerror=alert(1)>&\"'\u202eright to left"


def test_hostile_words_stay_words_in_an_answer(folder: Path, tmp_path: Path) -> None:
    """Of assignment, lick, player, file, remark and author; no file goes astray."""
    asked = replace(read_lick(folder / "short.lick"), title=HOSTILE)
    made_up_class.write_sheet(tmp_path / "evil.lick", asked)
    roster = {"name": HOSTILE, "pseudonym": HOSTILE, "match": "player-001"}
    text = (
        f"title = {json.dumps(HOSTILE)}\n[[licks]]\nfile = 'evil.lick'\n[[players]]\n"
    )
    text += "".join(f"{key} = {json.dumps(value)}\n" for key, value in roster.items())
    (tmp_path / "week.toml").write_text(text, encoding="utf-8")
    books = open_books(tmp_path / "deep" / "out", create=True)
    planning.plan(
        books,
        assignment.read(tmp_path / "week.toml"),
        str(folder),
        planning.Options(sound=False),
    )
    (planned,) = books.planned()
    renew(books, {planned.take_id})
    write_class(books, names=True)
    said = [
        Correction(planned.take_id, What.REMARK, HOSTILE, HOSTILE),
        Correction(
            planned.take_id, What.VERDICT, "right", HOSTILE, note=0, reason=HOSTILE
        ),
    ]
    correct(books, said)
    write_answers(books, sound=False, workers=1, make_executor=here)
    files = sorted(file for file in tmp_path.rglob("*.html"))
    assert {file.parent.name for file in files} == {"out", "takes", "answers"}
    for file in files:
        text = file.read_text(encoding="utf-8")
        assert "onerror" in text or file.parent.name == "takes"
        assert "<img" not in text


def test_nothing_written_in_a_recording_comes_out_again(
    folder: Path, tmp_path: Path
) -> None:
    """Tags, and what stands behind the dot: not in reports, answers, or their sound."""
    samples, rate_hz = soundfile.read(folder / "player-000" / "player-000.flac")
    file = tmp_path / "in" / "Zacharias Quux" / "take.Zacharias Quux"
    file.parent.mkdir(parents=True)
    with soundfile.SoundFile(file, "w", rate_hz, 1, format="FLAC") as stream:
        stream.artist = stream.title = stream.comment = "Zacharias Quux"
        stream.write(samples)
    books = open_books(tmp_path / "out", create=True)
    asked = assignment.of_lick(folder / "short.lick", Settings())
    planning.plan(books, asked, str(tmp_path / "in"), planning.Options())
    renew(books, {one.take_id for one in books.planned()})
    write_class(books)
    write_answers(books, workers=1, make_executor=here)
    shown = [
        f for f in books.out.rglob("*") if f.is_file() and "private" not in f.parts
    ]
    assert {file.parent.name for file in shown} == {"out", "takes", "answers"}
    for file in shown:
        content = file.read_bytes()
        sounds = re.findall(rb"base64,([A-Za-z0-9+/=]+)", content)
        assert bool(sounds) == (file.suffix == ".html" and file.name != "class.html")
        for part in (content, *map(base64.b64decode, sounds)):
            assert not re.search(rb"zacharias|quux", part, re.IGNORECASE)
            assert str(tmp_path).encode() not in part
