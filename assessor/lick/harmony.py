"""What the notes of a lick are: what is heard, intervals, key, notes outside a scale.

Conventions
-----------
A pitch class is 0 to 11 from C.  A bent note counts with the pitch the bend reaches,
rounded to the semitone, and with the fretted one unless it is pre-bent and held; a
bend that ends between two semitones (a quarter step) adds none.  Dead notes have no
pitch.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Set
from dataclasses import dataclass

import numpy as np

from assessor.lick.notation import Articulation, BendKind, Lick, LickNote
from assessor.lick.scales import Scale, interval_name, tonic_name
from assessor.tuning import FloatArray

# How well each pitch class fits a key, from its tonic up.  Source: Krumhansl & Kessler
# 1982, Psychological Review 89, 334-368, probe-tone ratings.
MAJOR_FIT = (6.35, 2.23, 3.48, 2.33, 4.38, 4.09, 2.52, 5.19, 2.39, 3.66, 2.29, 2.88)
MINOR_FIT = (6.33, 2.68, 3.52, 5.38, 2.60, 3.53, 2.54, 4.75, 3.98, 2.69, 3.34, 3.17)
# Two keys whose correlations lie closer than this are not told apart; set by hand.
KEY_MARGIN = 0.05
# Twelve unrelated pairs reach this correlation once in twenty times (two-sided, ten
# degrees of freedom; any table of Pearson's r).
KEY_LEAST_CORRELATION = 0.576


@dataclass(frozen=True)
class Key:
    """A major or minor key found in the notes.

    Attributes
    ----------
    tonic : int
        Pitch class.
    minor : bool
    correlation : float
        Of the notes' lengths with the key's profile, at most 1.
    sure : bool
        False when it fits badly, or another key nearly as well.
    """

    tonic: int
    minor: bool
    correlation: float
    sure: bool

    @property
    def pitch_classes(self) -> frozenset[int]:
        """Pitch classes of its scale, natural in minor."""
        name = "natural minor" if self.minor else "major"
        return Scale(self.tonic, name).pitch_classes

    def __str__(self) -> str:
        """Tonic and mode."""
        return f"{tonic_name(self.tonic)} {'minor' if self.minor else 'major'}"


def sounding(note: LickNote) -> tuple[int, ...]:
    """MIDI numbers that are heard of a note, in the order they are meant to sound.

    >>> from fractions import Fraction
    >>> from assessor.lick.notation import Bend
    >>> bent = Bend(BendKind.BEND_RELEASE, 200)
    >>> sounding(LickNote(Fraction(0), Fraction(1), 62, 3, 7, bend=bent))
    (62, 64, 62)
    """
    if note.articulation is Articulation.DEAD:
        return ()
    fretted = note.midi_number
    if note.bend is None:
        return (fretted,)
    whole, rest = divmod(round(note.bend.target_cents), 100)
    if rest:
        return (fretted,)
    bent = fretted + whole
    return {
        BendKind.BEND: (fretted, bent),
        BendKind.BEND_RELEASE: (fretted, bent, fretted),
        BendKind.PREBEND: (bent,),
        BendKind.PREBEND_RELEASE: (bent, fretted),
    }[note.bend.kind]


def pitch_classes(lick: Lick) -> frozenset[int]:
    """Pitch classes that are heard in a lick."""
    return frozenset(midi % 12 for note in lick.notes for midi in sounding(note))


def intervals_semitones(lick: Lick) -> tuple[int, ...]:
    """Semitones from each fretted note to the next, dead notes left out; + = up."""
    pitches = [
        n.midi_number for n in lick.notes if n.articulation is not Articulation.DEAD
    ]
    return tuple(int(step) for step in np.diff(pitches))


def interval_content(lick: Lick) -> dict[str, int]:
    """How often each interval comes between neighbours, up or down, widest last."""
    counts = Counter(abs(step) for step in intervals_semitones(lick))
    return {interval_name(step): counts[step] for step in sorted(counts)}


def notes_outside(lick: Lick, allowed: Set[int]) -> tuple[int, ...]:
    """Indices of the notes that sound a pitch class which is not allowed."""
    return tuple(
        index
        for index, note in enumerate(lick.notes)
        if any(midi % 12 not in allowed for midi in sounding(note))
    )


def infer_key(lick: Lick) -> Key | None:
    """Key whose profile the lengths of the notes fit best.

    Returns
    -------
    Key or None
        None where there is nothing to go by: fewer than three pitch classes, or all
        of them equally long.

    Notes
    -----
    The correlation of the summed lengths of each pitch class with 24 key profiles
    (Krumhansl 1990, Cognitive Foundations of Musical Pitch, chapter 4).  A short lick
    leaves several keys open; `sure` says so.
    """
    lengths = np.zeros(12)
    for note in lick.notes:
        pitches = sounding(note)
        for midi in pitches:
            lengths[midi % 12] += float(note.duration_beats) / len(pitches)
    if np.count_nonzero(lengths) < 3 or np.ptp(lengths) < 1e-9:
        return None
    fits = np.array([_fit(lengths, MAJOR_FIT), _fit(lengths, MINOR_FIT)])
    best = int(fits.argmax())
    others = np.delete(fits.ravel(), best)
    found = float(fits.ravel()[best])
    apart = found - float(others.max()) >= KEY_MARGIN
    sure = apart and found >= KEY_LEAST_CORRELATION
    return Key(best % 12, best >= 12, found, sure)


def _fit(lengths: FloatArray, profile: tuple[float, ...]) -> list[float]:
    """Correlation of lengths with a profile on each of the twelve tonics."""
    return [
        float(np.corrcoef(lengths, np.roll(profile, tonic))[0, 1])
        for tonic in range(12)
    ]
