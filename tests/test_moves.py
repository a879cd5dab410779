"""Licks moved on the neck: pitches, places, fingers, and what no hand can play.

Facts marked *common practice* are what every guitar method says; no single source.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise, product
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from assessor import lick as licks
from assessor.cli import main
from assessor.lick import sheet
from assessor.lick.fingerboard import shifts
from assessor.lick.fingers import same_shape, with_fingers
from assessor.lick.fretting import (
    CROSSING_COST,
    SHIFT_COST,
    SHIFT_COST_PER_FRET,
    distance_mm,
    positions,
    solve,
)
from assessor.lick.moves import (
    Neck,
    Unplayable,
    along,
    by_frets,
    by_semitones,
    chain,
    key_semitones,
    period_beats,
    refretted,
)
from assessor.lick.notation import (
    Articulation,
    Bend,
    BendKind,
    Lick,
    LickNote,
    Meter,
    Parent,
    TempoChange,
)
from assessor.lick.playability import Obstacle, complaints
from assessor.lick.scales import parse_scale
from assessor.tuning import STANDARD, Tuning

PICK, HAMMER, PULL, SLIDE, DEAD = (
    Articulation.PICK,
    Articulation.HAMMER_ON,
    Articulation.PULL_OFF,
    Articulation.SLIDE,
    Articulation.DEAD,
)
REFERENCES = Path(__file__).parents[1] / "references"
FILES = sorted(REFERENCES.glob("*.lick"))
CELL = [(3, 4), (2, 3), (1, 4), (2, 6)]
FRET_MM = 0.005  # what the source rounds to


def at(
    places: list[tuple[int, int]],
    how: list[Articulation] | None = None,
    *,
    fingers: list[int | None] | None = None,
    tuning: Tuning = STANDARD,
    beats: Fraction = Fraction(1, 4),
) -> Lick:
    """A lick at these strings and frets."""
    how = how or [PICK] * len(places)
    fingers = fingers or [None] * len(places)
    notes = tuple(
        LickNote(
            k * beats,
            beats,
            tuning.midi_number(string, fret),
            string,
            fret,
            articulation=articulation,
            finger=finger,
        )
        for k, ((string, fret), articulation, finger) in enumerate(
            zip(places, how, fingers, strict=True)
        )
    )
    return Lick("places", 90.0, Meter(), tuning, notes)


def places_of(lick: Lick) -> list[tuple[int, int]]:
    """Strings and frets."""
    return [(note.string, note.fret) for note in lick.notes]


def fingers_of(lick: Lick) -> list[int | None]:
    """Fretting fingers."""
    return [note.finger for note in lick.notes]


def pitches_of(lick: Lick) -> list[int]:
    """MIDI numbers."""
    return [note.midi_number for note in lick.notes]


# ----------------------------------------------------------------- the cost


@pytest.mark.parametrize(
    ("fret", "from_nut_mm"),
    [(1, 36.37), (2, 70.70), (5, 162.55), (7, 215.51), (12, 324.00), (24, 486.00)],
)
def test_fret_distances(fret: int, from_nut_mm: float) -> None:
    """Distance from the nut with L = 648 mm: L (1 - 2^(-n/12)), equal temperament.

    Measured here from the first fret, for an open string has no finger on it.
    """
    assert distance_mm(1, fret) == pytest.approx(from_nut_mm - 36.37, abs=2 * FRET_MM)


def test_a_capo_makes_frets_narrower() -> None:
    """Behind a capo at 5, frets 1 and 5 lie where 6 and 10 did."""
    assert distance_mm(1, 5, capo=5) == pytest.approx(distance_mm(6, 10))


def test_the_cheapest_way_is_found() -> None:
    """Of all ways through four notes, tried one by one, with the documented costs.

    Picked notes on neighbouring strings below the ninth fret cost shifts and crossings,
    and what each place costs by itself, which a note alone shows.
    """
    midi_numbers = [60, 62, 64, 65]
    places = [
        [p for p in positions(m, STANDARD) if 0 < p[1] <= 9] for m in midi_numbers
    ]
    found = solve(places, [PICK] * 4)

    def alone(place: tuple[int, int], hand: int) -> float:
        fret = place[1]
        reach = fret - hand
        stretch = 0.8 if reach in (-1, 4) else 0.0
        return 0.05 * abs(fret - 5) + 0.01 * abs(reach) + stretch

    def hands(fret: int) -> range:
        return range(max(1, fret - 4), fret + 2)

    def cost(way: tuple[tuple[int, int], ...], at_hand: tuple[int, ...]) -> float:
        total = sum(alone(p, h) for p, h in zip(way, at_hand, strict=True))
        for (one, h), (two, g) in pairwise(zip(way, at_hand, strict=True)):
            crossed = abs(two[0] - one[0])
            total += CROSSING_COST * crossed + 0.2 * max(crossed - 1, 0)
            total += (SHIFT_COST if g != h else 0) + SHIFT_COST_PER_FRET * abs(g - h)
        return total

    least = min(
        cost(way, at_hand)
        for way in product(*places)
        for at_hand in product(*(hands(fret) for _, fret in way))
    )
    assert found.cost == pytest.approx(least)
    assert cost(found.places, found.hands) == pytest.approx(least)


def test_a_stretched_finger_is_no_shift() -> None:
    """The shipped lick shifts where each cell starts, as it says, and nowhere else.

    Its fingers 2 1 3 4 on frets 4 3 4 6 lie in one position with the third stretched.
    """
    shipped = licks.read(REFERENCES / "diminished-cell-by-minor-thirds.lick")
    assert shifts(shipped) == (4, 8, 12, 20, 24, 28)


# -------------------------------------------------------------- hand-made moves


@pytest.mark.parametrize(
    ("strings", "octaves", "places"),
    [
        # one set lower is five frets higher, four over the third (common practice)
        ((2, 3, 4), 0, [(4, 9), (3, 7), (2, 9), (3, 10)]),
        # an octave down lies two sets lower and two frets higher, three over the third
        ((4, 5, 6), -1, [(6, 7), (5, 5), (4, 6), (5, 8)]),
        (None, 0, CELL),
        (None, 1, [(3, 16), (2, 15), (1, 16), (2, 18)]),
        # no nearer place keeps the pattern
        ((4, 5, 6), 0, [(6, 19), (5, 17), (4, 18), (5, 20)]),
    ],
)
def test_a_cell_on_other_strings(
    strings: tuple[int, ...] | None, octaves: int, places: list[tuple[int, int]]
) -> None:
    """The change of strings stays, the frets follow the tuning."""
    moved = refretted(at(CELL), by_semitones(12 * octaves), Neck(strings))
    assert places_of(moved) == places
    assert pitches_of(moved) == [m + 12 * octaves for m in pitches_of(at(CELL))]


def test_the_third_is_that_of_the_tuning() -> None:
    """All fourths: the same shape on every set of strings, five frets apart."""
    fourths = Tuning((65, 60, 55, 50, 45, 40))
    moved = refretted(at(CELL, tuning=fourths), by_semitones(0), Neck((2, 3, 4)))
    assert places_of(moved) == [(s + 1, f + 5) for s, f in CELL]


def test_a_few_frets_stay_on_their_strings() -> None:
    """The pentatonic box three frets up is the box at the eighth fret."""
    box = [(6, 5), (6, 8), (5, 5), (5, 7), (4, 5), (4, 7), (3, 5), (3, 7)]
    moved = refretted(at(box), by_semitones(3))
    assert places_of(moved) == [(s, f + 3) for s, f in box]


def test_slurred_notes_stay_on_one_string() -> None:
    """Even where a note by itself would lie nearer on another."""
    group = at([(3, 2), (3, 4), (3, 2)], [PICK, HAMMER, PULL])
    moved = refretted(group, by_semitones(10))
    assert len({note.string for note in moved.notes}) == 1


def test_a_slur_is_fretted_within_reach() -> None:
    """F4 to Bb4 hammered on: frets 6 to 11 of string 2, not 1 to 6 of string 1.

    115 mm against 153: L (2^(-6/12) - 2^(-11/12)) with L = 648.
    """
    low = at([(1, 3), (1, 8)], [PICK, HAMMER])
    moved = refretted(low, by_semitones(-2))
    assert places_of(moved) == [(2, 6), (2, 11)]


def test_a_bent_note_is_fretted() -> None:
    """Never on the open string, though that is nearest: E4 on string 2 or lower."""
    bent = replace(at([(2, 3)]).notes[0], bend=Bend(BendKind.BEND, 200.0))
    moved = refretted(replace(at([(2, 3)]), notes=(bent,)), by_semitones(2))
    assert pitches_of(moved) == [64]
    assert moved.notes[0].fret > 0


def test_muted_strings_keep_their_pattern() -> None:
    """A dead note without a fret has no pitch, but a string."""
    riff = at([(6, 3), (6, 0), (5, 5)], [PICK, DEAD, PICK])
    moved = refretted(riff, by_semitones(12), Neck((4, 5)))
    assert moved.notes[1].fret == 0
    assert {note.string for note in moved.notes} <= {4, 5}
    assert by_frets(riff, 2).notes[1].fret == 0


# ----------------------------------------------------------------------- scales


@pytest.mark.parametrize(
    ("scale", "steps", "before", "after"),
    [
        ("C major", 2, [60, 64, 67], [64, 67, 71]),  # C E G, E G B: common practice
        ("C major", -1, [60, 62], [59, 60]),
        ("A minor pentatonic", 1, [69, 72, 74], [72, 74, 76]),
        ("B half-whole diminished", 2, [59, 60, 62, 63], [62, 63, 65, 66]),
        ("D dorian", 7, [62, 65], [74, 77]),  # seven steps are an octave
        ("C major", 1, [61, 66], [63, 68]),  # outside: above C and F, then D and G
        ("Eb major", 0, [60, 61, 62], [60, 61, 62]),
    ],
)
def test_along_a_scale(
    scale: str, steps: int, before: list[int], after: list[int]
) -> None:
    """Steps of the scale, not semitones."""
    assert [along(parse_scale(scale), steps)(m) for m in before] == after


def test_a_bend_reaches_for_the_scale() -> None:
    """B bent to C, a step up in C major: C bent to D.  A quarter bend stays one."""
    half, quarter = Bend(BendKind.BEND, 100.0), Bend(BendKind.BEND, 50.0)
    first, second = at([(3, 4), (3, 4)]).notes
    bent = replace(
        at([(3, 4)]), notes=(replace(first, bend=half), replace(second, bend=quarter))
    )
    moved = refretted(bent, along(parse_scale("C major"), 1))
    assert [n.bend.target_cents for n in moved.notes if n.bend] == [200.0, 50.0]


def test_a_bend_that_would_go_nowhere_is_refused() -> None:
    """From outside the scale, its target falls onto the note itself."""
    note = replace(at([(2, 2)]).notes[0], bend=Bend(BendKind.BEND, 100.0))
    lick = replace(at([(2, 2)]), notes=(note,))
    with pytest.raises(Unplayable, match="its bend would go 0 cents"):
        refretted(lick, along(parse_scale("C major"), 2))


@pytest.mark.parametrize(
    ("here", "there", "ways"), [(0, 7, (-5, 7)), (0, 5, (5, -7)), (4, 4, (0, -12))]
)
def test_ways_to_a_key(here: int, there: int, ways: tuple[int, int]) -> None:
    """G is a fourth below C and a fifth above it (common practice)."""
    assert key_semitones(here, there) == ways


# ------------------------------------------------------------------- playability


@pytest.mark.parametrize(
    ("lick", "frets", "reason"),
    [
        (at([(1, 5)]), 20, "fret 25, the neck ends at 24"),
        (at([(1, 5), (2, 3)]), -4, "note 2 (string 2): 1 frets below the open"),
        # 12 to 17 is 81 mm, 1 to 6 is 153: L (2^(-1/12) - 2^(-6/12)) with L = 648
        (at([(1, 12), (1, 17)], [PICK, HAMMER]), -11, "frets 1 to 6, 153 mm"),
        (at([(1, 9), (1, 12), (1, 14)], [PICK, HAMMER, HAMMER]), -8, "frets 1 to 6"),
    ],
)
def test_what_cannot_be_played_is_refused(lick: Lick, frets: int, reason: str) -> None:
    """With the note and the reason."""
    with pytest.raises(Unplayable) as caught:
        by_frets(lick, frets)
    assert reason in str(caught.value)


@pytest.mark.parametrize(
    ("field", "value"),
    [("bend", Bend(BendKind.BEND, 100.0)), ("vibrato", True)],
)
def test_an_open_string_is_not_bent(field: str, value: object) -> None:
    """Moved down onto the open string."""
    lick = at([(2, 3)])
    lick = replace(lick, notes=(replace(lick.notes[0], **{field: value}),))
    with pytest.raises(Unplayable, match="cannot be bent or shaken"):
        by_frets(lick, -3)


def test_a_slide_moves_the_hand() -> None:
    """A slide over twelve frets is no stretch, nor are picked notes."""
    assert complaints(at([(1, 1), (1, 13)], [PICK, SLIDE])) == ()
    assert complaints(at([(1, 1), (1, 13)])) == ()


def test_notes_that_ring_together_are_held_together() -> None:
    """Frets 1 and 6 on two strings, as long as the first rings on."""
    lick = at([(5, 1), (4, 6)])
    ringing = replace(
        lick, notes=(replace(lick.notes[0], let_ring=True), lick.notes[1])
    )
    assert complaints(lick) == ()
    assert [c.obstacle for c in complaints(ringing)] == [Obstacle.STRETCH]


@pytest.mark.parametrize(
    ("lick", "reason"),
    [
        (at([(1, 5), (1, 5)], [PICK, HAMMER]), "a hammer-on from fret 5 to fret 5"),
        (at([(1, 5), (1, 3)], [PICK, HAMMER]), "a hammer-on from fret 5 to fret 3"),
        (at([(1, 5), (1, 8)], [PICK, PULL]), "a pull-off from fret 5 to fret 8"),
        (at([(1, 5), (2, 3)], [PICK, PULL]), "a pull-off from string 1 to string 2"),
        (at([(1, 5)], [PULL]), "a pull-off from no note"),
        (at([(1, 0), (1, 5)], [PICK, SLIDE]), "into or out of an open string"),
        (at([(1, 5), (1, 0)], [PICK, SLIDE]), "into or out of an open string"),
    ],
)
def test_slurs_that_cannot_be(lick: Lick, reason: str) -> None:
    """The last note is the one complained about."""
    (complaint,) = complaints(lick)
    assert (complaint.index, reason in complaint.reason) == (len(lick) - 1, True)


def test_what_was_no_better_before_is_no_reason() -> None:
    """A lick that asks for the impossible can be moved all the same."""
    wide = at([(1, 1), (1, 6)], [PICK, HAMMER])
    assert places_of(by_frets(wide, 1)) == [(1, 2), (1, 7)]
    with pytest.raises(Unplayable, match="the neck ends at 5"):
        by_frets(wide, 1, Neck(frets=5))


@pytest.mark.parametrize(
    ("neck", "semitones", "reason"),
    [
        (Neck((1,)), 0, "no place for D4, the strings reach from E4 to E6"),
        (Neck(), -30, "no place for F1, the strings reach from E2 to E6"),
    ],
)
def test_no_place(neck: Neck, semitones: int, reason: str) -> None:
    """With the range there is."""
    with pytest.raises(Unplayable, match=reason):
        refretted(at(CELL), by_semitones(semitones), neck)


def test_many_reasons_are_counted() -> None:
    """Five are said."""
    with pytest.raises(Unplayable, match="and 3 more") as caught:
        by_frets(at(CELL * 2), 24)
    assert len(caught.value.reasons) == 8


# ------------------------------------------------------------------------ fingers


def test_fingers_stay_with_a_shape() -> None:
    """Moved along the neck, or over to strings with the same frets between."""
    lick = at(CELL, fingers=[2, 1, 3, 4])
    assert fingers_of(by_frets(lick, 5)) == [2, 1, 3, 4]
    low = at([(6, 7), (5, 5), (5, 8)], fingers=[3, 1, 4])
    moved = refretted(low, by_semitones(0), Neck((4, 5, 6)))
    assert fingers_of(moved) == [3, 1, 4]


def test_fingers_follow_the_hand() -> None:
    """One finger a fret from the index finger (common practice)."""
    lick = at(CELL, fingers=[2, 1, 3, 4])
    moved = refretted(lick, by_semitones(0), Neck((2, 3, 4)))
    assert places_of(moved) == [(4, 9), (3, 7), (2, 9), (3, 10)]
    assert fingers_of(moved) == [3, 1, 3, 4]


def test_no_finger_on_an_open_string() -> None:
    """Fretted notes that become open lose it, open ones that are fretted get one."""
    lick = at([(2, 3), (2, 5)], fingers=[1, 3])
    assert fingers_of(by_frets(lick, -3)) == [None, 3]
    opened = at([(2, 0), (2, 2)], fingers=[None, 2])
    assert fingers_of(by_frets(opened, 5)) == [1, 2]


def test_a_lick_without_fingers_gets_none() -> None:
    """The player was left free, and stays so."""
    assert fingers_of(by_frets(at(CELL), 3)) == [None] * 4


def test_two_slurred_notes_have_two_fingers() -> None:
    """At the end of a stretch the little finger is needed once."""
    lick = at([(1, 5), (1, 9), (1, 10)], [PICK, HAMMER, HAMMER], fingers=[1, 3, 4])
    moved = at([(2, 5), (2, 8), (2, 9)], [PICK, HAMMER, HAMMER])
    moved = with_fingers(lick, moved, hands=(5, 5, 5))
    assert fingers_of(moved) == [1, 3, 4]
    assert not same_shape(lick, moved)


# ------------------------------------------------------------------------- chains


def test_a_chain_makes_the_shipped_exercise() -> None:
    """The cell of the shipped lick, every three frets, is the shipped lick."""
    shipped = licks.read(REFERENCES / "diminished-cell-by-minor-thirds.lick")
    cell = at(CELL, fingers=[2, 1, 3, 4])
    made = chain(cell, lambda k: by_frets(cell, 3 * k), 4)
    assert made.notes == shipped.notes[:16]


def test_a_chain_that_leaves_the_neck_says_how_far_it_goes() -> None:
    """Three times fit down from the ninth fret."""
    cell = at([(1, 7), (1, 9)])
    with pytest.raises(Unplayable, match="3 times of 5 can be played, the next"):
        chain(cell, lambda k: by_frets(cell, -3 * k), 5)


def test_a_chain_starts_each_time_in_the_metre() -> None:
    """After a pickup on the pickup, with its changes of tempo again."""
    notes = at([(1, 5)] * 5, beats=Fraction(1)).notes
    lick = replace(
        at([(1, 5)]),
        notes=notes,
        pickup_beats=Fraction(1),
        tempo_changes=(TempoChange(Fraction(3), 60.0),),
        parent=Parent("P", "", "", (0, 1, 2, 3, 4)),
    )
    assert period_beats(lick) == 8
    made = chain(lick, lambda k: by_frets(lick, k), 2)
    assert [n.onset_beats for n in made.notes][5:] == [8, 9, 10, 11, 12]
    assert [(c.beat, c.tempo_bpm) for c in made.tempo_changes] == [
        (3, 60.0),
        (8, 90.0),
        (11, 60.0),
    ]
    assert made.parent is not None
    assert made.parent.notes == (0, 1, 2, 3, 4) * 2


# --------------------------------------------------------------------- properties


@pytest.mark.parametrize(
    # the other asks for vibrato on an open string, which no move may bring about
    "path",
    [path for path in FILES if path.stem != "drop-d-riff"],
    ids=lambda path: path.stem,
)
@given(frets=st.integers(-5, 9))
@settings(deadline=None, max_examples=15)
def test_there_and_back_by_frets(path: Path, frets: int) -> None:
    """Places and pitches are as they were."""
    lick = licks.read(path)
    moved = lick
    with suppress(Unplayable):
        moved = by_frets(lick, frets)
    assume(moved is not lick)
    back = by_frets(moved, -frets)
    assert places_of(back) == places_of(lick)
    assert pitches_of(back) == pitches_of(lick)


def check_refusal(problem: Unplayable, semitones: int) -> None:
    """Fail unless every reason is the range below, or notes that ring on."""
    for reason in problem.reasons:
        below = "no place for" in reason and semitones < 0
        assert below or ("notes that ring over" in reason and semitones), reason


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
@pytest.mark.parametrize("semitones", [-5, -2, 0, 1, 4, 7])
def test_what_is_fretted_anew_sounds_and_can_be_written(
    path: Path, semitones: int
) -> None:
    """The pitches asked for, slurs on one string, and a sheet can say it.

    Refused is only what lies below the lowest string, or is to ring over a stretch.
    """
    lick = licks.read(path)
    try:
        moved = refretted(lick, by_semitones(semitones))
    except Unplayable as problem:
        check_refusal(problem, semitones)
        return
    pairs = zip(lick.notes, moved.notes, strict=True)
    for k, (old, new) in enumerate(pairs):
        if not (old.articulation is DEAD and old.fret == 0):
            assert new.midi_number == old.midi_number + semitones
        if new.slurred and k:
            assert new.string == moved.notes[k - 1].string
    assert sheet.read(sheet.write(moved), "moved.lick") == moved
    if semitones == 0:
        assert moved == lick


# -------------------------------------------------------------- as a person uses it


def run(*words: object) -> Result:
    """Return what a command printed and its exit code."""
    return CliRunner().invoke(main, ["lick", "move", *map(str, words)])


CELLS = REFERENCES / "diminished-cell-by-minor-thirds.lick"
SCALE = REFERENCES / "triplets-into-sixteenths.lick"


@pytest.mark.parametrize(
    ("words", "semitones", "title"),
    [
        (["--frets", "2"], 2, "2 frets up"),
        (["--frets", "-1"], -1, "1 fret down"),
        (["--octave", "1"], 12, "1 octave up"),
        (["--key", "C", "--from", "D dorian"], -2, "from D dorian to C"),
        (["--key", "Em"], 2, "from D minor to Em"),
        (["--key", "A", "--from", "D", "--octave", "1"], 7, "from D to A, 1 octave up"),
        (["--strings", "1-4", "--octave", "1"], 12, "1 octave up, strings 1-4"),
        (["--strings", "1,2,3,4"], 0, "strings 1,2,3,4"),
    ],
)
def test_moves_from_the_command_line(
    tmp_path: Path, words: list[str], semitones: int, title: str
) -> None:
    """Each way to say where to."""
    out = tmp_path / "out.lick"
    done = run(SCALE, "-o", out, *words)
    assert done.exit_code == 0, done.output
    before, after = licks.read(SCALE), licks.read(out)
    assert pitches_of(after) == [m + semitones for m in pitches_of(before)]
    assert after.title == f"{before.title}, {title}"


def test_along_a_scale_from_the_command_line(tmp_path: Path) -> None:
    """Every note stays in the scale; a chain goes on in steps."""
    out = tmp_path / "out.lick"
    done = run(SCALE, "-o", out, "--scale", "D dorian", "--steps", 2)
    assert done.exit_code == 0, done.output
    dorian = parse_scale("D dorian").pitch_classes
    assert {m % 12 for m in pitches_of(licks.read(out))} <= dorian
    done = run(
        SCALE, "-o", out, "--force", "--scale", "D dorian", "--every", 1, "--times", 3
    )
    assert done.exit_code == 0, done.output
    assert len(licks.read(out)) == 3 * len(licks.read(SCALE))


def test_notes_outside_the_scale_are_told(tmp_path: Path) -> None:
    """How many, and what becomes of them."""
    done = run(SCALE, "-o", tmp_path / "o.lick", "--scale", "F major", "--steps", 1)
    assert "3 of 25 notes lie outside F major" in done.output


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ([], "say how to move it"),
        (["--frets", "1", "--octave", "1"], "are different moves"),
        (["--frets", "1", "--key", "C"], "are different moves"),
        (["--every", "3"], "--every and --times go together"),
        (["--frets", "1", "--times", "3"], "--every and --times go together"),
        (["--frets", "1", "--from", "C"], "for --key"),
        (["--scale", "C"], "--scale needs --steps"),
        (["--steps", "2"], "steps of a --scale"),
        (["--scale", "H dur", "--steps", "1"], "does not start with a note name"),
        (["--scale", "C blue", "--steps", "1"], "no scale known here"),
        (["--key", "X"], "does not start with a note name"),
        (["--key", "C major", "--from", "A minor"], "a move keeps that"),
        (["--strings", "7"], "names no strings of E2"),
        (["--strings", "0-2"], "names no strings of E2"),
        (["--strings", "a"], "names no strings of E2"),
        (["--strings", ""], "names no strings of E2"),
        (["--frets", "99"], "not in the range"),
        (["--frets", "20"], "the neck ends at 24"),
        (["--frets", "4", "--neck", "17"], "the neck ends at 17"),
        (["--strings", "1"], "no place for"),
        (["--octave", "-3"], "no place for"),
    ],
)
def test_wrong_wishes(tmp_path: Path, words: list[str], message: str) -> None:
    """The reason, and nothing is written."""
    done = run(CELLS, "-o", tmp_path / "out.lick", *words)
    assert done.exit_code == 2, done.output
    assert message in " ".join(done.output.split())
    assert list(tmp_path.iterdir()) == []


def test_a_key_that_the_notes_leave_open(tmp_path: Path) -> None:
    """Two keys fit nearly as well."""
    open_to_all = REFERENCES / "skipped-string-arpeggios.lick"
    done = run(open_to_all, "-o", tmp_path / "out.lick", "--key", "C")
    assert done.exit_code == 2
    assert "name it with --from" in " ".join(done.output.split())


def test_files_are_kept(tmp_path: Path) -> None:
    """Not written over; a file that is none is said with code 3."""
    out = tmp_path / "mine.lick"
    out.write_text("precious")
    assert run(CELLS, "-o", out, "--frets", 1).exit_code == 2
    assert out.read_text() == "precious"
    assert run(out, "-o", tmp_path / "o.lick", "--frets", 1).exit_code == 3
    assert run(CELLS, "-o", tmp_path / "o.pdf", "--frets", 1).exit_code == 2
    done = run(CELLS, "-o", tmp_path / "o.mid", "--frets", 1)
    assert done.exit_code == 0
    assert "fretting finger" in done.output
