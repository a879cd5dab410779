"""Two results side by side."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import hand_made as made
import numpy as np
import pytest
from click.testing import CliRunner
from test_page import Elements

from assessor import report
from assessor.assessment import Settings
from assessor.cli import main
from assessor.errors import ResultError
from assessor.measures.tolerance import TOLERANCES
from assessor.report.compare import Change, Compared, comparison, read_result, readings
from assessor.report.compare_page import compare_page

FIRST_VERSION = Path(__file__).parent / "results" / "version-1.json"
LICK = made.lick([k / 2 for k in range(16)], title="Sixteen eighths")
WHOLE = """{"format": "assessor-result", "version": %s, "lick": {}, "recording": {},
"settings": {}, "best_pass": 0, "passes": []}"""


def result(
    seed: int, spread_s: float, *, missed: int | None = None, **fields: Any
) -> Any:
    """Result of a take whose onsets scatter by so much."""
    late_s = np.random.default_rng(seed).normal(0, spread_s, 16)
    notes: list[Any] = [*made.as_written(LICK, late_s=late_s)]
    if missed is not None:
        notes[missed] = None
    facts = {"digest": f"{seed:064d}"}
    return report.result(
        made.assessed(LICK, made.passage(notes), facts=facts, **fields)
    )


@pytest.mark.parametrize(
    ("second", "change"),
    [(15.1, Change.SAME), (15.0, Change.SAME), (14.9, Change.BETTER),
     (25.0, Change.SAME), (25.1, Change.WORSE)],
)  # fmt: skip
def test_a_change_must_exceed_its_uncertainty(second: float, change: Change) -> None:
    """3 and 4 make 5: exactly at it is not yet better."""
    assert Compared("spread", "ms", 20.0, second, 3.0, 4.0).change == change


def test_a_steadier_take_is_better() -> None:
    """Scatter of 40 ms against 4 ms."""
    loose, steady = result(1, 0.04), result(2, 0.004)
    spread = {r.name: r for r in readings(loose, steady)}["spread"]
    assert spread.change is Change.BETTER
    back = {r.name: r for r in readings(steady, loose)}["spread"]
    assert back.change is Change.WORSE
    assert back.nearer == -spread.nearer


def test_a_take_against_itself_did_not_change() -> None:
    """Every reading is too close to tell, and it is said that both are one."""
    one = result(3, 0.02)
    assert {r.change for r in readings(one, one)} == {Change.SAME}
    text = comparison(one, one)
    assert "same recording" in text
    assert "Gone" not in text


def test_what_is_gone_and_what_is_new_is_told() -> None:
    """By the place in the lick."""
    text = comparison(result(4, 0.001, missed=3), result(5, 0.001, missed=8))
    gone, new = text.index("Gone"), text.index("New")
    assert "bar 1, beat 2.5: this note did not sound" in text[gone:new]
    assert "bar 2, beat 1: this note did not sound" in text[new:]


def test_what_cannot_be_compared_is_said() -> None:
    """Another tolerance, tempo, version of the program, name of the lick."""
    tight = result(6, 0.01, settings=Settings(tolerance=TOLERANCES["tight"]))
    assert "different tolerances" in comparison(result(7, 0.01), tight)
    one, other = result(8, 0.01), result(9, 0.01)
    assert "Caution" not in comparison(one, other)
    other["passes"][0]["timing"]["tempo"]["value"] *= 1.06
    other["tool_version"] = "0.0.9"
    other["lick"]["title"] = "Another name"
    text = " ".join(comparison(one, other).split())
    for words in (
        "slower is easier",
        "versions 0.1.0 and 0.0.9",
        "Another name in the",
    ):
        assert words in text


def test_two_licks_are_not_compared() -> None:
    """Nearer to something else is not better."""
    other = made.lick([0, 1, 2, 3, 4], title="Other")
    played = made.assessed(other, made.passage(made.as_written(other)))
    with pytest.raises(ResultError, match=r"'Other' \(5 notes\)"):
        comparison(result(8, 0.01), report.result(played))


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("", "no JSON"),
        ("{", "no JSON"),
        ("[1, 2]", "no result"),
        ('{"format": "other"}', "no result"),
        ('{"format": "assessor-result", "version": 1}', "no whole result"),
        (WHOLE % 99, "version 99"),
        (WHOLE % '"new"', "version new"),
    ],
)
def test_other_files_are_refused(tmp_path: Path, text: str, problem: str) -> None:
    """With the path and what to give instead."""
    file = tmp_path / "x.json"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(ResultError, match=problem):
        read_result(file)


def test_what_lies_inside_twice_is_of_no_weight() -> None:
    """Steadier still, and still inside: no number that invites to chase it."""
    both = result(1, 0.006), result(2, 0.0001)
    spread = {r.name: r for r in readings(*both)}["spread"]
    assert spread.change is Change.BETTER
    assert spread.words == "better, but inside both times"
    assert comparison(*both).splitlines()[-1].startswith("B against A: 0 better,")
    assert "1 inside both times" in comparison(*both)


def test_a_file_of_the_first_version_is_still_read() -> None:
    """Kept as it was written then; never to be written anew."""
    old = report.read_result(FIRST_VERSION)
    assert old["version"] == 1
    text = comparison(old, old)
    assert "wrong-notes.flac" in text
    assert "spread" in text


@pytest.mark.parametrize(
    "text", ["<script>alert(1)</script>", "\"a\" & 'b' {{ 7 * 7 }}", "🎸 גיטרה"]
)
def test_a_page_shows_names_as_text(text: str) -> None:
    """Title, file name and fault, wherever a result came from."""
    first, second = result(1, 0.04), result(2, 0.004, missed=3)
    for one in (first, second):
        one["lick"]["title"] = one["recording"]["name"] = text
    second["passes"][0]["faults"][0]["what"] = text
    found = Elements(compare_page(first, second))
    assert "".join(found.texts["h1"]).strip() == text
    assert text in "".join(found.texts["bdi"])
    assert any(text in told for told in found.texts["li"])
    assert found.named("script") == []
    assert not any("style" in attrs for _, attrs in found.tags)


def test_a_page_draws_every_reading() -> None:
    """A picture for each, told in words too, and a table behind."""
    both = result(1, 0.04), result(2, 0.004)
    found = Elements(compare_page(*both))
    names = {one.name for one in readings(*both)}
    pictures = found.named("svg")
    assert len(pictures) == len(names)
    assert all(str(p["aria-label"]).startswith("A ") for p in pictures)
    assert names <= set(found.texts["strong"]) & set(found.texts["th"])


def test_command_line(tmp_path: Path) -> None:
    """Two files; a missing one ends with code 3."""
    for name, seed, spread_s in (("a", 1, 0.04), ("b", 2, 0.004)):
        text = json.dumps(result(seed, spread_s))
        (tmp_path / f"{name}.json").write_text(text, encoding="utf-8")
    files = [str(tmp_path / "a.json"), str(tmp_path / "b.json")]
    done = CliRunner().invoke(main, ["compare", *files])
    assert done.exit_code == 0
    assert "better by" in done.output
    page = tmp_path / "page.html"
    again = CliRunner().invoke(main, ["compare", *files, "--html", str(page)])
    assert again.output == done.output
    assert "Content-Security-Policy" in page.read_text(encoding="utf-8")
    taken = CliRunner().invoke(main, ["compare", *files, "--html", files[0]])
    assert taken.exit_code == 2
    assert max(map(len, done.output.splitlines())) <= 80
    done = CliRunner().invoke(main, ["compare", files[0], str(tmp_path / "no.json")])
    assert done.exit_code == 3
    assert "no.json" in done.output
