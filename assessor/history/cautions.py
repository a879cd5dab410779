"""What a player should hear about load, breaks, strain and sound, on one day.

Cautions, not medicine: each names its source, and the last defers to those who know
more.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo

from assessor import care, load
from assessor.history import clock
from assessor.history.practice import Practice, daily_minutes, merged, practice_of
from assessor.history.sound import Exposure, dose_of, ears_of, exposures_of, is_child
from assessor.history.store import Store
from assessor.history.takes import Selection, Take, takes_of

LOOKED_BACK = timedelta(days=7 * (load.WEEKS_BEFORE + 1) + 1)
STRAIN_STAYS = timedelta(days=2)  # a night's rest and a day; common practice
WORTH_A_WORD_PERCENT = 50.0  # of the day's dose, as OSHA's action level is half


@dataclass(frozen=True)
class Recently:
    """What one player did in the last five weeks, up to `now`."""

    now: datetime
    zone: tzinfo | None
    practice: tuple[Practice, ...]
    takes: tuple[Take, ...]
    exposures: tuple[Exposure, ...]
    child: bool

    @property
    def load(self) -> load.Load:
        """Minutes today and this week, against those before."""
        minutes = daily_minutes(self.practice, self.takes, self.zone)
        return load.load_of(minutes, clock.local_day(self.now, self.zone))

    def exposures_of_days(self, days: int) -> list[Exposure]:
        """Exposures of so many calendar days that end with today."""
        first = clock.local_day(self.now, self.zone) - timedelta(days=days - 1)
        since = clock.day_start(first, self.zone)
        return [one for one in self.exposures if one.began >= since]

    @property
    def strain(self) -> int:
        """Worst strain noted today or the day before; 0 when none was."""
        since = self.now - STRAIN_STAYS
        noted = [one.strain or 0 for one in self.practice if one.started_at >= since]
        return max(noted, default=0)

    @property
    def unbroken_s(self) -> float:
        """Longest time today without a break of five minutes.

        Logged practice counts as one stretch; a take has its own breaks inside it.
        """
        since = clock.day_start(clock.local_day(self.now, self.zone), self.zone)
        pause = timedelta(seconds=care.BREAK_S) - timedelta(microseconds=1)
        spans = [
            (start, end + pause)
            for start, end in (*_logged(self.practice), *_unbroken(self.takes))
            if start >= since
        ]
        lengths = [
            (end - pause - start).total_seconds() for start, end in merged(spans)
        ]
        return max(lengths, default=0.0)


def _logged(practice: Sequence[Practice]) -> Iterator[tuple[datetime, datetime]]:
    for one in practice:
        if one.ended_at is not None:
            yield one.started_at, one.ended_at


def _unbroken(takes: Sequence[Take]) -> Iterator[tuple[datetime, datetime]]:
    """The whole of a take without a break inside, of others the longest stretch."""
    for take in takes:
        broken = take.duration_s - take.summary.stretch_s >= care.BREAK_S
        length_s = take.summary.stretch_s if broken else take.duration_s
        yield take.recorded_at, take.recorded_at + timedelta(seconds=length_s)


def recently(
    store: Store, player: str, now: datetime, zone: tzinfo | None = None
) -> Recently:
    """Read what one player did in the last five weeks."""
    selection = Selection(player=player, since=now - LOOKED_BACK, until=now)
    practice, takes = practice_of(store, selection), takes_of(store, selection)
    exposures = exposures_of(ears_of(store), practice, takes)
    return Recently(
        now,
        zone,
        tuple(practice),
        tuple(takes),
        tuple(exposures),
        is_child(store, player),
    )


def cautions_of(
    store: Store, player: str, now: datetime, zone: tzinfo | None = None
) -> tuple[str, ...]:
    """Sentences for the player; empty when there is nothing to caution about."""
    found = recently(store, player, now, zone)
    said = [
        *load.strain_caution(found.strain),
        *load.load_cautions(found.load),
        *load.break_caution(found.unbroken_s),
        *_sound(found),
    ]
    return (*said, care.LIMITS) if said else ()


def _sound(found: Recently) -> Iterator[str]:
    day = dose_of(found.exposures_of_days(1), care.NIOSH)
    if day.percent >= WORTH_A_WORD_PERCENT and day.left_minutes is not None:
        # time without a level only adds to it
        partly = day.unknown_minutes >= 0.5
        at_least, at_most = ("at least ", "at most ") if partly else ("", "")
        yield (
            f"Sound today: {at_least}{day.percent:.0f} % of the day's dose by NIOSH "
            f"(publication 98-126, 1998); at the {day.latest_dba:.0f} dBA you last "
            f"played at, {at_most}{day.left_minutes:.0f} minutes are left."
        )
    allowance = care.WHO_ITU_CHILD if found.child else care.WHO_ITU_ADULT
    week = dose_of(found.exposures_of_days(load.WEEK_DAYS), allowance)
    if week.percent >= 100:
        yield (
            f"Sound this week: {week.percent:.0f} % of the week's dose by WHO and ITU "
            f"(Recommendation H.870{', for children' if found.child else ''}); rest "
            "your ears."
        )
