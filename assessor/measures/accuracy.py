"""Which notes were right, wrong, missed, extra, and which are unsure.

Measured
--------
*Right* (%): right notes among all that are judged, right / (right + wrong + missed +
extra).  Its uncertainty comes from the probabilities of the verdicts.

Conventions
-----------
An unsure note is neither right nor a fault: it is in no share.  A note never reached,
because the pass broke off, is unsure.  Pitches of a take that is moved as a whole are
held against the moved lick.  Each wrong note is read on the fingerboard
(`fingerboard.explain_slip`), as if the lick had not been moved.

Known limits
------------
The uncertainty takes the verdicts as independent.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from assessor.alignment import Verdict
from assessor.lick.fingerboard import Slip, explain_slip
from assessor.lick.notation import Lick
from assessor.measures.tolerance import Reading, Tolerance
from assessor.pitch import PerformedPass, PlayedNote


@dataclass(frozen=True)
class WrongNote:
    """A written note in whose place another sounded.

    Attributes
    ----------
    index : int
        0-based place in the lick.
    midi_number : int
        Pitch heard, tuning and transposition of the whole take taken out.
    semitones : int
        Heard minus written.
    slip : Slip or None
        What the hand may have done; None when the pitch is the written one and
        something else was wrong.
    """

    index: int
    midi_number: int
    semitones: int
    slip: Slip | None


@dataclass(frozen=True)
class ExtraNote:
    """A note the lick does not ask for.

    Attributes
    ----------
    onset_s : float
    midi_number : int
    after : int
        Index of the written note last played before it; -1 = none.
    """

    onset_s: float
    midi_number: int
    after: int


@dataclass(frozen=True)
class Accuracy:
    """The notes of one pass, by index in the lick.

    Attributes
    ----------
    right, missed, unsure : tuple of int
    wrong : tuple of WrongNote
    extra : tuple of ExtraNote
    share : Reading or None
        Right notes in percent, target 100; None when nothing is judged.
    """

    right: tuple[int, ...]
    missed: tuple[int, ...]
    unsure: tuple[int, ...]
    wrong: tuple[WrongNote, ...]
    extra: tuple[ExtraNote, ...]
    share: Reading | None

    @property
    def judged(self) -> int:
        """How many notes the share speaks of."""
        return len(self.right) + self.faults

    @property
    def faults(self) -> int:
        """Count what was wrong, missed or extra."""
        return len(self.wrong) + len(self.missed) + len(self.extra)


def measure(
    lick: Lick,
    performed: PerformedPass,
    tolerance: Tolerance,
    *,
    tuning_cents: float = 0.0,
    transposition: int = 0,
) -> Accuracy:
    """Sort the notes of one pass by verdict and read the wrong ones.

    Parameters
    ----------
    lick : Lick
    performed : PerformedPass
    tolerance : Tolerance
    tuning_cents : float
        The instrument's offset from A4 = 440 Hz.
    transposition : int
        Semitones by which the whole take is moved against the lick.
    """
    by_verdict: dict[Verdict, list[int]] = {verdict: [] for verdict in Verdict}
    wrong = []
    for note in performed.notes:
        by_verdict[note.verdict].append(note.index)
        if note.verdict == Verdict.WRONG and note.played is not None:
            exact = note.played.steady_midi - tuning_cents / 100 - transposition
            heard = note.played.midi_number - transposition
            wrong.append(_wrong_note(lick, note.index, heard, exact))
    extra = tuple(_extra_note(performed, note) for note in performed.extras)
    right = len(by_verdict[Verdict.RIGHT])
    judged = right + len(wrong) + len(by_verdict[Verdict.MISSED]) + len(extra)
    return Accuracy(
        right=tuple(by_verdict[Verdict.RIGHT]),
        missed=tuple(by_verdict[Verdict.MISSED]),
        unsure=tuple(by_verdict[Verdict.UNSURE]),
        wrong=tuple(wrong),
        extra=extra,
        share=_share(performed, right, judged, tolerance) if judged else None,
    )


def _wrong_note(lick: Lick, index: int, heard: int, exact: float) -> WrongNote:
    """Read a wrong note from its number and its exact pitch, NaN when unknown."""
    written = lick.notes[index].midi_number
    # a pitch that slid away, or none, says nothing finer than the note itself
    shown = exact if abs(exact - heard) < 0.5 else float(heard)
    slip = explain_slip(lick, index, shown) if heard != written else None
    return WrongNote(index, heard, heard - written, slip)


def _extra_note(performed: PerformedPass, extra: PlayedNote) -> ExtraNote:
    before = [
        note.index
        for note in performed.notes
        if note.played is not None and note.played.onset_s <= extra.onset_s
    ]
    return ExtraNote(extra.onset_s, extra.midi_number, max(before, default=-1))


def _share(
    performed: PerformedPass, right: int, judged: int, tolerance: Tolerance
) -> Reading:
    sure = [n.probability for n in performed.notes if n.verdict != Verdict.UNSURE]
    probability = np.array(sure)
    sd = float(np.sqrt(np.sum(probability * (1 - probability))))
    uncertainty = 100 * 1.96 * sd / judged
    limit = tolerance.limit("notes")
    return Reading(100 * right / judged, "%", uncertainty, target=100.0, limit=limit)
