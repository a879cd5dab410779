"""What a reading is, and the limits it is judged by.

A reading is one measured number with its unit, its uncertainty and, where it is
judged, its target and the limit of its distance from the target.  All four
measures give readings, so whoever prints or stores one can print or store all.

Conventions
-----------
Uncertainty is half the width of the 95 % interval.  A reading exactly at its
limit is inside.  Outside is said only when the whole interval lies beyond the
limit; between the two the tool is unsure, which never counts against a player.

Limits and their sources
------------------------
Three sets: *tight* is what a trained ear just notices, *usual* and *wide* are two
and four times that in time, and the next published marks in pitch.

- timing and slurs, of the inter-onset interval: the just noticeable displacement
  is 6 ms up to an interval of 240 ms and 2.5 % above (Friberg & Sundberg 1995,
  J. Acoust. Soc. Am. 98(5):2524-2531, intervals of 100 to 1000 ms).  Twice that is
  the 5 % of the same experiment's 1992 report (STL-QPSR 33(4):97-108) and a little
  over the 10 ms delay players do not yet mind (Jack et al. 2018).  Four times that
  is about where the order of two attacks is heard (22 ms) and, at slow tempi, how
  far players of an ensemble lie apart (30 to 50 ms; Rasch 1979, from memory).
- tempo: the just noticeable change is 1.5 % at best and 3 % over six intervals,
  6 % over one (Drake & Botte 1993, Percept. Psychophys. 54:277-286).
- pitch and bends: 10 cents is just noticed (Arndt et al. 2020, Exp. Brain Res.
  238:247-258), 25 cents is accepted in melodies (Larrouy-Maestri 2018, Music &
  Science 1), beyond 50 cents a note counts as another note (the note-matching
  limit of the MIREX evaluations).
- level: 10 dB is half as loud (the sone scale, from memory), 6 dB half the
  amplitude, 3 dB half the power; common practice, no study of guitar slurs.
- notes: faults in a hundred written notes; common practice.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum

NOTICEABLE_MS = 6.0
NOTICEABLE_PERCENT = 2.5
LONGEST_IOI_S = 1.0  # the experiment's longest interval: the limit grows no further

# A distance is rounded to this many decimals before it is held against a limit, so
# that a reading exactly at its limit is decided by rule, not by floating point.
DECIMALS = 6


class Judgement(StrEnum):
    """Where a reading lies against its limit."""

    INSIDE = "inside"
    OUTSIDE = "outside"
    UNSURE = "unsure"  # beyond the limit, but not by more than its uncertainty
    UNJUDGED = "not judged"


@dataclass(frozen=True)
class Limit:
    """The largest distance from the target that is still inside.

    Attributes
    ----------
    value : float
        In the unit of the reading; inclusive.
    name : str
        The rule it comes from: ``timing``, ``pitch``, ...
    source : str
        Where the number comes from.
    """

    value: float
    name: str
    source: str


@dataclass(frozen=True)
class Reading:
    """One measured number.

    Attributes
    ----------
    value : float
        In `unit`; never NaN: what could not be measured has no reading.
    unit : str
        ``ms``, ``cents``, ``dB``, ``%``, ``bpm``, ``bpm/min``, ...
    uncertainty : float
        Half the width of the 95 % interval, in `unit`.
    target : float
        What was asked for, in `unit`.
    limit : Limit or None
        None when there is no published norm to judge by.

    Examples
    --------
    >>> late = Reading(13.0, "ms", 0.5, limit=Limit(12.0, "timing", "..."))
    >>> late.judgement
    <Judgement.OUTSIDE: 'outside'>
    """

    value: float
    unit: str
    uncertainty: float = 0.0
    target: float = 0.0
    limit: Limit | None = None

    def __post_init__(self) -> None:
        """Refuse what is no number."""
        if not (math.isfinite(self.value) and self.uncertainty >= 0):
            message = f"no reading: {self.value} ± {self.uncertainty} {self.unit}"
            raise ValueError(message)

    @property
    def deviation(self) -> float:
        """Value minus target: + late, + sharp, + longer, + louder."""
        return self.value - self.target

    @property
    def judgement(self) -> Judgement:
        """Inside, outside, unsure, or not judged."""
        if self.limit is None:
            return Judgement.UNJUDGED
        excess = round(abs(self.deviation) - self.limit.value, DECIMALS)
        if excess <= 0:
            return Judgement.INSIDE
        if round(excess - self.uncertainty, DECIMALS) <= 0:
            return Judgement.UNSURE
        return Judgement.OUTSIDE


@dataclass(frozen=True)
class Rule:
    """One number readings are judged by.

    Attributes
    ----------
    value : float
        In `unit`.
    unit : str
    source : str
    percent_of_ioi : float
        The limit is the larger of `value` and this share of the inter-onset
        interval; 0 where it does not depend on one.
    """

    value: float
    unit: str
    source: str
    percent_of_ioi: float = 0.0


@dataclass(frozen=True)
class Tolerance:
    """The numbers readings are judged by.

    Attributes
    ----------
    name : str
        ``tight``, ``usual``, ``wide``, or what the user wrote.
    rules : mapping of str to Rule
        ``timing`` (ms): an onset.  ``slur`` (ms): an interval between slurred
        notes.  ``tempo`` (%): its change over a pass.  ``pitch`` (cents): a plain
        note.  ``bend`` (cents): a bent note against the written size.  ``level``
        (dB): slurred against picked notes.  ``notes`` (%): faults in a hundred
        written notes.
    """

    name: str
    rules: Mapping[str, Rule]

    def limit(self, name: str) -> Limit:
        """Limit of a rule that does not depend on an interval."""
        rule = self.rules[name]
        return Limit(rule.value, name, rule.source)

    def limit_ms(self, name: str, ioi_s: float) -> Limit:
        """Limit in ms for what ends or fills an interval of `ioi_s`.

        >>> tight = TOLERANCES["tight"]
        >>> [tight.limit_ms("timing", s).value for s in (0.1, 0.24, 0.5, 1.0)]
        [6.0, 6.0, 12.5, 25.0]
        """
        rule = self.rules[name]
        share_ms = rule.percent_of_ioi * 10 * min(ioi_s, LONGEST_IOI_S)
        return Limit(max(rule.value, share_ms), name, rule.source)

    def evenness(self, ioi_s: float) -> Limit:
        """Limit of an nPVI: two neighbours, their common onset off by the limit.

        An onset displaced by d makes one interval d longer and the next d shorter,
        so their difference over their mean is 2 d / `ioi_s`.

        >>> TOLERANCES["tight"].evenness(0.5).value
        5.0
        """
        slur = self.limit_ms("slur", ioi_s)
        return replace(slur, value=0.2 * slur.value / ioi_s)

    def drift(self, tempo_bpm: float, duration_s: float) -> Limit:
        """Limit in bpm a minute: so many percent of the tempo over the pass.

        >>> TOLERANCES["usual"].drift(100.0, 30.0).value
        6.0
        """
        tempo = self.limit("tempo")
        change_bpm = tempo_bpm * tempo.value / 100
        return replace(tempo, value=change_bpm / (duration_s / 60))


def _shipped(name: str, factor: float, **numbers: float) -> Tolerance:
    time_ms, share = factor * NOTICEABLE_MS, factor * NOTICEABLE_PERCENT
    ear = "Arndt et al. 2020; Larrouy-Maestri 2018"
    rules = {
        "timing": Rule(time_ms, "ms", "Friberg & Sundberg 1995", share),
        "slur": Rule(time_ms, "ms", "Friberg & Sundberg 1995", share),
        "tempo": Rule(float(numbers["tempo"]), "%", "Drake & Botte 1993"),
        "pitch": Rule(float(numbers["pitch"]), "cents", ear),
        "bend": Rule(float(numbers["bend"]), "cents", ear),
        "level": Rule(float(numbers["level"]), "dB", "common practice"),
        "notes": Rule(float(numbers["notes"]), "%", "common practice"),
    }
    return Tolerance(name, rules)


TOLERANCES = {
    "wide": _shipped("wide", 4, tempo=6, pitch=50, bend=50, level=10, notes=10),
    "usual": _shipped("usual", 2, tempo=3, pitch=25, bend=25, level=6, notes=5),
    "tight": _shipped("tight", 1, tempo=1.5, pitch=10, bend=10, level=3, notes=0),
}


def parse_tolerance(text: str) -> Tolerance:
    """Read a tolerance as a user writes it: a name, own numbers, or both.

    Parameters
    ----------
    text : str
        ``wide``, ``usual`` or ``tight``, then ``name=number`` with the unit, all
        parted by commas; without a name the numbers change the usual set.

    Raises
    ------
    ValueError
        When a part is neither; the message lists what is allowed.

    Examples
    --------
    >>> own = parse_tolerance("tight, timing=20ms, bend=15c")
    >>> own.limit_ms("timing", 0.8).value, own.limit("bend"), own.limit("pitch").value
    (20.0, Limit(value=15.0, name='bend', source='own number'), 10.0)
    """
    parts = [part.strip() for part in text.split(",")]
    start = TOLERANCES["usual"]
    if parts[0] in TOLERANCES:
        start = TOLERANCES[parts.pop(0)]
    own = dict(_own_rule(part) for part in parts)
    return Tolerance(text, {**start.rules, **own})


def _own_rule(part: str) -> tuple[str, Rule]:
    rules = TOLERANCES["usual"].rules
    found = re.fullmatch(r"(\w+)\s*=\s*(\d+(?:\.\d+)?)\s*([a-zA-Z%]+)", part)
    name, number, unit = found.groups() if found else ("", "", "")
    unit = "cents" if unit == "c" else unit
    if name not in rules or unit != rules[name].unit:
        allowed = ", ".join(f"{name}=…{rule.unit}" for name, rule in rules.items())
        message = f"{part!r} is neither wide, usual, tight nor one of {allowed}"
        raise ValueError(message)
    return name, Rule(float(number), unit, "own number")
