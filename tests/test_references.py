"""The licks that ship: all can be read, lie under a hand, and hold what they claim."""

from __future__ import annotations

import re
from collections.abc import Callable
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import pytest

from assessor import lick
from assessor.lick import Articulation, Bend, BendKind, Lick, SlideEdge, Stroke, sheet
from assessor.lick.cells import find_cells
from assessor.lick.fingerboard import slurred_groups
from assessor.lick.hands import Crossing, crossings
from assessor.lick.harmony import pitch_classes
from assessor.lick.scales import parse_scale
from assessor.tuning import STANDARD

REFERENCES = Path(__file__).parent.parent / "references"
FILES = sorted(REFERENCES.glob("*.lick"))

# Four fingers cover four frets, five with a stretch (common practice); a shift of
# the hand between two notes is no larger either in these licks.
MOST_FRETS_BETWEEN_NOTES = 5


def shipped(name: str) -> Lick:
    """One lick by its file name."""
    return lick.read(REFERENCES / f"{name}.lick")


def test_there_are_at_least_ten() -> None:
    """So many were promised."""
    assert len(FILES) >= 10


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_each_is_a_short_phrase_with_its_purpose(path: Path) -> None:
    """Two to four bars at a practice tempo, with a title and what it trains."""
    one = lick.read(path)
    assert re.fullmatch(r"[a-z]+(-[a-z]+)*", path.stem)
    assert 0 < len(one.title) <= 50
    assert one.trains
    assert 50 <= one.tempo_bpm <= 140
    bars = (one.notes[-1].end_beats - one.pickup_beats) / one.meter.bar_beats
    assert 2 <= bars <= 4
    assert not one.notices


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_each_lies_under_a_hand(path: Path) -> None:
    """No leap of the fretting hand from one note to the next, but for slides."""
    fretted = [note for note in lick.read(path).notes if note.fret > 0]
    for before, after in pairwise(fretted):
        slid = after.articulation is Articulation.SLIDE or after.slide_in is not None
        assert slid or abs(after.fret - before.fret) <= MOST_FRETS_BETWEEN_NOTES
        if after.slurred:
            assert after.string == before.string


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_each_can_be_written_and_read_again(path: Path) -> None:
    """A sheet typed by hand and the sheet the program writes are one lick."""
    one = lick.read(path)
    assert sheet.read(sheet.write(one), str(path)) == one


def count(one: Lick, *articulations: Articulation) -> int:
    """Notes sounded in one of these ways."""
    return sum(note.articulation in articulations for note in one.notes)


def skips(one: Lick) -> int:
    """Times the picking hand jumps over a string."""
    return sum(abs(b.string - a.string) >= 2 for a, b in pairwise(one.notes))


def bends(one: Lick) -> set[tuple[BendKind, float]]:
    """Kinds and sizes of the bends."""
    found = {note.bend for note in one.notes if note.bend is not None}
    return {(bend.kind, bend.target_cents) for bend in found}


def crossed(one: Lick) -> list[Crossing]:
    """How the pick crosses strings."""
    return [kind for _, kind in crossings(one)]


def holds(one: Lick, scale: str) -> bool:
    """Whether every note lies in a scale, and every note of the scale is played."""
    return pitch_classes(one) == parse_scale(scale).pitch_classes


CLAIMS: list[tuple[str, Callable[[Lick], bool]]] = [
    ("skipped-string-arpeggios", lambda one: skips(one) >= 12),
    (
        "pentatonic-hammers-and-pulls",
        lambda one: count(one, Articulation.HAMMER_ON) >= 5,
    ),
    (
        "pentatonic-hammers-and-pulls",
        lambda one: count(one, Articulation.PULL_OFF) >= 4,
    ),
    ("diminished-cell-by-minor-thirds", lambda one: all(n.finger for n in one.notes)),
    ("hybrid-picked-tenths", lambda one: skips(one) >= 7),
    (
        "hybrid-picked-tenths",
        lambda one: (
            {note.stroke for note in one.notes}
            == {Stroke.DOWN, Stroke.MIDDLE, Stroke.RING}
        ),
    ),
    (
        "hybrid-picked-tenths",
        # A tenth is 15 or 16 semitones.
        lambda one: (
            sum(b.midi_number - a.midi_number >= 15 for a, b in pairwise(one.notes))
            >= 7
        ),
    ),
    (
        "half-and-whole-bends",
        lambda one: bends(one) == {(BendKind.BEND, 100.0), (BendKind.BEND, 200.0)},
    ),
    (
        "half-and-whole-bends",
        lambda one: any(note.bend and note.vibrato for note in one.notes),
    ),
    (
        "triplets-into-sixteenths",
        lambda one: (
            {note.duration_beats for note in one.notes[:-1]}
            == {Fraction(1, 3), Fraction(1, 4)}
        ),
    ),
    ("drop-d-riff", lambda one: str(one.tuning) == "D2 A2 D3 G3 B3 E4"),
    ("drop-d-riff", lambda one: count(one, Articulation.DEAD) == 8),
    ("drop-d-riff", lambda one: len(one) == 30),
    ("swung-two-five-one", lambda one: one.swing == 2.0),
    ("swung-two-five-one", lambda one: one.pickup_beats == 1),
    (
        "prebends-and-releases",
        lambda one: (
            {kind for kind, _ in bends(one)}
            == {BendKind.PREBEND, BendKind.PREBEND_RELEASE, BendKind.BEND_RELEASE}
        ),
    ),
    ("slides-between-positions", lambda one: count(one, Articulation.SLIDE) >= 5),
    (
        "slides-between-positions",
        lambda one: (
            {note.slide_in for note in one.notes} == {None, SlideEdge.FROM_BELOW}
        ),
    ),
    (
        "slides-between-positions",
        lambda one: {note.slide_out for note in one.notes} == {None, SlideEdge.DOWN},
    ),
    (
        "quarter-bends-in-six-eight",
        lambda one: Bend(BendKind.BEND, 50.0) in [note.bend for note in one.notes],
    ),
    ("quarter-bends-in-six-eight", lambda one: str(one.meter) == "6/8"),
    ("ringing-dadgad-with-capo", lambda one: one.tuning != STANDARD and one.capo == 2),
    ("ringing-dadgad-with-capo", lambda one: sum(n.let_ring for n in one.notes) >= 24),
    ("ringing-dadgad-with-capo", lambda one: len(one.tempo_changes) == 2),
    ("swept-triads", lambda one: crossed(one).count(Crossing.SWEPT) == 14),
    (
        "five-to-the-beat",
        lambda one: {n.duration_beats for n in one.notes[:-1]} == {Fraction(1, 5)},
    ),
    ("five-to-the-beat", lambda one: holds(one, "C lydian dominant")),
    ("seven-eighths-over-a-drone", lambda one: str(one.meter) == "7/8"),
    (
        "seven-eighths-over-a-drone",
        lambda one: {n.string for n in one.notes} == {5} and one.notes[0].fret == 0,
    ),
    (
        "long-slurs-three-a-string",
        lambda one: [len(group) for group in slurred_groups(one)] == [3] * 6,
    ),
    (
        "three-against-four-by-four-frets",
        # An augmented chord divides the octave into three major thirds.
        lambda one: {n.midi_number % 4 for n in one.notes} == {0},
    ),
    (
        "three-against-four-by-four-frets",
        lambda one: [c.chains()[0].step for c in find_cells(one)] == [4, -4],
    ),
]


@pytest.mark.parametrize(("name", "claim"), CLAIMS)
def test_each_holds_what_its_name_says(
    name: str, claim: Callable[[Lick], bool]
) -> None:
    """Skips, slurs, bends, rhythms, tunings."""
    assert claim(shipped(name))


def test_the_cell_moves_up_in_minor_thirds() -> None:
    """Three frets are a minor third, three semitones (common practice)."""
    notes = shipped("diminished-cell-by-minor-thirds").notes
    cells = [notes[k : k + 4] for k in (0, 4, 8, 12)]
    for before, after in pairwise(cells):
        assert [n.string for n in before] == [n.string for n in after]
        assert {b.fret - a.fret for a, b in zip(before, after, strict=True)} == {3}
        rises = [
            b.midi_number - a.midi_number for a, b in zip(before, after, strict=True)
        ]
        assert rises == [3, 3, 3, 3]
    # A diminished seventh chord divides the octave into four minor thirds.
    assert {note.midi_number % 3 for note in notes[:-1]} == {notes[0].midi_number % 3}


def test_the_repeated_riff_is_the_same_twice() -> None:
    """`:|x2` plays the two bars again, eight beats later."""
    notes = shipped("drop-d-riff").notes
    for first, second in zip(notes[:15], notes[15:], strict=True):
        assert second.onset_beats - first.onset_beats == 8
        assert (second.string, second.fret) == (first.string, first.fret)
