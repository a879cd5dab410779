"""`lick.read`: which file is which, and files that are none."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import pytest

from assessor import lick
from assessor.errors import LickError
from assessor.lick import musicxml, sheet

SHEET = """tempo: 90

   q
e|---|
B|-5-|
G|---|
D|---|
A|---|
E|---|
"""


@pytest.mark.parametrize("name", ["a.lick", "A.LICK", "two.dots.lick"])
def test_a_lick_sheet_is_known_by_its_ending(tmp_path: Path, name: str) -> None:
    """Upper or lower case, path or text."""
    path = tmp_path / name
    path.write_text(SHEET)
    assert lick.read(path) == lick.read(str(path)) == sheet.read(SHEET, str(path))


def test_a_sheet_with_a_byte_order_mark(tmp_path: Path) -> None:
    """As some editors save it."""
    path = tmp_path / "a.lick"
    path.write_bytes(SHEET.encode("utf-8-sig"))
    assert len(lick.read(path)) == 1


@pytest.mark.parametrize("name", ["a.musicxml", "a.xml"])
def test_notation_files_go_to_their_reader(tmp_path: Path, name: str) -> None:
    """A sheet written as MusicXML is the same lick."""
    one = sheet.read(SHEET, "a.lick")
    path = tmp_path / name
    text = musicxml.write(one)
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    assert lick.read(path).notes == one.notes


@pytest.mark.parametrize("name", ["a.mid", "A.MIDI"])
def test_midi_files_go_to_their_reader(
    tmp_path: Path, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Bytes and name are handed on as they are."""
    path = tmp_path / name
    path.write_bytes(b"MThd")
    reader = SimpleNamespace(read=lambda data, name: (data, name))
    monkeypatch.setattr(lick, "midi", reader, raising=False)
    assert lick.read(path) == (b"MThd", str(path))


@pytest.mark.parametrize(
    ("name", "data", "message"),
    [
        ("a.lick", None, "there is no such file"),
        ("a.txt", b"x", "the ending '.txt' is not that of a lick; known are .lick"),
        ("lick", b"x", "the ending '' is not that of a lick"),
        ("a.lick", b"", "the file is empty"),
        ("a.lick", b" \n\n", "the file is empty"),
        ("a.lick", b"tempo: 90\ntitle: caf\xe9\n", "line 2: byte 0xe9 at offset 20"),
        ("a.lick", b"\xff\xfet\x00", "byte 0xff at offset 0"),
    ],
)
def test_files_that_are_no_lick(
    tmp_path: Path, name: str, data: bytes | None, message: str
) -> None:
    """Each says what is wrong, with the name as the user gave it."""
    path = tmp_path / name
    if data is not None:
        path.write_bytes(data)
    with pytest.raises(LickError, match=message) as caught:
        lick.read(path)
    assert caught.value.path == str(path)


def test_a_folder_is_no_lick(tmp_path: Path) -> None:
    """Even one with a lick's ending."""
    folder = tmp_path / "a.lick"
    folder.mkdir()
    with pytest.raises(LickError, match="this is a folder"):
        lick.read(folder)


def test_a_file_that_cannot_be_opened() -> None:
    """Says the system's reason."""
    with pytest.raises(LickError, match="cannot be opened: File name too long"):
        lick.read("a" * 300 + ".lick")
