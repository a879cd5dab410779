"""String and fret sense: hand-made fingerings, common-practice facts, slips.

Facts marked *common practice* are what every guitar method says; no single source.
"""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assessor.lick.fingerboard import (
    SlipKind,
    choose_fretting,
    explain_slip,
    hand_positions,
    positions,
    shifts,
    slip_readings,
    string_skips,
)
from assessor.lick.notation import Articulation, Lick, LickNote, Meter
from assessor.tuning import STANDARD, Tuning, parse_note_name

PICK, HAMMER, PULL, SLIDE = (
    Articulation.PICK,
    Articulation.HAMMER_ON,
    Articulation.PULL_OFF,
    Articulation.SLIDE,
)
DROP_D = Tuning((64, 59, 55, 50, 45, 38))


def midi(names: str) -> list[int]:
    """MIDI numbers of note names."""
    return [parse_note_name(name) for name in names.split()]


def lick_at(
    places: list[tuple[int, int]],
    articulations: list[Articulation] | None = None,
    fingers: list[int | None] | None = None,
    capo: int = 0,
) -> Lick:
    """A lick of quarter notes at the given strings and frets."""
    articulations = articulations or [PICK] * len(places)
    fingers = fingers or [None] * len(places)
    notes = tuple(
        LickNote(
            Fraction(i),
            Fraction(1),
            STANDARD.midi_number(string, fret, capo),
            string,
            fret,
            articulation=articulation,
            finger=finger,
        )
        for i, ((string, fret), articulation, finger) in enumerate(
            zip(places, articulations, fingers, strict=True)
        )
    )
    return Lick("places", 90, Meter(), STANDARD, notes, capo=capo)


# --- the fingerboard itself, common practice -------------------------------------


def test_adjacent_strings_are_a_fourth_apart_but_one_third() -> None:
    """Common practice: fourths, and a major third between third and second string."""
    up = [
        STANDARD.midi_number(s, 0) - STANDARD.midi_number(s + 1, 0) for s in range(1, 6)
    ]
    assert up == [5, 4, 5, 5, 5]


@pytest.mark.parametrize(
    ("string", "frets_higher"), [(1, 5), (2, 4), (3, 5), (4, 5), (5, 5)]
)
def test_a_shape_one_string_set_lower_and_five_frets_higher_sounds_the_same(
    string: int, frets_higher: int
) -> None:
    """Common practice: five frets, but four where the third lies between."""
    for fret in range(13):
        places = positions(STANDARD.midi_number(string, fret), STANDARD)
        assert (string + 1, fret + frets_higher) in places


def test_three_frets_are_a_minor_third() -> None:
    """Common practice: fret by fret a semitone, three of them a minor third."""
    assert STANDARD.midi_number(4, 8) - STANDARD.midi_number(4, 5) == 3


def test_half_whole_diminished_repeats_every_three_frets() -> None:
    """Common practice: the scale moved by a minor third is the same scale."""
    scale = {0, 1, 3, 4, 6, 7, 9, 10}
    on_string = [fret for fret in range(13) if (fret % 12) in scale]
    moved = [fret + 3 for fret in on_string]
    assert {fret % 12 for fret in moved} == {fret % 12 for fret in on_string}


def test_every_place_of_the_high_open_string() -> None:
    """Common practice: tuning by ear at the 5th, 9th, 14th, 19th and 24th fret."""
    assert positions(64, STANDARD) == (
        (1, 0),
        (2, 5),
        (3, 9),
        (4, 14),
        (5, 19),
        (6, 24),
    )


def test_capo_shortens_the_neck() -> None:
    """With a capo at 3, frets count from it and the neck ends three frets earlier."""
    assert positions(67, STANDARD, capo=3) == (
        (1, 0), (2, 5), (3, 9), (4, 14), (5, 19),
    )  # fmt: skip


def test_no_place_below_the_lowest_string() -> None:
    """A pitch under the lowest open string has no place."""
    assert positions(39, STANDARD) == ()


# --- choosing a fretting ---------------------------------------------------------

BOX_AT_FIVE = "A2 C3 D3 E3 G3 A3 C4 D4 E4 G4 A4 C5"


@pytest.mark.parametrize(
    ("notes", "places"),
    [
        (  # the minor pentatonic box, common practice
            BOX_AT_FIVE,
            [
                *[(6, 5), (6, 8), (5, 5), (5, 7), (4, 5), (4, 7)],
                *[(3, 5), (3, 7), (2, 5), (2, 8), (1, 5), (1, 8)],
            ],
        ),
        (  # C major in fifth position: one finger a fret, no shift
            "C4 D4 E4 F4 G4 A4 B4 C5",
            [(3, 5), (3, 7), (2, 5), (2, 6), (2, 8), (1, 5), (1, 7), (1, 8)],
        ),
        (  # the lowest notes leave no choice
            "E2 F2 E2 G2",
            [(6, 0), (6, 1), (6, 0), (6, 3)],
        ),
        (  # no open string in the middle of a high phrase
            "C5 E4 C5 E4",
            [(1, 8), (2, 5), (1, 8), (2, 5)],
        ),
    ],
)
def test_textbook_fretting(notes: str, places: list[tuple[int, int]]) -> None:
    """The places that players and methods take."""
    assert choose_fretting(midi(notes), STANDARD) == places


def test_slurred_notes_stay_on_their_string() -> None:
    """Three notes a string when each string is picked once."""
    notes = midi("G3 A3 B3 C4 D4 E4 F#4 G4 A4")
    slurs = [PICK, HAMMER, HAMMER] * 3
    strings = [s for s, _ in choose_fretting(notes, STANDARD, articulations=slurs)]
    assert [len(set(strings[i : i + 3])) for i in (0, 3, 6)] == [1, 1, 1]


def test_pull_off_to_an_open_string_stays_on_it() -> None:
    """E4 pulled off from G4 is the open first string, not the second at fret 5."""
    places = choose_fretting(
        midi("G4 E4 G4 E4"), STANDARD, articulations=[PICK, PULL, PICK, PULL]
    )
    assert len({string for string, _ in places}) == 1


def test_known_strings_are_kept() -> None:
    """A string that is written is not up for choice, and draws its neighbours along."""
    notes = midi("C5 G4 C5")
    assert choose_fretting(notes, STANDARD) == [(1, 8), (2, 8), (1, 8)]
    places = choose_fretting(notes, STANDARD, strings=[2, None, None])
    assert places == [(2, 13), (3, 12), (2, 13)]


def test_other_tuning_and_capo() -> None:
    """Drop D reaches D2; with a capo frets count from it."""
    assert choose_fretting(midi("D2"), DROP_D) == [(6, 0)]
    assert choose_fretting(midi("G2"), STANDARD, capo=3) == [(6, 0)]


@pytest.mark.parametrize(
    ("notes", "strings", "message"),
    [
        ("A3 D2", None, "note 1: no string reaches D2"),
        ("A3 E2", [None, 5], "note 1: string 5 cannot reach E2"),
    ],
)
def test_what_cannot_be_played_is_refused(
    notes: str, strings: list[int | None] | None, message: str
) -> None:
    """The message names the note and the pitch."""
    with pytest.raises(ValueError, match=message):
        choose_fretting(midi(notes), STANDARD, strings=strings)


def test_no_notes_no_places() -> None:
    """An empty line has an empty fretting."""
    assert choose_fretting([], STANDARD) == []


@given(st.lists(st.integers(40, 84), min_size=1, max_size=12))
def test_every_choice_sounds_the_pitch(notes: list[int]) -> None:
    """Whatever is chosen, it is the pitch that was asked for."""
    places = choose_fretting(notes, STANDARD)
    assert [STANDARD.midi_number(s, f) for s, f in places] == notes


@given(
    st.lists(st.tuples(st.integers(1, 2), st.integers(5, 8)), min_size=1, max_size=8)
)
def test_moving_a_shape_moves_the_hand(places: list[tuple[int, int]]) -> None:
    """The same shape two frets up: the hand two frets up at every note."""
    here = hand_positions(lick_at(places))
    there = hand_positions(lick_at([(s, f + 2) for s, f in places]))
    assert there == tuple(h + 2 for h in here)


# --- hand positions, shifts, skips -----------------------------------------------


def test_a_box_is_one_position() -> None:
    """The pentatonic box needs no shift."""
    lick = lick_at(choose_fretting(midi(BOX_AT_FIVE), STANDARD))
    assert hand_positions(lick) == (5,) * 12
    assert shifts(lick) == ()


def test_a_cell_moved_by_three_frets_shifts_once_each() -> None:
    """A three-note cell, three times, each three frets higher."""
    cell = [(2, 5), (2, 8), (1, 5)]
    places = [(s, f + up) for up in (0, 3, 6) for s, f in cell]
    lick = lick_at(places)
    assert hand_positions(lick) == (5, 5, 5, 8, 8, 8, 11, 11, 11)
    assert shifts(lick) == (3, 6)


def test_a_slide_takes_the_hand_along() -> None:
    """Slid from 5 to 9 with one finger, then on from there."""
    lick = lick_at([(3, 5), (3, 9), (2, 9)], [PICK, SLIDE, PICK])
    assert shifts(lick) == (1,)
    assert hand_positions(lick)[1] - hand_positions(lick)[0] == 4


def test_a_written_finger_fixes_the_hand() -> None:
    """Fret 8 with the ring finger: index at 6."""
    assert hand_positions(lick_at([(1, 8)], fingers=[3])) == (6,)


@pytest.mark.parametrize(("here", "there"), [(5, 12), (12, 5)])
def test_a_shift_over_an_open_string(here: int, there: int) -> None:
    """Up or down the neck, it is found at the fretted note that it is made for."""
    lick = lick_at([(4, here), (4, here + 2), (4, 0), (4, there), (4, there + 2)])
    assert shifts(lick) == (3,)


def test_open_strings_leave_the_hand_where_it_is() -> None:
    """However many of them are played high up the neck."""
    assert shifts(lick_at([(4, 9), *[(4, 0)] * 6, (4, 9)])) == ()


def test_string_skips() -> None:
    """A jump over one or more strings, not to the next one."""
    assert string_skips(lick_at([(3, 5), (2, 5), (4, 5), (4, 7), (1, 5)])) == (2, 4)
    assert string_skips(lick_at([(3, 5)])) == ()


# --- slips -----------------------------------------------------------------------

MOVED_CELL = [(2, 5), (2, 8), (1, 5), (2, 9), (2, 12), (1, 9)]


@pytest.mark.parametrize(
    ("places", "articulations", "index", "semitones", "kind", "sentence"),
    [
        ([(2, 8)], None, 0, -1, "fret_low", "one fret low: 7 instead of 8 on string 2"),
        ([(2, 8)], None, 0, 1, "fret_high", "one fret high: 9 instead of 8 on string"),
        ([(2, 8)], None, 0, -2, "fret_low", "two frets low: 6 instead of 8"),
        ([(2, 8)], None, 0, 3, "fret_high", "three frets high: 11 instead of 8"),
        ([(2, 8)], None, 0, 5, "neighbour_string", "right fret, wrong string: 8"),
        ([(2, 8)], None, 0, -4, "neighbour_string", "8 on string 3 instead of string"),
        ([(4, 9), (2, 8)], None, 1, -4, "skipped_string", "string 3 was hit, at fret"),
        ([(4, 9), (2, 8)], None, 1, -12, "skipped_string", "string 3 was hit, at the"),
        ([(2, 8)], None, 0, 12, "octave", "an octave too high: G5 instead of G4"),
        ([(5, 7)], None, 0, 24, "octave", "2 octaves too high"),
        ([(2, 8)], None, 0, -8, "open_string", "string 2 open instead of fret 8"),
        ([(6, 1)], None, 0, 23, "open_string", "string 1 open instead of fret 1 on"),
        ([(2, 5), (2, 8)], [PICK, HAMMER], 1, -3, "not_slurred", "the hammer-on to 8"),
        ([(2, 8), (2, 5)], [PICK, PULL], 1, 3, "not_slurred", "fret 8 of string 2"),
        ([(2, 5), (2, 8)], None, 1, -3, "finger_late", "fret 5 of string 2 sounded ag"),
        (MOVED_CELL, None, 5, -4, "old_position", "hand still at fret 5 instead of 9"),
        ([(2, 8)], None, 0, 0.4, "bent_sharp", "bent sharp: 40 cents above fret 8"),
        ([(2, 8)], None, 0, 1.4, "bent_sharp", "bent sharp: 140 cents above fret 8"),
        ([(2, 8)], None, 0, 10, "elsewhere", "F5 instead of G4: as on string 1, fret"),
        ([(2, 8)], None, 0, -40, "elsewhere", "which no string reaches"),
    ],
)  # fmt: skip
def test_slip(
    places: list[tuple[int, int]],
    articulations: list[Articulation] | None,
    index: int,
    semitones: float,
    kind: str,
    sentence: str,
) -> None:
    """The first reading of a wrong note, and what the player is told."""
    lick = lick_at(places, articulations)
    slip = explain_slip(lick, index, lick.notes[index].midi_number + semitones)
    assert slip.kind == kind
    assert sentence in slip.sentence


def test_the_old_position_outranks_the_neighbouring_string() -> None:
    """Four frets low right after a shift of four frets is first of all that shift."""
    lick = lick_at(MOVED_CELL)
    kinds = [s.kind for s in slip_readings(lick, 4, lick.notes[4].midi_number - 4)]
    assert kinds[:2] == [SlipKind.OLD_POSITION, SlipKind.NEIGHBOUR_STRING]


def test_slips_count_frets_from_the_capo() -> None:
    """With a capo at 2 the open string sounds two semitones higher."""
    lick = lick_at([(2, 5)], capo=2)
    slip = explain_slip(lick, 0, STANDARD.open_midi[1] + 2)
    assert (slip.kind, slip.string, slip.fret) == (SlipKind.OPEN_STRING, 2, 0)


@pytest.mark.parametrize("played", [67, 66.8, 67.2])
def test_a_right_note_has_no_slip(played: float) -> None:
    """Asking about a right note is a wrong call."""
    with pytest.raises(ValueError, match="is right"):
        explain_slip(lick_at([(2, 8)]), 0, played)


@given(
    places=st.lists(
        st.tuples(st.integers(1, 6), st.integers(0, 15)), min_size=1, max_size=5
    ),
    semitones=st.integers(-60, 60).filter(bool),
)
def test_every_wrong_pitch_has_a_reading_that_sounds_it(
    places: list[tuple[int, int]], semitones: int
) -> None:
    """Each reading but the last resort names a place with the pitch that sounded."""
    lick = lick_at(places)
    index = len(places) - 1
    played = lick.notes[index].midi_number + semitones
    for slip in slip_readings(lick, index, played):
        if "no string reaches" not in slip.sentence:
            assert STANDARD.midi_number(slip.string, slip.fret) == played
