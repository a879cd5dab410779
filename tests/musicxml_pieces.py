"""Small MusicXML files for tests, put together from their pieces."""

from __future__ import annotations

from fractions import Fraction

from assessor.lick import musicxml
from assessor.lick.notation import Lick

OPEN = ("E2", "A2", "D3", "G3", "B3", "E4")
TUNED = "<staff-details>{}</staff-details>".format(
    "".join(
        f'<staff-tuning line="{line}"><tuning-step>{name[0]}</tuning-step>'
        f"<tuning-octave>{name[1]}</tuning-octave></staff-tuning>"
        for line, name in enumerate(OPEN, start=1)
    )
)
METER = "<time><beats>4</beats><beat-type>4</beat-type></time>"
ATTRIBUTES = f"<divisions>12</divisions>{METER}{TUNED}"
TEMPO = '<sound tempo="90"/>'


def note(
    pitch: str = "A4",
    beats: str = "1",
    notations: str = "",
    *,
    place: str | None = "1 5",
    extra: str = "",
) -> str:
    """A note element of so many quarter notes, at a string and fret."""
    alter = f"<alter>{pitch.count('#') - pitch.count('b')}</alter>"
    technical = ""
    if place is not None:
        string, fret = place.split()
        technical = (
            f"<technical><string>{string}</string><fret>{fret}</fret></technical>"
        )
    return (
        f"<note>{extra}<pitch><step>{pitch[0]}</step>{alter}"
        f"<octave>{pitch[-1]}</octave></pitch>"
        f"<duration>{Fraction(beats) * 12}</duration>"
        f"<notations>{technical}{notations}</notations></note>"
    )


def rest(beats: str = "1") -> str:
    """A rest of so many quarter notes."""
    return f"<note><rest/><duration>{Fraction(beats) * 12}</duration></note>"


def score(
    *measures: str, attributes: str = ATTRIBUTES, tempo: str = TEMPO, head: str = ""
) -> bytes:
    """A file of one part; each measure is its inside."""
    inner = "".join(
        f'<measure number="{number}">'
        + (f"<attributes>{attributes}</attributes>{tempo}" if number == 1 else "")
        + f"{inside}</measure>"
        for number, inside in enumerate(measures, start=1)
    )
    return (
        f'<?xml version="1.0" encoding="UTF-8"?>\n<score-partwise version="4.0">{head}'
        '<part-list><score-part id="P1"><part-name>Guitar</part-name></score-part>'
        f'</part-list><part id="P1">{inner}</part></score-partwise>'
    ).encode()


def read(*measures: str, **parts: str) -> Lick:
    """Lick of a file of one part."""
    return musicxml.read(score(*measures, **parts), "phrase.musicxml")


def technical(inside: str) -> str:
    """Technical signs."""
    return f"<technical>{inside}</technical>"


START = '<barline location="left"><repeat direction="forward"/></barline>'


def stop(times: str = "") -> str:
    """A backward repeat sign."""
    return f'<barline location="right"><repeat direction="backward" {times}/></barline>'


def ending(numbers: str, inside: str) -> str:
    """A bar under an ending of its own."""
    left = (
        f'<barline location="left"><ending number="{numbers}" type="start"/></barline>'
    )
    right = f'<barline location="right"><ending number="{numbers}" type="stop"/>'
    if inside.endswith(stop()):
        inside = inside.removesuffix(stop())
        right += '<repeat direction="backward"/>'
    return f"{left}{inside}{right}</barline>"


A, B, C, D = (
    note(p, "4", place=f"1 {f}")
    for p, f in (("E4", 0), ("F4", 1), ("G4", 3), ("A4", 5))
)
