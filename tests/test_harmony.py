"""Scales, keys, degrees and intervals against published tables."""

from __future__ import annotations

import itertools
from pathlib import Path

import librosa
import music21
import numpy as np
import pytest
from hand_made import lick
from hypothesis import given
from hypothesis import strategies as st

from assessor import lick as licks
from assessor.lick import Bend, BendKind
from assessor.lick.harmony import (
    infer_key,
    interval_content,
    intervals_semitones,
    notes_outside,
    pitch_classes,
    sounding,
)
from assessor.lick.scales import (
    CHORDS,
    SCALES,
    Scale,
    degree,
    interval_name,
    parse_chord,
    parse_scale,
    parse_tonic,
    scales_holding,
    spells_flat,
)

# A minor pentatonic box at the fifth fret, up, ending on the tonic (common practice).
BOX = [(6, 5), (6, 8), (5, 5), (5, 7), (4, 5), (4, 7)]


@pytest.mark.parametrize(
    ("name", "theirs"),
    [
        ("major", "ion"),
        ("dorian", "dor"),
        ("phrygian", "phr"),
        ("lydian", "lyd"),
        ("mixolydian", "mix"),
        ("natural minor", "aeo"),
        ("locrian", "loc"),
    ],
)
@pytest.mark.parametrize("tonic", ["C", "F#", "Bb"])
def test_modes_are_those_librosa_knows(name: str, theirs: str, tonic: str) -> None:
    """librosa.key_to_degrees gives the pitch classes of the seven church modes."""
    expected = librosa.key_to_degrees(f"{tonic.replace('b', '♭')}:{theirs}")
    assert parse_scale(f"{tonic} {name}").pitch_classes == set(expected.tolist())


@pytest.mark.parametrize("first", ["major", "melodic minor", "harmonic minor"])
def test_the_modes_of_a_scale_are_its_rotations(first: str) -> None:
    """The six names after a scale are the same notes from each higher degree."""
    names = list(SCALES)
    parent = SCALES[first]
    for place, name in enumerate(names[names.index(first) :][:7]):
        turned = sorted((step - parent[place]) % 12 for step in parent)
        assert SCALES[name] == tuple(turned)


@pytest.mark.parametrize(
    ("name", "theirs"),
    [
        ("melodic minor", music21.scale.MelodicMinorScale),
        ("harmonic minor", music21.scale.HarmonicMinorScale),
        ("whole-tone", music21.scale.WholeToneScale),
        ("whole-half diminished", music21.scale.OctatonicScale),
        ("natural minor", music21.scale.MinorScale),
        ("phrygian", music21.scale.PhrygianScale),
    ],
)
@pytest.mark.parametrize("tonic", ["C", "F#", "Bb"])
def test_scales_are_those_music21_knows(
    name: str, theirs: type[music21.scale.ConcreteScale], tonic: str
) -> None:
    """Ascending; its octatonic scale begins with a whole step."""
    up = music21.scale.Direction.ASCENDING
    pitches = theirs(tonic.replace("b", "-")).getPitches(direction=up)
    expected = {pitch.pitchClass for pitch in pitches}
    assert parse_scale(f"{tonic} {name}").pitch_classes == expected


@pytest.mark.parametrize(
    ("name", "steps"),
    [
        ("whole-tone", [2] * 6),
        ("whole-half diminished", [2, 1] * 4),
        ("half-whole diminished", [1, 2] * 4),
        ("augmented", [3, 1] * 3),
        ("minor pentatonic", [3, 2, 2, 3, 2]),
    ],
)
def test_scales_are_made_of_their_steps(name: str, steps: list[int]) -> None:
    """Steps of the symmetrical scales, common practice."""
    found = [b - a for a, b in itertools.pairwise((*SCALES[name], 12))]
    assert found == steps


def test_no_scale_stands_there_twice() -> None:
    """Two names for the same notes on the same tonic would be listed twice."""
    assert len(set(SCALES.values())) == len(SCALES)


@pytest.mark.parametrize(
    ("chord", "notes"),
    [
        ("C", "C E G"),
        ("Bbm7b5", "Bb C# E G#"),
        ("F#dim7", "F# A C D#"),
        ("E7#9", "E G G# B D"),
        ("CM7", "C E G B"),
    ],
)
def test_chords_are_spelled(chord: str, notes: str) -> None:
    """Chord symbols by common practice."""
    assert parse_chord(chord).pitch_classes == {
        parse_tonic(name) for name in notes.split()
    }


# The symbols that music21 spells otherwise, and those it does not read, or reads as a
# stack of thirds: players leave the fourth out of a thirteenth (common practice).
THEIR_SYMBOLS = {"mmaj7": "mM7", "maj7": "M7", "maj9": "M9", "7#11": "7add#11"}
NOT_THEIRS = {"13", "maj7#11", "6/9", "add9", "5"}


@pytest.mark.parametrize("kind", sorted(CHORDS.keys() - NOT_THEIRS))
def test_chords_are_those_music21_knows(kind: str) -> None:
    """Its chord symbols give the same pitch classes."""
    theirs = music21.harmony.ChordSymbol(f"D{THEIR_SYMBOLS.get(kind, kind)}")
    assert parse_chord(f"D{kind}").pitch_classes == set(theirs.pitchClasses)


@pytest.mark.parametrize("name", ["", "H", "C hypermajor", "4", "A b c"])
def test_what_is_no_scale_is_refused_with_words(name: str) -> None:
    """The message says what was found and what may stand there."""
    with pytest.raises(ValueError, match=r"note name|known are"):
        parse_scale(name)


@pytest.mark.parametrize("name", ["", "X7", "Cminor9th"])
def test_what_is_no_chord_is_refused(name: str) -> None:
    """The message lists the kinds."""
    with pytest.raises(ValueError, match="m7b5"):
        parse_chord(name)


def test_a_box_is_found_as_what_it_is() -> None:
    """The minor pentatonic fits with nothing to spare; major does not fit."""
    found = scales_holding(pitch_classes(lick(range(6), BOX)), tonic=9)
    names = {str(scale): spare for scale, spare in found}
    assert names["A minor pentatonic"] == 0
    assert names["A dorian"] == 2
    assert "A major" not in names


def test_relative_scales_are_found_without_a_tonic() -> None:
    """C major pentatonic has the notes of A minor pentatonic."""
    found = [str(s) for s, spare in scales_holding({0, 2, 4, 7, 9}) if spare == 0]
    assert found == ["C major pentatonic", "A minor pentatonic"]


def test_nothing_holds_all_twelve() -> None:
    """A chromatic line lies in no scale of seven."""
    assert scales_holding(set(range(12))) == ()


def test_bends_sound_their_target() -> None:
    """A whole-step bend adds the note it reaches; a quarter step adds none."""
    whole, quarter = Bend(BendKind.PREBEND, 200), Bend(BendKind.BEND, 50)
    bent = lick([0, 1], [(3, 7), (3, 5)], extras={0: {"bend": whole}})
    assert sounding(bent.notes[0]) == (64,)
    assert pitch_classes(bent) == {4, 0}
    small = lick([0], [(3, 7)], extras={0: {"bend": quarter}})
    assert pitch_classes(small) == {2}


def test_notes_outside_are_named_by_place() -> None:
    """C# is no note of A minor; the bend into D# is heard too."""
    bent = {"bend": Bend(BendKind.BEND, 100)}
    line = lick([0, 1, 2], [(5, 0), (5, 4), (4, 0)], extras={2: bent})
    assert notes_outside(line, Scale(9, "natural minor").pitch_classes) == (1, 2)


@pytest.mark.parametrize("tonic", range(12))
@pytest.mark.parametrize("minor", [False, True])
def test_a_scale_with_a_long_tonic_shows_its_key(tonic: int, minor: bool) -> None:
    """Tonic and fifth long, every note of the scale once, harmonic minor in minor."""
    steps = SCALES["harmonic minor" if minor else "major"]
    midis = [52 + (tonic + 8) % 12 + step for step in (*steps, 12, 7, 0)]
    line = lick(range(10), [(4, midi - 50) for midi in midis], last_beats=4)
    key = infer_key(line)
    assert key is not None
    assert (key.tonic, key.minor, key.sure) == (tonic, minor, True)


def test_two_notes_show_no_key() -> None:
    """Nothing to go by is said, not guessed."""
    assert infer_key(lick([0, 1])) is None


def test_a_symmetrical_line_shows_no_key() -> None:
    """Twelve equal notes fit every key alike; a diminished chord is not sure."""
    assert infer_key(lick(range(12), [(1, fret) for fret in range(12)])) is None
    key = infer_key(lick(range(4), [(1, fret) for fret in (0, 3, 6, 9)]))
    assert key is not None
    assert not key.sure


def test_a_key_that_fits_badly_is_not_sure() -> None:
    """A diminished chord with one long note outside it: far from every profile."""
    line = [(1, fret) for fret in (0, 3, 6, 9, 4)]
    key = infer_key(lick(range(5), line, last_beats=2))
    assert key is not None
    assert key.correlation < 0.576
    assert not key.sure


@given(st.lists(st.integers(0, 12), min_size=2, max_size=12), st.integers(1, 10))
def test_moving_keeps_the_intervals(frets: list[int], up: int) -> None:
    """Interval content does not know where a line begins."""
    line = lick(range(len(frets)), [(2, fret) for fret in frets])
    moved = lick(range(len(frets)), [(2, fret + up) for fret in frets])
    assert intervals_semitones(line) == intervals_semitones(moved)
    assert interval_content(line) == interval_content(moved)
    assert len(pitch_classes(line)) == len(pitch_classes(moved))


@pytest.mark.parametrize(
    ("midi_number", "tonic", "expected"),
    [(69, 9, "1"), (76, 9, "5"), (72, 9, "b3"), (79, 9, "b7"), (63, 9, "b5")],
)
def test_degrees(midi_number: int, tonic: int, expected: str) -> None:
    """Against the major scale, as players count."""
    assert degree(midi_number, tonic) == expected


@pytest.mark.parametrize(
    ("semitones", "ratio", "name"),
    [(7, 3 / 2, "fifth"), (4, 5 / 4, "major third"), (12, 2, "octave")],
)
def test_interval_names(semitones: int, ratio: float, name: str) -> None:
    """The nearest semitone of the just ratio has its name (Helmholtz 1863)."""
    assert round(12 * np.log2(ratio)) == semitones
    assert interval_name(semitones) == interval_name(-semitones) == name


@pytest.mark.parametrize("semitones", range(13))
def test_intervals_are_named_as_music21_does(semitones: int) -> None:
    """But for `perfect`, which players leave out, and the tritone."""
    theirs = music21.interval.Interval(semitones).niceName.lower()
    expected = theirs.replace("perfect ", "").replace("diminished fifth", "tritone")
    assert interval_name(semitones) == expected


@pytest.mark.parametrize(
    ("key", "flats"),
    [
        ("F", True),
        ("Eb", True),
        ("G", False),
        ("E", False),
        ("Dm", True),
        ("Em", False),
    ],
)
def test_keys_are_spelled_as_music21_does(key: str, flats: bool) -> None:
    """Its key signatures have sharps (positive) or flats (negative)."""
    tonic = key.rstrip("m").replace("b", "-")
    mode = "minor" if key.endswith("m") else "major"
    assert (music21.key.Key(tonic, mode).sharps < 0) is flats
    assert spells_flat(parse_scale(key).pitch_classes) is flats


REFERENCES = sorted((Path(__file__).parents[1] / "references").glob("*.lick"))


@pytest.mark.parametrize("path", REFERENCES, ids=lambda path: path.stem)
def test_the_key_is_that_music21_finds(path: Path) -> None:
    """Its Krumhansl-Kessler analysis of the same pitches and lengths."""
    one = licks.read(path)
    stream = music21.stream.Stream()
    for note in one.notes:
        pitches = sounding(note)
        for midi in pitches:
            length = note.duration_beats / len(pitches)
            stream.append(music21.note.Note(midi, quarterLength=length))
    theirs = music21.analysis.discrete.KrumhanslKessler().getSolution(stream)
    ours = infer_key(one)
    assert ours is not None
    assert ours.tonic == theirs.tonic.pitchClass
    assert ours.minor == (theirs.mode == "minor")
    assert ours.correlation == pytest.approx(theirs.correlationCoefficient, abs=1e-9)
