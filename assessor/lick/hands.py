"""What a lick asks of the two hands: shifts, stretches, string crossings, cautions.

Conventions as in `assessor.lick.fretting`.  Cautions are common practice, not
medicine: what teachers warn of, each with its reason.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise

from assessor.lick.fingerboard import hand_positions, shifts
from assessor.lick.fretting import distance_mm
from assessor.lick.notation import Articulation, Lick, LickNote, Stroke
from assessor.lick.playability import complaints

# Four fingers cover four frets, five with a stretch (common practice).
SPAN_FRETS = 5
# From this size on a bend wants the third finger with the others behind it (common
# practice); the fourth is weak, and the first has no finger behind it.
STRONG_BEND_CENTS = 100.0
WIDE_BEND_CENTS = 200.0  # more than a whole step strains fingers and strings
LITTLE_FINGER = 4

_UNPLAYABLE = "this cannot be played as it is written"
_PICKED = frozenset({Articulation.PICK, Articulation.DEAD})
_PICK_STROKES = frozenset({Stroke.DOWN, Stroke.UP})


@dataclass(frozen=True)
class Shift:
    """The fretting hand moves to another position.

    Attributes
    ----------
    index : int
        Of the note it is made for.
    from_fret, to_fret : int
        Fret of the index finger before and after.
    seconds : float
        From the onset of the note before, as written.
    slid : bool
        The finger slides there and takes the hand along.
    """

    index: int
    from_fret: int
    to_fret: int
    seconds: float
    slid: bool

    @property
    def frets(self) -> int:
        """How far, + = up the neck."""
        return self.to_fret - self.from_fret


@dataclass(frozen=True)
class Stretch:
    """What lies under the hand without a shift.

    Attributes
    ----------
    first, last : int
        Indices of the notes it is measured over.
    low_fret, high_fret : int
        Outermost frets.
    distance_mm : float
        Between them, on a neck of `fretting.SCALE_LENGTH_MM`.
    slur : bool
        Both are held at once, for a hammer-on or pull-off.
    """

    first: int
    last: int
    low_fret: int
    high_fret: int
    distance_mm: float
    slur: bool

    @property
    def frets(self) -> int:
        """Frets it covers, both ends counted."""
        return self.high_fret - self.low_fret + 1


class Crossing(StrEnum):
    """How the pick gets from one string to another.

    The names of the first two are the trade's: outside picking starts both strokes
    outside the two strings, inside picking between them.
    """

    OUTSIDE = "outside"  # down on the thicker string, up on the thinner
    INSIDE = "inside"  # up on the thicker string, down on the thinner
    SWEPT = "swept"  # the same stroke twice, the way the pick is going
    BACK = "back"  # the same stroke twice, against it


class CautionKind(StrEnum):
    """What a caution is about."""

    BEND_FOURTH_FINGER = "bend_fourth_finger"
    BEND_FIRST_FINGER = "bend_first_finger"
    BEND_WIDE = "bend_wide"
    STRETCH = "stretch"
    SAME_FINGER = "same_finger"
    UNPLAYABLE = "unplayable"


@dataclass(frozen=True)
class HandCaution:
    """Something a hand should be careful with.

    Attributes
    ----------
    index : int
        Of the note.
    kind : CautionKind
    what, reason : str
        For the player, without a full stop.
    """

    index: int
    kind: CautionKind
    what: str
    reason: str


def hand_shifts(lick: Lick) -> tuple[Shift, ...]:
    """Shifts of the fretting hand, in order."""
    hands, onsets_s = hand_positions(lick), lick.onsets_s()
    return tuple(
        Shift(
            index,
            hands[index - 1],
            hands[index],
            float(onsets_s[index] - onsets_s[index - 1]),
            lick.notes[index].articulation is Articulation.SLIDE,
        )
        for index in shifts(lick)
    )


def widest_stretch(lick: Lick) -> Stretch | None:
    """Stretch that covers most frets, and of those the longest in millimetres.

    Measured over all notes between two shifts, and over the two notes of each hammer-on
    and pull-off, whose frets are held at once.

    Returns
    -------
    Stretch or None
        None where no string is fretted.
    """
    return max(
        stretches(lick),
        key=lambda each: (each.frets, each.distance_mm, each.slur),
        default=None,
    )


def stretches(lick: Lick) -> Iterator[Stretch]:
    """Stretch of each stay of the hand, and of each fretted hammer-on and pull-off."""
    borders = [0, *shifts(lick), len(lick)]
    for first, after in pairwise(borders):
        found = _stretch(lick, range(first, after), slur=False)
        if found is not None:
            yield found
    for index, note in enumerate(lick.notes):
        hammered = note.articulation in (Articulation.HAMMER_ON, Articulation.PULL_OFF)
        if index and hammered and min(note.fret, lick.notes[index - 1].fret) > 0:
            found = _stretch(lick, range(index - 1, index + 1), slur=True)
            if found is not None:
                yield found


def _stretch(lick: Lick, indices: range, *, slur: bool) -> Stretch | None:
    """Stretch over the fretted ones of some notes."""
    frets = [lick.notes[k].fret for k in indices if lick.notes[k].fret > 0]
    if not frets:
        return None
    low, high = min(frets), max(frets)
    wide_mm = distance_mm(low, high, lick.capo)
    return Stretch(indices[0], indices[-1], low, high, wide_mm, slur)


def crossings(lick: Lick) -> tuple[tuple[int, Crossing], ...]:
    """How the pick crosses strings, and the note it crosses to.

    Counted from each picked note to the next, slurred notes passed over, where both
    have a written pick stroke; what fingers pluck is no crossing.
    """
    picked = [k for k, note in enumerate(lick.notes) if note.articulation in _PICKED]
    found = []
    for before, after in pairwise(picked):
        one, other = lick.notes[before], lick.notes[after]
        if one.string != other.string and {one.stroke, other.stroke} <= _PICK_STROKES:
            found.append((after, _crossing(one, other)))
    return tuple(found)


def _crossing(one: LickNote, other: LickNote) -> Crossing:
    """Crossing between two notes on different strings, both with a pick stroke."""
    down_the_strings = other.string < one.string  # towards the floor, to the thinner
    if one.stroke is other.stroke:
        swept = (one.stroke is Stroke.DOWN) is down_the_strings
        return Crossing.SWEPT if swept else Crossing.BACK
    thicker = one if down_the_strings else other
    return Crossing.OUTSIDE if thicker.stroke is Stroke.DOWN else Crossing.INSIDE


def hand_cautions(lick: Lick, span_frets: int = SPAN_FRETS) -> tuple[HandCaution, ...]:
    """What to be careful with, in the order of the notes.

    Parameters
    ----------
    lick : Lick
    span_frets : int
        Frets that the hand may cover without a shift, both ends counted.

    Examples
    --------
    >>> from fractions import Fraction
    >>> from assessor.lick.notation import Bend, BendKind, Meter
    >>> from assessor.tuning import STANDARD
    >>> whole = Bend(BendKind.BEND, 200.0)
    >>> note = LickNote(Fraction(0), Fraction(1), 67, 2, 8, bend=whole, finger=4)
    >>> (found,) = hand_cautions(Lick("A", 90, Meter(), STANDARD, (note,)))
    >>> found.what
    'a bend of a whole step with the fourth finger'
    """
    found = [
        HandCaution(each.index, CautionKind.UNPLAYABLE, _UNPLAYABLE, each.reason)
        for each in complaints(lick)
    ]
    told = {caution.index for caution in found}
    for index, note in enumerate(lick.notes):
        found += _bend_cautions(index, note)
    found += [c for c in _stretch_cautions(lick, span_frets) if c.index not in told]
    found += _same_finger_cautions(lick)
    return tuple(sorted(found, key=lambda caution: caution.index))


def say_bend(cents: float) -> str:
    """Size of a bend the way players say it.

    >>> [say_bend(cents) for cents in (50.0, 100.0, 200.0, 130.0)]
    ['a quarter step', 'a half step', 'a whole step', '130 cents']
    """
    names = {
        50.0: "a quarter step",
        100.0: "a half step",
        200.0: "a whole step",
        300.0: "one and a half steps",
        400.0: "two steps",
    }
    return names.get(cents, f"{cents:.0f} cents")


def _bend_cautions(index: int, note: LickNote) -> Iterator[HandCaution]:
    """Bends with a weak finger, and wide ones."""
    if note.bend is None or note.fret == 0:
        return
    cents = note.bend.target_cents
    bend = f"a bend of {say_bend(cents)}"
    if cents > STRONG_BEND_CENTS and note.finger == LITTLE_FINGER:
        reason = "it is the weakest finger; the third, with two behind it, is safer"
        what = f"{bend} with the fourth finger"
        yield HandCaution(index, CautionKind.BEND_FOURTH_FINGER, what, reason)
    if cents > STRONG_BEND_CENTS and note.finger == 1:
        reason = "no finger stands behind it to help; the third is safer"
        what = f"{bend} with the first finger"
        yield HandCaution(index, CautionKind.BEND_FIRST_FINGER, what, reason)
    if cents > WIDE_BEND_CENTS:
        reason = (
            "it pulls hard on fingers and string; warm up, few times, light strings"
        )
        yield HandCaution(index, CautionKind.BEND_WIDE, bend, reason)


def _stretch_cautions(lick: Lick, span_frets: int) -> Iterator[HandCaution]:
    """Stays and slurs that cover more frets than the hand should; slurs speak first."""
    told: set[int] = set()
    found = sorted(stretches(lick), key=lambda each: not each.slur)
    for each in found:
        notes = set(range(each.first, each.last + 1))
        if each.frets <= span_frets or told & notes:
            continue
        told |= notes
        what = (
            f"frets {each.low_fret} to {each.high_fret}, {each.distance_mm:.0f} mm, "
            + ("held at once" if each.slur else "without a shift")
        )
        reason = f"{each.frets} frets under one hand are more than {span_frets}"
        yield HandCaution(each.last, CautionKind.STRETCH, what, reason)


def _same_finger_cautions(lick: Lick) -> Iterator[HandCaution]:
    """Hammer-ons and pull-offs between frets of one finger."""
    hammered = (Articulation.HAMMER_ON, Articulation.PULL_OFF)
    for index, (before, note) in enumerate(pairwise(lick.notes), start=1):
        same = before.finger is not None and before.finger == note.finger
        if same and note.articulation in hammered and before.string == note.string:
            name = note.articulation.replace("_", "-")
            what = f"a {name} from finger {note.finger} to itself"
            reason = "one finger cannot be on two frets; change one of them"
            yield HandCaution(index, CautionKind.SAME_FINGER, what, reason)
