"""MusicXML: what is written is valid, and reads back the same."""

from __future__ import annotations

from fractions import Fraction
from importlib.util import find_spec
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree

from assessor.lick import musicxml
from assessor.lick.notation import (
    Articulation,
    Bend,
    BendKind,
    Lick,
    LickNote,
    Meter,
    SlideEdge,
    Stroke,
    TempoChange,
)
from assessor.tuning import STANDARD, Tuning

# The schema imports these two over the network; it uses seven attributes of them.
XML_XSD = """<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema"
    targetNamespace="http://www.w3.org/XML/1998/namespace">
  <xs:attribute name="lang" type="xs:language"/>
  <xs:attribute name="space" type="xs:NCName"/>
</xs:schema>"""
XLINK_XSD = """<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema"
    targetNamespace="http://www.w3.org/1999/xlink">
  <xs:attribute name="href" type="xs:anyURI"/>
  <xs:attribute name="type" type="xs:NMTOKEN"/>
  <xs:attribute name="role" type="xs:token"/>
  <xs:attribute name="title" type="xs:token"/>
  <xs:attribute name="show" type="xs:NMTOKEN"/>
  <xs:attribute name="actuate" type="xs:NMTOKEN"/>
</xs:schema>"""


@pytest.fixture(scope="module")
def schema(tmp_path_factory: pytest.TempPathFactory) -> etree.XMLSchema:
    """W3C's MusicXML 4.0 schema, from the ``musicxml`` package's data, offline."""
    package = find_spec("musicxml")
    assert package is not None
    assert package.submodule_search_locations is not None
    root = Path(package.submodule_search_locations[0])
    text = (root / "generate_classes" / "musicxml_4_0.xsd").read_text("utf-8")
    assert "Version 4.0" in text[:500]
    folder = tmp_path_factory.mktemp("schema")
    (folder / "xml.xsd").write_text(XML_XSD)
    (folder / "xlink.xsd").write_text(XLINK_XSD)
    local = text.replace("http://www.musicxml.org/xsd/", "")
    (folder / "musicxml.xsd").write_text(local, "utf-8")
    return etree.XMLSchema(etree.parse(str(folder / "musicxml.xsd")))


def validate(schema: etree.XMLSchema, data: bytes) -> None:
    """Raise what the schema finds wrong."""
    schema.assertValid(etree.fromstring(data))


def with_notes(*notes: LickNote, **fields: object) -> Lick:
    """A lick with these notes."""
    known = {"title": "phrase", "tempo_bpm": 90.0, "meter": Meter(), "tuning": STANDARD}
    return Lick(notes=notes, **(known | fields))  # type: ignore[arg-type]


def one(**fields: object) -> Lick:
    """A lick of two notes, the second with these fields."""
    before = LickNote(Fraction(0), Fraction(1), 67, 1, 3)
    known = {"midi_number": 69, "string": 1, "fret": 5}
    after = LickNote(Fraction(1), Fraction(1), **(known | fields))  # type: ignore[arg-type]
    return with_notes(before, after)


def test_the_schema_refuses_what_is_wrong(schema: etree.XMLSchema) -> None:
    """The check can fail: two elements of a note in the wrong order."""
    data = musicxml.write(one()).replace(b"<voice>1</voice>", b"", 1)
    validate(schema, data)
    with pytest.raises(etree.DocumentInvalid):
        validate(schema, data.replace(b"<pitch>", b"<voice>1</voice><pitch>", 1))


@pytest.mark.parametrize(
    "lick",
    [
        one(),
        *(one(articulation=Articulation(a)) for a in ("hammer_on", "slide", "dead")),
        *(one(bend=Bend(kind, 150.0)) for kind in BendKind),
        *(one(slide_in=edge) for edge in (SlideEdge.FROM_BELOW, SlideEdge.FROM_ABOVE)),
        *(one(slide_out=edge) for edge in (SlideEdge.UP, SlideEdge.DOWN)),
        *(one(stroke=stroke) for stroke in Stroke),
        *(one(finger=finger) for finger in range(5)),
        one(vibrato=True, let_ring=True),
        with_notes(*one().notes, pickup_beats=Fraction(1), swing=5 / 3, trains="skips"),
        with_notes(
            *one().notes,
            tempo_changes=(
                TempoChange(Fraction(1, 3), 99.5),
                TempoChange(Fraction(1), 60.0),
            ),
        ),
        with_notes(*one().notes, capo=2, tuning=Tuning((62, 57, 54, 50, 45, 38, 33))),
        with_notes(*one().notes, meter=Meter(7, 8), title="a < b & 'c' \x07"),
        with_notes(LickNote(Fraction(1, 7), Fraction(1, 1000), 69, 1, 5)),
        with_notes(LickNote(Fraction(31, 8), Fraction(22, 3), 69, 1, 5, vibrato=True)),
    ],
)
def test_written_files_are_valid(schema: etree.XMLSchema, lick: Lick) -> None:
    """Every sign, against the schema."""
    validate(schema, musicxml.write(lick))


def test_a_release_is_negative() -> None:
    """Schema: "a release after a bend has a negative bend-alter value, not a zero"."""
    data = musicxml.write(one(bend=Bend(BendKind.BEND_RELEASE, 150.0)))
    alters = etree.fromstring(data).findall(".//bend/bend-alter")
    assert [alter.text for alter in alters] == ["1.5", "-1.5"]


def test_notes_are_drawn_in_values_and_tied() -> None:
    """Two and a half beats: a half tied to an eighth; a triplet eighth as 3 in 2."""
    root = etree.fromstring(
        musicxml.write(
            with_notes(
                LickNote(Fraction(0), Fraction(5, 2), 69, 1, 5),
                LickNote(Fraction(5, 2), Fraction(1, 3), 69, 1, 5),
            )
        )
    )
    drawn = [
        (
            note.findtext("type"),
            note.findtext("time-modification/actual-notes"),
            [tie.get("type") for tie in note.findall("tie")],
        )
        for note in root.iter("note")
        if note.find("pitch") is not None
    ]
    assert drawn == [
        ("half", None, ["start"]),
        ("eighth", None, ["stop"]),
        ("eighth", "3", []),
    ]


def test_signs_stand_where_they_sound() -> None:
    """On a tied note: the bend on its first piece, the fall on its last."""
    bend = Bend(BendKind.BEND, 100.0)
    note = LickNote(
        Fraction(0), Fraction(8), 69, 1, 5, bend=bend, slide_out=SlideEdge.DOWN
    )
    pieces = list(etree.fromstring(musicxml.write(with_notes(note))).iter("note"))
    assert [p.find(".//bend") is not None for p in pieces] == [True, False]
    assert [p.find(".//falloff") is not None for p in pieces] == [False, True]


def test_bars_are_filled() -> None:
    """The durations of each measure add up to the meter, the pickup to its length."""
    notes = (
        LickNote(Fraction(1, 2), Fraction(1), 69, 1, 5),
        LickNote(Fraction(6), Fraction(5, 3), 69, 1, 5),
    )
    lick = with_notes(*notes, meter=Meter(3, 4), pickup_beats=Fraction(1))
    root = etree.fromstring(musicxml.write(lick))
    divisions = int(root.findtext(".//divisions") or 0)
    lengths = [
        sum(int(d.text or 0) for d in measure.iter("duration"))
        for measure in root.iter("measure")
    ]
    assert lengths == [divisions, 3 * divisions, 3 * divisions, 3 * divisions]
    assert [m.get("number") for m in root.iter("measure")] == ["0", "1", "2", "3"]


# --- there and back --------------------------------------------------------------

LENGTHS = st.sampled_from(
    [Fraction(n, d) for d in (1, 2, 3, 4, 5, 6, 7, 8, 12) for n in (1, 2, 3, 5)]
)


@st.composite
def notes(draw: st.DrawFn) -> tuple[LickNote, ...]:
    """A line with rests, slurs that fit their direction, and every other sign."""
    made: list[LickNote] = []
    at = draw(st.sampled_from([Fraction(0), Fraction(1, 2), Fraction(5, 3)]))
    for _ in range(draw(st.integers(1, 8))):
        string, fret = draw(st.integers(1, 6)), draw(st.integers(0, 22))
        allowed = [Articulation.PICK, Articulation.DEAD]
        if bool(made) and draw(st.booleans()):
            string = made[-1].string
            allowed = [Articulation.SLIDE]
            if fret != made[-1].fret:
                up = fret > made[-1].fret
                allowed.append(Articulation.HAMMER_ON if up else Articulation.PULL_OFF)
        articulation = draw(st.sampled_from(allowed))
        plain = articulation is Articulation.DEAD
        length = draw(LENGTHS)
        made.append(
            LickNote(
                onset_beats=at,
                duration_beats=length,
                midi_number=STANDARD.midi_number(string, fret),
                string=string,
                fret=fret,
                articulation=articulation,
                bend=None if plain else draw(BENDS),
                vibrato=not plain and draw(st.booleans()),
                slide_in=draw(edges(SlideEdge.FROM_BELOW, SlideEdge.FROM_ABOVE)),
                slide_out=draw(edges(SlideEdge.UP, SlideEdge.DOWN)),
                let_ring=draw(st.booleans()),
                finger=draw(st.none() | st.integers(0, 4)),
                stroke=draw(st.none() | st.sampled_from(Stroke)),
            )
        )
        at += length + draw(st.sampled_from([Fraction(0), Fraction(1, 3), Fraction(4)]))
    return tuple(made)


def edges(*kinds: SlideEdge) -> st.SearchStrategy[SlideEdge | None]:
    """One of the edges, or none."""
    return st.none() | st.sampled_from(kinds)


BENDS = st.none() | st.builds(
    Bend,
    st.sampled_from(BendKind),
    st.sampled_from([25.0, 33.3, 50.0, 100.0, 150.0, 200.0, 500.0]),
)


@st.composite
def licks(draw: st.DrawFn) -> Lick:
    """Licks of every kind, the fields that depend on each other drawn together."""
    line = draw(notes())
    meter = draw(st.sampled_from([Meter(), Meter(3, 4), Meter(6, 8), Meter(7, 8)]))
    beats = draw(st.sets(st.integers(1, 60).map(lambda n: Fraction(n, 8)), max_size=3))
    tempo_bpm = now = draw(st.floats(20, 300))
    changes = []
    for beat in sorted(b for b in beats if b < line[-1].end_beats):
        faster = draw(st.floats(20, 300))
        if faster != now:
            changes.append(TempoChange(beat, faster))
            now = faster
    return Lick(
        title=draw(st.text("abcäß <&>'\"", min_size=1).map(str.strip).filter(bool)),
        tempo_bpm=tempo_bpm,
        meter=meter,
        tuning=STANDARD,
        notes=line,
        swing=draw(st.sampled_from([None, 1.5, 2.0, 5 / 3, 3.5])),
        tempo_changes=tuple(changes),
        pickup_beats=draw(st.sampled_from([Fraction(0), Fraction(1, 2), Fraction(1)])),
        trains=draw(st.sampled_from(["", "string skips & slurs"])),
    )


@settings(max_examples=200, deadline=None)
@given(licks())
def test_what_is_written_reads_back_the_same(lick: Lick) -> None:
    """Reader of writer is the same lick, without a notice."""
    back = musicxml.read(musicxml.write(lick), "other.xml")
    assert back == lick
    assert back.notices == ()


@settings(max_examples=50, deadline=None)
@given(lick=licks())
def test_every_lick_is_written_valid(schema: etree.XMLSchema, lick: Lick) -> None:
    """Any lick, against the schema."""
    validate(schema, musicxml.write(lick))


@pytest.mark.parametrize(
    "tuning", [(64, 59, 55, 50, 45, 38), (62, 57, 54, 50, 45, 38, 33)]
)
def test_tuning_and_capo_read_back(tuning: tuple[int, ...]) -> None:
    """Seven strings, a lowered string, a capo."""
    strings = Tuning(tuning)
    place = LickNote(Fraction(0), Fraction(1), strings.midi_number(6, 3, 2), 6, 3)
    lick = with_notes(place, tuning=strings, capo=2)
    assert musicxml.read(musicxml.write(lick), "other.xml") == lick
