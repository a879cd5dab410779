"""A lick in another format, and what that format could not hold.

Nothing is assumed of a format: what is written is read back and held against the lick.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from assessor.errors import LickError
from assessor.lick.notation import SLURRED, Articulation, Lick, LickNote
from assessor.lick.notices import Notices

CONTAINER = """<?xml version="1.0" encoding="UTF-8"?>
<container>
  <rootfiles>
    <rootfile full-path="lick.musicxml"
      media-type="application/vnd.recordare.musicxml+xml"/>
  </rootfiles>
</container>
"""
# Files in an archive need a date: the first that the format knows, so that the same
# lick makes the same bytes.
ZIP_DATE = (1980, 1, 1, 0, 0, 0)


@dataclass(frozen=True)
class Converted:
    """A lick as the content of a file.

    Attributes
    ----------
    data : bytes
    lost : tuple of str
        What is not in it, or not as it was, a line each.
    """

    data: bytes
    lost: tuple[str, ...]


def convert(lick: Lick, suffix: str, path: str) -> Converted:
    """Write a lick in the format of a file's ending.

    Parameters
    ----------
    lick : Lick
    suffix : str
        One of `SUFFIXES`.
    path : str
        Name the file is to have, for messages.

    Returns
    -------
    Converted

    Raises
    ------
    LickError
        When the format cannot hold the lick at all.

    Examples
    --------
    >>> from fractions import Fraction
    >>> from assessor.lick.notation import Meter
    >>> from assessor.tuning import STANDARD
    >>> note = LickNote(Fraction(0), Fraction(1), 69, 1, 5, finger=1)
    >>> lick = Lick("A", 90, Meter(), STANDARD, (note,))
    >>> convert(lick, ".lick", "a.lick").lost
    ()
    >>> for line in convert(lick, ".mid", "a.mid").lost:
    ...     print(line)
    string and fret are chosen: a MIDI file names none
    fretting finger: 1 of 1 notes (measure 1)
    """
    write, read = _FORMATS[suffix]()
    try:
        data = write(lick)
        back = read(data, path)
    except (LickError, ValueError) as problem:
        said = problem.message if isinstance(problem, LickError) else str(problem)
        message = f"{suffix} cannot hold this lick: {said}; take another ending"
        raise LickError(message, path) from problem
    return Converted(data, (*back.notices, *losses(lick, back)))


def losses(lick: Lick, back: Lick) -> tuple[str, ...]:
    """What is not in `back` as it is in `lick`, a line each; empty when equal."""
    found = Notices()
    for name, of in _FIELDS.items():
        if of(lick) != of(back):
            found.add(f"{name}: {of(lick)} comes back as {of(back)}")
    if len(lick) != len(back):
        found.add(f"{len(lick)} notes come back as {len(back)}")
        return found.lines()
    for name, of_note in _NOTE_FIELDS.items():
        pairs = zip(lick.notes, back.notes, strict=True)
        other = [k for k, (a, b) in enumerate(pairs) if of_note(a) != of_note(b)]
        for k in other:
            text = f"{name}: {len(other)} of {len(lick)} notes"
            found.add(text, measure_of(lick, lick.notes[k]))
    return found.lines()


def measure_of(lick: Lick, note: LickNote) -> str:
    """Number of the bar a note starts in; a pickup is bar 0."""
    bar = (note.onset_beats - lick.pickup_beats) // lick.meter.bar_beats
    return str(bar + 1)


def _feel(lick: Lick) -> str:
    return "straight" if lick.swing is None else f"swing {lick.swing:.4g}:1"


def _tempi(lick: Lick) -> str:
    changes = (f"{c.tempo_bpm:.9g} at beat {c.beat}" for c in lick.tempo_changes)
    return ", ".join(changes) or "none"


_FIELDS: dict[str, Callable[[Lick], object]] = {
    "title": lambda lick: repr(lick.title),
    "tempo": lambda lick: f"{lick.tempo_bpm:.9g}",
    "changes of tempo": _tempi,
    "meter": lambda lick: str(lick.meter),
    "tuning": lambda lick: str(lick.tuning),
    "capo": lambda lick: lick.capo,
    "feel": _feel,
    "length of the pickup": lambda lick: str(lick.pickup_beats),
    "what it trains": lambda lick: repr(lick.trains),
    "the lick it is a drill of": lambda lick: lick.parent and repr(lick.parent.title),
    "the parent's notes": lambda lick: lick.parent and "named" if lick.parent else None,
}


def _slur(note: LickNote) -> Articulation | None:
    return note.articulation if note.articulation in SLURRED else None


_NOTE_FIELDS: dict[str, Callable[[LickNote], object]] = {
    "when it starts and how long it lasts": lambda n: (
        n.onset_beats,
        n.duration_beats,
    ),
    "pitch": lambda n: n.midi_number,
    "string and fret": lambda n: (n.string, n.fret),
    "hammer-on, pull-off or slide": _slur,
    "dead note": lambda n: n.articulation is Articulation.DEAD,
    "bend": lambda n: n.bend,
    "vibrato": lambda n: n.vibrato,
    "slide from or to nowhere": lambda n: (n.slide_in, n.slide_out),
    "let ring": lambda n: n.let_ring,
    "fretting finger": lambda n: n.finger,
    "pick stroke": lambda n: n.stroke,
}


# --- formats: what writes and what reads, imported when asked for -----------------

_Format = tuple[Callable[[Lick], bytes], Callable[[bytes, str], Lick]]


def _sheet() -> _Format:
    from assessor.lick import sheet

    return (
        lambda lick: sheet.write(lick).encode(),
        lambda data, path: sheet.read(data.decode(), path),
    )


def _musicxml() -> _Format:
    from assessor.lick import musicxml

    return musicxml.write, musicxml.read


def _compressed() -> _Format:
    write, read = _musicxml()
    return lambda lick: compressed(write(lick)), read


def _midi() -> _Format:
    from assessor.lick import midi

    return midi.write, midi.read


_FORMATS: dict[str, Callable[[], _Format]] = {
    ".lick": _sheet,
    ".musicxml": _musicxml,
    ".xml": _musicxml,
    ".mxl": _compressed,
    ".mid": _midi,
    ".midi": _midi,
}
SUFFIXES = tuple(_FORMATS)


def compressed(score: bytes) -> bytes:
    """MusicXML as a compressed file, ``.mxl``.

    Source: MusicXML 4.0, W3C, June 2021, "compressed .mxl files": the first file,
    itself not compressed, is the media type; a container names the score.
    """
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        for name, content, packing in _members(score):
            entry = zipfile.ZipInfo(name, ZIP_DATE)
            entry.compress_type = packing
            archive.writestr(entry, content)
    return buffer.getvalue()


def _members(score: bytes) -> Iterator[tuple[str, bytes, int]]:
    """Name, content and packing of the files of an archive."""
    yield "mimetype", b"application/vnd.recordare.musicxml", zipfile.ZIP_STORED
    yield "META-INF/container.xml", CONTAINER.encode(), zipfile.ZIP_DEFLATED
    yield "lick.musicxml", score, zipfile.ZIP_DEFLATED
