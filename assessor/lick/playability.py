"""What of a lick no hand can play, and why."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

from assessor.lick.fretting import FRETS, REACH_MM, distance_mm
from assessor.lick.notation import Articulation, Lick, LickNote

_WIDE = frozenset({Articulation.HAMMER_ON, Articulation.PULL_OFF})


class Obstacle(StrEnum):
    """Why a note cannot be played."""

    RANGE = "range"
    OPEN_STRING = "open_string"
    SLUR = "slur"
    STRETCH = "stretch"


@dataclass(frozen=True)
class Complaint:
    """One note that cannot be played.

    Attributes
    ----------
    index : int
        0-based place of the note in the lick.
    obstacle : Obstacle
    reason : str
        For the player, without a full stop.
    """

    index: int
    obstacle: Obstacle
    reason: str


def complaints(lick: Lick, frets: int = FRETS) -> tuple[Complaint, ...]:
    """Everything in a lick that no hand can play, in the order of its notes.

    Checked are the range of the neck, bends and slides that start on an open string,
    slurs that leave their string or lead nowhere, and stretches: a slurred group and
    notes that ring on together have to lie within `fretting.REACH_MM`.

    Parameters
    ----------
    lick : Lick
    frets : int
        Frets of the neck, counted from the nut.

    Examples
    --------
    >>> from fractions import Fraction
    >>> from assessor.lick.notation import Bend, BendKind, Meter
    >>> from assessor.tuning import STANDARD
    >>> bent = Bend(BendKind.BEND, 100.0)
    >>> note = LickNote(Fraction(0), Fraction(1), 64, 1, 0, bend=bent)
    >>> complaints(Lick("A", 90, Meter(), STANDARD, (note,)))[0].reason
    'an open string cannot be bent or shaken'
    """
    found = []
    for index, note in enumerate(lick.notes):
        before = lick.notes[index - 1] if index else None
        for obstacle, reason in _reasons(note, before, frets - lick.capo):
            found.append(Complaint(index, obstacle, reason))
    found += _wide_slurs(lick)
    found += _wide_chords(lick)
    return tuple(sorted(found, key=lambda complaint: complaint.index))


def _reasons(
    note: LickNote, before: LickNote | None, frets: int
) -> Iterator[tuple[Obstacle, str]]:
    """What is wrong with one note, seen with the one before it."""
    if not 0 <= note.fret <= frets:
        below = f"{-note.fret} frets below the open string"
        beyond = f"fret {note.fret}, the neck ends at {frets}"
        yield Obstacle.RANGE, below if note.fret < 0 else beyond
    slid = note.slide_in is not None or note.slide_out is not None
    if note.fret == 0 and (note.bend is not None or note.vibrato):
        yield Obstacle.OPEN_STRING, "an open string cannot be bent or shaken"
    elif note.fret == 0 and (slid or note.articulation is Articulation.SLIDE):
        yield Obstacle.OPEN_STRING, "there is no slide into or out of an open string"
    if note.slurred:
        yield from _slur_reasons(note, before)


def _slur_reasons(
    note: LickNote, before: LickNote | None
) -> Iterator[tuple[Obstacle, str]]:
    """What is wrong with the way a slurred note follows the one before it."""
    name = note.articulation.replace("_", "-")
    if before is None:
        if note.articulation is not Articulation.HAMMER_ON:
            yield Obstacle.SLUR, f"a {name} from no note"
        return
    rise = note.fret - before.fret
    if before.string != note.string:
        if note.articulation is not Articulation.HAMMER_ON:
            reason = f"a {name} from string {before.string} to string {note.string}"
            yield Obstacle.SLUR, reason
    elif (
        rise == 0
        or (note.articulation is Articulation.HAMMER_ON and rise < 0)
        or (note.articulation is Articulation.PULL_OFF and rise > 0)
    ):
        yield Obstacle.SLUR, f"a {name} from fret {before.fret} to fret {note.fret}"
    elif note.articulation is Articulation.SLIDE and before.fret == 0:
        yield Obstacle.OPEN_STRING, "there is no slide into or out of an open string"


def _wide_slurs(lick: Lick) -> Iterator[Complaint]:
    """Notes of a slurred group that the hand cannot span; a slide moves the hand."""
    frets: list[int] = []
    for index, note in enumerate(lick.notes):
        if note.articulation not in _WIDE:
            frets = []
        frets.append(note.fret)
        reason = _too_wide(frets, lick.capo)
        if reason:
            yield Complaint(index, Obstacle.STRETCH, f"a slur over {reason}")


def _wide_chords(lick: Lick) -> Iterator[Complaint]:
    """Notes that ring on together and that the hand cannot span."""
    held: dict[int, int] = {}
    for index, note in enumerate(lick.notes):
        held[note.string] = note.fret
        reason = _too_wide([*held.values(), note.fret], lick.capo)
        if reason:
            yield Complaint(index, Obstacle.STRETCH, f"notes that ring over {reason}")
        if not note.let_ring:
            held = {}


def _too_wide(frets: list[int], capo: int) -> str:
    """How far the newest fret lies from the others, where that is beyond the hand."""
    fretted = [fret for fret in frets if fret > 0]
    if frets[-1] <= 0 or not fretted:
        return ""
    other = max(fretted, key=lambda fret: distance_mm(fret, frets[-1], capo))
    wide_mm = distance_mm(other, frets[-1], capo)
    if wide_mm <= REACH_MM:
        return ""
    low, high = sorted((other, frets[-1]))
    return (
        f"frets {low} to {high}, {wide_mm:.0f} mm: a hand reaches about {REACH_MM:.0f}"
    )
