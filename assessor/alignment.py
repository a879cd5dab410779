"""Where in a take the lick was played, pass by pass and note by note.

(contract: types; the algorithms are being written)
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from assessor.tuning import FloatArray


class Verdict(StrEnum):
    """What was found for one written note."""

    RIGHT = "right"
    WRONG = "wrong"
    MISSED = "missed"
    UNSURE = "unsure"  # never counted against the player


@dataclass(frozen=True)
class Match:
    """What the take holds for one written note of one pass.

    Attributes
    ----------
    index : int
        0-based place of the note in the lick.
    verdict : Verdict
    probability : float
        Probability that the verdict is true, 0 to 1.
    time_s : float or None
        Rough time of the event it was matched to; None when missed.
    midi_number : int or None
        Chromatic pitch heard; equals the written one (plus the transposition)
        when right; None when missed.
    expected_s : float
        Where the pass's own tempo puts the note, seconds in the take.
    """

    index: int
    verdict: Verdict
    probability: float
    time_s: float | None
    midi_number: int | None
    expected_s: float


@dataclass(frozen=True)
class ExtraNote:
    """A note in the take that the lick does not ask for."""

    time_s: float
    midi_number: int
    probability: float


@dataclass(frozen=True)
class Pass:
    """One run through the lick.

    Attributes
    ----------
    matches : tuple of Match
        One for each written note, in order.
    extras : tuple of ExtraNote
        In order of time.
    tempo_ratio : float
        Played over written tempo, > 1 = faster.
    complete : bool
        False when the run breaks off; the notes after the break are then no
        longer in `matches` as missed but have verdict `UNSURE` and time None.
    """

    matches: tuple[Match, ...]
    extras: tuple[ExtraNote, ...]
    tempo_ratio: float
    complete: bool


@dataclass(frozen=True)
class Alignment:
    """Every pass found in a take.

    Attributes
    ----------
    passes : tuple of Pass
        In order of time; at least one.
    best : int
        Index of the pass with the fewest faults.
    tuning_cents : float
        The instrument's offset from A4 = 440 Hz, + sharp.
    transposition : int
        Semitones by which the whole take is moved against the lick.
    """

    passes: tuple[Pass, ...]
    best: int
    tuning_cents: float
    transposition: int


__all__ = ["Alignment", "ExtraNote", "FloatArray", "Match", "Pass", "Verdict"]
