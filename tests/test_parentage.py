"""Which lick a drill is made of: in sheets, in MusicXML, and when it is wrong."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from typed_sheets import typed

from assessor.errors import LickError
from assessor.lick import musicxml, sheet
from assessor.lick.digest import digest_of
from assessor.lick.notation import Parent
from assessor.lick.parentage import parse_places, say_places

SHEET = typed(" q   q", "-5-h-7--|")
LICK = sheet.read(SHEET, "two.lick")
DIGEST = digest_of(LICK)
PARENT = Parent("Steps & leaps", DIGEST, "one cell alone, twice", (3, 3))
DRILL = replace(LICK, parent=PARENT)


@given(st.lists(st.integers(0, 40), min_size=1, max_size=60).map(tuple))
def test_any_places_can_be_said(places: tuple[int, ...]) -> None:
    """Reader of writer is the same."""
    assert parse_places(say_places(places)) == places


@pytest.mark.parametrize(
    "text", ["", "0", "4-2", "1-3 x0", "1,,2", "a", "1 x2 x3", "1-99999 x9999", "-1"]
)
def test_no_places(text: str) -> None:
    """What names no note, or too many."""
    with pytest.raises(ValueError, match=r"allowed are|more than"):
        parse_places(text)


def test_a_sheet_keeps_the_parent() -> None:
    """Reader of writer, with the keys spelled out."""
    text = sheet.write(DRILL)
    assert "parent: Steps & leaps\n" in text
    assert "parent notes: 4 x2\n" in text
    assert sheet.read(text, "drill.lick") == DRILL


def test_musicxml_keeps_the_parent() -> None:
    """Reader of writer."""
    back = musicxml.read(musicxml.write(DRILL), "drill.musicxml")
    assert (back, back.notices) == (DRILL, ())


def test_musicxml_with_a_parent_that_does_not_fit() -> None:
    """The lick is read, the parent is left out and that is said."""
    data = musicxml.write(DRILL).replace(b"4 x2", b"4 x3")
    back = musicxml.read(data, "drill.musicxml")
    assert back.parent is None
    assert "3 notes are named, there are 2" in back.notices[0]


@pytest.mark.parametrize(
    ("header", "line", "message"),
    [
        ("parent: P", 2, "needs the key `parent notes` too"),
        ("parent notes: 1-2", 2, "needs the key `parent` too"),
        (f"parent digest: {DIGEST}", 2, "needs the key `parent notes` too"),
        ("parent: P\nparent notes: 1-3", 3, "names 3 notes, the sheet holds 2"),
        ("parent: P\nparent notes: 3-1", 3, "such as `1-4 x2, 5-8, 9`"),
        ("parent: P\nparent digest: 12", 3, "the 64 hex digits"),
    ],
)
def test_a_header_that_is_wrong(header: str, line: int, message: str) -> None:
    """With its line and what may stand there."""
    text = SHEET.replace("tempo: 90", f"tempo: 90\n{header}")
    with pytest.raises(LickError, match=message) as caught:
        sheet.read(text, "drill.lick")
    assert caught.value.line == line


def test_a_lick_refuses_a_parent_of_another_length() -> None:
    """A wrong call, not a bad file."""
    with pytest.raises(ValueError, match="2 notes, but 1 places"):
        replace(LICK, parent=replace(PARENT, notes=(0,)))


def test_the_parent_is_not_what_is_played() -> None:
    """A drill that sounds like a lick is that lick."""
    assert digest_of(DRILL) == DIGEST
