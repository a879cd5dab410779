"""Reading a lick sheet: what is typed is what is read, and errors say where."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from assessor.errors import LickError, UnsupportedNotation
from assessor.lick.notation import (
    Articulation,
    Bend,
    BendKind,
    Lick,
    SlideEdge,
    Stroke,
    TempoChange,
)
from assessor.lick.sheet import read, write

PICK, DEAD, SLIDE = Articulation.PICK, Articulation.DEAD, Articulation.SLIDE
HAMMER_ON, PULL_OFF = Articulation.HAMMER_ON, Articulation.PULL_OFF


def typed(
    rhythm: str, tab: str, *, header: str = "", over: str = "", under: str = ""
) -> str:
    """One system with `tab` on the B string and nothing on the others."""
    empty = "".join("|" if sign == "|" else "-" for sign in tab)
    names = [f"e|{empty}", f"B|{tab}", *(f"{name}|{empty}" for name in "GDAE")]
    rows = [f"  {rhythm}", f"  {over}", *names, f"  {under}"]
    return f"tempo: 90\n{header}\n\n" + "\n".join(row for row in rows if row.strip())


def read_typed(rhythm: str, tab: str, **rows: str) -> Lick:
    """Lick of one system on the B string."""
    return read(typed(rhythm, tab, **rows), "typed.lick")


# --- rhythm ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "beats"),
    [
        ("w", "4"),
        ("h", "2"),
        ("q", "1"),
        ("e", "1/2"),
        ("s", "1/4"),
        ("t", "1/8"),
        ("x", "1/16"),
        ("h.", "3"),
        ("q..", "7/4"),
        ("e3", "1/3"),  # three in the time of two
        ("s5", "1/5"),  # five in the time of four
        ("s6", "1/6"),
        ("s7", "1/7"),
        ("t9", "1/9"),  # nine in the time of eight
        ("e2:3", "3/4"),  # a duplet in 6/8
        ("q.3", "1"),
        ("Q", "1"),
        ("q_e", "3/2"),
        ("q_e_s", "7/4"),
    ],
)
def test_a_value_lasts_as_notation_says(value: str, beats: str) -> None:
    """Note values, dots, tuplets and ties have their usual lengths."""
    lick = read_typed(f" {value}", "-5-------|")
    assert lick.notes[0].duration_beats == Fraction(beats)


@pytest.mark.parametrize(
    ("value", "beats"), [("rq", "1"), ("re", "1/2"), ("re3", "1/3"), ("rh.", "3")]
)
def test_a_rest_moves_the_next_note(value: str, beats: str) -> None:
    """A rest is a value with an r before it."""
    lick = read_typed(f" {value}  e", "-" * (len(value) + 3) + "7--|")
    assert [note.onset_beats for note in lick.notes] == [Fraction(beats)]


def test_a_tie_leads_over_a_bar_line_and_a_system() -> None:
    """Tied values are one note, wherever they stand."""
    first = typed(" h. q_   h_", "-5--7--|-----", header="meter: 4/4")
    second = "\n".join(
        ["   h   w", *(f"{name}|---|---|" for name in "e"), "B|---|-8-|"]
        + [f"{name}|---|---|" for name in "GDAE"]
    )
    lick = read(f"{first}\n\n{second}", "typed.lick")
    assert [(n.onset_beats, n.duration_beats, n.fret) for n in lick.notes] == [
        (0, 3, 5),
        (3, 5, 7),
        (8, 4, 8),
    ]


def test_a_tied_fret_may_be_repeated_in_brackets() -> None:
    """`(7)` under a tied value is the same note."""
    lick = read_typed(" h  h_   w", "-5--7--|-(7)|")
    assert [note.duration_beats for note in lick.notes] == [2, 6]


def test_a_repeat_is_written_out() -> None:
    """What stands between the repeat signs is played so many times."""
    lick = read_typed(" w |: h h :|x3 w", "-3-|--5-7--|---8-|")
    assert [note.fret for note in lick.notes] == [3, 5, 7, 5, 7, 5, 7, 8]
    assert [note.onset_beats for note in lick.notes] == [0, 4, 6, 8, 10, 12, 14, 16]


def test_a_repeat_without_a_start_goes_back_to_the_beginning() -> None:
    """`:|` alone repeats from the start, twice in all (common practice)."""
    lick = read_typed(" h h :|", "-5-7--|")
    assert [note.fret for note in lick.notes] == [5, 7, 5, 7]


# --- what is written on a fret ----------------------------------------------------


def techniques(lick: Lick) -> list[Articulation]:
    """Articulation of each note."""
    return [note.articulation for note in lick.notes]


@pytest.mark.parametrize(
    "tab", ["-5h7p5/9\\7|", "-5-h7-p5-/9-\\7|", "-5--h--7--p--5--/--9--\\--7|"]
)
def test_slurs_and_slides_join_notes_however_far_apart(tab: str) -> None:
    """h, p and slides lead into the next fret on the string, dashes or not."""
    rhythm = "".join("e" if sign.isdigit() else " " for sign in tab)
    lick = read_typed(rhythm, tab)
    assert [note.fret for note in lick.notes] == [5, 7, 5, 9, 7]
    assert techniques(lick) == [PICK, HAMMER_ON, PULL_OFF, SLIDE, SLIDE]


def test_a_value_may_stand_over_the_sign_that_leads_in() -> None:
    """Over the h or over the number it leads to, but not over the dash before."""
    assert techniques(read_typed(" e e e ", "-5-h7p5|")) == [PICK, HAMMER_ON, PULL_OFF]
    with pytest.raises(LickError, match="no fret under it"):
        read_typed(" ee e ", "-5-h7p5|")


def test_a_slur_leads_over_a_bar_line() -> None:
    """A hammer-on may stand on either side of the bar line."""
    lick = read_typed(" w    w  w", "-5-h|-7|p5-|")
    assert techniques(lick) == [PICK, HAMMER_ON, PULL_OFF]


def test_a_hammer_on_from_nowhere() -> None:
    """A hammer-on needs no note before it on its string; a pull-off does."""
    lick = read_typed("  q", "-h7--|")
    assert techniques(lick) == [HAMMER_ON]


@pytest.mark.parametrize(
    ("typed_bend", "kind", "cents"),
    [
        ("7b7.5", BendKind.BEND, 50.0),  # quarter
        ("7b8", BendKind.BEND, 100.0),  # half
        ("7b9", BendKind.BEND, 200.0),  # whole, also called full
        ("7b", BendKind.BEND, 200.0),
        ("7b10", BendKind.BEND, 300.0),  # one and a half
        ("7b11", BendKind.BEND, 400.0),  # two
        ("7b8.37", BendKind.BEND, 137.0),
        ("7b9r7", BendKind.BEND_RELEASE, 200.0),
        ("7b8r", BendKind.BEND_RELEASE, 100.0),
        ("7b9---r7", BendKind.BEND_RELEASE, 200.0),
        ("7pb9", BendKind.PREBEND, 200.0),
        ("7pb", BendKind.PREBEND, 200.0),
        ("7pb8r7", BendKind.PREBEND_RELEASE, 100.0),
        ("12b14", BendKind.BEND, 200.0),
    ],
)
def test_a_bend_is_typed_by_the_fret_it_sounds_like(
    typed_bend: str, kind: BendKind, cents: float
) -> None:
    """The number after b is the fret whose pitch the bend reaches."""
    lick = read_typed(" q", f"-{typed_bend}--|")
    assert lick.notes[0].bend == Bend(kind, cents)


def test_a_release_may_come_with_a_tied_value() -> None:
    """A bend held for a beat and let down on the next is one tied note."""
    lick = read_typed(" q_  q  q", "-7b9-r7-5|")
    assert lick.notes[0].bend == Bend(BendKind.BEND_RELEASE, 200.0)
    assert [note.duration_beats for note in lick.notes] == [2, 1]


@pytest.mark.parametrize(
    ("typed_slide", "slide_in", "slide_out"),
    [
        ("//7", SlideEdge.FROM_BELOW, None),
        ("\\\\7", SlideEdge.FROM_ABOVE, None),
        ("7//", None, SlideEdge.UP),
        ("7\\\\", None, SlideEdge.DOWN),
        ("/7", SlideEdge.FROM_BELOW, None),
        ("7\\", None, SlideEdge.DOWN),
        ("//7\\\\", SlideEdge.FROM_BELOW, SlideEdge.DOWN),
    ],
)
def test_slides_from_and_to_nowhere(
    typed_slide: str, slide_in: SlideEdge | None, slide_out: SlideEdge | None
) -> None:
    """Two strokes are always a slide with one end, one stroke where it joins none."""
    rhythm = typed_slide.replace("7", "q").replace("/", " ").replace("\\", " ")
    (note,) = read_typed(f" {rhythm}", f"-{typed_slide}-|").notes
    assert (note.slide_in, note.slide_out) == (slide_in, slide_out)
    assert note.articulation is PICK


def test_a_slide_to_nowhere_before_a_note_on_its_string() -> None:
    """Two strokes keep a slide away from the note that follows."""
    lick = read_typed(" e   e", "-7//-9|")
    assert techniques(lick) == [PICK, PICK]
    assert lick.notes[0].slide_out is SlideEdge.UP


def test_a_single_stroke_before_a_rest_leads_nowhere() -> None:
    """What a rest parts, no slide joins."""
    lick = read_typed(" e re e", "-7/---9|")
    assert lick.notes[0].slide_out is SlideEdge.UP
    assert lick.notes[1].articulation is PICK


def test_dead_notes_vibrato_and_ringing() -> None:
    """`x`, `~` and `=` stand on the fret they belong to."""
    lick = read_typed(" e e  e   e    e", "-x-x5-7~~-8===-10~=|")
    assert techniques(lick) == [DEAD, DEAD, PICK, PICK, PICK]
    assert [note.fret for note in lick.notes] == [0, 5, 7, 8, 10]
    assert [note.vibrato for note in lick.notes] == [False, False, True, False, True]
    assert [n.let_ring for n in lick.notes] == [False, False, False, True, True]


def test_strokes_over_and_fingers_under_the_tab() -> None:
    """Letters over and digits under the tab belong to the fret in their column."""
    lick = read_typed(
        " e e e  e e e", "-5-7-12-5-7-0|", over=" d u p  i m a", under=" 1 2 4  T"
    )
    assert [note.stroke for note in lick.notes] == [
        Stroke.DOWN,
        Stroke.UP,
        Stroke.THUMB,
        Stroke.INDEX,
        Stroke.MIDDLE,
        Stroke.RING,
    ]
    assert [note.finger for note in lick.notes] == [1, 2, 4, 0, None, None]


# --- the header -------------------------------------------------------------------


def test_the_header_says_everything_about_the_lick() -> None:
    """Each key ends up in its field; remarks and empty lines are passed over."""
    lick = read_typed(
        " e   e3 e3 e3 @100 q q  q",
        "-3-|-5--7--8-------7-5--7|",
        header="""
# a remark
title: Two: a colon
meter: 4/4
tuning: E2 A2 D3 G3 B3 E4
capo: 2
feel: swing 3:2
trains: nothing much
pickup: 1/2""",
    )
    assert lick.title == "Two: a colon"
    assert lick.tempo_bpm == 90
    assert str(lick.tuning) == "E2 A2 D3 G3 B3 E4"
    assert lick.capo == 2
    assert lick.swing == 1.5
    assert lick.trains == "nothing much"
    assert lick.pickup_beats == Fraction(1, 2)
    assert lick.tempo_changes == (TempoChange(Fraction(3, 2), 100.0),)
    assert lick.notes[0].midi_number == 59 + 2 + 3  # open B, capo, fret


def test_a_sheet_without_a_title_is_called_after_its_file() -> None:
    """The file name without folder and ending."""
    assert read(typed(" q", "-5|"), "some/where/two-five.lick").title == "two-five"


@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
def test_any_line_ending_and_a_byte_order_mark(ending: str) -> None:
    """Sheets from any editor read the same."""
    text = "\ufeff" + typed(" q", "-5|").replace("\n", ending)
    assert read(text, "t.lick") == read(typed(" q", "-5|"), "t.lick")


def test_string_names_with_octaves_and_flats() -> None:
    """Names may be written either way, and with their octave."""
    names = ["Eb4", "bb3", "F#3", "c#3", "Ab2", "D#2"]
    lines = [f"{name:3}|{'-5-' if k == 1 else '---'}|" for k, name in enumerate(names)]
    text = "tempo: 90\ntuning: Eb2 Ab2 Db3 Gb3 Bb3 Eb4\n\n     q\n" + "\n".join(lines)
    assert read(text, "t.lick").notes[0].midi_number == 58 + 5
    assert "A#|-5-----|" in write(read(text, "t.lick"))


# --- errors -----------------------------------------------------------------------

SHEET = typed(" q   q", "-5-h-7--|")


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
        ("5-h-7", "5-//7", 6, 6, None),
        ("5-h-7--", "5---7-h", 6, 10, "leads to no fret"),
        ("5-h-7", "5--~7", 6, 7, "touches no fret"),
        ("5-h-7", "~---7", 6, 4, "belongs after a fret"),
        ("5-h-7--", "5---(7)", 6, 8, "holds the fret before it, which is 5"),
        ("5-h-7--", "5---(5)", 6, 8, "tie the value before it"),
        ("5-h-7", "5-z-7", 6, 6, "found 'z'; allowed in a tab line"),
        ("5-h-7-", "5---57", 6, 8, "beyond fret 30"),
        ("5-h-7", "5b4-7", 6, 5, "by -100 cents"),
        ("5-h-7--", "5b11-7-", 6, 5, "by 600 cents"),
        ("5-h-7", "xb7-7", 6, 5, "dead or bent already"),
        ("5-h-7", "x~--7", 6, 5, "which has no pitch"),
        ("5-h-7", "5r--7", 6, 5, "releases no bend"),
        ("5-h-7--", "5b7r6-7", 6, 7, "write r5"),
        ("5-h-7-", "5-//-7", 6, 6, "touches no fret"),
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
    old: str, new: str, line: int, column: int, message: str | None
) -> None:
    """Each slip of the finger is found at its place."""
    assert old in SHEET
    text = SHEET.replace(old, new, 1)
    if message is None:
        read(text, "t.lick")
        return
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
        (" q q_ h", "-5-7---|", None),
    ],
)
def test_repeats_and_ties_that_cannot_be(
    rhythm: str, tab: str, message: str | None
) -> None:
    """Ties stay inside a repeat, and a repeat inside its bars."""
    if message is None:
        read_typed(rhythm, tab)
        return
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


def test_the_example_of_the_grammar_page_reads() -> None:
    """What the page shows is what the reader takes, and it says what the page says."""
    page = Path(__file__).parent.parent / "docs" / "lick-sheet.md"
    example = page.read_text(encoding="utf-8").split("```")[1]
    lick = read(example, "page.lick")
    assert lick.title == "Two ways out of a box"
    assert lick.pickup_beats == Fraction(1, 2)
    first = lick.notes[1:12]
    assert techniques(lick)[1:4] == [PICK, HAMMER_ON, PULL_OFF]
    assert first[6].bend == Bend(BendKind.BEND_RELEASE, 200.0)
    assert first[6].duration_beats == 2
    assert techniques(lick)[8:12] == [PICK, SLIDE, DEAD, PICK]
    assert lick.notes[11].vibrato
    assert [note.fret for note in lick.notes[12:]] == [note.fret for note in first]


@pytest.mark.parametrize(
    ("rhythm", "tab"),
    [
        (" E E E  E h", "-5-H7P5-X-8B10R8~//=|"),  # capitals
        (" e e e  e h", "-5-h7p5-x-8b10r8~//=||"),  # a double bar line at the end
        (" e e e  e q_q", "-5-h7p5-x-8b10r8~//=-|"),  # a tie, closely written
    ],
)
def test_other_ways_to_type_the_same(rhythm: str, tab: str) -> None:
    """Capitals, double bar lines and ties inside a bar change nothing."""
    lick = read_typed(rhythm, tab)
    plain = read_typed(" e e e  e h", "-5-h7p5-x-8b10r8~//=|")
    assert lick == plain
    assert lick.notes[4].bend == Bend(BendKind.BEND_RELEASE, 200.0)
    assert lick.notes[4].vibrato
    assert lick.notes[4].let_ring
    assert lick.notes[4].slide_out is SlideEdge.UP
