"""Licks: what should be played, and the files it is written in.

`read` takes any of them: a lick sheet (``.lick``), MusicXML (``.musicxml``, ``.xml``,
compressed ``.mxl``) or a Standard MIDI File (``.mid``, ``.midi``).
"""

from __future__ import annotations

import os
from pathlib import Path

from assessor.errors import LickError
from assessor.lick.notation import (
    Articulation,
    Bend,
    BendKind,
    Lick,
    LickNote,
    Meter,
    Parent,
    SlideEdge,
    Stroke,
    TempoChange,
)

__all__ = [
    "Articulation",
    "Bend",
    "BendKind",
    "Lick",
    "LickNote",
    "Meter",
    "Parent",
    "SlideEdge",
    "Stroke",
    "TempoChange",
    "read",
]

SHEET_SUFFIXES = (".lick",)
MUSICXML_SUFFIXES = (".musicxml", ".xml", ".mxl")
MIDI_SUFFIXES = (".mid", ".midi")


def read(path: str | Path) -> Lick:
    """Lick from a file; the name's ending tells the format.

    Parameters
    ----------
    path : str or Path
        A ``.lick``, ``.musicxml``, ``.xml``, ``.mxl``, ``.mid`` or ``.midi`` file.

    Returns
    -------
    Lick

    Raises
    ------
    LickError
        When there is no such file, it cannot be opened, its ending is none of
        these, it is empty, or it is no lick; with the place where there is one.
    UnsupportedNotation
        When the file holds more than a single guitar line.
    """
    name = str(path)
    suffix = Path(path).suffix.lower()
    if os.path.isdir(path):  # unlike Path.is_dir, quiet about impossible names
        message = "this is a folder; name the lick file in it"
        raise LickError(message, name)
    known = (*SHEET_SUFFIXES, *MUSICXML_SUFFIXES, *MIDI_SUFFIXES)
    if suffix not in known:
        message = (
            f"the ending {suffix!r} is not that of a lick; known are {', '.join(known)}"
        )
        raise LickError(message, name)
    data = _bytes_of(path)
    # Imported here: who reads a sheet need not wait for an XML or MIDI library.
    if suffix in MUSICXML_SUFFIXES:
        from assessor.lick import musicxml

        return musicxml.read(data, name)
    if suffix in MIDI_SUFFIXES:
        from assessor.lick import midi

        return midi.read(data, name)
    from assessor.lick import sheet

    return sheet.read(_text_of(data, name), name)


def _bytes_of(path: str | Path) -> bytes:
    """Content of a file that is there, can be opened and is not empty."""
    try:
        data = Path(path).read_bytes()
    except FileNotFoundError as problem:
        message = "there is no such file; check the name"
        raise LickError(message, str(path)) from problem
    except OSError as problem:
        message = f"the file cannot be opened: {problem.strerror}"
        raise LickError(message, str(path)) from problem
    if not data.strip():
        message = "the file is empty"
        raise LickError(message, str(path))
    return data


def _text_of(data: bytes, path: str) -> str:
    """Text of a lick sheet, which is UTF-8."""
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as problem:
        before = data[: problem.start]
        message = (
            f"byte 0x{data[problem.start]:02x} at offset {problem.start} is no UTF-8 "
            "text; save the sheet as UTF-8"
        )
        raise LickError(message, path, line=before.count(b"\n") + 1) from problem
