"""Slips in a lick sheet: each is found at its place, and said in words."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from typed_sheets import read_typed, typed

from assessor.errors import LickError, UnsupportedNotation
from assessor.lick.sheet import read, write

SHEET = typed(" q   q", "-5-h-7--|")
SHEETS = [
    SHEET,
    typed(" h   q_  q    w", "-5-h-7b8-r7-|-5|", over=" d   u", under=" 1   3"),
    typed(
        " w |: e.  s    q3_q3 q3  q :|x3 @80 h",
        "-5-|--5--h7---p5-----x3=-8~-|-----//9",
    ),
]


@pytest.mark.parametrize(
    ("old", "new", "line", "column", "message"),
    [
        ("tempo: 90", "tempo: fast", 1, 8, "found 'fast', allowed is a number"),
        ("tempo: 90", "tempo: 9000", 1, 8, "from 10 to 600"),
        ("tempo: 90", "tempo: 90\ntempo: 80", 2, 1, "written twice"),
        ("tempo: 90", "temp: 90", 1, 1, "unknown key 'temp'"),
        ("tempo: 90", "tempo: 90\nmeter: 4/5", 2, 8, "a time signature"),
        ("tempo: 90", "tempo: 90\nmeter: four", 2, 8, "a time signature"),
        ("tempo: 90", "tempo: 90\ncapo: yes", 2, 7, "a fret from 0"),
        ("tempo: 90", "tempo: 90\ntuning: E A D", 2, 9, "'D' is no note name"),
        ("tempo: 90", "tempo: 90\ntuning: E2 A2 D3", 2, 9, "4 to 9 strings"),
        ("tempo: 90", "tempo: 90\nfeel: swing", 2, 7, "such as `swing 2:1`"),
        ("tempo: 90", "tempo: 90\nfeel: swing 1:0", 2, 7, "such as `swing 2:1`"),
        ("tempo: 90", "tempo: 90\npickup: 1/0", 2, 9, "a length in quarter notes"),
        ("tempo: 90", "tempo: 90\npickup: 4", 2, 1, "fills a bar of 4/4"),
        ("   q   q\n", "", 4, 1, "found 0 rows over the tab"),
        ("   q   q", "   q   z", 4, 8, "found 'z'; allowed in a rhythm row"),
        ("   q   q", "   q  q", 4, 7, "fret 7 is in column 8"),
        ("   q   q", "   q", 6, 8, "fret 7 has no note value over it"),
        ("   q   q", "   q   q   q", 4, 12, "stands after the last bar line"),
        ("   q   q", "q  q   q", 4, 1, "stands before the first bar line"),
        ("   q   q", "   rq  q", 4, 4, "is a rest, but fret 5"),
        ("   q   q", "   q_  q", 6, 8, "fret 7 is struck, but the value before"),
        ("   q   q", "   q   q_", 4, 8, "leads to no value"),
        ("   q   q", "   q_rq q", 4, 6, "is a rest, but the value before is tied"),
        ("   q   q", "   q rq_ q", 4, 6, "a rest has no tie"),
        ("   q   q", "   w   q", 4, 4, "bar 1 lasts 5 quarter notes"),
        ("   q   q", "   q4  q", 4, 4, "a tuplet of 4 needs its ratio"),
        ("   q   q", "   q   q0", 4, 8, "a tuplet of nothing"),
        ("   q   q", "@70q   q", 4, 1, "write its tempo as `tempo:`"),
        ("   q   q", "   q@9q", 4, 5, "allowed is 10 to 600"),
        ("   q   q", "   q|: q", 4, 5, "is over no bar line"),
        ("   q   q", "  |q   q", 4, 3, "allowed in a rhythm row"),
        ("   q   q", " |:q   q", 4, 4, "the repeat that starts here has no end"),
        ("   q   q", "   q   q :|x1", 4, 10, "a repeat count of 1"),
        ("   q   q", "   q   q :|", 4, 4, "no whole number of bars of 4/4"),
        ("   q   q", "   q   q\n\tx", 5, 1, "a tab character"),
        ("   q   q", "   q   q\n   d   k", 5, 8, "found 'k'; allowed here are d u"),
        ("   q   q", "   q   q\n    d", 5, 5, "is in the column of no fret"),
        ("   q   q", "   q   q\n   d\n   u", 4, 1, "found 3 rows over the tab"),
        ("5-h-7", "5-h-5", 6, 6, "fret 5 is followed by fret 5"),
        ("5-h-7", "9-h-7", 6, 6, "leads up the string"),
        ("5-h-7", "5-p-7", 6, 6, "leads down the string"),
        ("5-h-7", "5-\\-7", 6, 6, "leads down the string"),
        ("5-h-7", "5hp-7", 6, 6, "follows `h` with no fret between"),
        ("5-h-7", "5//h7", 6, 7, "or out of a slide to nowhere"),
        ("5-h-7", "5-h-x", 6, 6, "leads into a dead note"),
        ("5-h-7--", "5---7-h", 6, 10, "leads to no fret"),
        ("5-h-7", "5--~7", 6, 7, "touches no fret"),
        ("5-h-7", "~---7", 6, 4, "belongs after a fret"),
        ("5-h-7--", "5---(7)", 6, 8, "holds the fret before it, which is 5"),
        ("5-h-7--", "5---(5)", 6, 8, "tie the value before it"),
        ("5-h-7", "5~~~7", 6, 8, "touches the fret before it; put a dash"),
        ("5-h-7", "5~//7", 6, 6, "put a dash on one side of it"),
        ("5-h-7", "5-z-7", 6, 6, "found 'z'; allowed in a tab line"),
        ("5-h-7-", "5---57", 6, 8, "beyond fret 30"),
        ("5-h-7", "5b4-7", 6, 5, "by -100 cents"),
        ("5-h-7--", "5b11-7-", 6, 5, "by 600 cents"),
        ("5-h-7", "xb7-7", 6, 5, "dead or bent already"),
        ("5-h-7", "x~--7", 6, 5, "which has no pitch"),
        ("5-h-7", "5r--7", 6, 5, "releases no bend"),
        ("5-h-7--", "5b7r6-7", 6, 7, "write r5"),
        ("5-h-7-", "5-//-7", 6, 6, "touches no fret"),
        ("e|--------|", "e|---------|", 5, 11, "found one in column 12, where the"),
        ("e|", "d|", 5, 1, "string 1 of the tuning E2 A2 D3 G3 B3 E4 is E4"),
        ("e|", "e3|", 5, 1, "found the string name e3"),
        ("e|", " e|", 5, 3, "write them under each other"),
        (
            "G|--------|",
            "G|-----|--|",
            7,
            8,
            "found one in column 8, where the other lines have one in column 11",
        ),
        ("G|--------|\n", "", 5, 1, "found 5 tab lines, allowed are the 6"),
        ("G|--------|", "--------", 7, 1, "a tab line starts with the name"),
        ("D|", "1 2\nD|", 5, 1, "found 6 tab lines"),
    ],
)
def test_errors_say_where_and_what(
    old: str, new: str, line: int, column: int, message: str
) -> None:
    """Each slip of the finger is found at its place."""
    assert old in SHEET
    text = SHEET.replace(old, new, 1)
    with pytest.raises(LickError) as caught:
        read(text, "t.lick")
    assert message in str(caught.value)
    assert (caught.value.line, caught.value.column) == (line, column)
    assert caught.value.excerpt == text.split("\n")[line - 1].replace("\t", " ")
    assert caught.value.path == "t.lick"


@pytest.mark.parametrize(
    ("rhythm", "tab", "message"),
    [
        ("    q |: q q q q :|", "----5-|--5-5-5-5--|", "bar 1 lasts 1 quarter notes"),
        (" h h_ |: w :|", "-5-5--|-----|", "a tie leads over the start"),
        (" w |: w |: w :|", "-5-|--5-|--5--|", "starts here inside another"),
        (" h h_ :| w", "-5-5---|--|", "a tie leads out of the repeat"),
        (" w", "------5|", "has no fret under it; write the fret, a rest (rw)"),
        (" w |", "-5-|", "allowed in a rhythm row"),
    ],
)
def test_repeats_and_ties_that_cannot_be(rhythm: str, tab: str, message: str) -> None:
    """Ties stay inside a repeat, and a repeat inside its bars."""
    with pytest.raises(LickError) as caught:
        read_typed(rhythm, tab)
    assert message in str(caught.value)


def test_two_notes_at_once_are_no_single_line() -> None:
    """A chord is well formed, but not for this program."""
    text = typed(" q", "-5|").replace("G|--|", "G|-5|")
    with pytest.raises(UnsupportedNotation, match="two frets in one column") as caught:
        read(text, "t.lick")
    assert (caught.value.line, caught.value.column) == (7, 4)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "no tempo"),
        ("title: nothing", "no tempo"),
        ("tempo: 90", "no tab"),
        (typed(" rw", "---|"), "rests only"),
        ("tempo: 90\n\nsome words", "no part of a system"),
        (typed(" w", "-5|") + "\n\ncapo: 2", "stand before the first"),
    ],
)
def test_sheets_without_a_lick(text: str, message: str) -> None:
    """What is missing is said."""
    with pytest.raises(LickError, match=message):
        read(text, "t.lick")


def test_an_error_shows_the_line_with_a_caret() -> None:
    """As the user sees it."""
    with pytest.raises(LickError) as caught:
        read_typed(" q  q", "-5-7|")
    assert str(caught.value) == (
        "typed.lick, line 4, column 7: `q` has no fret under it; "
        "fret 7 is in column 6: write both in one column\n"
        "       q  q\n"
        "          ^"
    )


@pytest.mark.parametrize("text", SHEETS)
def test_the_sheets_to_damage_are_whole(text: str) -> None:
    """Else the next test would damage nothing."""
    assert len(read(text, "t.lick")) >= 2


@settings(deadline=None)
@given(st.data())
def test_a_damaged_sheet_is_read_or_refused(data: st.DataObject) -> None:
    """Whatever is typed, nothing but a lick or a `LickError` comes out."""
    text = data.draw(st.sampled_from(SHEETS))
    signs = st.sampled_from("-|hp/\\br~=x()0123456789wqest._:@# \n\tadG½")
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(text)))
        gone = data.draw(st.integers(0, 3))
        text = text[:at] + data.draw(st.text(signs, max_size=3)) + text[at + gone :]
    try:
        lick = read(text, "t.lick")
    except LickError:
        return
    assert read(write(lick), "t.lick") == lick


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("tempo: 90", "tempo: " + "9" * 5000),
        ("tempo: 90", "tempo: 90\nfeel: swing " + "9" * 5000 + ":1"),
        ("tempo: 90", "tempo: 90\npickup: " + "9" * 5000),
        ("   q   q", "   q   q" + "9" * 5000),
        ("   q   q", "@" + "9" * 5000 + " q   q"),
        ("   q   q", "   q   q  :|x" + "9" * 5000),
        ("5-h-7", "9" * 5000),
        ("5-h-7", "5b" + "9" * 5000),
        ("5-h-7", "5-h-7r" + "9" * 5000),
    ],
)
def test_endless_numbers_are_refused(old: str, new: str) -> None:
    """A number no music has is an error like any other."""
    with pytest.raises(LickError):
        read(SHEET.replace(old, new, 1), "t.lick")
