"""MusicXML: compressed files are unpacked, broken ones are named.

Facts come from the MusicXML 4.0 schema and reference pages (W3C, June 2021).
"""

from __future__ import annotations

import contextlib
import io
import zipfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from musicxml_pieces import (
    START,
    A,
    B,
    note,
    read,
    rest,
    score,
    stop,
    technical,
)

from assessor.errors import LickError, UnsupportedNotation
from assessor.lick import musicxml

# --- refusals -------------------------------------------------------------------

CHORD = note() + note("E4", place="2 5", extra="<chord/>")
TWO_VOICES = (
    note(beats="4")
    + "<backup><duration>24</duration></backup>"
    + note("E4", place="2 5")
)


@pytest.mark.parametrize(
    ("inside", "message"),
    [
        (CHORD, "a chord"),
        (TWO_VOICES, "A4 and E4 sound together"),
        (note(notations=technical("<harmonic><natural/></harmonic>")), "harmonic"),
        (note().replace("<alter>0<", "<alter>0.5<"), "between the semitones"),
        ('<sound dacapo="yes"/>' + note(), "a jump"),
        (
            '<attributes><measure-style><measure-repeat type="start">1</measure-repeat>'
            "</measure-style></attributes>",
            "write the notes out",
        ),
        (
            "<attributes><staff-details><capo>2</capo></staff-details></attributes>"
            + note(),
            "another tuning or capo",
        ),
    ],
)
def test_more_than_a_guitar_line(inside: str, message: str) -> None:
    """Well formed, but refused, with the measure."""
    with pytest.raises(UnsupportedNotation, match=message) as caught:
        read(A, inside)
    assert caught.value.measure == "2"
    assert caught.value.path == "phrase.musicxml"


@pytest.mark.parametrize(
    ("inside", "message"),
    [
        (note().replace("<duration>12</duration>", ""), "lacks its <duration>"),
        (note().replace(">12<", ">0<"), "not above zero"),
        (note().replace(">12<", ">1e9<"), "'1e9' instead of a number"),
        (note().replace(">12<", ">999999999<"), "over 10000 bars of 4/4"),
        (note().replace("<step>A", "<step>H"), "no note name"),
        (note("A4", place="7 5"), "string 7 of an instrument with 6 strings"),
        (note("A4", place="1 99"), "a whole number from 0 to 36"),
        (note("C1", place=None), "no string of E2 A2 D3 G3 B3 E4 reaches C1"),
        (note("G9", place=None).replace(">9<", ">10<"), "a whole number from -1 to 9"),
        ('<sound tempo="0.5"/>' + note(), "a tempo of 0.5; 5 to 1000"),
        ('<sound tempo="fast"/>' + note(), "a tempo of 'fast'"),
        (
            "<attributes><divisions>0</divisions></attributes>" + note(),
            "not above zero",
        ),
        (note(notations=technical("<bend/>")), "lacks its <bend-alter>"),
        (stop('times="many"'), "times='many'"),
        (
            "<attributes><time><beats>x</beats><beat-type>4</beat-type></time></attributes>",
            "'x' instead of a count",
        ),
    ],
)
def test_broken_measures(inside: str, message: str) -> None:
    """The message says what was found; the error names the measure."""
    with pytest.raises(LickError, match=message) as caught:
        read(A, inside)
    assert caught.value.measure == "2"


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (b"", "not well-formed"),
        (b"title: a lick", "not well-formed"),
        (b"<score-partwise><part></score-partwise>", "not well-formed"),
        (b"<html/>", "<html> instead of <score-partwise>"),
        (b"<score-partwise/>", "no pitched notes"),
        (score(rest("4")), "no pitched notes"),
        (b"PK\x03\x04 and no more", "cannot be unpacked"),
        (score(note(), attributes=""), "before the first <divisions>"),
    ],
)
def test_broken_files(data: bytes, message: str) -> None:
    """Not XML, not MusicXML, nothing in it."""
    with pytest.raises(LickError, match=message):
        musicxml.read(data, "broken.xml")


def test_malformed_xml_has_line_and_column() -> None:
    """Where the parser stumbled."""
    with pytest.raises(LickError, match=r"bad\.xml, line 2, column \d+") as caught:
        musicxml.read(b"<score-partwise>\n<part></score-partwise>", "bad.xml")
    assert caught.value.line == 2


def test_external_entities_are_never_loaded(tmp_path: Path) -> None:
    """A file named in an entity does not reach the lick."""
    secret = tmp_path / "secret.txt"
    secret.write_text("seen")
    doctype = f'<!DOCTYPE x [<!ENTITY e SYSTEM "{secret.as_uri()}">]><score-partwise'
    work = "<work><work-title>a&e;b</work-title></work>"
    data = score(note(), head=work).replace(b"<score-partwise", doctype.encode(), 1)
    assert "seen" not in musicxml.read(data, "phrase.xml").title


def test_entities_are_not_expanded() -> None:
    """Entities that multiply cost nothing."""
    entities = '<!ENTITY a "lol">' + "".join(
        f'<!ENTITY {new} "{f"&{old};" * 10}">'
        for old, new in zip("abcdefgh", "bcdefghi", strict=True)
    )
    doctype = f"<!DOCTYPE x [{entities}]><score-partwise"
    work = "<work><work-title>&i;</work-title></work>"
    data = score(note(), head=work).replace(b"<score-partwise", doctype.encode(), 1)
    try:
        title = musicxml.read(data, "phrase.xml").title
    except LickError:  # newer parsers refuse it outright
        return
    assert title == "phrase"


# --- compressed -----------------------------------------------------------------

CONTAINER = (
    '<container><rootfiles><rootfile full-path="inner/music.xml"/>'
    "</rootfiles></container>"
)


def packed(container: str = CONTAINER, data: bytes = b"") -> bytes:
    """A compressed file."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("META-INF/container.xml", container)
        archive.writestr("inner/music.xml", data or score(A))
    return buffer.getvalue()


def test_compressed() -> None:
    """The container says where the music is."""
    assert musicxml.read(packed(), "phrase.mxl") == read(A)


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (packed("<container/>"), "names no score"),
        (packed(CONTAINER.replace("music", "other")), "cannot be unpacked"),
        (packed()[:-30], "cannot be unpacked"),
        (packed(data=b" " * (32 * 2**20 + 1)), "over 32 MiB"),
    ],
)
def test_broken_compressed_files(data: bytes, message: str) -> None:
    """No score, a wrong name, cut short, and one that unpacks to too much."""
    with pytest.raises(LickError, match=message):
        musicxml.read(data, "phrase.mxl")


# --- whatever comes -------------------------------------------------------------

SEEDS = (score(START + A + CHORD.replace("<chord/>", ""), B + stop()), packed())


@settings(max_examples=300, deadline=None)
@given(data=st.data())
def test_only_lick_errors_come_out(data: st.DataObject) -> None:
    """Files cut short, with bytes changed, or with pieces moved: read or refused."""
    seed = bytearray(data.draw(st.sampled_from(SEEDS)))
    for _ in range(data.draw(st.integers(0, 4))):
        place = data.draw(st.integers(0, len(seed) - 1))
        length = data.draw(st.integers(0, 40))
        seed[place : place + length] = data.draw(st.binary(max_size=8))
        seed = seed or bytearray(b" ")
    with contextlib.suppress(LickError):
        musicxml.read(bytes(seed), "mutated.xml")


TEXTS = ["", "0", "-1", "999999999", "0.5", "x", "99", "start", "&amp;", "1,2"]


@settings(max_examples=300, deadline=None)
@given(data=st.data())
def test_wrong_values_are_refused_or_read(data: st.DataObject) -> None:
    """Well-formed files with any text or attribute replaced."""
    text = SEEDS[0].decode()
    pieces = text.split("<")
    for _ in range(data.draw(st.integers(1, 3))):
        place = data.draw(st.integers(2, len(pieces) - 1))
        tag, _, _ = pieces[place].partition(">")
        value = data.draw(st.sampled_from(TEXTS))
        if '"' in tag and data.draw(st.booleans()):
            name, _, rest_ = tag.partition('"')
            tag = f'{name}"{value}"{rest_.partition(chr(34))[2]}'
            pieces[place] = f"{tag}>"
        else:
            pieces[place] = f"{tag}>{value}"
    with contextlib.suppress(LickError):
        musicxml.read("<".join(pieces).encode(), "mutated.xml")


def test_a_long_file_is_read_in_time() -> None:
    """A thousand bars: no step grows with the square of the length."""
    lick = read(*[note(place=None) * 4] * 1000)
    assert len(lick) == 4000
