"""Where in a lick a note stands, the way players say it."""

from __future__ import annotations

from assessor.lick.notation import Lick


def say_place(lick: Lick, index: int) -> str:
    """Bar and beat of a note.

    Bars count from the first whole one; beats are those of the meter.
    """
    since = lick.notes[index].onset_beats - lick.pickup_beats
    beat_length = lick.meter.bar_beats / lick.meter.count
    bar, beats = divmod(since, lick.meter.bar_beats)
    beat = f"{float(beats / beat_length) + 1:.2f}".rstrip("0").rstrip(".")
    return f"bar {bar + 1}, beat {beat}" if since >= 0 else f"pickup, beat {beat}"
