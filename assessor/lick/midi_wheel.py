"""Bends on the MIDI pitch wheel, read and written.

Conventions
-----------
MIDI 1.0: the wheel has 14 bits, 0 to 16383 with 8192 at rest (here, as in mido, -8192
to 8191), and reaches ±2 semitones unless registered parameter 0 sets another range.
Cents are above the note's own pitch, + sharp.

What is read
------------
Over a note the wheel either rests, or climbs and stays (bend), or climbs and comes
back (bend and release), or stands high from the start (pre-bend) and may come down
(pre-bend and release); swinging to and fro at least twice is vibrato, by itself or on
top of a bend.  Anything else is left out and said.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from typing import Any, NamedTuple

from assessor.lick.notation import Bend, BendKind

REST_RANGE_CENTS = 200.0
WHEEL_STEPS = 8192  # from rest to either end

# Reading.  The first is the just noticeable step of a melody (Hill & Summers 2007).
REST_CENTS = 10.0
LEAST_BEND_CENTS = 20.0
MOST_BEND_CENTS = 500.0
LEAST_SWING_CENTS = 8.0
LEAST_SWINGS = 4  # turns: to and fro twice
FEWEST_STEPS = 3  # a single jump is no bend but another fret
NEAR = 0.2  # share of the bend within which the wheel is down, or up
FIRST_SHARE, LAST_SHARE = 0.03, 0.95  # of the note; beyond, the next note is set up
ROUND_CENTS, ROUND_WITHIN_CENTS = 50.0, 3.0
ROUND_VIBRATO_WITHIN_CENTS = 20.0

# Writing.
RAMP_STEPS = 32
VIBRATO_HZ = 5.5
VIBRATO_CYCLES = 3
VIBRATO_CENTS = 30.0  # upwards, as on a fret

_DATA_COARSE, _DATA_FINE = 6, 38
_RPN_FINE, _RPN_COARSE = 100, 101
_NRPN = (98, 99)
_NO_PARAMETER = 127


class WheelSign(NamedTuple):
    """What the wheel says about one note; `unclear` when it says nothing known."""

    bend: Bend | None = None
    vibrato: bool = False
    unclear: bool = False


class Wheel:
    """The pitch wheel of one channel over time."""

    def __init__(self) -> None:
        self._ticks: list[int] = []
        self._cents: list[float] = []
        self._semitones, self._fine_cents = 2, 0
        self._parameter = [_NO_PARAMETER, _NO_PARAMETER]

    def feed(self, tick: int, message: Any) -> None:
        """Take in one message of the channel, in order of time."""
        if message.type == "pitchwheel":
            self._ticks.append(tick)
            reach = 100.0 * self._semitones + self._fine_cents
            self._cents.append(message.pitch / WHEEL_STEPS * reach)
        elif message.type == "control_change":
            self._control(message.control, message.value)

    def _control(self, control: int, value: int) -> None:
        """Follow registered parameter 0, the range of the wheel."""
        if control == _RPN_COARSE:
            self._parameter[0] = value
        elif control == _RPN_FINE:
            self._parameter[1] = value
        elif control in _NRPN:
            self._parameter = [_NO_PARAMETER, _NO_PARAMETER]
        elif self._parameter == [0, 0] and control == _DATA_COARSE:
            self._semitones = value
        elif self._parameter == [0, 0] and control == _DATA_FINE:
            self._fine_cents = value

    def over(self, onset: int, end: int) -> list[float]:
        """Cents over a note: where it starts, and each value that follows."""
        first = onset + FIRST_SHARE * (end - onset)
        last = onset + LAST_SHARE * (end - onset)
        start, stop = bisect_right(self._ticks, first), bisect_right(self._ticks, last)
        before = self._cents[start - 1] if start else 0.0
        return [before, *self._cents[start:stop]]


def sign_of(cents: list[float]) -> WheelSign:
    """Read the values that the wheel takes over one note.

    >>> sign_of([0.0, 60.0, 140.0, 200.0]).bend
    Bend(kind=<BendKind.BEND: 'bend'>, target_cents=200.0)
    """
    if max(map(abs, cents)) < REST_CENTS:
        return WheelSign()
    turns = _turns(cents)
    if len(turns) - 2 >= LEAST_SWINGS:
        return _vibrato(turns)
    top = max(cents)
    fits = LEAST_BEND_CENTS <= top <= MOST_BEND_CENTS and min(cents) > -REST_CENTS
    moved = max(cents) - min(cents) > REST_CENTS
    if not fits or len(turns) > 3 or (moved and len(cents) <= FEWEST_STEPS):
        return WheelSign(unclear=True)
    kind = {
        ("down", "up"): BendKind.BEND,
        ("down", "down"): BendKind.BEND_RELEASE,
        ("up", "up"): BendKind.PREBEND,
        ("up", "down"): BendKind.PREBEND_RELEASE,
    }.get((_where(cents[0], top), _where(cents[-1], top)))
    if kind is None:
        return WheelSign(unclear=True)
    return WheelSign(Bend(kind, _rounded(top, ROUND_WITHIN_CENTS)))


def _where(cents: float, top: float) -> str:
    """Tell whether the wheel is down, up, or between."""
    if cents <= NEAR * top:
        return "down"
    return "up" if cents >= (1 - NEAR) * top else "between"


def _turns(cents: list[float]) -> list[float]:
    """Values where the wheel starts, turns round, and ends."""
    turns = [cents[0]]
    rising: bool | None = None
    for value in cents[1:]:
        step = value - turns[-1]
        if rising is not None and step != 0 and (step > 0) == rising:
            turns[-1] = value
        elif abs(step) >= LEAST_SWING_CENTS:
            turns.append(value)
            rising = step > 0
    return turns


def _vibrato(turns: list[float]) -> WheelSign:
    """Read a swinging wheel: at rest below, or on top of a bend."""
    swings = turns[-LEAST_SWINGS:]
    middle = sum(swings) / len(swings)
    low = sum(sorted(swings)[: LEAST_SWINGS // 2]) / (LEAST_SWINGS // 2)
    if low < LEAST_BEND_CENTS:
        return WheelSign(vibrato=True)
    kind = {"down": BendKind.BEND, "up": BendKind.PREBEND}.get(_where(turns[0], middle))
    if kind is None or middle > MOST_BEND_CENTS:
        return WheelSign(vibrato=True, unclear=True)
    return WheelSign(Bend(kind, _rounded(middle, ROUND_VIBRATO_WITHIN_CENTS)), True)


def _rounded(cents: float, within: float) -> float:
    """Whole quarter tone when it is that near, else a tenth of a cent."""
    nearest = ROUND_CENTS * round(cents / ROUND_CENTS)
    return nearest if abs(cents - nearest) <= within else round(cents, 1)


def range_semitones(bends: list[Bend]) -> int:
    """Least range of the wheel, at least its usual one, that reaches every bend."""
    most = max((bend.target_cents for bend in bends), default=0.0)
    return max(2, math.ceil((most + VIBRATO_CENTS) / 100))


def wheel_value(cents: float, semitones: int) -> int:
    """Wheel position, -8192 to 8191, for so many cents in a range.

    >>> [wheel_value(cents, 2) for cents in (-200, -100, 0, 100, 200)]
    [-8192, -4096, 0, 4096, 8191]
    """
    value = round(cents / (100 * semitones) * WHEEL_STEPS)
    return min(max(value, -WHEEL_STEPS), WHEEL_STEPS - 1)


def curve(
    bend: Bend | None, vibrato: bool, duration_s: float
) -> list[tuple[float, float]]:
    """Wheel over a note: pairs of the share of the note and cents.

    Ramps are raised cosines: up over the first third, down again from half way, a
    pre-bend from the start.  Vibrato swings at `VIBRATO_HZ`, faster when a short note
    would hold less than `VIBRATO_CYCLES`; a bend that is released takes none.
    """
    points: list[tuple[float, float]] = []
    if bend is not None:
        released = bend.kind in (BendKind.BEND_RELEASE, BendKind.PREBEND_RELEASE)
        if bend.kind in (BendKind.BEND, BendKind.BEND_RELEASE):
            points += _ramp(0.0, 1 / 3, 0.0, bend.target_cents)
        else:
            points.append((0.0, bend.target_cents))
        if released:
            points += _ramp(0.5, 0.85, bend.target_cents, 0.0)
            return points
    if vibrato:
        level = 0.0 if bend is None else bend.target_cents - VIBRATO_CENTS / 2
        start, stop = 0.4, 1.0
        cycles = max(VIBRATO_CYCLES, VIBRATO_HZ * duration_s * (stop - start))
        for step in range(math.ceil(cycles * RAMP_STEPS / 2)):
            done = step / math.ceil(cycles * RAMP_STEPS / 2)
            swing = (1 - math.cos(2 * math.pi * cycles * done)) / 2
            points.append(
                (start + (stop - start) * done, level + VIBRATO_CENTS * swing)
            )
    return points


def _ramp(
    start: float, stop: float, from_cents: float, to_cents: float
) -> list[tuple[float, float]]:
    """Raised cosine from one height to another."""
    points = []
    for step in range(RAMP_STEPS + 1):
        done = step / RAMP_STEPS
        height = (
            from_cents + (to_cents - from_cents) * (1 - math.cos(math.pi * done)) / 2
        )
        points.append((start + (stop - start) * done, height))
    return points
