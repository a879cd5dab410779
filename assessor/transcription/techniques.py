"""What the pitch of one note does: bent, let down, shaken, slid into or out of.

Conventions
-----------
Cents are above the lowest fret the note was heard on, the guitar's own tuning taken
out.  A size is written to the nearest quarter step, as guitarists do.

Known limits
------------
A pre-bend that is not let down sounds like a plain note of its target and is written as
one.  A vibrato as wide as the bend it sits on hides the bend.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from assessor.lick.notation import Bend, BendKind, SlideEdge
from assessor.measures import curves
from assessor.measures.curves import BendShape, Curve
from assessor.pitch import PlayedNote

STEP_CENTS = 50  # a quarter step: the finest size that is written
LEAST_BEND_CENTS = 30.0
BETWEEN_CENTS = 17.0  # as far from a written size, the size is doubtful
WIDEST_CENTS = 450.0
UP_SHARE = 0.4  # of the bend: below, it is down
STAYS_SHARE = 0.8  # of the time between rise and fall that a bend is up
LEAST_CHANGE_S = 0.03  # from 10 to 90 %: what is faster is another string's beating
NOISE_CENTS, LEAST_STEPS = 12.0, 15  # a rougher or shorter curve tells nothing
SLIDE_IN_S = 0.068  # a pitch that is left sooner was never fretted long
SLIDE_IN_CENTS = 80.0
FIRST_STEPS, LAST_STEPS = 4, 5  # of 10 ms that the first and the last pitch are of
FLAT_CENTS, FLAT_STEPS = 12.0, 6  # a pitch that holds
SLIDE_OUT_CENTS, SLIDE_OUT_TURNS = 90.0, 2
SHAKEN_CENTS, SHAKEN_CYCLES, SHAKEN_SURE = 11.0, 1.4, 3.0


@dataclass(frozen=True)
class Technique:
    """How the pitch of a note moves.

    Attributes
    ----------
    midi_number : int
        Of the fretted note.
    bend : Bend or None
    vibrato : bool
    slide_in, slide_out : SlideEdge or None
    doubt : str
        What else it may be, in words; empty when it is clear.
    """

    midi_number: int
    bend: Bend | None = None
    vibrato: bool = False
    slide_in: SlideEdge | None = None
    slide_out: SlideEdge | None = None
    doubt: str = ""


def technique_of(played: PlayedNote, tuning_cents: float, *, moving: bool) -> Technique:
    """Read the contour of one note; too short a note is plain.

    Parameters
    ----------
    played : PlayedNote
        `midi_number` is the lowest pitch it was heard on.
    tuning_cents : float
        The guitar's own.
    moving : bool
        It was heard on several pitches.
    """
    plain = Technique(played.midi_number)
    curve = curves.curve_of(played, tuning_cents)
    if curve is None or (not moving and _tells_nothing(curve)):
        return plain
    slide_out, body = _without_slide_out(curve)
    shape = curves.bend_shape(_lifted(body, _low(body)), swinging=True)
    moved = _moved(body, shape, plain, moving=moving)
    if moved.bend is None and moved.slide_in is None:
        held = body
    elif shape.plateau is not None:
        held = shape.plateau
    else:
        held = body.part(round(SLIDE_IN_S / curves.STEP_S))
    return replace(moved, vibrato=_is_shaken(held), slide_out=slide_out)


def _moved(
    curve: Curve, shape: BendShape, plain: Technique, *, moving: bool
) -> Technique:
    """Bend, release or slide into the note; the pitch it is then fretted at."""
    low, lowest = _low(curve), plain.midi_number
    size = _size(curve, shape, low)
    if moving:
        middle = round(float(np.median(curve.cents)) / 100)
        plain = Technique(plain.midi_number + middle)
    places = np.flatnonzero(curve.smooth() - low > size / 2)
    if size < LEAST_BEND_CENTS or not len(places):
        return plain
    stays = len(places) / (places[-1] + 1 - places[0])
    changes_s = [s for s in (shape.rise_s, shape.release_s) if s is not None]
    if stays < STAYS_SHARE or min(changes_s, default=1.0) < LEAST_CHANGE_S:
        return plain
    rises, falls = (
        float(np.median(part)) - low < UP_SHARE * size
        for part in (curve.cents[:FIRST_STEPS], curve.cents[-LAST_STEPS:])
    )
    at_s, gone_s = curve.since_s[places[0]], curve.since_s[places[-1]]
    base = lowest + round(low / 100)
    if rises and not falls and at_s < SLIDE_IN_S and size > SLIDE_IN_CENTS:
        return Technique(base + round(size / 100), slide_in=SlideEdge.FROM_BELOW)
    if rises and low < 0 and not moving:
        return plain  # what rang before is still heard at first
    if rises:
        return _bent(base, BendKind.BEND_RELEASE if falls else BendKind.BEND, size)
    if falls and gone_s < SLIDE_IN_S:
        return Technique(base, slide_in=SlideEdge.FROM_ABOVE)
    return _bent(base, BendKind.PREBEND_RELEASE, size) if falls else plain


def _tells_nothing(curve: Curve) -> bool:
    """Say whether a curve is too short, or too rough, to tell of bends."""
    return len(curve) < LEAST_STEPS or curve.noise_cents() > NOISE_CENTS


def _low(curve: Curve) -> float:
    """Pitch a note starts or ends on, the lower one, in cents; 0 where that is near."""
    first = float(np.median(curve.cents[:FIRST_STEPS]))
    last = float(np.median(curve.cents[-LAST_STEPS:]))
    low = min(first, last, 0.0)
    return low if low < -LEAST_BEND_CENTS else 0.0


def _lifted(curve: Curve, low: float) -> Curve:
    """Curve above another pitch."""
    return Curve(curve.since_s, curve.cents - low)


def _size(curve: Curve, shape: BendShape, low: float) -> float:
    """Cents from the lowest pitch to where the curve settles, or nearly reaches."""
    if shape.plateau is not None:
        return shape.plateau.median()[0]
    return float(np.percentile(curve.cents, 90)) - low


def _bent(base: int, kind: BendKind, size: float) -> Technique:
    """Bend of the nearest size that is written."""
    target = max(STEP_CENTS * round(size / STEP_CENTS), STEP_CENTS)
    doubt = ""
    if abs(size - target) > BETWEEN_CENTS:
        doubt = f"bent by {size:.0f} cents, written as {target}"
    return Technique(base, Bend(kind, float(min(target, WIDEST_CENTS))), doubt=doubt)


def _is_shaken(held: Curve) -> bool:
    """Say whether a held pitch swings."""
    swing = curves.vibrato(held) if len(held) else None
    if swing is None:
        return False
    clear_cents = max(SHAKEN_CENTS, SHAKEN_SURE * swing.depth_uncertainty_cents)
    cycles = swing.rate_hz * len(held) * curves.STEP_S
    return swing.depth_cents > clear_cents and cycles >= SHAKEN_CYCLES


def _without_slide_out(curve: Curve) -> tuple[SlideEdge | None, Curve]:
    """Split off a last stretch in which the pitch leaves and never settles."""
    cents = curve.cents
    windows = range(len(cents) - FLAT_STEPS + 1)
    flat = [k for k in windows if np.ptp(cents[k : k + FLAT_STEPS]) < FLAT_CENTS]
    if not flat:
        return None, curve
    end = flat[-1] + FLAT_STEPS
    level = float(np.median(cents[:end][-2 * FLAT_STEPS :]))
    away = cents[end:] - level
    if len(away) < 2 or abs(away[-1]) < SLIDE_OUT_CENTS:
        return None, curve
    back_to_fret = cents[-1] > -LEAST_BEND_CENTS and level > LEAST_BEND_CENTS
    turns = np.count_nonzero(np.diff(np.sign(np.diff(away))))
    if turns > SLIDE_OUT_TURNS or back_to_fret:
        return None, curve
    return SlideEdge.DOWN if away[-1] < 0 else SlideEdge.UP, curve.part(0, end)
