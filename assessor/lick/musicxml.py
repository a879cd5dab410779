"""MusicXML 4.0: reads a single guitar line, and writes one.

What is read
------------
``.musicxml`` and ``.xml``, or compressed ``.mxl``; partwise or timewise.  Of several
parts the first that names strings and frets is taken, else the first with notes; of
two staves the tablature.  Repeats and endings are played out.  Ties, tuplets, rests,
tempo marks, meter, pickup, swing, tuning, capo, transposition, and the signs listed
in `assessor.lick.musicxml_signs`.

Where string and fret contradict the pitch, string and fret are taken when the file
states its tuning: they say what the hand does.  When it states none, the tuning that
explains every note is taken; when there is none, string and fret in standard tuning.
Notes without string or fret get them from `assessor.lick.fretting`.

Source: MusicXML 4.0 schema and container specification, W3C, June 2021.
"""

from __future__ import annotations

import io
import zipfile
import zlib
from dataclasses import replace
from pathlib import PurePath

from lxml import etree

from assessor.errors import LickError, UnsupportedNotation
from assessor.lick.musicxml_bars import PartReader
from assessor.lick.musicxml_elements import Element, text_of
from assessor.lick.musicxml_line import lick_from
from assessor.lick.musicxml_write import write
from assessor.lick.notation import Lick
from assessor.lick.notices import Notices
from assessor.lick.parentage import parent_from

__all__ = ["read", "write"]

# A thousand pages of notes; a file beyond it is broken or meant to do harm.
MOST_BYTES = 32 * 2**20

_CONTAINER = "META-INF/container.xml"
_ZIP_MAGIC = b"PK\x03\x04"


def read(data: bytes, path: str) -> Lick:
    """Read a lick from the bytes of a MusicXML file.

    Parameters
    ----------
    data : bytes
        The file, compressed or not.
    path : str
        Its name, for messages; the stem is the title when the file has none.

    Returns
    -------
    Lick
        With a notice for everything that was left out or changed.

    Raises
    ------
    LickError
        When the file is no MusicXML, or broken; with the line or the measure.
    UnsupportedNotation
        When it holds a chord, two voices, a jump, or a note without a fretted pitch.
    """
    try:
        return _read(data, path)
    except LickError as error:
        error.path = path
        raise


def _read(data: bytes, path: str) -> Lick:
    """Read, with errors that do not yet know the path."""
    if data.startswith(_ZIP_MAGIC):
        data = _unpacked(data)
    root = _partwise(_parsed(data))
    notices = Notices()
    part = _chosen_part(root, notices)
    reader = PartReader(_chosen_staff(part, notices), notices)
    reader.read(part)
    title = _text_at(root, "work/work-title") or _text_at(root, "movement-title")
    fields = {
        field.get("name", ""): text_of(field)
        for field in root.iterfind("identification/miscellaneous/miscellaneous-field")
    }
    found = lick_from(
        reader,
        notices,
        title=title or PurePath(path).stem,
        trains=fields.get("trains", ""),
    )
    return _with_parent(found, fields)


def _with_parent(lick: Lick, fields: dict[str, str]) -> Lick:
    """Lick with the parent that the file names, or a notice where it makes no sense."""
    try:
        return replace(lick, parent=parent_from(fields, len(lick)))
    except ValueError as problem:
        notice = f"the parent of this drill is left out: {problem}"
        return replace(lick, notices=(*lick.notices, notice))


def _text_at(root: Element, path: str) -> str:
    """Text at a path, empty when there is none."""
    found = root.find(path)
    return "" if found is None else text_of(found)


def _unpacked(data: bytes) -> bytes:
    """Score of a compressed file, found through its container."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            container = _parsed(_member(archive, _CONTAINER))
            rootfile = container.find("{*}rootfiles/{*}rootfile")
            name = None if rootfile is None else rootfile.get("full-path")
            if not name:
                message = f"{_CONTAINER} names no score"
                raise LickError(message)
            return _member(archive, name)
    except (
        zipfile.BadZipFile,
        zlib.error,
        EOFError,
        KeyError,  # no such member
        NotImplementedError,  # a packing that Python does not know
        OSError,
        RuntimeError,  # encrypted
        ValueError,
    ) as error:
        message = f"the compressed file cannot be unpacked: {error}"
        raise LickError(message) from error


def _member(archive: zipfile.ZipFile, name: str) -> bytes:
    """One file of an archive, refused when it is too large."""
    with archive.open(name) as member:
        data = member.read(MOST_BYTES + 1)
    _check_size(data)
    return data


def _check_size(data: bytes) -> None:
    """Refuse what is larger than any lick."""
    if len(data) > MOST_BYTES:
        message = f"over {MOST_BYTES // 2**20} MiB of MusicXML; is this one lick?"
        raise LickError(message)


def _parsed(data: bytes) -> Element:
    """Root element.  No entity is expanded, nothing outside the file is opened."""
    _check_size(data)
    parser = etree.XMLParser(
        resolve_entities=False,
        load_dtd=False,
        no_network=True,
        remove_comments=True,
        remove_pis=True,
    )
    try:
        return etree.fromstring(data, parser)
    except etree.XMLSyntaxError as error:
        line, column = error.position
        reason = (error.msg or "").partition(", line ")[0]
        message = f"not well-formed XML: {reason}"
        raise LickError(message, line=line, column=max(column, 1)) from None


def _partwise(root: Element) -> Element:
    """Score with its measures inside its parts."""
    if root.tag == "score-partwise":
        return root
    if root.tag != "score-timewise":
        message = f"the file holds <{root.tag}> instead of <score-partwise>"
        raise LickError(message, line=1)
    parts: dict[str, Element] = {}
    for measure in root.findall("measure"):
        for part in measure.findall("part"):
            name = part.get("id", "")
            if name not in parts:
                parts[name] = etree.SubElement(root, "part", id=name)
            attributes = {str(k): str(v) for k, v in measure.items()}
            copy = etree.SubElement(parts[name], "measure", attributes)
            copy.extend(list(part))
        root.remove(measure)
    return root


def _chosen_part(root: Element, notices: Notices) -> Element:
    """Part with a guitar line: one with frets before one without."""
    parts = [
        p for p in root.iterchildren("part") if p.find(".//note/pitch") is not None
    ]
    if not parts:
        message = "the file holds no pitched notes"
        raise LickError(message)
    fretted = [p for p in parts if p.find(".//technical/fret") is not None]
    chosen = (fretted or parts)[0]
    names = {
        p.get("id"): _text_at(p, "part-name")
        for p in root.iterfind("part-list/score-part")
    }
    left_out = [names.get(p.get("id")) or "unnamed" for p in parts if p is not chosen]
    if left_out:
        taken = names.get(chosen.get("id")) or "unnamed"
        notices.add(f"part {taken!r} is read; left out: {', '.join(left_out)}")
    return chosen


def _chosen_staff(part: Element, notices: Notices) -> str:
    """Staff with the line: the tablature of several."""
    staves = sorted(
        {
            _text_at(note, "staff") or "1"
            for note in part.iter("note")
            if note.find("pitch") is not None
        }
    )
    if len(staves) == 1:
        return staves[0]
    for clef in part.iter("clef"):
        staff = clef.get("number", "1")
        if staff in staves and _text_at(clef, "sign") == "TAB":
            notices.add("the tablature is read, the staff beside it left out")
            return staff
    message = "notes on more than one staff; a lick is a single line"
    raise UnsupportedNotation(message)
