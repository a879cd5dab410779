"""What went wrong where, and what to work on first.

Every item outside its tolerance for sure is a *fault* with one cause.  A cause costs
the points of the mark that its faults cost (`marks`); the dearest is what to work on
first, at the place where it was worst.  An early or late note has as its cause, in this
order: the slur it is sounded by is uneven; it is late after a shift, or a string skip,
and those notes cost more than others; the playing stopped before it; the tempo drifts;
none of these.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

from assessor.lick.notation import Articulation, Lick
from assessor.lick.places import say_place as say_place  # for those who name a focus
from assessor.measures.accuracy import Accuracy
from assessor.measures.bends import Bends
from assessor.measures.legato import Legato, SlurredNote
from assessor.measures.marks import Area, Mark, outside
from assessor.measures.timing import NoteTiming, Tendency, Timing
from assessor.tuning import note_name


class Cause(StrEnum):
    """Why points were lost."""

    WRONG = "wrong notes"
    MISSED = "missed notes"
    EXTRA = "extra notes"
    PAUSE = "pauses"
    SHIFT = "shifts"
    STRING_SKIP = "string skips"
    RUSHING = "rushing"
    DRAGGING = "dragging"
    EARLY = "early notes"
    LATE = "late notes"
    FLAT_BEND = "flat bends"
    SHARP_BEND = "sharp bends"
    UNEVEN_SLUR = "uneven slurs"
    SHARP_NOTE = "sharp notes"
    FLAT_NOTE = "flat notes"


# Common practice
ADVICE = {
    Cause.WRONG: "Play it slower until it is right every time, then speed up.",
    Cause.MISSED: "Play it slower until every note sounds, then speed up.",
    Cause.EXTRA: "Damp the strings you do not play.",
    Cause.PAUSE: "Play across this place only, over and over, without stopping.",
    Cause.SHIFT: "Practise the move alone: the note before it and the note after.",
    Cause.STRING_SKIP: "Practise the string change alone, in time.",
    Cause.RUSHING: "Play it to a click.",
    Cause.DRAGGING: "Play it to a click, a little slower.",
    Cause.EARLY: "Play this bar to a click.",
    Cause.LATE: "Play this bar to a click.",
    Cause.FLAT_BEND: "Play the pitch it should reach as a plain note, then bend.",
    Cause.SHARP_BEND: "Play the pitch it should reach as a plain note, then bend.",
    Cause.UNEVEN_SLUR: "Pick every note of it in time, then slur it in the same time.",
    Cause.SHARP_NOTE: "Press more lightly and straight down.",
    Cause.FLAT_NOTE: "Press close behind the fret, and check the guitar's tuning.",
}

_IN_TIME = ("ms", "late", "early")
_SLURS = {
    Articulation.HAMMER_ON: "hammered on",
    Articulation.PULL_OFF: "pulled off",
    Articulation.SLIDE: "slid",
}


@dataclass(frozen=True)
class Fault:
    """One item outside its tolerance.

    Attributes
    ----------
    area : Area
    cause : Cause
    index : int
        0-based place in the lick.
    size : float
        To compare faults of one cause by: larger = worse.
    what : str
        What happened there, for the player, without a full stop.
    """

    area: Area
    cause: Cause
    index: int
    size: float
    what: str


@dataclass(frozen=True)
class Focus:
    """The cause that cost most.

    Attributes
    ----------
    cause : Cause
    cost : float
        Points of the mark.
    indices : tuple of int
        Notes of the lick it touches, in order.
    worst : int
        The note where it was worst.
    what : str
        What happened there.
    advice : str
    """

    cause: Cause
    cost: float
    indices: tuple[int, ...]
    worst: int
    what: str
    advice: str


def find_faults(
    lick: Lick, accuracy: Accuracy, timing: Timing, bends: Bends, legato: Legato
) -> tuple[Fault, ...]:
    """Every fault of a pass, in the order of the lick."""
    faults = [
        *_note_faults(lick, accuracy),
        *_time_faults(lick, timing, legato),
        *_bend_faults(bends),
        *_slur_faults(lick, legato),
        *_pitch_faults(bends),
    ]
    return tuple(sorted(faults, key=lambda fault: fault.index))


def find_focus(faults: tuple[Fault, ...], mark: Mark) -> Focus | None:
    """Dearest cause of a pass; None when nothing was outside its tolerance."""
    groups: dict[Cause, list[Fault]] = {}
    for fault in faults:
        groups.setdefault(fault.cause, []).append(fault)
    found = [_focus(group, mark) for group in groups.values()]
    return max(found, key=lambda focus: focus.cost, default=None)


def _focus(group: list[Fault], mark: Mark) -> Focus:
    worst = max(group, key=lambda fault: fault.size)
    return Focus(
        cause=worst.cause,
        cost=sum(mark.cost(fault.area, 1) for fault in group),
        indices=tuple(sorted({fault.index for fault in group})),
        worst=worst.index,
        what=worst.what,
        advice=ADVICE[worst.cause],
    )


def _note_faults(lick: Lick, accuracy: Accuracy) -> Iterator[Fault]:
    for wrong in accuracy.wrong:
        written = note_name(lick.notes[wrong.index].midi_number)
        what = f"{note_name(wrong.midi_number)} instead of {written}"
        what = wrong.slip.sentence if wrong.slip else what
        yield Fault(Area.NOTES, Cause.WRONG, wrong.index, abs(wrong.semitones), what)
    for index in accuracy.missed:
        yield Fault(Area.NOTES, Cause.MISSED, index, 1.0, "this note did not sound")
    for extra in accuracy.extra:
        name, side = note_name(extra.midi_number), "after"
        if extra.after < 0:
            side = "before"
        what = f"an extra {name} sounds {side} this note"
        yield Fault(Area.NOTES, Cause.EXTRA, max(extra.after, 0), 1.0, what)


def _time_faults(lick: Lick, timing: Timing, legato: Legato) -> Iterator[Fault]:
    uneven = {note.index: note for note in legato.notes if outside(note.interval)}
    for note in timing.notes:
        if not outside(note.deviation):
            continue
        size, off = abs(note.deviation.value), _off(note.deviation.value, *_IN_TIME)
        cause, why = _time_cause(timing, note)
        if note.index in uneven:
            cause = Cause.UNEVEN_SLUR
            why = f": {_uneven_slur(lick, uneven[note.index])}"
        yield Fault(Area.TIME, cause, note.index, size, off + why)


def _time_cause(timing: Timing, note: NoteTiming) -> tuple[Cause, str]:
    """Cause of an early or late note, and words for it."""
    late = note.deviation.value > 0
    for hesitation in timing.hesitations:
        slow = outside(hesitation.extra) and hesitation.extra.value > 0
        if late and slow and note.index in hesitation.indices:
            cost = f"these cost you {hesitation.extra.value:.0f} ms each"
            why = f", after a {hesitation.movement}: {cost}"
            return Cause(f"{hesitation.movement}s"), why
    if any(jump.index == note.index for jump in timing.jumps):
        return Cause.PAUSE, ": the beat breaks off here"
    drifting = {
        Tendency.RUSHING: (Cause.RUSHING, "faster"),
        Tendency.DRAGGING: (Cause.DRAGGING, "slower"),
    }
    if timing.drift is not None and timing.tendency in drifting:
        change_bpm = abs(timing.drift.value) * timing.duration_s / 60
        cause, way = drifting[timing.tendency]
        return cause, f": you get {way}, by {change_bpm:.1f} bpm over the pass"
    return (Cause.LATE if late else Cause.EARLY), ""


def _bend_faults(bends: Bends) -> Iterator[Fault]:
    for note in bends.bent:
        parts = (
            ("bend", note.reached),
            ("pre-bend", note.start),
            ("release", note.end),
        )
        for name, reading in parts:
            if reading is None or not outside(reading):
                continue
            off = reading.deviation
            cause = Cause.SHARP_BEND if off > 0 else Cause.FLAT_BEND
            what = f"the {name} is {_off(off, 'cents', 'sharp', 'flat')}"
            if reading.target:
                what += f": {reading.value:.0f} of {reading.target:.0f}"
            yield Fault(Area.BENDS, cause, note.index, abs(off), what)


def _slur_faults(lick: Lick, legato: Legato) -> Iterator[Fault]:
    for note in legato.notes:
        if outside(note.interval):
            size = abs(note.interval.value)
            what = _uneven_slur(lick, note)
            yield Fault(Area.LEGATO, Cause.UNEVEN_SLUR, note.index, size, what)


def _uneven_slur(lick: Lick, note: SlurredNote) -> str:
    """Words for a slurred note that comes too soon or too late after the one before."""
    off = _off(note.interval.value, "ms", "too late", "too soon")
    return f"{_SLURS[lick.notes[note.index].articulation]} {off}"


def _pitch_faults(bends: Bends) -> Iterator[Fault]:
    for note in bends.plain:
        if outside(note.intonation):
            off = note.intonation.value
            cause = Cause.SHARP_NOTE if off > 0 else Cause.FLAT_NOTE
            what = _off(off, "cents", "sharp", "flat")
            yield Fault(Area.PITCH, cause, note.index, abs(off), what)


def _off(value: float, unit: str, above: str, below: str) -> str:
    """Words for a signed distance.

    >>> _off(-12.4, "cents", "sharp", "flat")
    '12 cents flat'
    """
    return f"{abs(value):.0f} {unit} {above if value > 0 else below}"
