"""Licks from one format to another: nothing lost that is not listed."""

from __future__ import annotations

import io
import zipfile
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import mido
import pytest
import test_musicxml_write
import test_sheet_writing
from click.testing import CliRunner, Result
from hypothesis import given, settings
from lxml import etree
from test_musicxml_write import schema, validate

from assessor import lick
from assessor.cli import main
from assessor.errors import LickError
from assessor.lick import Lick, LickNote, Meter, Parent, midi
from assessor.lick.conversion import SUFFIXES, convert, losses
from assessor.lick.digest import digest_of
from assessor.tuning import STANDARD, Tuning

__all__ = ["schema"]  # a fixture

REFERENCES = sorted((Path(__file__).parents[1] / "references").glob("*.lick"))
NOTE = LickNote(Fraction(0), Fraction(1), 69, 1, 5)
PLAIN = Lick("Plain", 90.0, Meter(), STANDARD, (NOTE,))


def run(*words: object) -> Result:
    """Return what a command printed and its exit code."""
    return CliRunner().invoke(main, ["lick", "convert", *map(str, words)])


# ------------------------------------------------------------- there and back


@pytest.mark.parametrize("suffix", [".lick", ".musicxml", ".xml", ".mxl"])
@pytest.mark.parametrize("path", REFERENCES, ids=lambda path: path.stem)
def test_shipped_licks_lose_nothing(path: Path, suffix: str, tmp_path: Path) -> None:
    """Through a file and back, and nothing is listed."""
    one = lick.read(path)
    converted = convert(one, suffix, f"out{suffix}")
    assert converted.lost == ()
    out = tmp_path / f"out{suffix}"
    out.write_bytes(converted.data)
    assert lick.read(out) == one


@settings(max_examples=60, deadline=None)
@given(test_musicxml_write.licks())
def test_musicxml_holds_any_lick(one: Lick) -> None:
    """Compressed, with nothing lost."""
    assert convert(one, ".mxl", "out.mxl").lost == ()


@settings(max_examples=60, deadline=None)
@given(test_sheet_writing.licks().filter(lambda one: one.title))
def test_a_sheet_holds_any_lick_of_a_guitar(one: Lick) -> None:
    """With nothing lost."""
    assert convert(one, ".lick", "out.lick").lost == ()


@pytest.mark.parametrize("path", REFERENCES, ids=lambda path: path.stem)
def test_midi_keeps_pitch_bends_and_header(path: Path) -> None:
    """What is listed as lost is lost, and nothing else: the rest is equal."""
    one = lick.read(path)
    converted = convert(one, ".mid", "out.mid")
    back = midi.read(converted.data, "out.mid")
    for field in ("tuning", "capo", "pickup_beats", "trains", "meter", "title"):
        assert getattr(back, field) == getattr(one, field)
    assert [n.midi_number for n in back.notes] == [n.midi_number for n in one.notes]
    for name, field in (("bend", "bend"), ("vibrato", "vibrato")):
        listed = any(line.startswith(name) for line in converted.lost)
        same = [getattr(n, field) for n in one.notes] == [
            getattr(n, field) for n in back.notes
        ]
        assert listed is not same


def test_midi_says_what_it_cannot_hold() -> None:
    """Slurs, let ring, fingers, strokes, swing."""
    path = next(p for p in REFERENCES if p.stem == "diminished-cell-by-minor-thirds")
    one = replace(lick.read(path), swing=1.5)
    lost = convert(one, ".mid", "out.mid").lost
    assert "feel: swing 1.5:1 comes back as straight" in lost
    assert "fretting finger: 29 of 29 notes (measures 1, 2)" in lost
    assert any(line.startswith("when it starts") for line in lost)


def test_midi_words_are_text_events() -> None:
    """FF 01 in Standard MIDI Files 1.0: text, readable by anything."""
    one = replace(PLAIN, trains="reach", tuning=Tuning((64, 59, 55, 50, 45, 38)))
    data = convert(one, ".mid", "out.mid").data
    assert b"\xff\x01\x0dtrains: reach" in data
    texts = [m.text for m in mido.MidiFile(file=io.BytesIO(data)) if m.type == "text"]
    assert texts == ["tuning: D2 A2 D3 G3 B3 E4", "trains: reach"]


def test_midi_keeps_the_parent_of_a_drill() -> None:
    """Title, digest, form and notes."""
    parent = Parent("Parent", digest_of(PLAIN), "one note alone", (7,))
    drill = replace(PLAIN, parent=parent)
    assert midi.read(midi.write(drill), "out.mid").parent == parent


@pytest.mark.parametrize(
    "text", ["tuning: low", "capo: 99", "pickup: 4", "pickup: 0", "parent: P", "a: b"]
)
def test_words_of_other_programs_are_passed_over(text: str) -> None:
    """A text event that only looks like one of ours."""
    file = mido.MidiFile(file=io.BytesIO(midi.write(PLAIN)))
    file.tracks[0].insert(0, mido.MetaMessage("text", text=text))
    buffer = io.BytesIO()
    file.save(file=buffer)
    assert midi.read(buffer.getvalue(), "out.mid").tuning == STANDARD


@pytest.mark.parametrize(
    ("lowest", "tuning"),
    [
        (40, "E2 A2 D3 G3 B3 E4"),
        (38, "D2 A2 D3 G3 B3 E4"),
        (37, "C#2 F#2 B2 E3 G#3 C#4"),
        (28, "E1 A1 D2 G2 B2 E3"),
    ],
)
def test_a_midi_file_of_a_lowered_guitar(lowest: int, tuning: str) -> None:
    """Without a word on its tuning the lowest note tells it."""
    deep = replace(PLAIN, notes=(replace(NOTE, midi_number=lowest, string=6, fret=0),))
    back = midi.read(midi.write(deep), "out.mid")
    assert str(back.tuning) == tuning
    assert any("guessed" in notice for notice in back.notices) is (lowest < 40)


# ------------------------------------------------------------------- the files


@pytest.mark.parametrize("path", REFERENCES, ids=lambda path: path.stem)
def test_written_musicxml_is_valid(schema: etree.XMLSchema, path: Path) -> None:
    """Against W3C's schema, compressed or not; the parent of a drill too."""
    one = lick.read(path)
    parent = Parent(one.title, digest_of(one), "as it is", tuple(range(len(one))))
    one = replace(one, parent=parent)
    plain = convert(one, ".musicxml", "out.musicxml").data
    validate(schema, plain)
    with zipfile.ZipFile(io.BytesIO(convert(one, ".mxl", "out.mxl").data)) as archive:
        assert archive.read("lick.musicxml") == plain


def test_a_compressed_file_is_built_as_the_format_says() -> None:
    """W3C: mimetype first and not compressed; container.xml names the score."""
    data = convert(PLAIN, ".mxl", "out.mxl").data
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        first = archive.infolist()[0]
        assert (first.filename, first.compress_type) == ("mimetype", zipfile.ZIP_STORED)
        assert archive.read(first) == b"application/vnd.recordare.musicxml"
        root = etree.fromstring(archive.read("META-INF/container.xml"))
    assert root.tag == "container"
    assert root.find("rootfiles/rootfile").get("full-path") == "lick.musicxml"  # type: ignore[union-attr]
    assert data == convert(PLAIN, ".mxl", "out.mxl").data


@pytest.mark.parametrize(
    ("one", "suffix", "message"),
    [
        (replace(PLAIN, tempo_bpm=700.0), ".lick", "from 10 to 600"),
        (replace(PLAIN, meter=Meter(3, 64)), ".lick", "a time signature"),
        (replace(PLAIN, notes=(replace(NOTE, midi_number=70),)), ".lick", "MIDI 69"),
        (replace(PLAIN, notes=(replace(NOTE, midi_number=130),)), ".mid", "0..127"),
        (replace(PLAIN, tempo_bpm=2.0), ".mid", "5 to 1000 quarter notes"),
    ],
)
def test_what_a_format_cannot_hold_is_refused(
    one: Lick, suffix: str, message: str
) -> None:
    """With the reason and what to do."""
    with pytest.raises(LickError, match=message) as caught:
        convert(one, suffix, f"out{suffix}")
    assert f"{suffix} cannot hold this lick" in caught.value.message
    assert caught.value.path == f"out{suffix}"


def test_losses_counts_notes() -> None:
    """A note more or less is said before anything else of the notes."""
    more = replace(PLAIN, notes=(NOTE, replace(NOTE, onset_beats=Fraction(1))))
    assert losses(more, PLAIN) == ("2 notes come back as 1",)


# ------------------------------------------------------------ as a person uses it


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_a_file_of_every_ending(tmp_path: Path, suffix: str) -> None:
    """It is written, and can be read."""
    out = tmp_path / f"out{suffix}"
    done = run(REFERENCES[0], "-o", out)
    assert done.exit_code == 0, done.output
    assert len(lick.read(out)) == len(lick.read(REFERENCES[0]))
    assert ("not in" in done.output) is (suffix in (".mid", ".midi"))


def test_what_the_reader_left_out_is_said(tmp_path: Path) -> None:
    """A MIDI file names no strings: said when it becomes a sheet."""
    assert run(REFERENCES[0], "-o", tmp_path / "a.mid").exit_code == 0
    done = run(tmp_path / "a.mid", "-o", tmp_path / "a.lick")
    assert done.exit_code == 0
    assert "a MIDI file names none" in done.output


def test_nothing_is_written_over_without_asking(tmp_path: Path) -> None:
    """Unless --force says so."""
    out = tmp_path / "mine.lick"
    out.write_text("precious")
    done = run(REFERENCES[0], "-o", out)
    assert (done.exit_code, out.read_text()) == (2, "precious")
    assert "--force" in done.output
    assert run(REFERENCES[0], "-o", out, "--force").exit_code == 0
    assert lick.read(out) == lick.read(REFERENCES[0])


@pytest.mark.parametrize(
    ("words", "code", "message"),
    [
        (["{sheet}", "-o", "{tmp}/a.doc"], 2, "known are .lick, .musicxml"),
        (["{sheet}", "-o", "{tmp}/no/a.lick"], 2, "there is no folder"),
        (["{sheet}", "-o", "{tmp}"], 2, "that is a folder"),
        (["{sheet}"], 2, "Missing option '-o'"),
        (["{tmp}/none.lick", "-o", "{tmp}/a.mid"], 3, "no such file"),
        (["{tmp}", "-o", "{tmp}/a.mid"], 3, "this is a folder"),
    ],
)
def test_wrong_words(tmp_path: Path, words: list[str], code: int, message: str) -> None:
    """The reason and the remedy, and nothing is written."""
    places = {"sheet": str(REFERENCES[0]), "tmp": str(tmp_path)}
    done = run(*(word.format(**places) for word in words))
    assert done.exit_code == code
    assert message in " ".join(done.output.split())
    assert list(tmp_path.iterdir()) == []


def test_nothing_is_half_written(tmp_path: Path) -> None:
    """A file that no sheet can hold leaves no file behind."""
    fast = tmp_path / "fast.mid"
    fast.write_bytes(midi.write(replace(PLAIN, tempo_bpm=700.0)))
    done = run(fast, "-o", tmp_path / "fast.lick")
    assert done.exit_code == 3
    assert ".lick cannot hold this lick" in done.output
    assert [path.name for path in tmp_path.iterdir()] == ["fast.mid"]


def test_one_note_is_said_so(tmp_path: Path) -> None:
    """No plural for a lick of a single note."""
    sheet = tmp_path / "one.lick"
    sheet.write_text(test_sheet_writing.write(PLAIN))
    told = run(sheet, "-o", tmp_path / "one.musicxml").output
    assert told.endswith("one.musicxml: Plain, 1 note\n")
