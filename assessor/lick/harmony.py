"""What the notes of a lick are: intervals, scales, chords, keys and degrees.

Conventions
-----------
A pitch class is 0 to 11 from C.  A bent note counts with the pitch the bend reaches,
rounded to the semitone, and with the fretted one unless it is pre-bent and held; a
bend that ends between two semitones (a quarter step) adds none.  Dead notes have no
pitch.  Names of scales and chords are common practice.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Set
from dataclasses import dataclass

import numpy as np

from assessor.lick.notation import Articulation, BendKind, Lick, LickNote
from assessor.tuning import FloatArray, note_name, parse_note_name

# Semitones above the tonic.  The modes of a scale follow it, each one degree higher.
SCALES: dict[str, tuple[int, ...]] = {
    "major": (0, 2, 4, 5, 7, 9, 11),
    "dorian": (0, 2, 3, 5, 7, 9, 10),
    "phrygian": (0, 1, 3, 5, 7, 8, 10),
    "lydian": (0, 2, 4, 6, 7, 9, 11),
    "mixolydian": (0, 2, 4, 5, 7, 9, 10),
    "natural minor": (0, 2, 3, 5, 7, 8, 10),
    "locrian": (0, 1, 3, 5, 6, 8, 10),
    "melodic minor": (0, 2, 3, 5, 7, 9, 11),
    "dorian b2": (0, 1, 3, 5, 7, 9, 10),
    "lydian augmented": (0, 2, 4, 6, 8, 9, 11),
    "lydian dominant": (0, 2, 4, 6, 7, 9, 10),
    "mixolydian b6": (0, 2, 4, 5, 7, 8, 10),
    "locrian natural 2": (0, 2, 3, 5, 6, 8, 10),
    "altered": (0, 1, 3, 4, 6, 8, 10),
    "harmonic minor": (0, 2, 3, 5, 7, 8, 11),
    "locrian natural 6": (0, 1, 3, 5, 6, 9, 10),
    "ionian augmented": (0, 2, 4, 5, 8, 9, 11),
    "dorian #4": (0, 2, 3, 6, 7, 9, 10),
    "phrygian dominant": (0, 1, 4, 5, 7, 8, 10),
    "lydian #2": (0, 3, 4, 6, 7, 9, 11),
    "altered diminished": (0, 1, 3, 4, 6, 8, 9),
    "major pentatonic": (0, 2, 4, 7, 9),
    "minor pentatonic": (0, 3, 5, 7, 10),
    "major blues": (0, 2, 3, 4, 7, 9),
    "minor blues": (0, 3, 5, 6, 7, 10),
    "whole-tone": (0, 2, 4, 6, 8, 10),
    "whole-half diminished": (0, 2, 3, 5, 6, 8, 9, 11),
    "half-whole diminished": (0, 1, 3, 4, 6, 7, 9, 10),
    "augmented": (0, 3, 4, 7, 8, 11),
}
SCALE_ALIASES = {
    "": "major",
    "ionian": "major",
    "minor": "natural minor",
    "m": "natural minor",
    "aeolian": "natural minor",
    "pentatonic": "major pentatonic",
    "blues": "minor blues",
    "whole tone": "whole-tone",
    "whole half diminished": "whole-half diminished",
    "half whole diminished": "half-whole diminished",
    "super locrian": "altered",
    "lydian b7": "lydian dominant",
    "locrian #2": "locrian natural 2",
}
CHORDS: dict[str, tuple[int, ...]] = {
    "": (0, 4, 7),
    "m": (0, 3, 7),
    "dim": (0, 3, 6),
    "aug": (0, 4, 8),
    "sus2": (0, 2, 7),
    "sus4": (0, 5, 7),
    "6": (0, 4, 7, 9),
    "m6": (0, 3, 7, 9),
    "7": (0, 4, 7, 10),
    "maj7": (0, 4, 7, 11),
    "m7": (0, 3, 7, 10),
    "mmaj7": (0, 3, 7, 11),
    "m7b5": (0, 3, 6, 10),
    "dim7": (0, 3, 6, 9),
    "aug7": (0, 4, 8, 10),
    "7sus4": (0, 5, 7, 10),
    "9": (0, 2, 4, 7, 10),
    "maj9": (0, 2, 4, 7, 11),
    "m9": (0, 2, 3, 7, 10),
    "7b9": (0, 1, 4, 7, 10),
    "7#9": (0, 3, 4, 7, 10),
    "7#11": (0, 4, 6, 7, 10),
    "maj7#11": (0, 4, 6, 7, 11),
    "13": (0, 2, 4, 7, 9, 10),
    "6/9": (0, 2, 4, 7, 9),
    "add9": (0, 2, 4, 7),
    "5": (0, 7),
}
CHORD_ALIASES = {
    "maj": "",
    "M": "",
    "min": "m",
    "-": "m",
    "°": "dim",
    "+": "aug",
    "M7": "maj7",
    "min7": "m7",
    "-7": "m7",
    "mM7": "mmaj7",
    "mMaj7": "mmaj7",
    "ø": "m7b5",
    "ø7": "m7b5",
    "°7": "dim7",
    "+7": "aug7",
    "7#5": "aug7",
    "sus": "sus4",
    "M9": "maj9",
    "min9": "m9",
}
DEGREES = ("1", "b2", "2", "b3", "3", "4", "b5", "5", "b6", "6", "b7", "7")
INTERVALS = (
    "unison",
    "minor second",
    "major second",
    "minor third",
    "major third",
    "fourth",
    "tritone",
    "fifth",
    "minor sixth",
    "major sixth",
    "minor seventh",
    "major seventh",
    "octave",
)

# How well each pitch class fits a key, from its tonic up.  Source: Krumhansl & Kessler
# 1982, Psychological Review 89, 334-368, probe-tone ratings.
MAJOR_FIT = (6.35, 2.23, 3.48, 2.33, 4.38, 4.09, 2.52, 5.19, 2.39, 3.66, 2.29, 2.88)
MINOR_FIT = (6.33, 2.68, 3.52, 5.38, 2.60, 3.53, 2.54, 4.75, 3.98, 2.69, 3.34, 3.17)
# Two keys whose correlations lie closer than this are not told apart; set by hand.
KEY_MARGIN = 0.05

_NAMED = re.compile(r"\s*([A-Ga-g][#b♯♭]?)\s*(.*?)\s*")


@dataclass(frozen=True)
class Scale:
    """A scale on a tonic.

    Attributes
    ----------
    tonic : int
        Pitch class.
    name : str
        A key of `SCALES`.
    """

    tonic: int
    name: str

    @property
    def pitch_classes(self) -> frozenset[int]:
        """Pitch classes of the scale."""
        return frozenset((self.tonic + step) % 12 for step in SCALES[self.name])

    def __str__(self) -> str:
        """Tonic and name.

        >>> str(Scale(10, "lydian dominant"))
        'Bb lydian dominant'
        """
        return f"{tonic_name(self.tonic)} {self.name}"


@dataclass(frozen=True)
class Chord:
    """A chord on a root.

    Attributes
    ----------
    root : int
        Pitch class.
    kind : str
        A key of `CHORDS`.
    """

    root: int
    kind: str

    @property
    def pitch_classes(self) -> frozenset[int]:
        """Pitch classes of the chord."""
        return frozenset((self.root + step) % 12 for step in CHORDS[self.kind])

    def __str__(self) -> str:
        """Symbol.

        >>> str(Chord(10, "m7b5"))
        'Bbm7b5'
        """
        return tonic_name(self.root) + self.kind


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
        False when another key fits nearly as well.
    """

    tonic: int
    minor: bool
    correlation: float
    sure: bool

    def __str__(self) -> str:
        """Tonic and mode."""
        return f"{tonic_name(self.tonic)} {'minor' if self.minor else 'major'}"


def tonic_name(pitch_class: int) -> str:
    """Name of a pitch class, spelled as keys most often are.

    >>> [tonic_name(k) for k in (1, 3, 6, 8, 10)]
    ['C#', 'Eb', 'F#', 'Ab', 'Bb']
    """
    return note_name(pitch_class % 12, flats=pitch_class % 12 in (3, 8, 10))[:-2]


def parse_tonic(name: str) -> int:
    """Pitch class of a note name without octave.

    Raises
    ------
    ValueError
        When it is no such name.
    """
    found = _NAMED.fullmatch(name)
    if found is None or found.group(2):
        message = f"{name!r} is no note name, such as C, F# or Bb"
        raise ValueError(message)
    return parse_note_name(found.group(1) + "4") % 12


def parse_scale(name: str) -> Scale:
    """Scale from its tonic and name; a tonic alone is major.

    Raises
    ------
    ValueError
        When the tonic or the scale is not known; the message lists the scales.

    Examples
    --------
    >>> str(parse_scale("Am")), str(parse_scale("f# dorian"))
    ('A natural minor', 'F# dorian')
    """
    found = _NAMED.fullmatch(name)
    if found is None:
        message = f"{name!r} does not start with a note name, as in 'A dorian'"
        raise ValueError(message)
    kind = " ".join(found.group(2).lower().split())
    kind = SCALE_ALIASES.get(kind, kind)
    if kind not in SCALES:
        message = f"{kind!r} is no scale known here; known are {', '.join(SCALES)}"
        raise ValueError(message)
    return Scale(parse_tonic(found.group(1)), kind)


def parse_chord(name: str) -> Chord:
    """Chord from its symbol.

    Raises
    ------
    ValueError
        When the root or the kind is not known; the message lists the kinds.

    Examples
    --------
    >>> sorted(parse_chord("Am7").pitch_classes), str(parse_chord("CM7"))
    ([0, 4, 7, 9], 'Cmaj7')
    """
    found = _NAMED.fullmatch(name)
    kind = found.group(2) if found else ""
    kind = CHORD_ALIASES.get(kind, kind)
    if found is None or kind not in CHORDS:
        kinds = ", ".join(kind or "(major)" for kind in CHORDS)
        message = f"{name!r} is no chord known here; after its root may stand {kinds}"
        raise ValueError(message)
    return Chord(parse_tonic(found.group(1)), kind)


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


def interval_name(semitones: int) -> str:
    """Name of an interval without its direction.

    >>> interval_name(-3), interval_name(16), interval_name(24)
    ('minor third', 'octave and major third', '2 octaves')
    """
    octaves, rest = divmod(abs(semitones), 12)
    if octaves == 0:
        return INTERVALS[rest]
    word = "octave" if octaves == 1 else f"{octaves} octaves"
    return f"{word} and {INTERVALS[rest]}" if rest else word


def degree(midi_number: int, tonic: int) -> str:
    """Degree of a note against the major scale on a tonic.

    >>> degree(60, 9), degree(64, 0)
    ('b3', '3')
    """
    return DEGREES[(midi_number - tonic) % 12]


def scales_holding(
    heard: Set[int], tonic: int | None = None
) -> tuple[tuple[Scale, int], ...]:
    """Scales that hold every pitch class, and how many of their own are not heard.

    Parameters
    ----------
    heard : set of int
        Pitch classes.
    tonic : int or None
        Only scales on this tonic; None = on every tonic.

    Returns
    -------
    tuple of (Scale, int)
        Those with the fewest notes to spare first, then as in `SCALES`.

    Examples
    --------
    >>> found = scales_holding({9, 0, 2, 4, 7}, tonic=9)
    >>> [(str(scale), spare) for scale, spare in found][:2]
    [('A minor pentatonic', 0), ('A minor blues', 1)]
    """
    tonics = range(12) if tonic is None else (tonic,)
    found = [
        (scale, len(scale.pitch_classes) - len(heard))
        for name in SCALES
        for scale in (Scale(each, name) for each in tonics)
        if heard <= scale.pitch_classes
    ]
    return tuple(sorted(found, key=lambda each: each[1]))


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
    return Key(best % 12, best >= 12, found, found - float(others.max()) >= KEY_MARGIN)


def _fit(lengths: FloatArray, profile: tuple[float, ...]) -> list[float]:
    """Correlation of lengths with a profile on each of the twelve tonics."""
    return [
        float(np.corrcoef(lengths, np.roll(profile, tonic))[0, 1])
        for tonic in range(12)
    ]
