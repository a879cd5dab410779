"""Scales, chords, intervals and degrees by name.

A pitch class is 0 to 11 from C.  Names and notes are common practice.
"""

from __future__ import annotations

import re
from collections.abc import Set
from dataclasses import dataclass

from assessor.tuning import note_name, parse_note_name

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


def tonic_name(pitch_class: int, *, flats: bool | None = None) -> str:
    """Name of a pitch class, spelled as keys most often are unless told otherwise.

    >>> [tonic_name(k) for k in (1, 3, 6, 8, 10)]
    ['C#', 'Eb', 'F#', 'Ab', 'Bb']
    >>> tonic_name(8, flats=False)
    'G#'
    """
    if flats is None:
        flats = pitch_class % 12 in (3, 8, 10)
    return note_name(pitch_class % 12, flats=flats)[:-2]


def spells_flat(pitch_classes: Set[int]) -> bool | None:
    """Whether notes are written with flats: where more letters then differ.

    Returns
    -------
    bool or None
        None where it makes no difference.

    Examples
    --------
    F major has a B flat, A harmonic minor a G sharp:

    >>> [spells_flat(parse_scale(n).pitch_classes) for n in ("F", "A harmonic minor")]
    [True, False]
    >>> spells_flat({0, 4, 7})
    """
    flat, sharp = (
        len({note_name(each, flats=flats)[0] for each in pitch_classes})
        for flats in (True, False)
    )
    return None if flat == sharp else flat > sharp


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


def nearest_scales(heard: Set[int], tonic: int) -> tuple[tuple[Scale, int], ...]:
    """Scales on a tonic that leave out fewest of the pitch classes, and how many.

    Examples
    --------
    >>> [(str(s), n) for s, n in nearest_scales({0, 2, 4, 5, 6, 7, 9, 11}, 0)]
    [('C major', 1), ('C lydian', 1)]
    """
    scales = [Scale(tonic, name) for name in SCALES]
    missing = [len(heard - scale.pitch_classes) for scale in scales]
    pairs = zip(scales, missing, strict=True)
    return tuple((scale, count) for scale, count in pairs if count == min(missing))
