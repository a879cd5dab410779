"""What the fingerboard makes of a lick: shifts, string skips, and slips.

A *slip* is a wrong note read on the fingerboard: from the pitch that sounded, where
the hands may have been instead.  One pitch has several readings; they come in the
order that guitarists meet them (common practice, not measured).  Conventions as in
`assessor.lick.fretting`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

from assessor.lick.fretting import choose_fretting, hand_positions, positions
from assessor.lick.notation import Articulation, Lick, LickNote
from assessor.tuning import note_name

__all__ = [
    "Slip",
    "SlipKind",
    "choose_fretting",
    "explain_slip",
    "hand_positions",
    "positions",
    "shifts",
    "slip_readings",
    "slurred_groups",
    "string_skips",
]

# A pitch this far from the nearest semitone was not fretted: half of the ±50 cents
# within which a note still counts as that semitone.
BENT_LEAST_SEMITONES = 0.25
BENT_MOST_SEMITONES = 1.75  # a bend by accident, not a whole tone


def shifts(lick: Lick) -> tuple[int, ...]:
    """Indices of the notes for which the fretting hand moves to another position."""
    hands = hand_positions(lick)
    return tuple(i for i in range(1, len(hands)) if hands[i] != hands[i - 1])


def string_skips(lick: Lick) -> tuple[int, ...]:
    """Indices of the notes reached by jumping over at least one string."""
    strings = [n.string for n in lick.notes]
    return tuple(
        i for i in range(1, len(strings)) if abs(strings[i] - strings[i - 1]) > 1
    )


def slurred_groups(lick: Lick) -> tuple[tuple[int, ...], ...]:
    """Indices of the notes of each slurred group, the picked note first."""
    groups: list[list[int]] = []
    for index, note in enumerate(lick.notes):
        if index and note.slurred:
            if not lick.notes[index - 1].slurred:
                groups.append([index - 1])
            groups[-1].append(index)
    return tuple(tuple(group) for group in groups)


class SlipKind(StrEnum):
    """What may have happened when a wrong note sounded."""

    BENT_SHARP = "bent_sharp"
    NOT_SLURRED = "not_slurred"  # the note before sounded on
    OPEN_STRING = "open_string"
    FRET_LOW = "fret_low"
    FRET_HIGH = "fret_high"
    OLD_POSITION = "old_position"
    SKIPPED_STRING = "skipped_string"
    NEIGHBOUR_STRING = "neighbour_string"
    FINGER_LATE = "finger_late"  # the note before sounded once more
    OCTAVE = "octave"
    ELSEWHERE = "elsewhere"


@dataclass(frozen=True)
class Slip:
    """One reading of a wrong note.

    Attributes
    ----------
    kind : SlipKind
    string, fret : int
        Where the wrong pitch sounded, by this reading.
    sentence : str
        For the player, without a full stop.
    """

    kind: SlipKind
    string: int
    fret: int
    sentence: str


@dataclass(frozen=True)
class _Scene:
    """A wrong note: the lick, the written note, and the pitch that sounded."""

    lick: Lick
    index: int
    played: int
    sharp_semitones: float

    @property
    def note(self) -> LickNote:
        return self.lick.notes[self.index]

    @property
    def semitones(self) -> int:
        """Played minus written."""
        return self.played - self.note.midi_number

    @property
    def before(self) -> LickNote | None:
        """The note before, when it lies on the same string."""
        if self.index == 0:
            return None
        before = self.lick.notes[self.index - 1]
        return before if before.string == self.note.string else None

    def open_midi(self, string: int) -> int:
        return self.lick.tuning.midi_number(string, 0, self.lick.capo)

    def slip(self, kind: SlipKind, string: int, sentence: str) -> Slip:
        return Slip(kind, string, self.played - self.open_midi(string), sentence)


def _fret(fret: int) -> str:
    return f"fret {fret}" if fret else "the open string"


def _bent_sharp(scene: _Scene) -> Slip | None:
    cents = 100 * scene.sharp_semitones
    between = abs(scene.sharp_semitones - round(scene.sharp_semitones))
    if between < BENT_LEAST_SEMITONES or not 0 < cents < 100 * BENT_MOST_SEMITONES:
        return None
    note = scene.note
    sentence = f"bent sharp: {cents:.0f} cents above fret {note.fret}"
    sentence += f" on string {note.string}"
    return Slip(SlipKind.BENT_SHARP, note.string, note.fret, sentence)


def _not_slurred(scene: _Scene) -> Slip | None:
    note, before = scene.note, scene.before
    if before is None or not note.slurred or scene.played != before.midi_number:
        return None
    names = {
        Articulation.HAMMER_ON: "hammer-on",
        Articulation.PULL_OFF: "pull-off",
        Articulation.SLIDE: "slide",
    }
    sentence = f"the {names[note.articulation]} to {note.fret} did not sound: "
    sentence += f"{_fret(before.fret)} of string {note.string} rang on"
    return scene.slip(SlipKind.NOT_SLURRED, note.string, sentence)


def _open_string(scene: _Scene) -> Slip | None:
    note = scene.note
    if note.fret == 0 or scene.played != scene.open_midi(note.string):
        return None
    sentence = f"finger not down: string {note.string} open instead of fret {note.fret}"
    return scene.slip(SlipKind.OPEN_STRING, note.string, sentence)


def _frets_off(scene: _Scene, most: int) -> Slip | None:
    note = scene.note
    if not 0 < abs(scene.semitones) <= most or note.fret + scene.semitones < 0:
        return None
    kind = SlipKind.FRET_HIGH if scene.semitones > 0 else SlipKind.FRET_LOW
    count = ("one fret", "two frets", "three frets")[abs(scene.semitones) - 1]
    sentence = f"{count} {'high' if scene.semitones > 0 else 'low'}: "
    sentence += f"{note.fret + scene.semitones} instead of {note.fret}"
    return scene.slip(kind, note.string, f"{sentence} on string {note.string}")


def _one_fret(scene: _Scene) -> Slip | None:
    return _frets_off(scene, 1)


def _few_frets(scene: _Scene) -> Slip | None:
    return _frets_off(scene, 3)


def _old_position(scene: _Scene) -> Slip | None:
    """Tell whether the interval is the last shift undone."""
    hands = hand_positions(scene.lick)
    moved = [i for i in range(1, scene.index + 1) if hands[i] != hands[i - 1]]
    if not moved or scene.note.fret + scene.semitones < 0:
        return None
    old, new = hands[moved[-1] - 1], hands[moved[-1]]
    if scene.semitones != old - new:
        return None
    sentence = f"played in the old position: hand still at fret {old} instead of {new}"
    return scene.slip(SlipKind.OLD_POSITION, scene.note.string, sentence)


def _skipped_string(scene: _Scene) -> Slip | None:
    """Tell whether a string that should be jumped over was hit, fretted or open."""
    if scene.index == 0:
        return None
    note = scene.note
    ends = sorted((scene.lick.notes[scene.index - 1].string, note.string))
    for string in range(ends[0] + 1, ends[1]):
        fret = scene.played - scene.open_midi(string)
        if fret in (note.fret, 0):
            sentence = f"string {string} was hit, at {_fret(fret)}, instead of skipped"
            return scene.slip(SlipKind.SKIPPED_STRING, string, sentence)
    return None


def _neighbour_string(scene: _Scene) -> Slip | None:
    note = scene.note
    for string in (note.string - 1, note.string + 1):
        if not 1 <= string <= scene.lick.tuning.strings:
            continue
        if scene.played - scene.open_midi(string) == note.fret:
            sentence = f"right fret, wrong string: {note.fret} on string {string}"
            sentence += f" instead of string {note.string}"
            return scene.slip(SlipKind.NEIGHBOUR_STRING, string, sentence)
    return None


def _finger_late(scene: _Scene) -> Slip | None:
    note, before = scene.note, scene.before
    if before is None or scene.played != before.midi_number:
        return None
    sentence = f"finger late: {_fret(before.fret)} of string {note.string} sounded "
    sentence += f"again instead of {_fret(note.fret)}"
    return scene.slip(SlipKind.FINGER_LATE, note.string, sentence)


def _octave(scene: _Scene) -> Slip | None:
    octaves, rest = divmod(abs(scene.semitones), 12)
    place = _nearest_place(scene)
    if rest or not octaves or place is None:
        return None
    count = "an octave" if octaves == 1 else f"{octaves} octaves"
    sentence = f"{count} too {'high' if scene.semitones > 0 else 'low'}: "
    sentence += f"{note_name(scene.played)} instead of "
    sentence += note_name(scene.note.midi_number)
    return Slip(SlipKind.OCTAVE, *place, sentence)


def _other_open_string(scene: _Scene) -> Slip | None:
    for string in range(1, scene.lick.tuning.strings + 1):
        if scene.played == scene.open_midi(string):
            sentence = f"string {string} open instead of fret {scene.note.fret}"
            sentence += f" on string {scene.note.string}"
            return scene.slip(SlipKind.OPEN_STRING, string, sentence)
    return None


def _nearest_place(scene: _Scene) -> tuple[int, int] | None:
    """Find the place of the played pitch that lies nearest the written note."""
    note = scene.note
    places = positions(scene.played, scene.lick.tuning, capo=scene.lick.capo)
    return min(
        places,
        key=lambda p: abs(p[1] - note.fret) + 2 * abs(p[0] - note.string),
        default=None,
    )


def _elsewhere(scene: _Scene) -> Slip | None:
    names = f"{note_name(scene.played)} instead of {note_name(scene.note.midi_number)}"
    place = _nearest_place(scene)
    if place is None:
        sentence = f"{names}, which no string reaches"
        return Slip(SlipKind.ELSEWHERE, scene.note.string, scene.note.fret, sentence)
    sentence = f"{names}: as on string {place[0]}, {_fret(place[1])}"
    return Slip(SlipKind.ELSEWHERE, *place, sentence)


# The most plausible first.
_READINGS: tuple[Callable[[_Scene], Slip | None], ...] = (
    _bent_sharp,
    _not_slurred,
    _open_string,
    _one_fret,
    _old_position,
    _skipped_string,
    _neighbour_string,
    _finger_late,
    _few_frets,
    _octave,
    _other_open_string,
    _elsewhere,
)


def slip_readings(lick: Lick, index: int, played_midi: float) -> tuple[Slip, ...]:
    """Read a wrong note on the fingerboard, every way that fits.

    Parameters
    ----------
    lick : Lick
    index : int
        0-based place of the note in the lick.
    played_midi : float
        Pitch that sounded, as MIDI number, the instrument's own tuning taken out.  A
        fraction beyond a quarter of a semitone says that the string was bent.

    Returns
    -------
    tuple of Slip
        The most plausible first; never empty.

    Raises
    ------
    ValueError
        When the note is not wrong: `played_midi` rounds to the written pitch and is
        not bent.
    """
    written = lick.notes[index].midi_number
    scene = _Scene(lick, index, round(played_midi), played_midi - written)
    bent = _bent_sharp(scene)
    if scene.played == written:
        if bent is None:
            message = f"note {index} is right: {note_name(written)} was played"
            raise ValueError(message)
        return (bent,)
    return tuple(slip for read in _READINGS if (slip := read(scene)) is not None)


def explain_slip(lick: Lick, index: int, played_midi: float) -> Slip:
    """Read a wrong note on the fingerboard, the most plausible way.

    Parameters, errors: as `slip_readings`.

    Examples
    --------
    >>> from fractions import Fraction
    >>> from assessor.lick.notation import Meter
    >>> from assessor.tuning import STANDARD
    >>> note = LickNote(Fraction(0), Fraction(1), 67, string=2, fret=8)
    >>> lick = Lick("one note", 90, Meter(), STANDARD, (note,))
    >>> explain_slip(lick, 0, 66).sentence
    'one fret low: 7 instead of 8 on string 2'
    >>> explain_slip(lick, 0, 72).sentence
    'right fret, wrong string: 8 on string 1 instead of string 2'
    """
    return slip_readings(lick, index, played_midi)[0]
