"""A class as it stands: hard places, groups, doubt, and against the last assignment."""

from __future__ import annotations

import csv
import io
import json
import re
import time
from dataclasses import replace
from pathlib import Path

import made_up_class
import numpy as np
import pytest

from assessor import lick
from assessor.errors import ReviewError
from assessor.figures.class_heat import class_heat
from assessor.report.class_page import class_page
from assessor.report.class_table import class_csv
from assessor.review import corrections, summary
from assessor.review.agreement import agreement
from assessor.review.changes import changes
from assessor.review.corrections import Correction, What
from assessor.review.finding import Finding
from assessor.review.forgetting import forget
from assessor.review.summary import read_class

ASKED = lick.read(made_up_class.LICK)
PAGE_LIMIT_S = 2.0  # of CPU, for 300 players and ten assignments
UNSURE_REASON = "the file is empty (0 bytes)"


def _found(**more: object) -> Finding:
    return made_up_class.finding(ASKED, **more)


def _class(tmp_path: Path) -> summary.ClassReview:
    found: dict[str, Finding | str] = {
        "A": _found(faults={2: "missed", 5: "late"}),
        "B": _found(faults={2: "missed"}),
        "C": _found(faults={2: "wrong", 5: "unsure"}),
        "D": _found(),
        "E": UNSURE_REASON,
    }
    return read_class(made_up_class.write_review(tmp_path / "week", found))


def test_hard_places_are_counted_by_player(tmp_path: Path) -> None:
    """Who is unsure there, or could not be assessed, is in neither number."""
    notes = summary.hard_notes(_class(tmp_path), 0)
    assert dict(notes[2].counts) == {"missed": 2, "wrong": 1}
    assert (notes[2].played, notes[2].bad, notes[2].share) == (4, 3, 0.75)
    assert dict(notes[5].counts) == {"late": 1}
    assert (notes[5].played, notes[5].bad) == (3, 1)
    assert dict(notes[0].counts) == {}


def test_groups_have_the_same_trouble(tmp_path: Path) -> None:
    """At least two players, the largest first."""
    found = summary.groups(_class(tmp_path), 0)
    assert [(one.cause, one.players, one.place) for one in found] == [
        ("missed notes", ("A", "B"), "bar 3")
    ]


def test_a_group_without_a_place_in_common_names_none(tmp_path: Path) -> None:
    """The same trouble, but each somewhere else."""
    found = {
        "A": _found(faults={2: "missed"}),
        "B": _found(faults={4: "missed"}),
    }
    review = read_class(made_up_class.write_review(tmp_path / "week", found))
    assert [one.place for one in summary.groups(review, 0)] == [""]
    assert "worst at" not in class_page(review)


def test_the_doubtful_come_first(tmp_path: Path) -> None:
    """Refused, then by how many verdicts may be wrong; not those already heard."""
    review = _class(tmp_path)
    assert [take.player for take in summary.doubtful(review)] == ["E", "C"]
    take = next(take for take in review.takes if take.player == "C")
    heard = replace(
        take,
        corrections=(Correction(take.take_id, What.VERDICT, "right", "T", note=5),),
    )
    review = replace(review, takes=(*review.takes[:2], heard, *review.takes[3:]))
    assert [take.player for take in summary.doubtful(review)] == ["E"]


def test_missing_are_those_of_the_roster_without_a_take(tmp_path: Path) -> None:
    """A take that was refused is handed in."""
    assert summary.missing(_class(tmp_path), 0) == ["absent"]


@pytest.mark.parametrize(
    ("before_ms", "now_ms", "better", "worse"),
    [
        (20.0, 8.0, ("spread",), ()),
        (8.0, 20.0, (), ("spread",)),
        (10.0, 8.0, (), ()),  # less than both uncertainties: hypot(2, 2) = 2.8
        (8.0 + 8**0.5, 8.0, (), ()),  # exactly as much
        (8.0 + 8**0.5 + 1e-4, 8.0, ("spread",), ()),
    ],
)
def test_who_improved(
    tmp_path: Path,
    before_ms: float,
    now_ms: float,
    better: tuple[str, ...],
    worse: tuple[str, ...],
) -> None:
    """Only what changed by more than both uncertainties, on the same lick."""
    first = made_up_class.write_review(
        tmp_path / "one", {"A": _found(spread_ms=before_ms)}
    )
    second = made_up_class.write_review(
        tmp_path / "two", {"A": _found(spread_ms=now_ms), "B": _found()}, [first.out]
    )
    found = changes(read_class(second))
    assert [(one.player, one.better, one.worse) for one in found] == [
        ("A", better, worse)
    ]
    assert found[0].improved == bool(better)
    assert found[0].same_lick


@pytest.mark.parametrize(
    ("ratio", "same"), [(1.0, True), (1.05, True), (1.06, False), (0.94, False)]
)
def test_of_another_tempo_nothing_is_claimed(
    tmp_path: Path, ratio: float, same: bool
) -> None:
    """Slower is easier; a step of the metronome makes no difference."""
    slow = _found(spread_ms=30.0)
    tempo = replace(slow.readings["tempo"], value=100.0)
    first = made_up_class.write_review(
        tmp_path / "one",
        {"A": replace(slow, readings={**slow.readings, "tempo": tempo})},
    )
    now = _found(spread_ms=8.0)
    tempo = replace(tempo, value=100.0 * ratio)
    second = made_up_class.write_review(
        tmp_path / "two",
        {"A": replace(now, readings={**now.readings, "tempo": tempo})},
        [first.out],
    )
    (one,) = changes(read_class(second))
    assert (one.same_lick, one.improved) == (same, same)


def test_of_another_lick_nothing_is_claimed(tmp_path: Path) -> None:
    """Marks are told side by side."""
    first = made_up_class.write_review(tmp_path / "one", {"A": _found()})
    kept = first.read_counted()
    kept["counted"][0]["lick"] = "another"
    first.write_counted(kept)
    second = made_up_class.write_review(
        tmp_path / "two", {"A": _found(spread_ms=1.0)}, [first.out]
    )
    review = read_class(second)
    (one,) = changes(review)
    assert (one.same_lick, one.better, one.improved) == (False, (), False)
    assert "Another lick" in class_page(review)


def test_hostile_words_stay_words(tmp_path: Path) -> None:
    """Of titles, players and reasons, in the page and in a spreadsheet."""
    evil = "<script>alert(1)</script>"
    found: dict[str, Finding | str] = {"=1+1": _found(), evil: evil}
    books = made_up_class.write_review(tmp_path / "week", found)
    books.write_plan({**books.read_plan(), "title": evil})
    review = read_class(books)
    page = class_page(review, names=True)
    assert evil not in page
    assert "&lt;script&gt;" in page
    assert "\n'=1+1," in class_csv(review)


@pytest.mark.parametrize(
    ("name", "shown"),
    [(f"{sign}1+1", f"'{sign}1+1") for sign in "=+-@＝＠"]
    + [(f"x{sign}=1+1", "x?=1+1") for sign in "\t\r\n"],
)
def test_no_cell_is_worked_out(tmp_path: Path, name: str, shown: str) -> None:
    """A spreadsheet shows what somebody chose to be called, and runs none of it."""
    review = _class(tmp_path)
    called = dict.fromkeys(review.players, name)
    table = class_csv(replace(review, names=called), names=True)
    names = [row["name"] for row in csv.DictReader(io.StringIO(table, newline=""))]
    assert names == [shown] * len(review.players)


def test_a_class_of_300_with_ten_assignments_is_quick(tmp_path: Path) -> None:
    """CPU time of reading everything and writing page and table."""
    draw = np.random.default_rng(7)
    players = [f"P{k:03d}" for k in range(300)]
    weeks: list[Path] = []
    for week in range(10):
        found: dict[str, Finding | str] = {}
        for player in players:
            kinds = draw.choice(["missed", "wrong", "late", "flat"], 3)
            places = draw.integers(0, len(ASKED), 3).tolist()
            faults = dict(zip(places, kinds.tolist(), strict=True))
            found[player] = _found(faults=faults, spread_ms=float(draw.uniform(5, 30)))
        out = tmp_path / f"week {week}"
        made_up_class.write_review(out, found, weeks)
        weeks.append(out)
    start_s = time.process_time()
    review = read_class(weeks[-1])
    page, table = class_page(review), class_csv(review)
    used_s = time.process_time() - start_s
    assert len(review.earlier) == 9
    assert page.count('<tr><th scope="row">') >= 300
    assert table.count("\n") == 302  # with its head and the one who is absent
    assert used_s < PAGE_LIMIT_S


def test_only_what_was_said_blind_and_first_is_agreement(tmp_path: Path) -> None:
    """Not what was said after a look, nor of another pass; unsure is left out."""
    found: dict[str, Finding | str] = {
        "A": _found(faults={2: "missed", 5: "unsure"}),
        "B": _found(),
    }
    books = made_up_class.write_review(tmp_path / "week", found)
    first, second = (one.take_id for one in books.planned())

    def said(take_id: str, note: int, value: str, **more: object) -> Correction:
        return Correction(take_id, What.VERDICT, value, "T", note=note, **more)

    corrections.append(
        books.corrections,
        [
            said(first, 0, "right", blind=True),
            said(first, 1, "wrong", blind=True),
            said(first, 1, "right", blind=True),  # after a second thought
            said(first, 2, "missed", blind=True),
            said(first, 3, "wrong"),  # seen first
            said(first, 3, "right", blind=True),
            said(first, 5, "right", blind=True),  # the tool is unsure
            said(first, 6, "missed", blind=True, number=1),
            said(second, 0, "wrong"),
        ],
    )
    told = agreement(read_class(books))
    assert told.takes == 1
    assert told.verdicts is not None
    assert (told.verdicts.pairs, told.verdicts.left_out) == (3, 1)
    assert told.verdicts.observed == pytest.approx(2 / 3)
    # expected by chance: right 2/3 x 1/3, missed 1/3 x 1/3, wrong 0 x 1/3
    assert told.verdicts.kappa == pytest.approx((2 / 3 - 3 / 9) / (1 - 3 / 9))


def test_forgetting_leaves_nothing_of_a_player(tmp_path: Path) -> None:
    """By name: takes, corrections, roster, plan, what counted; others stay."""
    found: dict[str, Finding | str] = {"A": _found(), "B": _found()}
    books = made_up_class.write_review(tmp_path / "week", found)
    takes = {one.player: one.take_id for one in books.planned()}
    for player, take_id in takes.items():
        said = Correction(take_id, What.REMARK, f"to {player}", "T")
        corrections.append(books.corrections, [said])
        (books.out / "takes" / f"{take_id}.html").touch()
    books.write_shown("answers/A.html", "x")
    # a take that is not handed in any more, kept by another version of the program
    old = {"take_id": "ab" * 8, "key": "", "player": "A", "found": {"of": "old"}}
    (books.records / f"{old['take_id']}.json").write_text(json.dumps(old))
    (books.out / "takes" / f"{old['take_id']}.html").touch()
    (books.private / ".roster.json.123.part").write_text("name of A")
    done = forget(books, "name of A")
    assert (done.pseudonyms, done.takes, done.corrections, done.answers) == (
        ("A",), 2, 1, 1
    )  # fmt: skip
    assert not list(books.out.rglob(f"{old['take_id']}.*"))
    files = [file for file in books.out.rglob("*") if file.is_file()]
    assert not any(takes["A"] in file.name for file in files)
    for file in files:
        text = file.read_text(encoding="utf-8")
        assert "name of A" not in text
        assert takes["A"] not in text
    review = read_class(books)
    assert [take.player for take in review.takes] == ["B"]
    assert [said.value for said in review.log] == ["to B"]


def test_a_reading_is_held_against_the_same_reading(tmp_path: Path) -> None:
    """Where the tool has none, it is held against nothing."""
    found: dict[str, Finding | str] = {name: _found(spread_ms=8.0) for name in "ABC"}
    books = made_up_class.write_review(tmp_path / "week", found)
    for number, one in enumerate(books.planned()):
        corrections.append(
            books.corrections,
            [
                Correction(one.take_id, What.READING, value, "T", name=name, blind=True)
                for name, value in (
                    ("spread", 5.0 + number),
                    ("bends", 12),
                    ("mark", 90),
                )
            ],
        )
    told = agreement(read_class(books))
    assert set(told.readings) == {"spread", "mark"}
    assert told.readings["spread"].bias == pytest.approx(8 - 6)
    assert told.readings["mark"].bias == pytest.approx(100 - 90)


def test_what_cannot_be_deleted_is_told(tmp_path: Path) -> None:
    """And the player is known all the same, to be forgotten another time."""
    books = made_up_class.write_review(tmp_path / "week", {"A": _found()})
    (planned,) = books.planned()
    (books.out / "takes" / f"{planned.take_id}.html").mkdir()  # no file, so it stays
    with pytest.raises(ReviewError, match="cannot be written"):
        forget(books, "A")
    assert [player.pseudonym for player in books.read_roster()] == ["A"]


def test_squares_grow_with_the_players_who_have_it() -> None:
    """Area by share, in the colour of its side, and the same in the table."""
    counts = [{"missed": 4}, {"missed": 1, "late": 2}, {}]
    short = replace(ASKED, notes=ASKED.notes[:3])
    picture = class_heat(short, counts, [4, 4, 4], 400.0)
    sides = [float(w) for w in re.findall(r'<rect[^>]*? width="([\d.]+)"', picture.svg)]
    largest, small, middle = sides[-3:]
    assert (small / largest) ** 2 == pytest.approx(1 / 4, abs=0.01)
    assert (middle / largest) ** 2 == pytest.approx(2 / 4, abs=0.01)
    assert picture.svg.count('class="high"') == 2  # the square and its word
    assert picture.table.head == ("Note", "Players", "missed", "late")
    assert picture.table.rows[1] == ("2", "4", "1", "2")
