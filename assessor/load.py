"""Practice load from minutes a day: cautions, not medicine.

Counted is time, by calendar days of the player's own clock.

Source: BAPAM (see `assessor.care`): a break of five minutes in each half-hour; at most
ten minutes more a day, for three days, and then none for the rest of the week; never
play in pain.  Comparing a week with the four before it is common practice.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from assessor.care import CAUTION_S

WEEK_DAYS = 7
WEEKS_BEFORE = 4
MOST_GROWTH_MINUTES = 10.0  # a day
MOST_GROWING_DAYS = 3
WORST_STRAIN = 10
ROUNDING_MINUTES = 0.5  # what is printed as the same is the same


@dataclass(frozen=True)
class Load:
    """Minutes of practice up to a day.

    Attributes
    ----------
    today_minutes, week_minutes : float
        Of the day itself, and of the seven days that end with it.
    before_minutes : float or None
        A week's mean over the four before; None where history does not reach back.
    growth_minutes : float or None
        The day's minutes more than the longest of the seven days before; None when
        nothing was played on them.
    growing_days : int
        How many of the last seven days were longer than any day of the week before
        them.
    """

    today_minutes: float
    week_minutes: float
    before_minutes: float | None
    growth_minutes: float | None
    growing_days: int


def load_of(minutes: Mapping[date, float], today: date) -> Load:
    """Load on a day.

    Parameters
    ----------
    minutes : mapping of date to float
        Minutes played; days without are left out.
    today : date

    Examples
    --------
    >>> days = {date(2026, 11, 24): 30.0, date(2026, 11, 25): 50.0}
    >>> load_of(days, date(2026, 11, 25)).growth_minutes
    20.0
    """
    week = [_on(minutes, today, back) for back in range(WEEK_DAYS)]
    first = min(minutes, default=today)
    known_weeks = min((today - first).days // WEEK_DAYS, WEEKS_BEFORE)
    before = None
    if known_weeks:
        days = range(WEEK_DAYS, WEEK_DAYS * (known_weeks + 1))
        before = sum(_on(minutes, today, back) for back in days) / known_weeks
    return Load(
        today_minutes=week[0],
        week_minutes=sum(week),
        before_minutes=before,
        growth_minutes=_growth(minutes, today),
        growing_days=sum(
            (_growth(minutes, today - timedelta(days=back)) or 0) > ROUNDING_MINUTES
            for back in range(WEEK_DAYS)
        ),
    )


def _on(minutes: Mapping[date, float], today: date, back: int) -> float:
    return minutes.get(today - timedelta(days=back), 0.0)


def _growth(minutes: Mapping[date, float], day: date) -> float | None:
    longest = max(_on(minutes, day, back) for back in range(1, WEEK_DAYS + 1))
    return _on(minutes, day, 0) - longest if longest > 0 else None


def load_cautions(load: Load) -> tuple[str, ...]:
    """Sentences where the load grows faster than is advised; else empty."""
    found = []
    growth = load.growth_minutes
    if growth is not None and growth > MOST_GROWTH_MINUTES + ROUNDING_MINUTES:
        found.append(
            f"Today you have played {load.today_minutes:.0f} minutes, {growth:.0f} "
            "more than on any day of the week before; BAPAM advises musicians to add "
            f"no more than {MOST_GROWTH_MINUTES:.0f} a day."
        )
    elif load.growing_days > MOST_GROWING_DAYS and (growth or 0) > ROUNDING_MINUTES:
        found.append(
            f"On {load.growing_days} of the last seven days you played longer than in "
            "the week before them; BAPAM advises musicians to add time on three days, "
            "and then to hold it for the rest of the week."
        )
    return tuple(found)


def break_caution(unbroken_s: float) -> tuple[str, ...]:
    """Sentence for a stretch of practice without a break of five minutes."""
    if unbroken_s <= CAUTION_S:
        return ()
    return (
        f"That was {unbroken_s / 60:.0f} minutes without a break; BAPAM advises "
        "musicians to take five minutes in every half-hour.",
    )


def strain_caution(strain: int) -> tuple[str, ...]:
    """What to do about strain or pain, 0 to 10; nothing for 0.

    No number is too small: there is no published limit below which playing on is
    known to be safe.

    Raises
    ------
    ValueError
        When it is not 0 to 10.
    """
    if not 0 <= strain <= WORST_STRAIN:
        message = f"a strain of {strain}; give 0 (none) to {WORST_STRAIN}"
        raise ValueError(message)
    if not strain:
        return ()
    return (
        f"You noted strain or pain ({strain} of {WORST_STRAIN}): stop for today. Never "
        "play in pain, and see a doctor or physiotherapist if it comes back or does "
        "not go (BAPAM's advice to musicians).",
    )
