"""Sound dose and practice load: pure functions from published tables.

Cautions, not medicine.  The sound level here is always a reading of a sound level
meter that somebody entered, A-weighted, in dBA: from an uncalibrated recording no
level can be known.  Load is counted in time.

Sources
-------
NIOSH
    Criteria for a Recommended Standard: Occupational Noise Exposure, DHHS (NIOSH)
    Publication 98-126, 1998: 85 dBA for 8 hours, 3 dB for each halving of the time.
WHO-ITU
    Recommendation ITU-T H.870 (2018): 80 dBA (children: 75 dBA) for 40 hours a week,
    equal energy.
OSHA
    29 CFR 1910.95, appendix A: 90 dBA for 8 hours, 5 dB for each halving of the time;
    from 85 dBA, half a dose, on an employer has to act.
EU
    Directive 2003/10/EC, article 3: daily exposure levels L_EX,8h of 80 and 85 dBA at
    which an employer has to act, and of 87 dBA as the limit.  L_EX,8h after ISO 9612.
BAPAM
    British Association for Performing Arts Medicine, advice to musicians: a
    five-minute break in each half-hour; at most ten minutes more a day, for three
    days, then none for the rest of the week; never play in pain.

Known limits: the evidence on practice load and injury is mixed and mostly
cross-sectional (Rotter et al., Int. Arch. Occup. Environ. Health 93, 2019), so no
risk is computed from it.  Single peaks above 140 dB are outside these allowances.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

NIOSH_LEVEL_DBA = 85.0
NIOSH_MINUTES = 480.0
NIOSH_EXCHANGE_DB = 3.0
WHO_ITU_ADULT_DBA = 80.0
WHO_ITU_CHILD_DBA = 75.0
WHO_ITU_HOURS = 40.0

EU_ACTION_DBA = (80.0, 85.0)
EU_LIMIT_DBA = 87.0
WORKING_DAY_MINUTES = 480.0

LOUDEST_DBA = 194.0  # a sine of one atmosphere; no meter shows more

BREAK_S = 5 * 60.0  # BAPAM
# What is left of each half-hour beside its break.
CAUTION_S = 25 * 60.0


@dataclass(frozen=True)
class Allowance:
    """So long at one level, and half as long for each step up.

    Attributes
    ----------
    name : str
    level_dba : float
        The level of the full time.
    minutes : float
        A full dose at that level; in a day, or in a week.
    exchange_db : float
        The step that halves the time.
    """

    name: str
    level_dba: float
    minutes: float
    exchange_db: float

    def allowed_minutes(self, level_dba: float) -> float:
        """Minutes to a full dose at one level; may be more than there are.

        >>> OSHA.allowed_minutes(95.0)
        240.0
        """
        _check_level(level_dba)
        steps = (level_dba - self.level_dba) / self.exchange_db
        return float(self.minutes / 2.0**steps)

    def dose_percent(self, exposures: Iterable[tuple[float, float]]) -> float:
        """Dose of (level_dba, minutes), 100 = full: 100 · Σ C / T; 0 for none.

        >>> round(OSHA.dose_percent([(90.0, 240.0), (95.0, 120.0), (85.0, 120.0)]), 2)
        112.5
        """
        dose = 0.0
        for level_dba, minutes in exposures:
            if not (math.isfinite(minutes) and minutes >= 0):
                message = f"{minutes} minutes; give 0 or more"
                raise ValueError(message)
            dose += 100.0 * minutes / self.allowed_minutes(level_dba)
        return dose

    def average_dba(self, dose_percent: float) -> float:
        """Level that gives a dose in the full time, dBA.

        >>> round(OSHA.average_dba(112.5), 2)
        90.85
        """
        _check_dose(dose_percent)
        per_decade_db = self.exchange_db / math.log10(2.0)
        return self.level_dba + per_decade_db * math.log10(dose_percent / 100.0)


EQUAL_ENERGY_DB = 10 * math.log10(2.0)
NIOSH = Allowance("NIOSH", NIOSH_LEVEL_DBA, NIOSH_MINUTES, NIOSH_EXCHANGE_DB)
OSHA = Allowance("OSHA", 90.0, WORKING_DAY_MINUTES, 5.0)
WHO_ITU_ADULT = Allowance(
    "WHO-ITU", WHO_ITU_ADULT_DBA, 60 * WHO_ITU_HOURS, EQUAL_ENERGY_DB
)
WHO_ITU_CHILD = Allowance(
    "WHO-ITU, children", WHO_ITU_CHILD_DBA, 60 * WHO_ITU_HOURS, EQUAL_ENERGY_DB
)


def lex_8h_dba(exposures: Iterable[tuple[float, float]]) -> float:
    """Daily exposure level L_EX,8h = 10 · lg(Σ T · 10^(L / 10) / 8 h), dBA.

    Parameters
    ----------
    exposures : iterable of (level_dba, minutes)
        At least one of them longer than 0.

    Raises
    ------
    ValueError
        When a level is not between 0 and 194 dBA, or there is no time.

    Notes
    -----
    Source: ISO 9612:2009; Directive 2003/10/EC judges by it.

    Examples
    --------
    >>> round(lex_8h_dba([(70.0, 90.0), (80.8, 300.0), (90.1, 90.0)]), 1)
    84.3
    """
    eight_hours = Allowance("L_EX,8h", 0.0, WORKING_DAY_MINUTES, EQUAL_ENERGY_DB)
    return eight_hours.average_dba(eight_hours.dose_percent(exposures))


def niosh_allowed_minutes(level_dba: float) -> float:
    """Minutes a day to a full dose at one level: T = 480 / 2^((L − 85) / 3).

    Parameters
    ----------
    level_dba : float

    Returns
    -------
    float
        May be more than a day has.

    Raises
    ------
    ValueError
        When the level is not between 0 and 194 dBA.

    Notes
    -----
    Source: NIOSH 98-126.

    Examples
    --------
    >>> niosh_allowed_minutes(85.0), niosh_allowed_minutes(94.0)
    (480.0, 60.0)
    """
    return NIOSH.allowed_minutes(level_dba)


def niosh_dose_percent(exposures: Iterable[tuple[float, float]]) -> float:
    """Noise dose of a day, 100 = full: D = 100 · Σ C / T.

    Parameters
    ----------
    exposures : iterable of (level_dba, minutes)
        Minutes 0 or more.

    Returns
    -------
    float
        0 when there are none.

    Raises
    ------
    ValueError
        When a level is not between 0 and 194 dBA, or a time is negative.

    Notes
    -----
    Source: NIOSH 98-126.

    Examples
    --------
    >>> niosh_dose_percent([(85.0, 240.0), (94.0, 30.0)])
    100.0
    """
    return NIOSH.dose_percent(exposures)


def twa_dba(dose_percent: float) -> float:
    """Level that gives a NIOSH dose in 8 hours: TWA = 10 · lg(D / 100) + 85.

    Parameters
    ----------
    dose_percent : float
        Above 0.

    Returns
    -------
    float
        Time-weighted average, dBA.

    Raises
    ------
    ValueError
        When the dose is not above 0, or not finite.

    Notes
    -----
    Source: NIOSH 98-126.  The 10 goes with an exchange rate of
    exactly 10 · lg 2 = 3.0103 dB, so a dose of 200 % gives 88.01 dBA where the table
    has 88.

    Examples
    --------
    >>> round(twa_dba(200.0), 2)
    88.01
    """
    _check_dose(dose_percent)
    return 10.0 * math.log10(dose_percent / 100.0) + NIOSH_LEVEL_DBA


def who_itu_allowed_hours(level_dba: float, *, child: bool = False) -> float:
    """Hours a week of listening at one level, equal energy to 40 h at 80 dBA.

    Parameters
    ----------
    level_dba : float
    child : bool
        True: 40 hours at 75 dBA, mode 2 of the recommendation.

    Returns
    -------
    float
        May be more than a week has.

    Raises
    ------
    ValueError
        When the level is not between 0 and 194 dBA.

    Notes
    -----
    Source: Recommendation ITU-T H.870 (2018).

    Examples
    --------
    >>> round(who_itu_allowed_hours(90.0), 3), who_itu_allowed_hours(75.0, child=True)
    (4.0, 40.0)
    """
    allowance = WHO_ITU_CHILD if child else WHO_ITU_ADULT
    return allowance.allowed_minutes(level_dba) / 60


def longest_stretch_s(played: Iterable[tuple[float, float]]) -> float:
    """Longest time of playing without a break, seconds.

    A break is five minutes or more without a played note, as BAPAM counts it;
    shorter rests belong to the playing.

    Parameters
    ----------
    played : iterable of (onset_s, offset_s)
        The played notes, in any order; they may overlap.

    Returns
    -------
    float
        From the first onset to the last offset of the longest stretch; 0 when
        nothing was played.

    Raises
    ------
    ValueError
        When a note ends before it begins, or a time is no number.

    Examples
    --------
    >>> longest_stretch_s([(0.0, 600.0), (899.0, 1000.0), (1300.0, 1400.0)])
    1000.0
    """
    longest, start, end = 0.0, -math.inf, -math.inf
    for onset_s, offset_s in sorted(played):
        if not (math.isfinite(onset_s) and onset_s <= offset_s < math.inf):
            message = (
                f"a note from {onset_s} s to {offset_s} s; give onset, then offset"
            )
            raise ValueError(message)
        if onset_s - end >= BREAK_S:
            start = onset_s
        end = max(end, offset_s)
        longest = max(longest, end - start)
    return longest


def practice_caution(
    duration_s: float, played: Sequence[tuple[float, float]]
) -> tuple[str, ...]:
    """Caution on volume and practice time that ends the report of a long recording.

    Parameters
    ----------
    duration_s : float
        Length of the recording.
    played : sequence of (onset_s, offset_s)
        The played notes.

    Returns
    -------
    tuple of str
        Sentences, with their sources named.  Empty unless the recording lasts 25
        minutes or more, or holds that much playing without a break of five.

    Raises
    ------
    ValueError
        When the duration is negative or no number, or a note ends before it begins.

    Examples
    --------
    >>> practice_caution(24 * 60.0, [])
    ()
    >>> print(practice_caution(31 * 60.0, [(2.0, 29 * 60.0)])[0])
    You played for 29 minutes without a break of five minutes.
    """
    if not (math.isfinite(duration_s) and duration_s >= 0):
        message = f"a recording of {duration_s} s; give 0 or more"
        raise ValueError(message)
    stretch_s = longest_stretch_s(played)
    if max(stretch_s, duration_s) < CAUTION_S:
        return ()
    if stretch_s >= CAUTION_S:
        reason = (
            f"You played for {stretch_s / 60:.0f} minutes without a break of five "
            "minutes."
        )
    else:
        reason = f"This recording lasts {duration_s / 60:.0f} minutes."
    return (reason, *LOAD, *_VOLUME, LIMITS)


LOAD = (
    "The British Association for Performing Arts Medicine (BAPAM) advises musicians "
    "to take a break of five minutes in every half-hour, and to add no more than ten "
    "minutes a day to their playing, for three days, and then to hold it for the rest "
    "of the week.",
    "Stop when it hurts: BAPAM's advice is never to play in pain, and to see a "
    "specialist if it comes back.",
)
_VOLUME = (
    "How loud it was cannot be known from a recording, only from a sound level meter "
    "where your ears are.",
    "For a day, NIOSH (publication 98-126, 1998) allows 8 hours at 85 dBA and half the "
    "time for every 3 dB more, so 60 minutes at 94 dBA; for a week, WHO and ITU "
    "(Recommendation H.870) allow 40 hours at 80 dBA, for children at 75 dBA.",
)
LIMITS = (
    "These are cautions, not medical advice: what a doctor, physiotherapist or "
    "audiologist tells you, and the rules of the place where you play, come first."
)


def _check_level(level_dba: float) -> None:
    if not 0 <= level_dba <= LOUDEST_DBA:
        message = f"a level of {level_dba} dBA; give 0 to {LOUDEST_DBA:.0f}"
        raise ValueError(message)


def _check_dose(dose_percent: float) -> None:
    if not (math.isfinite(dose_percent) and dose_percent > 0):
        message = f"a dose of {dose_percent} %; give a number above 0"
        raise ValueError(message)
