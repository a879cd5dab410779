"""Reading a lick sheet: what is typed is what is read, and errors say where."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest
from typed_sheets import read_typed, typed

from assessor.errors import LickError
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


def test_a_single_stroke_that_touches_no_fret_is_an_error_over_a_rest() -> None:
    """It might lead out of the one or into the other."""
    with pytest.raises(LickError, match="`/` joins fret 9 to no note"):
        read_typed(" e re e", "-7--/-9|")


def test_a_tied_fret_in_brackets_is_on_its_own_string() -> None:
    """`(7)` on another string than the tied note is a slip."""
    text = typed(" q  q_ q", "-5-----(5)|").replace("G|----------|", "G|----7-----|")
    with pytest.raises(LickError, match="another string than the tied note"):
        read(text, "t.lick")


def test_ringing_may_lead_up_to_the_next_fret() -> None:
    """`=` parts two frets as a dash does."""
    lick = read_typed(" e e e", "-7=9=/11|")
    assert techniques(lick) == [PICK, PICK, SLIDE]
    assert [note.let_ring for note in lick.notes] == [True, True, False]


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


# --- the grammar page -----------------------------------------------------------------


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
