"""On which beats a lick is counted, and how loud each count is."""

from __future__ import annotations

from fractions import Fraction
from math import ceil

from assessor.lick.notation import Lick, Meter


def count_in_beats(lick: Lick, bars: int) -> Fraction:
    """Length of the count-in; before a pickup, its bar is filled up with clicks."""
    if not bars:
        return Fraction(0)
    filled = lick.meter.bar_beats - lick.pickup_beats if lick.pickup_beats else 0
    return bars * lick.meter.bar_beats + filled


def loop_beats(lick: Lick) -> Fraction:
    """Beats from one pass to the next: whole bars that hold the lick."""
    bar_beats = lick.meter.bar_beats
    return bar_beats * ceil(lick.notes[-1].end_beats / bar_beats)


def counts(lick: Lick, first: Fraction, end: Fraction) -> list[tuple[Fraction, str]]:
    """Beat and kind of every count from beat `first` on, before beat `end`.

    Kinds are ``one``, ``group`` and ``between``, loud to soft.
    """
    unit = Fraction(4, lick.meter.unit)
    count = ceil((first - lick.pickup_beats) / unit)
    found = []
    while (beat := lick.pickup_beats + count * unit) < end:
        found.append((beat, _kind(count % lick.meter.count, lick.meter)))
        count += 1
    return found


def _kind(count: int, meter: Meter) -> str:
    """Which click falls on a count of the bar.

    Eighths go in threes from 6/8 on, in 5/8 and 7/8 in twos and three at the end.
    """
    if count == 0:
        return "one"
    if meter.unit < 8 or meter.count <= 3:
        return "between"
    if meter.count % 3 == 0:
        return "group" if count % 3 == 0 else "between"
    return "group" if count % 2 == 0 and count < meter.count - 1 else "between"
