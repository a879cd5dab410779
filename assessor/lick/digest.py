"""What makes two licks the same: a digest of what is to be played."""

from __future__ import annotations

import hashlib
import json

from assessor.lick.notation import Lick, LickNote


def digest_of(lick: Lick) -> str:
    """SHA-256 of what is to be played, hex.

    Title, purpose, tempo, fingers, strokes and the parent of a drill are left out: a
    lick that is renamed, or asked for faster, is the same lick.

    Examples
    --------
    >>> from fractions import Fraction
    >>> from assessor.lick.notation import Meter
    >>> from assessor.tuning import STANDARD
    >>> notes = (LickNote(Fraction(0), Fraction(1), 69, 1, 5),)
    >>> one = Lick("A", 120.0, Meter(), STANDARD, notes)
    >>> digest_of(one) == digest_of(Lick("B", 60.0, Meter(), STANDARD, notes))
    True
    """
    content = {
        "meter": str(lick.meter),
        "tuning": str(lick.tuning),
        "capo": lick.capo,
        "swing": lick.swing,
        "pickup": str(lick.pickup_beats),
        "tempo_changes": [
            [str(change.beat), round(change.tempo_bpm / lick.tempo_bpm, 6)]
            for change in lick.tempo_changes
        ],
        "notes": [_note(note) for note in lick.notes],
    }
    text = json.dumps(content, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def _note(note: LickNote) -> list[object]:
    bend = note.bend and [str(note.bend.kind), note.bend.target_cents]
    return [
        str(note.onset_beats),
        str(note.duration_beats),
        note.midi_number,
        note.string,
        note.fret,
        str(note.articulation),
        bend,
        note.vibrato,
        note.slide_in,
        note.slide_out,
        note.let_ring,
    ]
