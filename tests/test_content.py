"""What a lick is made of: counted by hand, and told in words and as JSON."""

from __future__ import annotations

import json
import re
from fractions import Fraction
from pathlib import Path

import pytest
from hand_made import lick
from hypothesis import given, settings
from hypothesis import strategies as st

from assessor import lick as licks
from assessor.lick import Articulation, Bend, BendKind, Lick, Stroke
from assessor.lick.content import Content, content_of
from assessor.lick.content_json import record_of
from assessor.lick.content_text import text_of, value_name
from assessor.lick.scales import parse_chord, parse_scale

REFERENCES = Path(__file__).parents[1] / "references"
FILES = sorted(REFERENCES.glob("*.lick"))
# A minor pentatonic box at the fifth fret, up, ending on the tonic (common practice).
BOX = [(6, 5), (6, 8), (5, 5), (5, 7), (4, 5), (4, 7)]


def shipped(name: str) -> tuple[Lick, Content]:
    """One lick by its file name, with its content."""
    one = licks.read(REFERENCES / f"{name}.lick")
    return one, content_of(one)


def test_quantities_counted_by_hand() -> None:
    """Six quarter notes at 100 bpm over six strings; one skip, no shift."""
    places = [(6, 5), (5, 5), (3, 5), (3, 8), (2, 5), (2, 8)]
    found = content_of(lick(range(6), places))
    asked = found.demands
    assert found.bars == 1.5
    assert found.seconds == pytest.approx(3.6)
    assert found.skips == (2,)
    assert (found.lowest_fret, found.highest_fret) == (5, 8)
    assert (found.lowest_midi, found.highest_midi) == (45, 67)
    assert found.intervals == {
        "minor second": 1,
        "minor third": 2,
        "fourth": 1,
        "minor seventh": 1,
    }
    assert asked.notes_per_s == pytest.approx(5 / 3)
    assert asked.most_notes_per_s == pytest.approx(5 / 3)
    assert asked.skips_per_bar == pytest.approx(2 / 3)
    assert asked.shifts_per_bar == 0
    assert asked.quickest_shift is None


def test_speed_is_where_notes_lie_closest() -> None:
    """Sixteenths at 100 bpm are 20/3 a second; a hammered note is no stroke."""
    hammered = {2: {"articulation": Articulation.HAMMER_ON}}
    line = lick([0, 1, "1.25", "1.5", 2], extras=hammered)
    asked = content_of(line).demands
    assert asked.most_notes_per_s == pytest.approx(20 / 3)
    assert asked.notes_per_s == pytest.approx(4 / 1.2)
    assert asked.most_strokes_per_s == pytest.approx(10 / 3)


@settings(deadline=None)  # the first try imports and caches
@given(st.floats(30, 300))
def test_speed_follows_the_tempo(tempo_bpm: float) -> None:
    """Twice as fast is twice as many notes a second, and as many skips a bar."""
    line = lick(range(6), BOX)
    slow, fast = content_of(line.at_tempo(tempo_bpm)), content_of(line)
    assert slow.demands.notes_per_s is not None
    assert fast.demands.notes_per_s is not None
    ratio = slow.demands.notes_per_s / fast.demands.notes_per_s
    assert ratio == pytest.approx(tempo_bpm / line.tempo_bpm)
    assert slow.demands.skips_per_bar == fast.demands.skips_per_bar
    assert slow.seconds == pytest.approx(fast.seconds / ratio)


def test_the_quickest_shift_has_most_frets_a_second() -> None:
    """Nine frets in two beats are slower than six in half a beat."""
    places = [(3, 1), (3, 10), (3, 10), (3, 16), (3, 16)]
    index = {k: {"finger": 1} for k in range(5)}
    found = content_of(lick([0, 2, 4, "4.5", 6], places, extras=index))
    far, quick = found.shifts
    assert (far.frets, quick.frets) == (9, 6)
    assert found.demands.quickest_shift == quick


def test_a_bend_ends_where_it_is_pushed_to() -> None:
    """D bent to E ends on the fifth of A; let down again, on the fourth."""
    box = [*BOX[:5], (3, 7)]
    for kind, expected in ((BendKind.BEND, "5"), (BendKind.BEND_RELEASE, "4")):
        line = lick(range(6), box, extras={5: {"bend": Bend(kind, 200)}})
        assert content_of(line, scale=parse_scale("Am")).ending_degree == expected


def test_where_the_key_is_not_sure_its_scales_come_first() -> None:
    """A diminished chord and a C: of all that hold it, those on F before those on C."""
    _, found = shipped("diminished-cell-by-minor-thirds")
    assert found.tonic is None
    lick_text = text_of(*shipped("diminished-cell-by-minor-thirds"))
    assert "Key      left open by these notes; F minor fits best" in lick_text
    scale, spare = found.scales[0]
    assert (str(found.key), str(scale)) == ("F minor", "F dorian #4")
    assert spare == min(count for _, count in found.scales)


def test_a_single_note_has_no_speed() -> None:
    """Nothing lies between one note and the next, and one fret is no reach."""
    found = content_of(lick([0]))
    assert found.demands.notes_per_s is None
    assert found.demands.most_strokes_per_s is None
    assert found.intervals == {}
    assert found.key is None
    text = text_of(lick([0]), found)
    assert "C4 alone" in text
    assert "hold these few notes" in text
    assert re.search(r"alone; fret \d+$", text, re.M)
    assert "0 mm" not in text


def test_dead_notes_alone_have_no_pitch() -> None:
    """No range, no scale, no ending; still strokes and frets."""
    dead = {k: {"articulation": Articulation.DEAD} for k in range(3)}
    line = lick(range(3), extras=dead)
    found = content_of(line, chord=parse_chord("Am"))
    assert (found.lowest_midi, found.scales, found.ending_degree) == (None, (), None)
    assert found.ending_chord_degree is None
    assert "no pitch" in text_of(line, found)
    assert "Scales" not in text_of(line, found)
    assert json.loads(json.dumps(record_of(line, found)))["ending_midi"] is None


def test_what_is_done_with_notes_is_counted() -> None:
    """A pre-bend let down is a bend, a pre-bend and a release."""
    extras = {
        0: {"bend": Bend(BendKind.PREBEND_RELEASE, 100), "vibrato": True},
        1: {"let_ring": True, "stroke": Stroke.RING},
        2: {"articulation": Articulation.PULL_OFF},
    }
    line = lick(range(3), [(3, 7), (3, 7), (3, 5)], extras=extras)
    assert content_of(line).techniques == {
        "pull-offs": 1,
        "bends": 1,
        "prebends": 1,
        "releases": 1,
        "vibrato": 1,
        "ringing": 1,
        "plucked": 1,
    }


def test_a_given_key_overrules_the_notes() -> None:
    """The box of A minor heard in C: it ends on the sixth."""
    line = lick(range(6), [*BOX[:5], (5, 0)])
    assert content_of(line).ending_degree == "1"
    found = content_of(line, scale=parse_scale("C"))
    assert found.ending_degree == "6"
    assert found.outside_scale == ()
    assert {str(scale).split()[0] for scale, _ in found.scales} == {"C"}


def test_notes_outside_a_chord_and_where_it_ends() -> None:
    """A C D E G over Am7: D is outside; G is its minor seventh."""
    found = content_of(lick(range(6), BOX), chord=parse_chord("Am7"))
    assert found.outside_chord == (2,)
    assert found.ending_chord_degree == "1"
    ends_on_g = content_of(lick(range(5), BOX[:5]), chord=parse_chord("Am7"))
    assert ends_on_g.ending_chord_degree == "b7"


def test_the_nearest_scale_is_named_where_none_fits() -> None:
    """A line in C with one note of passage."""
    one, found = shipped("swung-two-five-one")
    assert found.scales == ()
    scale, left_out = found.nearest_scales[0]
    assert (str(scale), left_out) == ("C major", 1)
    assert "none here holds every pitch; C major all but 1" in text_of(one, found)


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("pentatonic-hammers-and-pulls", "A minor pentatonic (all of it)"),
        ("triplets-into-sixteenths", "D dorian (all of it)"),
        ("hybrid-picked-tenths", "7 over 2 strings, 7 over 3 strings"),
        ("skipped-string-arpeggios", "inside (15), outside (13)"),
        ("drop-d-riff", "15 notes from bar 1, beat 1, twice, the same each time"),
        ("diminished-cell-by-minor-thirds", "4 times, each time 3 frets up"),
        ("diminished-cell-by-minor-thirds", "by 3 frets up 3 times in a row"),
        ("slides-between-positions", "slid from fret"),
        ("ringing-dadgad-with-capo", "(DADGAD), capo at fret 2"),
    ],
)
def test_shipped_licks_are_told_of(name: str, expected: str) -> None:
    """What each is about stands in the text, on one line or wrapped."""
    one, found = shipped(name)
    assert expected in " ".join(text_of(one, found).split())


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
@pytest.mark.parametrize("width", [40, 80, 120])
def test_no_line_is_wider_than_asked(path: Path, width: int) -> None:
    """Down to forty columns."""
    one = licks.read(path)
    lines = text_of(one, content_of(one), width).splitlines()
    assert max(map(len, lines)) <= width
    assert all(line == line.rstrip() for line in lines)


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_json_holds_everything(path: Path) -> None:
    """It can be written, read back equal, and names a place for each note."""
    one = licks.read(path)
    record = record_of(one, content_of(one, chord=parse_chord("E7")))
    again = json.loads(json.dumps(record, allow_nan=False))
    assert again.keys() == record.keys()
    for cell in again["cells"]:
        last = cell["occurrences"][-1]["first"] + cell["notes"]
        assert last <= len(again["places"])
    for kind in ("shifts", "crossings", "cautions"):
        assert all(0 <= each["index"] < len(one) for each in again[kind])
    assert len(record["places"]) == record["notes"] == len(one)
    assert sum(record["values"].values()) == len(one)
    assert record["chord"] == "E7"


@pytest.mark.parametrize(
    ("spelled", "expected"),
    [
        ("e..", "double dotted eighth"),
        ("s5", "sixteenth quintuplet"),
        ("t9", "thirty-second 9"),
        ("w_q", "whole note tied to quarter"),
    ],
)
def test_values_in_words(spelled: str, expected: str) -> None:
    """As on the sheet, in words."""
    assert value_name(spelled) == expected


def test_values_count_every_note_once() -> None:
    """Lengths that no single value has are tied."""
    line = lick([0, "1.25", 2], last_beats=Fraction(3, 2))
    assert content_of(line).values == {"q.": 1, "q_s": 1, "e.": 1}
