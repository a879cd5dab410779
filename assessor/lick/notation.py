"""What should be played: the types every lick reader makes and writes.

Conventions
-----------
A *beat* is a quarter note.  Beats are exact `Fraction` and become seconds once,
in `Lick.onsets_s`.  Strings count from 1 = highest; frets count from the capo;
`midi_number` is the sounding pitch of the fretted note (before any bend).
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from enum import StrEnum
from fractions import Fraction
from functools import cached_property

import numpy as np

from assessor.tuning import FloatArray, Tuning


class Articulation(StrEnum):
    """How a note is to be sounded."""

    PICK = "pick"
    HAMMER_ON = "hammer_on"
    PULL_OFF = "pull_off"
    SLIDE = "slide"  # slid into from the note before on the same string, unpicked
    DEAD = "dead"  # muted: a knock without pitch


SLURRED = frozenset({Articulation.HAMMER_ON, Articulation.PULL_OFF, Articulation.SLIDE})


class BendKind(StrEnum):
    """The four ways a string is bent."""

    BEND = "bend"  # fretted, then pushed up
    BEND_RELEASE = "bend_release"  # up, then let down again
    PREBEND = "prebend"  # pushed up before it sounds
    PREBEND_RELEASE = "prebend_release"  # sounded bent, then let down


@dataclass(frozen=True)
class Bend:
    """A bend of `target_cents` (> 0) above the fretted pitch."""

    kind: BendKind
    target_cents: float

    def __post_init__(self) -> None:
        """Refuse a bend that does not go up."""
        if not 0 < self.target_cents <= 500:
            message = f"a bend of {self.target_cents} cents is not in 1 to 500"
            raise ValueError(message)


class SlideEdge(StrEnum):
    """A slide without a written other end."""

    FROM_BELOW = "from_below"
    FROM_ABOVE = "from_above"
    UP = "up"  # away, upwards
    DOWN = "down"  # away, downwards


class Stroke(StrEnum):
    """What the picking hand does: pick down, pick up, or a plucking finger."""

    DOWN = "down"
    UP = "up"
    THUMB = "thumb"
    INDEX = "index"
    MIDDLE = "middle"
    RING = "ring"


@dataclass(frozen=True)
class LickNote:
    """One written note.

    Attributes
    ----------
    onset_beats, duration_beats : Fraction
        In quarter notes from the start of the lick; duration > 0.
    midi_number : int
        Sounding pitch of the fretted note.
    string : int
        1 = highest.
    fret : int
        Counted from the capo.
    slide_in, slide_out : SlideEdge or None
        A slide from nowhere into the note, or out of it to nowhere.
    finger : int or None
        Fretting finger 1 to 4; 0 is the thumb.
    """

    onset_beats: Fraction
    duration_beats: Fraction
    midi_number: int
    string: int
    fret: int
    articulation: Articulation = Articulation.PICK
    bend: Bend | None = None
    vibrato: bool = False
    slide_in: SlideEdge | None = None
    slide_out: SlideEdge | None = None
    let_ring: bool = False
    finger: int | None = None
    stroke: Stroke | None = None

    @property
    def end_beats(self) -> Fraction:
        """Where the note ends."""
        return self.onset_beats + self.duration_beats

    @property
    def slurred(self) -> bool:
        """True when the note is sounded by the fretting hand."""
        return self.articulation in SLURRED

    @property
    def moves(self) -> bool:
        """True when the pitch is meant to move while the note sounds."""
        slides = self.slide_in is not None or self.slide_out is not None
        return self.bend is not None or self.vibrato or slides


@dataclass(frozen=True)
class Meter:
    """A time signature.

    >>> str(Meter(6, 8)), Meter(6, 8).bar_beats
    ('6/8', Fraction(3, 1))
    """

    count: int = 4
    unit: int = 4

    @property
    def bar_beats(self) -> Fraction:
        """Length of a bar in quarter notes."""
        return Fraction(4 * self.count, self.unit)

    def __str__(self) -> str:
        """Write as ``count/unit``."""
        return f"{self.count}/{self.unit}"


@dataclass(frozen=True)
class TempoChange:
    """From `beat` on, `tempo_bpm` quarter notes a minute."""

    beat: Fraction
    tempo_bpm: float


@dataclass(frozen=True)
class Parent:
    """The lick that a drill is made of.

    Attributes
    ----------
    title : str
    digest : str
        Of its content, 64 hex digits (`assessor.lick.digest`).
    form : str
        What the drill does with it, in a few words; may be empty.
    notes : tuple of int
        For each note of the drill, the 0-based index of the parent's note it is.
    """

    title: str
    digest: str
    form: str
    notes: tuple[int, ...]


@dataclass(frozen=True)
class Lick:
    """A phrase that is to be played.

    Attributes
    ----------
    title : str
        Shown to people.
    tempo_bpm : float
        Quarter notes a minute at the start.
    meter : Meter
        One time signature for the whole lick.
    tuning : Tuning
        Open strings, without capo.
    notes : tuple of LickNote
        In order of onset; single notes, none empty, none overlapping.
    capo : int
        Fret of the capo, 0 = none.
    swing : float or None
        Written eighths played long to short in this ratio; None = straight.
    tempo_changes : tuple of TempoChange
        In order, all after beat 0.
    pickup_beats : Fraction
        Length of an incomplete first bar; 0 = the first bar is whole.
    trains : str
        One line on what the lick trains; may be empty.
    parent : Parent or None
        Of a drill: the lick it is made of.
    notices : tuple of str
        What the reader had to leave out or change.
    """

    title: str
    tempo_bpm: float
    meter: Meter
    tuning: Tuning
    notes: tuple[LickNote, ...]
    capo: int = 0
    swing: float | None = None
    tempo_changes: tuple[TempoChange, ...] = ()
    pickup_beats: Fraction = Fraction(0)
    trains: str = ""
    parent: Parent | None = None
    notices: tuple[str, ...] = field(default=(), compare=False)

    def __post_init__(self) -> None:
        """Check order, once, at the door."""
        if not self.notes:
            message = "a lick has at least one note"
            raise ValueError(message)
        for before, after in zip(self.notes[:-1], self.notes[1:], strict=True):
            if after.onset_beats < before.end_beats:
                message = (
                    f"notes overlap: one ends at beat {before.end_beats}, "
                    f"the next starts at beat {after.onset_beats}"
                )
                raise ValueError(message)
        if self.parent is not None and len(self.parent.notes) != len(self.notes):
            message = (
                f"{len(self.notes)} notes, but {len(self.parent.notes)} places in the "
                "parent"
            )
            raise ValueError(message)

    def __len__(self) -> int:
        """Count the notes."""
        return len(self.notes)

    def seconds(self, beats: Fraction) -> float:
        """Time of a place in the lick, in seconds from its start as written.

        Swing is applied inside each quarter note: its middle moves to
        ``ratio / (1 + ratio)`` (Friberg & Sundström 2002 define the ratio as
        long to short eighth).
        """
        # beats of the first whole bar count from its bar line, also after a pickup
        beats = self._swung(beats - self.pickup_beats) - self._swung(-self.pickup_beats)
        time_s, at, tempo_bpm = 0.0, Fraction(0), self.tempo_bpm
        for change in self.tempo_changes:
            if change.beat >= beats:
                break
            time_s += float(change.beat - at) * 60.0 / tempo_bpm
            at, tempo_bpm = change.beat, change.tempo_bpm
        return time_s + float(beats - at) * 60.0 / tempo_bpm

    def at_tempo(self, tempo_bpm: float) -> Lick:
        """Lick at another starting tempo; later changes of tempo keep their ratio."""
        ratio = tempo_bpm / self.tempo_bpm
        changes = tuple(
            TempoChange(change.beat, change.tempo_bpm * ratio)
            for change in self.tempo_changes
        )
        return replace(self, tempo_bpm=self.tempo_bpm * ratio, tempo_changes=changes)

    def _swung(self, beats: Fraction) -> Fraction:
        """Place of a written beat after swing."""
        if self.swing is None:
            return beats
        whole, part = divmod(beats, 1)
        middle = Fraction(self.swing / (1 + self.swing)).limit_denominator(10000)
        half = Fraction(1, 2)
        if part < half:
            return whole + part * middle / half
        return whole + middle + (part - half) * (1 - middle) / half

    def onsets_s(self) -> FloatArray:
        """Written onset of each note, shape=(n,), seconds from the lick's start."""
        return self._onsets_s.copy()

    @cached_property
    def _onsets_s(self) -> FloatArray:
        """`onsets_s`, which every pass asks for several times."""
        return np.array([self.seconds(n.onset_beats) for n in self.notes])

    def ends_s(self) -> FloatArray:
        """Written end of each note, shape=(n,), seconds from the lick's start."""
        return np.array([self.seconds(n.end_beats) for n in self.notes])
