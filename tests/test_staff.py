"""The staff over the tab: what is written in it, and that both stand in line."""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import pytest
from click.testing import CliRunner

from assessor import lick as licks
from assessor.cli import main
from assessor.figures import pages, systems
from assessor.figures.mei import key_alter, key_of, spelled, written
from assessor.figures.rhythm import bars_of, beamed
from assessor.lick.notation import Articulation, Lick, LickNote, Meter
from assessor.tuning import STANDARD, Tuning

REFERENCES = sorted((Path(__file__).parents[1] / "references").glob("*.lick"))
WIDTHS_PT = (505.28, 300.0, 188.0)
ALIGNED_PT = 0.06  # numbers are written to a hundredth
PAGE_UNIT_PT = 0.27  # verovio's pages are whole units wide
NAMESPACE = "{http://www.music-encoding.org/ns/mei}"
ID = "{http://www.w3.org/XML/1998/namespace}id"
MAJOR = ("Cb", "Gb", "Db", "Ab", "Eb", "Bb", "F", "C", "G", "D", "A", "E", "B", "F#")
MAJOR_STEPS = (0, 2, 4, 5, 7, 9, 11)


def of_pitches(*midi_numbers: int, beats: str = "1", **more: Any) -> Lick:
    """Return a lick of notes of one length on the first string, in 4/4."""
    length = Fraction(beats)
    notes = tuple(
        LickNote(k * length, length, number, 1, number - 64)
        for k, number in enumerate(midi_numbers)
    )
    fields = {"meter": Meter(), "tuning": STANDARD} | more
    return Lick("", 100, notes=notes, **fields)


def mei(lick: Lick) -> ET.Element:
    """All bars of a lick as one system."""
    text = written(lick, bars_of(lick), first=True, last=True)
    return ET.fromstring(text)


def found(tree: ET.Element, tag: str) -> list[dict[str, str]]:
    """Attributes of every element of a name."""
    return [dict(e.attrib) for e in tree.iter(f"{NAMESPACE}{tag}")]


@pytest.mark.parametrize("key", MAJOR)
def test_scales_are_spelled_as_librosa_spells_them(key: str) -> None:
    """Outside fact: the notes of every major key, from librosa's table of keys."""
    import librosa

    fifths = MAJOR.index(key) - MAJOR.index("C")
    tonic = 60 + 7 * fifths % 12
    table = librosa.key_to_notes(f"{key}:maj", unicode=False)
    for step in MAJOR_STEPS:
        pitch = spelled(tonic + step, fifths)
        name = pitch.name + {-1: "b", 0: "", 1: "#"}[pitch.alter]
        assert name == table[(tonic + step) % 12]
        assert key_alter(pitch.name, fifths) == pitch.alter


@pytest.mark.parametrize("fifths", range(-5, 7))
def test_spelling_keeps_the_pitch(fifths: int) -> None:
    """Letter, sign and octave give the MIDI number back."""
    steps = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
    for number in range(30, 100):
        pitch = spelled(number, fifths)
        assert 12 * (pitch.octave + 1) + steps[pitch.name] + pitch.alter == number


@pytest.mark.parametrize(
    ("midi_numbers", "fifths"),
    [
        ((64, 65, 67, 69), 0),
        ((66, 68, 69, 71, 73, 74, 76), 3),  # A major
        ((65, 67, 69, 70, 72, 74, 75), -2),  # B flat major
        ((64, 66, 67, 64), 1),
        ((64, 64, 65, 66, 67, 69, 71, 72), 0),  # as many either way: the simpler key
    ],
)
def test_the_key_with_fewest_signs(midi_numbers: tuple[int, ...], fifths: int) -> None:
    """Signs in the lick and at its clef are counted together."""
    assert key_of(of_pitches(*midi_numbers, *midi_numbers)) == fifths


def test_a_sign_holds_to_the_end_of_its_bar() -> None:
    """Common practice: for one octave; a key's own sign is written to take it back."""
    tree = mei(of_pitches(66, 65, 65, 78, 66, 65, 66, 66))
    (staff,) = found(tree, "staffDef")
    assert staff["keysig"] == "1s"
    signs = [n.get("accid", "") for n in found(tree, "note")]
    assert signs == ["", "n", "", "", "", "n", "s", ""]


def test_what_is_tied_on_has_a_tie_and_no_sign() -> None:
    """Over the bar line, and, where the system ends, to nowhere."""
    lick = of_pitches(64, 65, 66, 67, beats="3/2")
    tree = mei(lick)
    notes = found(tree, "note")
    tied = [(t["startid"], t["endid"]) for t in found(tree, "tie")]
    assert tied == [("#v1-2", "#v2-0")]
    assert [n.get("accid", "") for n in notes if n["pname"] == "f"] == ["", "s", ""]
    first = written(lick, bars_of(lick)[:1], first=True, last=False)
    (open_end,) = found(ET.fromstring(first), "lv")
    assert (open_end["startid"], open_end["tstamp2"]) == ("#v1-2", "0m+5")


def test_beams_and_tuplets_are_nested() -> None:
    """A triplet of eighths in its beam; a quarter's stands without one."""
    thirds = ["1/3", "1/3", "1/3", "2/3", "2/3", "2/3", "1/4", "1/4", "1/2"]
    at, notes = Fraction(0), []
    for length in map(Fraction, thirds):
        notes.append(LickNote(at, length, 64, 1, 0))
        at += length
    tree = mei(Lick("", 100, Meter(), STANDARD, tuple(notes)))
    assert [(t["num"], t["numbase"]) for t in found(tree, "tuplet")] == [("3", "2")] * 2
    beamed = [[n.get(ID) for n in beam] for beam in tree.iter(f"{NAMESPACE}beam")]
    assert beamed == [["v1-0", "v1-1", "v1-2"], ["v1-6", "v1-7", "v1-8"]]


@pytest.mark.parametrize(
    ("meter", "pickup", "groups"),
    [
        (Meter(7, 8), "0", [2, 2, 3, 2, 2, 3]),
        (Meter(5, 8), "0", [2, 3, 2, 3, 2, 2]),
        (Meter(6, 8), "0", [3, 3, 3, 3, 2]),
        (Meter(3, 8), "0", [3, 3, 3, 3, 2]),
        (Meter(4, 4), "3/2", [2, 2, 2, 2, 2, 2]),
        (Meter(7, 8), "1/2", [2, 2, 3, 2, 2, 2]),
    ],
    ids=str,
)
def test_eighths_are_beamed_by_beats(
    meter: Meter, pickup: str, groups: list[int]
) -> None:
    """Common practice: in threes in 6/8, the longer group last in 5/8 and 7/8."""
    eighths = of_pitches(*[64] * 14, beats="1/2", meter=meter)
    lick = replace(eighths, pickup_beats=Fraction(pickup))
    found_groups = [len(group) for bar in bars_of(lick) for group in beamed(bar, lick)]
    assert found_groups == groups


def test_slurs_dead_notes_and_the_clef() -> None:
    """Slurred notes are joined, muted ones crosses; a bass has its own clef."""
    notes = (
        LickNote(Fraction(0), Fraction(1), 45, 1, 2),
        LickNote(Fraction(1), Fraction(1), 47, 1, 4, Articulation.HAMMER_ON),
        LickNote(Fraction(2), Fraction(1), 43, 1, 0, Articulation.DEAD),
    )
    tree = mei(Lick("", 100, Meter(), Tuning((43, 38, 33, 28)), notes))
    assert found(tree, "slur") == [{"startid": "#v1-0", "endid": "#v1-1"}]
    assert [n.get("head.shape") for n in found(tree, "note")] == [None, None, "x"]
    (staff,) = found(tree, "staffDef")
    assert (staff["clef.shape"], staff["clef.dis"]) == ("F", "8")


@pytest.mark.parametrize("width", WIDTHS_PT)
@pytest.mark.parametrize("path", REFERENCES, ids=lambda path: path.stem)
def test_the_tab_stands_under_the_staff(path: Path, width: float) -> None:
    """Every fret under its head: the same places drawn, rising, inside the width."""
    pytest.importorskip("verovio")
    lick = licks.read(path)
    for picture in systems(lick, width, staff=True):
        places = [picture.x_of_note(k) for k in picture.notes]
        assert all(a < b for a, b in pairwise(places))
        assert picture.bar_lines[0] < places[0]
        assert places[-1] < picture.bar_lines[-1] <= width + PAGE_UNIT_PT
        tree = ET.fromstring(picture.svg)
        frets = {float(e.get("x", "")) for e in tree.iter("text") if e.text}
        assert all(
            min(abs(x - fret) for fret in frets) < ALIGNED_PT
            for k, x in zip(picture.notes, places, strict=True)
            if lick.notes[k].articulation is not Articulation.DEAD
        )
        scale = float(re.findall(r"scale\((0\.\d+)\) translate", picture.svg)[0])
        heads = [
            20 + scale * float(e.get("transform", "").split("(")[1].split()[0])
            for e in tree.iter("path")
            if "scale(.72" in e.get("transform", "")
        ]
        for x in places:
            # the left edge of a head lies half a head before its middle
            assert min(abs(x - 106 * scale - head) for head in heads) < ALIGNED_PT


def test_many_staves_fit_on_one_page() -> None:
    """No names that could be there twice, no style, nothing that is linked to."""
    pytest.importorskip("verovio")
    (page,) = pages(licks.read(REFERENCES[0]), staff=True)
    tree = ET.fromstring(page)
    for drawn in tree.iter():
        assert not {"id", "style", "href"} & set(drawn.keys())
        assert not drawn.tag.endswith(("style", "use", "defs"))
    (plain,) = pages(licks.read(REFERENCES[0]))
    assert len(page) > len(plain)


@pytest.mark.parametrize("command", ["print", "handout"])
def test_a_staff_without_verovio_is_refused_with_the_remedy(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, command: str
) -> None:
    """The extra is named, nothing is written."""
    monkeypatch.setattr("assessor.cli.lick.paper.find_spec", lambda name: None)
    given = REFERENCES[0]
    out = tmp_path / {"print": "a.svg", "handout": "a.html"}[command]
    words = ["lick", command, str(given), "-o", str(out), "--staff"]
    done = CliRunner().invoke(main, words)
    assert done.exit_code == 2
    assert "assessor[staff]" in done.output
    assert not out.exists()


@pytest.mark.parametrize("suffix", ["svg", "pdf", "png"])
def test_print_with_a_staff(tmp_path: Path, suffix: str) -> None:
    """Every format, one file."""
    pytest.importorskip("verovio")
    if suffix != "svg":
        pytest.importorskip("typst")
    out = tmp_path / f"a.{suffix}"
    words = ["lick", "print", str(REFERENCES[2]), "-o", str(out), "--staff"]
    done = CliRunner().invoke(main, words)
    assert done.exit_code == 0, done.output
    assert out.stat().st_size > 5000
