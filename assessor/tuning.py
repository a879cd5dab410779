"""Hertz, MIDI numbers, cents, note names and string tunings.

Conventions
-----------
A4 = 440 Hz = MIDI 69 (ISO 16:1975, MIDI 1.0); 100 cents to the equal-tempered
semitone; positive cents = sharp.  Strings are numbered from 1, the highest
sounding full-length string, as in MusicXML 4.0 (element ``string``).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any, overload

import numpy as np
import numpy.typing as npt

A4_HZ = 440.0
A4_MIDI = 69

FloatArray = npt.NDArray[np.floating[Any]]

_STEP = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_SHARP_NAMES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
_FLAT_NAMES = ("C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B")
_NAME = re.compile(r"([A-Ga-g])([#b♯♭]?)(-?\d+)")


@overload
def midi_to_hz(midi_number: float) -> float: ...
@overload
def midi_to_hz(midi_number: FloatArray) -> FloatArray: ...
def midi_to_hz(midi_number: float | FloatArray) -> float | FloatArray:
    """Frequency in Hz of a MIDI number, fractions allowed.

    >>> midi_to_hz(69.0)
    440.0
    >>> round(midi_to_hz(40.0), 3)
    82.407
    """
    return A4_HZ * 2.0 ** ((midi_number - A4_MIDI) / 12.0)


@overload
def hz_to_midi(f0_hz: float) -> float: ...
@overload
def hz_to_midi(f0_hz: FloatArray) -> FloatArray: ...
def hz_to_midi(f0_hz: float | FloatArray) -> float | FloatArray:
    """MIDI number, with its fraction, of a frequency in Hz.

    >>> round(hz_to_midi(60.0), 3)
    34.506
    """
    out = A4_MIDI + 12.0 * np.log2(np.asarray(f0_hz) / A4_HZ)
    return out if isinstance(f0_hz, np.ndarray) else float(out)


def cents_between(f0_hz: float, reference_hz: float) -> float:
    """Interval in cents from `reference_hz` up to `f0_hz`.

    >>> round(cents_between(415.0, 440.0), 4)
    -101.2706
    """
    return float(1200.0 * np.log2(f0_hz / reference_hz))


def note_name(midi_number: int, *, flats: bool = False) -> str:
    """Scientific pitch name, C4 = MIDI 60.

    >>> note_name(60), note_name(61), note_name(61, flats=True)
    ('C4', 'C#4', 'Db4')
    """
    names = _FLAT_NAMES if flats else _SHARP_NAMES
    return f"{names[midi_number % 12]}{midi_number // 12 - 1}"


def parse_note_name(name: str) -> int:
    """MIDI number of a scientific pitch name.

    Raises
    ------
    ValueError
        When `name` is no note name with an octave.

    Examples
    --------
    >>> parse_note_name("E2"), parse_note_name("Bb3")
    (40, 58)
    """
    found = _NAME.fullmatch(name.strip())
    if found is None:
        message = f"{name!r} is no note name with an octave, such as E2 or Bb3"
        raise ValueError(message)
    step, accidental, octave = found.groups()
    shift = {"#": 1, "♯": 1, "b": -1, "♭": -1, "": 0}[accidental]
    return 12 * (int(octave) + 1) + _STEP[step.upper()] + shift


@dataclass(frozen=True)
class Tuning:
    """Open strings of an instrument, without capo.

    Attributes
    ----------
    open_midi : tuple of int
        MIDI number of each open string, string 1 (highest) first; 4 to 9.
    """

    open_midi: tuple[int, ...]

    def __post_init__(self) -> None:
        """Refuse what is no fretted instrument of 4 to 9 strings."""
        if not 4 <= len(self.open_midi) <= 9:
            message = f"a tuning has 4 to 9 strings, not {len(self.open_midi)}"
            raise ValueError(message)

    @property
    def strings(self) -> int:
        """Number of strings."""
        return len(self.open_midi)

    def midi_number(self, string: int, fret: int, capo: int = 0) -> int:
        """Sounding MIDI number of `fret` (counted from the capo) on `string`.

        >>> STANDARD.midi_number(2, 3)
        62
        """
        if not 1 <= string <= self.strings:
            message = f"string {string} of a {self.strings}-string tuning"
            raise ValueError(message)
        return self.open_midi[string - 1] + capo + fret

    def __str__(self) -> str:
        """Note names from the lowest string up, the way players say a tuning.

        >>> str(STANDARD)
        'E2 A2 D3 G3 B3 E4'
        """
        return " ".join(note_name(m) for m in reversed(self.open_midi))


STANDARD = Tuning((64, 59, 55, 50, 45, 40))
