"""What the teacher says instead: kept beside, counted everywhere, never lost."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import made_up_class
import pytest
from click.testing import CliRunner

from assessor.assessment import Assessment, Settings, assess
from assessor.cli import main
from assessor.errors import ReviewError
from assessor.recording import read as read_recording
from assessor.report.class_work import correct, renew, write_class
from assessor.review import assignment, corrections, planning
from assessor.review.books import Books, open_books
from assessor.review.corrections import TOOL, Correction, What
from assessor.review.finding import finding_of
from assessor.review.overruling import overrule
from assessor.review.summary import read_class

NOTES = 12
FAULT = 4  # the note that player 1 leaves out


def _said(what: What, value: str | float, **more: object) -> Correction:
    return Correction("t", what, value, "T", **more)


# --------------------------------------------------------------- one correction


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"what": "verdict", "value": "right"}, "belongs to a note"),
        ({"what": "verdict", "value": TOOL}, "belongs to a note"),
        ({"what": "reading", "value": TOOL, "name": "charm"}, "none of mark"),
        ({"what": "verdict", "value": "fine", "note": 1}, "none of right"),
        ({"what": "judgement", "value": "inside", "note": 1}, "none of time"),
        ({"what": "judgement", "value": "x", "note": 1, "name": "time"}, "inside"),
        ({"what": "reading", "value": 101, "name": "mark"}, "from 0 to 100"),
        ({"what": "reading", "value": True, "name": "mark"}, "is no number"),
        ({"what": "reading", "value": 5, "name": "charm"}, "none of mark"),
        ({"what": "reading", "value": float("nan"), "name": "mark"}, "is no number"),
        ({"what": "remark", "value": 5}, "is a text"),
        ({"what": "remark", "value": "x" * 5000}, "4000 are allowed"),
        ({"what": "remark", "value": "x", "author": " "}, "has an author"),
        ({"what": "verdict", "value": "right", "note": -1}, "below nought"),
        ({"what": "praise", "value": "x"}, "praise"),
    ],
)
def test_what_has_no_meaning_is_refused(said: dict[str, object], words: str) -> None:
    """With what would have one."""
    with pytest.raises(ValueError, match=words):
        Correction(**{"take_id": "t", "author": "T", **said})


def test_the_last_word_holds() -> None:
    """On each thing; a correction can be taken back."""
    first = _said(What.VERDICT, "wrong", note=3)
    other = _said(What.VERDICT, "wrong", note=4)
    last = _said(What.VERDICT, "right", note=3)
    assert corrections.holding([first, other, last])["t"] == (other, last)
    back = _said(What.VERDICT, TOOL, note=3)
    assert corrections.holding([first, other, last, back])["t"] == (other,)
    remark = _said(What.REMARK, "well done")
    assert corrections.holding([remark, _said(What.REMARK, "")]) == {}


# --------------------------------------------------------------------- the log


def test_the_log_gives_back_what_was_said(tmp_path: Path) -> None:
    """Author, time and reason too; a line a crash tore off is passed over."""
    log = tmp_path / "log.jsonl"
    said = [
        _said(What.VERDICT, "wrong", note=3, reason="I hear E♭"),
        _said(What.READING, 71.5, name="mark", blind=True),
    ]
    corrections.append(log, said[:1])
    corrections.append(log, said[1:])
    assert corrections.read(log) == said
    log.write_bytes(log.read_bytes() + b'{"take_id": "t", "wh')
    assert corrections.read(log) == said
    corrections.append(log, said[:1])
    assert corrections.read(log) == [*said, said[0]]


def test_a_log_somebody_broke_is_refused(tmp_path: Path) -> None:
    """By the number of its line."""
    log = tmp_path / "log.jsonl"
    corrections.append(log, [_said(What.REMARK, "x")])
    log.write_text(log.read_text() + '{"take_id": 3}\n')
    with pytest.raises(ReviewError, match="line 2"):
        corrections.read(log)


# ------------------------------------------------------------------- overruling


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two players; the second leaves out one note."""
    folder = tmp_path_factory.mktemp("class")
    asked = made_up_class.write_class(folder, 2, shorter=NOTES)
    made_up_class.write_sheet(folder / "short.lick", asked)
    return folder


@pytest.fixture(scope="module")
def assessment(folder: Path) -> Assessment:
    """The take with a note left out, as the tool hears it."""
    asked = assignment.of_lick(folder / "short.lick", Settings()).licks[0].lick
    heard = read_recording(folder / "player-001" / "player-001.flac")
    found = assess(heard, asked)
    verdicts = [str(note.verdict) for note in found.best_pass.performed.notes]
    assert verdicts == ["right"] * FAULT + ["missed"] + ["right"] * (NOTES - FAULT - 1)
    return found


def test_no_correction_changes_nothing(assessment: Assessment) -> None:
    """To the last bit."""
    assert overrule(assessment, []) == (assessment, ())
    remark = _said(What.REMARK, "x", note=1)
    assert overrule(assessment, [remark])[0] == assessment


@pytest.mark.parametrize(
    ("note", "verdict", "counts"),
    [
        (FAULT, "right", (12, 0, 0, 0)),
        (FAULT, "wrong", (11, 1, 0, 0)),  # heard as nothing, but the teacher did
        (FAULT, "unsure", (11, 0, 0, 1)),
        (0, "wrong", (10, 1, 1, 0)),
        (0, "missed", (10, 0, 2, 0)),
        (0, "unsure", (10, 0, 1, 1)),
    ],
)
def test_a_verdict_is_counted(
    assessment: Assessment,
    note: int,
    verdict: str,
    counts: tuple[int, int, int, int],
) -> None:
    """In the share of right notes, in the mark and in the faults."""
    now, left = overrule(assessment, [_said(What.VERDICT, verdict, note=note)])
    found = now.best_pass
    accuracy = found.accuracy
    lengths = tuple(
        len(part)
        for part in (accuracy.right, accuracy.wrong, accuracy.missed, accuracy.unsure)
    )
    assert lengths == counts
    assert left == ()
    right, judged = counts[0], sum(counts[:3])
    assert accuracy.share is not None
    assert accuracy.share.value == pytest.approx(100 * right / judged)
    faults = [f for f in found.faults if f.cause in ("wrong notes", "missed notes")]
    assert len(faults) == counts[1] + counts[2]
    assert found.mark.parts[0].inside == right
    assert found.performed.notes[note].probability == 1.0
    assert finding_of(now).judged == judged


def test_judged_by_ear(assessment: Assessment) -> None:
    """The number stays, the limit is the ear's; the mark follows."""
    said = _said(What.JUDGEMENT, "outside", note=2, name="time")
    now, _ = overrule(assessment, [said])
    note = next(n for n in now.best_pass.timing.notes if n.index == 2)
    was = next(n for n in assessment.best_pass.timing.notes if n.index == 2)
    assert note.deviation.value == was.deviation.value
    assert (str(was.deviation.judgement), str(note.deviation.judgement)) == (
        "inside",
        "outside",
    )
    time = {part.area: part for part in now.best_pass.mark.parts}["time"]
    assert time.inside == time.judged - 1
    back = _said(What.JUDGEMENT, "inside", note=2, name="time")
    again, _ = overrule(now, [back])
    assert again.best_pass.mark == assessment.best_pass.mark


def test_what_fits_nothing_is_told(assessment: Assessment) -> None:
    """A note or a pass there is none of; nothing else is lost by it."""
    lost = [
        _said(What.VERDICT, "right", note=99),
        _said(What.VERDICT, "right", note=0, number=7),
        _said(What.EXTRA, "none", note=0),
        _said(What.JUDGEMENT, "inside", note=0, name="bend"),
    ]
    good = _said(What.VERDICT, "right", note=FAULT)
    now, left = overrule(assessment, [*lost, good])
    assert set(left) == set(lost)
    assert len(now.best_pass.accuracy.right) == NOTES


def test_the_last_word_holds_whether_or_not_it_names_the_pass(
    assessment: Assessment,
) -> None:
    """There is one pass, so both speak of the same note."""
    named = _said(What.VERDICT, "wrong", note=0, number=0)
    unnamed = _said(What.VERDICT, "right", note=0)
    for said in ([unnamed, named], [named, unnamed], [named, unnamed, named]):
        now, _ = overrule(assessment, corrections.holding(said)["t"])
        assert now.best_pass.performed.notes[0].verdict == said[-1].value


# ---------------------------------------------------------- in all that is shown


@pytest.fixture
def books(folder: Path, tmp_path: Path) -> Books:
    """The class, reviewed."""
    books = open_books(tmp_path / "out", create=True)
    asked = assignment.of_lick(folder / "short.lick", Settings())
    planning.plan(books, asked, str(folder), planning.Options(sound=False))
    renew(books, {one.take_id for one in books.planned()})
    write_class(books)
    return books


def _faulty(books: Books) -> str:
    """Take with the note left out."""
    return next(one.take_id for one in books.planned() if "001" in one.name)


def test_a_correction_is_in_everything_that_is_shown(books: Books) -> None:
    """Class page, table, the take's report and result; the finding stays beside."""
    take_id = _faulty(books)
    before = read_class(books).take(take_id)
    said = [
        Correction(
            take_id, What.VERDICT, "right", "T. Eacher", note=FAULT, reason="muted <b>"
        ),
        Correction(take_id, What.REMARK, "Nicely <i>steady</i>", "T. Eacher"),
    ]
    now = correct(books, said).take(take_id)
    assert before.found == now.found
    assert before.shown is not None
    assert now.shown is not None
    assert (before.shown.right, now.shown.right) == (NOTES - 1, NOTES)
    page = (books.out / "class.html").read_text(encoding="utf-8")
    assert f"{NOTES} of {NOTES}" in page
    assert f"tool: {NOTES - 1} of {NOTES}" in page
    assert "muted &lt;b&gt;" in page
    assert "steady" not in page  # a remark is for its player
    table = (books.out / "class.csv").read_text(encoding="utf-8")
    assert f",{NOTES},{NOTES},0," in table
    report = books.report(take_id).read_text(encoding="utf-8")
    assert "right, not missed" in report
    assert "muted &lt;b&gt;" in report
    assert "Nicely &lt;i&gt;steady&lt;/i&gt;" in report
    assert "T. Eacher" in report
    result = json.loads((books.out / "takes" / f"{take_id}.json").read_bytes())
    assert result["passes"][0]["notes"][FAULT]["verdict"] == "right"


def test_corrections_outlive_another_assessment(books: Books) -> None:
    """The take is assessed again, and what the teacher said still counts."""
    take_id = _faulty(books)
    correct(books, [Correction(take_id, What.VERDICT, "right", "T", note=FAULT)])
    (books.records / f"{take_id}.json").unlink()
    job = next(job for job in planning.jobs(books) if job.take_id == take_id)
    assert planning.undone(books, [job]) == [job]
    renew(books, [take_id])
    assert planning.undone(books, [job]) == []
    now = read_class(books).take(take_id)
    assert now.shown is not None
    assert now.shown.right == NOTES


@pytest.mark.parametrize("pseudonym", ["", "Heron"])
def test_corrections_follow_a_take_to_another_tempo_and_name(
    books: Books, folder: Path, pseudonym: str
) -> None:
    """Of assignment and of player; nothing stays under the old name."""
    take_id = _faulty(books)
    correct(books, [Correction(take_id, What.VERDICT, "right", "T", note=FAULT)])
    old = books.write_shown(
        f"answers/{read_class(books).take(take_id).player}.html", ""
    )
    file = books.out.parent / "week.toml"
    file.write_text(
        f"""
        tempo_bpm = 70
        [[licks]]
        file = "{folder / "short.lick"}"
        [[players]]
        name = "player-001"
        pseudonym = "{pseudonym}"
        """
    )
    options = planning.Options(sound=False)
    planning.plan(books, assignment.read(file), str(folder), options)
    assert old.exists() == (not pseudonym)
    now = _faulty(books)
    assert (now == take_id) == (not pseudonym)
    renew(books, [now])
    write_class(books)
    take = read_class(books).take(now)
    assert take.shown is not None
    assert take.shown.right == NOTES
    assert books.report(take_id).exists() == (not pseudonym)
    assert not old.exists()  # it answered what is corrected by now
    assert [one.take_id for one in read_class(books).log] == [now]


def test_a_mark_by_ear_stands_beside_the_tools(books: Books) -> None:
    """And is taken back."""
    take_id = _faulty(books)
    said = Correction(take_id, What.READING, 70, "T", name="mark")
    now = correct(books, [said]).take(take_id)
    assert now.shown is not None
    assert now.found is not None
    assert now.shown.mark == 70
    assert now.found.mark != 70
    page = (books.out / "class.html").read_text(encoding="utf-8")
    assert ">70<" in page
    assert f"tool: {now.found.mark:.0f}" in page
    back = replace(said, value=TOOL)
    assert correct(books, [back]).take(take_id).shown == now.found


def test_corrections_by_command(books: Books) -> None:
    """The short name of a take is enough; what changed is told."""
    take_id, out = _faulty(books), str(books.out)
    run = CliRunner().invoke
    words = ["review", "correct", out, take_id[:8], "--note", str(FAULT + 1)]
    done = run(main, [*words, "--verdict", "right", "--reason", "I heard it"])
    assert done.exit_code == 0, done.output
    assert "1 correction kept; mark 9" in done.output
    assert done.output.endswith("now 100\n")
    lost = run(main, [*words, "--outside", "bend"])
    assert "1 correction of this take fit nothing" in lost.output
    said = corrections.read(books.corrections)[:1]
    assert [(c.note, c.value, c.reason) for c in said] == [
        (FAULT, "right", "I heard it")
    ]
    for wrong, told in (
        ([], "say what"),
        (["--verdict", "good"], "good"),
        (["--reading", "tempo=fast"], "NAME=NUMBER"),
        (["--mark", "200"], "200"),
    ):
        done = run(main, [*words, *wrong])
        assert (done.exit_code, told in done.output) == (2, True), done.output
    done = run(main, ["review", "correct", out, "ffff", "--remark", "x"])
    assert (done.exit_code, "fits no takes" in done.output) == (3, True)
