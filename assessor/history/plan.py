"""What to practise next, from history: which lick, which part, at which tempo.

The rule, with numbers a player may change (`Numbers`):

- *Tempo.*  When the last `passes` whole passes of a lick were all inside the tolerance,
  `up` percent faster, up to the written tempo.  When none of them was, `down` percent
  slower.  Else, or when fewer passes are known, the tempo stays.
- *Part.*  One part alone (a cell of the lick, or a bar where it has none), when that
  tempo would fall below `slowest` percent of the written one, or when `part` percent
  and more of what went wrong in the last four weeks lies in that part, whose notes went
  wrong at least twice as often as the others.
- *Days.*  A lick whose last passes were all inside at the written tempo rests for
  `rest` days; of the others the one not played for longest comes first, and one played
  today comes last.
- *Turns.*  Up to `licks` licks take turns of `turn` minutes; after 25 minutes comes a
  break of five (BAPAM).

How weak the evidence is: `EVIDENCE`.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, fields
from datetime import date, datetime, timedelta, tzinfo
from typing import Any

import numpy as np

from assessor.care import BREAK_S, CAUTION_S
from assessor.history import clock
from assessor.history.parts import Part, parts_of
from assessor.history.progress import Heat, LickProgress
from assessor.history.takes import Take
from assessor.lick.notation import Lick

TROUBLE_WEEKS = 4  # the last ones with takes
FEWEST_FAULTS = 4  # fewer lie anywhere by chance
TWICE = 2.0

EVIDENCE = (
    "Spreading practice over days: better than massed for words and school matter (g = "
    "0.74, Latimier et al. 2021), and growing gaps no better than even ones; not shown "
    "for guitar licks.",
    "Taking turns: ten clarinettists, three-minute turns, judges tended to prefer it "
    "(Carter and Grahn 2016); other small studies found no difference.",
    "Tempo steps and cutting to a part: common practice, no study; change the numbers "
    "with --rule to what suits you.",
)


@dataclass(frozen=True)
class Numbers:
    """The numbers of the rule.

    Attributes
    ----------
    passes : int
        Last whole passes that are looked at.
    up, down, slowest, part : float
        Percent.
    rest : int
        Days.
    licks : int
    turn : float
        Minutes.
    """

    passes: int = 3
    up: float = 5.0
    down: float = 10.0
    slowest: float = 50.0
    part: float = 40.0
    rest: int = 7
    licks: int = 4
    turn: float = 3.0


RANGES = {
    "passes": (1, 50),
    "up": (0, 50),
    "down": (0, 50),
    "slowest": (10, 100),
    "part": (1, 100),
    "rest": (0, 60),
    "licks": (1, 20),
    "turn": (1, 60),
}


def parse_numbers(text: str) -> Numbers:
    """Read numbers as a player writes them: ``up=3,turn=5``.

    Raises
    ------
    ValueError
        When a part is none; the message lists what is allowed.

    Examples
    --------
    >>> parse_numbers("up=3, passes=5").up
    3.0
    """
    found: dict[str, Any] = {}
    whole = {field.name for field in fields(Numbers) if field.type == "int"}
    for part in filter(None, (one.strip() for one in text.split(","))):
        match = re.fullmatch(r"(\w+)\s*=\s*(\d+(?:\.\d+)?)\s*%?", part)
        name, number = match.groups() if match else ("", "0")
        low, high = RANGES.get(name, (1, 0))
        if not low <= float(number) <= high:
            allowed = ", ".join(f"{k}={a}…{b}" for k, (a, b) in RANGES.items())
            message = f"{part!r} is none of {allowed}"
            raise ValueError(message)
        found[name] = round(float(number)) if name in whole else float(number)
    return Numbers(**found)


@dataclass(frozen=True)
class Step:
    """What to do with one lick.

    Attributes
    ----------
    lick, title : str
        Digest and title.
    tempo_bpm, goal_bpm : float
    part : Part or None
        This part alone; None = the whole lick.
    why : str
        Which part of the rule, in words.
    last_day : date
        When it was played last.
    due : date
        From when on it should come again.
    """

    lick: str
    title: str
    tempo_bpm: float
    goal_bpm: float
    part: Part | None
    why: str
    last_day: date
    due: date


@dataclass(frozen=True)
class Turn:
    """So many minutes of one step, or of a break (None)."""

    start_minute: float
    minutes: float
    step: Step | None


@dataclass(frozen=True)
class Plan:
    """A plan for one practice.

    Attributes
    ----------
    steps : tuple of Step
        What takes turns.
    turns : tuple of Turn
    later : tuple of Step
        Licks that rest, or found no room.
    takes, days : int
        What the plan rests on.
    """

    steps: tuple[Step, ...]
    turns: tuple[Turn, ...]
    later: tuple[Step, ...]
    takes: int
    days: int


def plan_of(
    found: Sequence[LickProgress],
    licks: dict[str, Lick],
    minutes: float,
    now: datetime,
    *,
    numbers: Numbers | None = None,
    zone: tzinfo | None = None,
) -> Plan:
    """Plan a practice of so many minutes, breaks included.

    Parameters
    ----------
    found : sequence of LickProgress
    licks : dict of str to Lick
        By digest, those that are known; only these can be cut.
    minutes : float
        At least one turn.
    now : datetime
    numbers : Numbers or None
        None = the usual ones.
    zone : tzinfo or None

    Raises
    ------
    ValueError
        When there is less time than one turn.
    """
    numbers = numbers or Numbers()
    if minutes < numbers.turn:
        message = f"{minutes:g} minutes is less than one turn of {numbers.turn:g}"
        raise ValueError(message)
    today = clock.local_day(now, zone)
    steps = [_step(one, licks.get(one.lick), numbers, zone) for one in found]
    steps.sort(key=lambda s: (s.due > today, s.last_day == today, s.last_day))
    room = min(numbers.licks, int(minutes // numbers.turn))
    due = [step for step in steps if step.due <= today] or steps[:1]
    chosen = due[:room]
    takes = [take for one in found for take in one.takes]
    return Plan(
        steps=tuple(chosen),
        turns=tuple(_turns(chosen, minutes, numbers.turn)),
        later=tuple(step for step in steps if step not in chosen),
        takes=len(takes),
        days=len({clock.local_day(take.recorded_at, zone) for take in takes}),
    )


def _turns(steps: Sequence[Step], minutes: float, turn: float) -> list[Turn]:
    """Turns of all steps until the time is up, with breaks."""
    turns: list[Turn] = []
    at, played = 0.0, 0.0
    number = 0
    while steps and minutes - at >= turn - 1e-9:
        if played + turn > CAUTION_S / 60 and played > 0:
            rest = BREAK_S / 60
            if minutes - at - rest < turn:
                break
            turns.append(Turn(at, rest, None))
            at, played = at + rest, 0.0
        turns.append(Turn(at, turn, steps[number % len(steps)]))
        at, played, number = at + turn, played + turn, number + 1
    return turns


def _step(
    one: LickProgress, lick: Lick | None, numbers: Numbers, zone: tzinfo | None
) -> Step:
    """Apply the rule to one lick."""
    passes = _last_passes(one.takes, numbers.passes)
    tempo_bpm = float(np.median([bpm for bpm, _ in passes])) if passes else 0.0
    tempo_bpm = tempo_bpm or one.takes[-1].summary.best_pass.tempo_bpm
    inside = [ok for _, ok in passes]
    known = len(passes) == numbers.passes
    goal = one.goal_bpm
    there = known and all(inside) and tempo_bpm >= 0.98 * goal
    part = None if there else _hot_part(one.heat, lick, numbers.part)
    if there:
        tempo_bpm = goal
        why = f"at {goal:.0f} bpm and inside; keep it there"
    elif known and all(inside):
        tempo_bpm = min(tempo_bpm * (1 + numbers.up / 100), goal)
        why = f"the last {len(passes)} passes were inside: {numbers.up:g} % faster"
    elif known and not any(inside):
        tempo_bpm *= 1 - numbers.down / 100
        why = f"none of the last {len(passes)} was inside: {numbers.down:g} % slower"
    elif known:
        were = "was" if sum(inside) == 1 else "were"
        why = f"{sum(inside)} of the last {len(passes)} passes {were} inside: stay"
    else:
        known_now = "1 whole pass is" if len(passes) == 1 else f"{len(passes)} are"
        why = f"only {known_now} known, fewer than {numbers.passes}"
    slowest = goal * numbers.slowest / 100
    if tempo_bpm < slowest and lick is not None:
        part = part or _hot_part(one.heat, lick, 0.0)
        tempo_bpm = slowest
        why += f"; not below {numbers.slowest:g} %, one part alone instead"
    elif part is not None:
        why += "; much of what went wrong lies there"
    last_day = clock.local_day(one.takes[-1].recorded_at, zone)
    gap = timedelta(days=numbers.rest if there else 0)
    return Step(
        one.lick, one.title, round(tempo_bpm), goal, part, why, last_day, last_day + gap
    )


def _last_passes(takes: Sequence[Take], count: int) -> list[tuple[float, bool]]:
    """Tempo, and inside or not, of the last whole passes, the latest first."""
    found = [
        (one.tempo_bpm, one.inside)
        for take in reversed(takes)
        for one in reversed(take.summary.passes)
        if one.complete
    ]
    return found[:count]


def _hot_part(heat: Heat, lick: Lick | None, percent: float) -> Part | None:
    """Part in which so much of the trouble lies; None when it is spread, or little."""
    if lick is None:
        return None
    recent = np.sum(heat.faulty[-TROUBLE_WEEKS:], axis=0)
    if recent.sum() < FEWEST_FAULTS or len(recent) != len(lick):
        return None
    parts = parts_of(lick)
    if len(parts) < 2:
        return None
    here = {part: recent[part.first : part.last + 1] for part in parts}
    worst = max(parts, key=lambda part: here[part].mean())
    within, notes = here[worst].sum(), len(here[worst])
    elsewhere = (recent.sum() - within) / (len(recent) - notes)
    often = within / notes >= TWICE * elsewhere
    much = within >= percent / 100 * recent.sum()
    return worst if not percent or (often and much) else None
