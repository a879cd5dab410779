"""What the pages of a class answer, without a browser."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlencode

import pytest

if not os.environ.get("CI"):
    pytest.importorskip("starlette")

import made_up_class
import web_servers as servers
from click.testing import CliRunner

from assessor import lick
from assessor.cli import main
from assessor.review import corrections
from assessor.review.books import Books
from assessor.review.corrections import Correction, What
from assessor.review.summary import read_class

ASKED = lick.read(made_up_class.LICK)


@pytest.fixture
def books(tmp_path: Path) -> Books:
    """A class of one, whose take was assessed by nobody."""
    return made_up_class.write_review(
        tmp_path / "week", {"A": made_up_class.finding(ASKED, faults={2: "missed"})}
    )


@pytest.fixture
def inside(books: Books) -> Iterator[servers.Client]:
    """Its teacher, let in."""
    with servers.review(books) as running:
        yield running.client.entered()


def test_a_correction_of_a_pass_is_taken_back(
    books: Books, inside: servers.Client
) -> None:
    """What the page says for that speaks of the same pass."""
    (take,) = read_class(books).takes
    said = Correction(take.take_id, What.VERDICT, "wrong", "T", note=2, number=3)
    corrections.append(books.corrections, [said])
    page = inside.get(f"/listen/{take.take_id}").text
    assert '"number": "3"' in page
    assert "missed*" not in page  # another pass than the one that is shown
    body = urlencode({"what": "verdict", "note": 2, "number": 3, "value": "tool"})
    inside.ask("POST", f"/listen/{take.take_id}/say", body.encode())
    assert read_class(books).take(take.take_id).corrections == ()


def test_a_class_that_cannot_be_read_is_told(
    books: Books, inside: servers.Client
) -> None:
    """On every page, and before there is one."""
    plan = books.read_plan()
    plan["licks"][0]["digest"] = "another"
    books.write_plan(plan)
    take_id = plan["takes"][0]["take_id"]
    for path in ("/", "/class", "/first", f"/listen/{take_id}"):
        answer = inside.get(path)
        assert answer.status == 409
        assert "the lick has changed since it was reviewed" in answer.text
    words = ["review", "serve", str(books.out), "--no-open", "--port", "0"]
    done = CliRunner().invoke(main, words)
    assert (done.exit_code, "the lick has changed" in done.output) == (3, True)
