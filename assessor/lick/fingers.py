"""Which finger frets a note once a lick was moved: fingers follow the hand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from assessor.lick.fretting import hand_positions
from assessor.lick.notation import Articulation, Lick, LickNote

_FINGERS = 4
_HELD = (Articulation.HAMMER_ON, Articulation.PULL_OFF)  # a slide keeps its finger


def with_fingers(lick: Lick, moved: Lick, hands: Sequence[int] | None = None) -> Lick:
    """A moved lick with the fingers for its new places.

    A shape that only slid along the neck, or over to other strings as it is, keeps its
    fingers; any other is fingered by the position of the hand, one finger a fret.  A
    lick without fingers gets none, and an open string never has one.

    Parameters
    ----------
    lick, moved : Lick
        Before and after; the same number of notes.
    hands : sequence of int or None
        Fret of the index finger at each moved note; found anew when None.

    Returns
    -------
    Lick
        `moved`, with other fingers.
    """
    if all(note.finger is None for note in lick.notes):
        return moved
    keeps = same_shape(lick, moved)
    kept = [
        note.finger if keeps and note.fret and old.fret else None
        for old, note in zip(lick.notes, moved.notes, strict=True)
    ]
    if hands is None or keeps:
        pairs = zip(moved.notes, kept, strict=True)
        fixed = tuple(replace(note, finger=finger) for note, finger in pairs)
        hands = hand_positions(replace(moved, notes=fixed))
    fingers: list[int | None] = []
    for index, (note, old) in enumerate(zip(moved.notes, lick.notes, strict=True)):
        finger = kept[index]
        missing = old.finger is not None or not old.fret
        if finger is None and note.fret and missing:
            finger = min(max(note.fret - hands[index] + 1, 1), _FINGERS)
        fingers.append(finger)
    _part_slurred(moved.notes, fingers)
    pairs = zip(moved.notes, fingers, strict=True)
    return replace(moved, notes=tuple(replace(n, finger=f) for n, f in pairs))


def same_shape(lick: Lick, moved: Lick) -> bool:
    """Whether all fretted notes went the same way over strings and frets."""
    ways = {
        (note.string - old.string, note.fret - old.fret)
        for old, note in zip(lick.notes, moved.notes, strict=True)
        if old.fret and note.fret
    }
    return len(ways) <= 1


def _part_slurred(notes: Sequence[LickNote], fingers: list[int | None]) -> None:
    """Give two slurred notes of one finger two, where the hand was stretched."""
    for k in range(1, len(notes)):
        before, here = fingers[k - 1], fingers[k]
        held = notes[k].articulation in _HELD
        if not held or before is None or here is None or before != here:
            continue
        up = notes[k].fret > notes[k - 1].fret
        if up and here < _FINGERS:
            fingers[k] = here + 1
        elif up:
            fingers[k - 1] = here - 1
        elif here > 1:
            fingers[k] = here - 1
        else:
            fingers[k - 1] = here + 1
