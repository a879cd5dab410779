"""Played notes: exact onset and offset, pitch contour, loudness, how sounded.

(contract: types; the algorithms are being written)
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from assessor.alignment import Verdict
from assessor.tuning import FloatArray


class SoundedBy(StrEnum):
    """What set the string going."""

    PICKED = "picked"
    SLURRED = "slurred"
    UNCLEAR = "unclear"


@dataclass(frozen=True)
class Contour:
    """The pitch of one note against time.

    Attributes
    ----------
    times_s : shape=(n,)
        Seconds in the take, evenly spaced (10 ms), n may be 0.
    f0_hz : shape=(n,)
        NaN = unvoiced.
    level_db : shape=(n,)
        dB re full scale.
    """

    times_s: FloatArray
    f0_hz: FloatArray
    level_db: FloatArray


@dataclass(frozen=True)
class PlayedNote:
    """One note as it was played.

    Attributes
    ----------
    onset_s, offset_s : float
        Seconds in the take; the offset is where the note stops being heard or
        the next note on its string starts.
    onset_uncertainty_s : float
        Half width of the 95 % interval of `onset_s`.
    midi_number : int
        Chromatic pitch heard (for bends: of the fretted note).
    steady_midi : float
        Sounding pitch of the steady part, MIDI number with its fraction, tuning
        not removed; NaN when too short to tell.
    steady_uncertainty_cents : float
        Half width of the 95 % interval of `steady_midi`, in cents.
    level_db : float
        Peak of the 20 ms level in the first 80 ms, dB re full scale.
    sounded_by : SoundedBy
    contour : Contour
    """

    onset_s: float
    onset_uncertainty_s: float
    offset_s: float
    midi_number: int
    steady_midi: float
    steady_uncertainty_cents: float
    level_db: float
    sounded_by: SoundedBy
    contour: Contour


@dataclass(frozen=True)
class PerformedNote:
    """One written note and what became of it.

    Attributes
    ----------
    index : int
        0-based place in the lick.
    verdict : Verdict
    probability : float
        That the verdict is true.
    expected_s : float
        Where the pass's own (local) tempo puts the note.
    played : PlayedNote or None
        None when missed (or never reached).
    """

    index: int
    verdict: Verdict
    probability: float
    expected_s: float
    played: PlayedNote | None


@dataclass(frozen=True)
class PerformedPass:
    """One run through the lick, traced.

    Attributes
    ----------
    notes : tuple of PerformedNote
        One for each written note.
    extras : tuple of PlayedNote
        Notes the lick does not ask for.
    tempo_ratio : float
        Played over written tempo.
    complete : bool
        False when the run breaks off.
    """

    notes: tuple[PerformedNote, ...]
    extras: tuple[PlayedNote, ...]
    tempo_ratio: float
    complete: bool


@dataclass(frozen=True)
class Performance:
    """Everything that was played, traced.

    Attributes
    ----------
    passes : tuple of PerformedPass
    best : int
        Index of the pass with the fewest faults.
    tuning_cents : float
        The instrument's offset from A4 = 440 Hz.
    transposition : int
        Semitones by which the whole take is moved against the lick.
    """

    passes: tuple[PerformedPass, ...]
    best: int
    tuning_cents: float
    transposition: int
