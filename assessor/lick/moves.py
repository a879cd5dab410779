"""Moves a lick on the neck: by frets, to a key, by octaves, along a scale, to strings.

A move changes pitches, places, or both.  By frets alone the strings stay; every other
move is fretted anew (`fretting.solve`), which keeps strings and changes of string where
that is no dearer.  Bends keep their size in frets; along a scale they reach for the
note of the scale.  A move that brings anything no hand can play is refused with the
reasons; what could not be played before is no reason.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil

from assessor.lick.fingers import with_fingers
from assessor.lick.fretting import FRETS, positions, solve
from assessor.lick.notation import Articulation, Bend, Lick, LickNote, TempoChange
from assessor.lick.playability import Obstacle, complaints
from assessor.lick.scales import Scale
from assessor.tuning import note_name

PitchMap = Callable[[int], int]  # MIDI number to MIDI number

MOST_BEND_CENTS = 500
MOST_REASONS = 5  # said; the rest is counted


class Unplayable(ValueError):
    """A move whose result no hand can play.

    Attributes
    ----------
    reasons : tuple of str
        Each with the note it is about.
    """

    def __init__(self, reasons: Sequence[str]) -> None:
        self.reasons = tuple(reasons)
        shown = "; ".join(self.reasons[:MOST_REASONS])
        more = len(self.reasons) - MOST_REASONS
        super().__init__(f"{shown}; and {more} more" if more > 0 else shown)


@dataclass(frozen=True)
class Neck:
    """Where a moved lick may lie.

    Attributes
    ----------
    strings : collection of int or None
        Only these; None = any.
    frets : int
        Counted from the nut.
    """

    strings: Collection[int] | None = None
    frets: int = FRETS


ANYWHERE = Neck()


# ------------------------------------------------------------------- pitches


def by_semitones(semitones: int) -> PitchMap:
    """Every note so many semitones higher."""
    return lambda midi_number: midi_number + semitones


def along(scale: Scale, steps: int) -> PitchMap:
    """Every note so many steps of a scale higher.

    A note outside the scale keeps its distance above the note of the scale below it.

    >>> [along(Scale(0, "major"), 2)(midi) for midi in (60, 62, 64, 66)]
    [64, 65, 67, 70]
    """
    tones = sorted(scale.pitch_classes)

    def moved(midi_number: int) -> int:
        octave, pitch_class = divmod(midi_number, 12)
        below = [tone for tone in tones if tone <= pitch_class]
        # below the lowest tone counted from C lies the highest of the octave before
        place = octave * len(tones) + len(below) - 1
        there, here = place + steps, midi_number
        return here + _tone(tones, there) - _tone(tones, place)

    return moved


def _tone(tones: list[int], place: int) -> int:
    """MIDI number of a tone counted through the octaves."""
    octave, degree = divmod(place, len(tones))
    return 12 * octave + tones[degree]


def key_semitones(from_tonic: int, to_tonic: int) -> tuple[int, int]:
    """The two ways to another tonic, the shorter first; of equals upwards.

    >>> key_semitones(9, 0), key_semitones(0, 9), key_semitones(0, 6)
    ((3, -9), (-3, 9), (6, -6))
    """
    up = (to_tonic - from_tonic) % 12
    return (up, up - 12) if up <= 6 else (up - 12, up)


# -------------------------------------------------------------------- moving


def by_frets(lick: Lick, frets: int, neck: Neck = ANYWHERE) -> Lick:
    """Lick so many frets higher on the same strings.

    Parameters
    ----------
    lick : Lick
    frets : int
        Negative = lower.
    neck : Neck
        Only its number of frets counts.

    Raises
    ------
    Unplayable
        With the notes that fall off the neck, or are bent on an open string there.
    """
    notes = tuple(
        note
        if _bare(note)
        else replace(note, fret=note.fret + frets, midi_number=note.midi_number + frets)
        for note in lick.notes
    )
    moved = replace(lick, notes=notes)
    refuse_unplayable(lick, moved, neck)
    return with_fingers(lick, moved)


def refretted(lick: Lick, pitch: PitchMap, neck: Neck = ANYWHERE) -> Lick:
    """Lick at other pitches, fretted anew by the lowest cost.

    Parameters
    ----------
    lick : Lick
    pitch : callable
        From `by_semitones` or `along`.
    neck : Neck

    Raises
    ------
    Unplayable
        With the notes that no place is found for, or that no hand can play there.

    Examples
    --------
    Another set of strings, with the third between the third and second string:

    >>> from assessor.lick.notation import Meter
    >>> from assessor.tuning import STANDARD
    >>> notes = tuple(
    ...     LickNote(Fraction(i), Fraction(1), STANDARD.midi_number(s, f), s, f)
    ...     for i, (s, f) in enumerate([(4, 9), (3, 7), (3, 9)])
    ... )
    >>> lick = Lick("A", 90, Meter(), STANDARD, notes)
    >>> moved = refretted(lick, by_semitones(0), Neck(strings=(2, 3)))
    >>> [(note.string, note.fret) for note in moved.notes]
    [(3, 4), (2, 3), (2, 5)]
    """
    pitched = [_at_pitch(note, pitch) for note in lick.notes]
    places = [
        _places(lick, note, neck, slid_on=_is_slid(after))
        for note, after in zip(pitched, [*pitched[1:], None], strict=True)
    ]
    _refuse_placeless(lick, pitched, places, neck)
    found = solve(
        places,
        [note.articulation for note in lick.notes],
        written=[note.string for note in lick.notes],
        capo=lick.capo,
    )
    notes = tuple(
        replace(note, string=string, fret=fret, midi_number=_midi(lick, string, fret))
        for note, (string, fret) in zip(pitched, found.places, strict=True)
    )
    moved = replace(lick, notes=notes)
    refuse_unplayable(lick, moved, neck)
    return with_fingers(lick, moved, found.hands)


def _bare(note: LickNote) -> bool:
    """Whether a note is a muted string at no fret: it has no pitch to move."""
    return note.articulation is Articulation.DEAD and note.fret == 0


def _at_pitch(note: LickNote, pitch: PitchMap) -> LickNote:
    """Note at its new pitch, with the bend that reaches the new target."""
    if _bare(note):
        return note
    midi_number = pitch(note.midi_number)
    bend = note.bend
    if bend is not None and bend.target_cents % 100 == 0:
        target = pitch(note.midi_number + round(bend.target_cents / 100))
        cents = 100.0 * (target - midi_number)
        if not 0 < cents <= MOST_BEND_CENTS:
            where = f"note at beat {note.onset_beats}"
            raise Unplayable([f"{where}: its bend would go {cents:.0f} cents"])
        bend = Bend(bend.kind, cents)
    return replace(note, midi_number=midi_number, bend=bend)


def _is_slid(note: LickNote | None) -> bool:
    """Whether a note is slid into from the one before."""
    return note is not None and note.articulation is Articulation.SLIDE


def _places(
    lick: Lick, note: LickNote, neck: Neck, *, slid_on: bool
) -> list[tuple[int, int]]:
    """Every place where a note can be played as it is written."""
    strings = neck.strings or range(1, lick.tuning.strings + 1)
    if _bare(note):
        return [(string, 0) for string in sorted(strings)]
    # what is bent or slid has to be fretted, unless it is written on an open string
    held = note.fret and (note.moves or _is_slid(note) or slid_on)
    there = positions(note.midi_number, lick.tuning, capo=lick.capo, frets=neck.frets)
    return [(s, fret) for s, fret in there if s in strings and (fret or not held)]


def _midi(lick: Lick, string: int, fret: int) -> int:
    return lick.tuning.midi_number(string, fret, lick.capo)


def _refuse_placeless(
    lick: Lick,
    notes: Sequence[LickNote],
    places: Sequence[list[tuple[int, int]]],
    neck: Neck,
) -> None:
    """Refuse notes without a place, with the range there is."""
    strings = sorted(neck.strings or range(1, lick.tuning.strings + 1))
    lowest = min(_midi(lick, string, 0) for string in strings)
    highest = max(_midi(lick, string, neck.frets - lick.capo) for string in strings)
    reach = f"the strings reach from {note_name(lowest)} to {note_name(highest)}"
    reasons = [
        f"note {index + 1}: no place for {note_name(note.midi_number)}, {reach}"
        for index, (note, there) in enumerate(zip(notes, places, strict=True))
        if not there
    ]
    if reasons:
        raise Unplayable(reasons)


def refuse_unplayable(lick: Lick, moved: Lick, neck: Neck) -> None:
    """Refuse what no hand can play in `moved` and what was no trouble in `lick`.

    Raises
    ------
    Unplayable
    """
    before = {
        (each.index, each.obstacle)
        for each in complaints(lick, neck.frets)
        if each.obstacle is not Obstacle.RANGE
    }
    reasons = [
        f"note {each.index + 1} (string {moved.notes[each.index].string}): "
        f"{each.reason}"
        for each in complaints(moved, neck.frets)
        if (each.index, each.obstacle) not in before
    ]
    if reasons:
        raise Unplayable(reasons)


# -------------------------------------------------------------------- chains


def period_beats(lick: Lick) -> Fraction:
    """Beats from a lick's start to where it can start again in the same metre.

    A lick shorter than a bar starts again on the next beat, any other on the next bar
    line; a pickup stays in front of the bar line.

    >>> from assessor.lick.notation import Meter
    >>> from assessor.tuning import STANDARD
    >>> def lasting(beats: Fraction) -> Lick:
    ...     note = LickNote(Fraction(0), beats, 69, 1, 5)
    ...     return Lick("A", 90, Meter(), STANDARD, (note,))
    >>> [str(period_beats(lasting(Fraction(n, 2)))) for n in (1, 2, 7, 9)]
    ['1', '1', '4', '8']
    """
    bar, length = lick.meter.bar_beats, lick.notes[-1].end_beats
    unit = bar
    if length < bar and not lick.pickup_beats:
        unit = beat_of(lick)
    return unit * ceil(length / unit)


def beat_of(lick: Lick) -> Fraction:
    """Length of a beat in quarter notes: three eighths in 6/8, 9/8 and 12/8.

    >>> from assessor.lick.notation import Meter
    >>> from assessor.tuning import STANDARD
    >>> note = LickNote(Fraction(0), Fraction(1), 69, 1, 5)
    >>> str(beat_of(Lick("A", 90, Meter(6, 8), STANDARD, (note,))))
    '3/2'
    """
    meter = lick.meter
    compound = meter.unit >= 8 and meter.count > 3 and meter.count % 3 == 0
    return Fraction(4, meter.unit) * (3 if compound else 1)


def chain(lick: Lick, step: Callable[[int], Lick], times: int) -> Lick:
    """A lick over and over, each time moved.

    Parameters
    ----------
    lick : Lick
    step : callable
        From 0 (as it is), 1, 2, … to the lick moved so often.
    times : int
        How often it is played in all.

    Raises
    ------
    Unplayable
        When one of them cannot be played; says how many can.
    """
    period, copies = period_beats(lick), []
    for number in range(times):
        try:
            copies.append(step(number))
        except Unplayable as problem:
            fit = f"{number} times of {times} can be played, the next cannot"
            first, *others = problem.reasons
            raise Unplayable([f"{fit}: {first}", *others]) from problem
    notes = tuple(
        replace(note, onset_beats=note.onset_beats + number * period)
        for number, copy in enumerate(copies)
        for note in copy.notes
    )
    parent = lick.parent
    if parent is not None:
        parent = replace(parent, notes=parent.notes * times)
    changes = _repeated_changes(lick, period, times)
    return replace(lick, notes=notes, tempo_changes=changes, parent=parent)


def _repeated_changes(
    lick: Lick, period: Fraction, times: int
) -> tuple[TempoChange, ...]:
    """Changes of tempo of every copy, each from the starting tempo again."""
    if not lick.tempo_changes:
        return ()
    once = [change for change in lick.tempo_changes if change.beat < period]
    changes: list[TempoChange] = []
    for number in range(times):
        start = number * period
        if number:
            changes.append(TempoChange(start, lick.tempo_bpm))
        changes += [TempoChange(start + c.beat, c.tempo_bpm) for c in once]
    return tuple(changes)
