"""One file a player to send back: takes, remarks, and the lick at the next tempo.

It holds nothing of other players, and loads nothing from anywhere.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from threadpoolctl import threadpool_limits

from assessor.assessment import Assessment, PassAssessment
from assessor.errors import AssessorError
from assessor.figures.beats import scene
from assessor.figures.picture import COLOURS, SHAPES
from assessor.figures.take import LAYOUTS, take_picture
from assessor.history.plan import Numbers
from assessor.lick.notation import Lick
from assessor.measures.focus import say_place
from assessor.recording import Recording
from assessor.report.class_work import assessed
from assessor.report.document import shipped, source_hash, template
from assessor.report.readings import Line, lines_of, next_step
from assessor.report.remarks import remarks_of
from assessor.report.result import tool_version
from assessor.report.sound import Clip, practice_clip, take_clips
from assessor.review.corrections import Correction, What
from assessor.review.jobs import Job, Outcome
from assessor.review.overruling import overrule

FRAGMENT = "answer"  # name of the file an outcome carries
SLOWEST_BPM, FASTEST_BPM = 20.0, 400.0
THERE = 0.98  # of the written tempo


@dataclass(frozen=True)
class NextTempo:
    """What to practise at.

    Attributes
    ----------
    tempo_bpm : int
    why : str
    """

    tempo_bpm: int
    why: str


def next_tempo(assessment: Assessment, numbers: Numbers | None = None) -> NextTempo:
    """Tempo of the next practice: faster when all was inside, slower when nothing was.

    Parameters
    ----------
    assessment : Assessment
        With the teacher's corrections in it.
    numbers : Numbers or None
        Those of ``assessor practice``, which has the same rule over several takes.
    """
    numbers = numbers or Numbers()
    goal_bpm = assessment.written_tempo_bpm
    tempo = assessment.best_pass.timing.tempo
    played_bpm = tempo.value if tempo else assessment.lick.tempo_bpm
    inside = [one.inside and not one.faults for one in assessment.passes]
    if all(inside) and played_bpm >= THERE * goal_bpm:
        return _next(goal_bpm, "nothing was outside at the written tempo: keep it")
    if all(inside):
        faster = min(played_bpm * (1 + numbers.up / 100), goal_bpm)
        return _next(faster, f"nothing was outside: {numbers.up:g} % faster")
    if not any(inside):
        slowest = goal_bpm * numbers.slowest / 100
        slower = max(played_bpm * (1 - numbers.down / 100), slowest)
        return _next(slower, f"slower by {numbers.down:g} %, until it is right")
    return _next(played_bpm, "some passes were right: the same tempo, more often")


def _next(tempo_bpm: float, why: str) -> NextTempo:
    return NextTempo(round(min(max(tempo_bpm, SLOWEST_BPM), FASTEST_BPM)), why)


def answer_take(job: Job) -> Outcome:
    """Draw one take for its player's answer; never raises.

    The outcome carries a piece of HTML; a take that cannot be used has a reason.
    """
    start_s = time.process_time()
    try:
        with threadpool_limits(limits=1, user_api="blas"):
            outcome = _answered(job)
    except AssessorError as problem:
        outcome = Outcome.refused(job, str(getattr(problem, "message", problem)))
    except Exception as problem:  # one take must not cost the others their answer
        reason = f"this take brought the program down ({type(problem).__name__})"
        outcome = Outcome.refused(job, f"{reason}; please report it")
    return replace(outcome, cpu_s=time.process_time() - start_s)


def _answered(job: Job) -> Outcome:
    heard, tool = assessed(job)
    shown, left_over = overrule(tool, job.corrections)
    found, best = shown.best_pass, scene(shown, shown.best)
    step = next_tempo(shown)
    text = template("class_answer_take.html").render(
        title=shown.lick.title or "Lick",
        facts=_facts(shown),
        mark=_mark(shown, job.corrections),
        focus=found.focus,
        place=found.focus and say_place(shown.lick, found.focus.worst),
        next_step=next_step(shown),
        teacher=remarks_of(tool, job.corrections, left_over),
        cautions=[caution.message for caution in shown.cautions],
        readings=_by_area(found),
        pictures={name: take_picture(best, width) for name, width in LAYOUTS.items()},
        take=_clip(heard, shown) if job.sound else None,
        practice=_practice(shown.lick.at_tempo(step.tempo_bpm)),
        step=step,
    )
    return Outcome(job.take_id, None, None, files={FRAGMENT: text.encode()})


@lru_cache(maxsize=8)
def _practice(lick: Lick) -> Clip:
    """The same for all who are to practise a lick at one tempo."""
    return practice_clip(lick)


def _clip(heard: Recording, shown: Assessment) -> Clip:
    """The take, or of a long one the pass that counts."""
    notes = [n.played for n in shown.best_pass.performed.notes if n.played is not None]
    span_s = (min(n.onset_s for n in notes), max(n.offset_s for n in notes))
    return take_clips(heard, [span_s])[0]


def _facts(shown: Assessment) -> list[str]:
    tempo = shown.best_pass.timing.tempo
    facts = [
        f"{shown.recording.duration_s:.0f} s",
        f"{shown.lick.tempo_bpm:g} bpm asked",
    ]
    return facts + ([f"{tempo.value:.0f} bpm played"] if tempo else [])


def _by_area(found: PassAssessment) -> dict[str, list[Line]]:
    """Readings by area; a line without one goes on with the area before it."""
    by_area: dict[str, list[Line]] = {}
    area = ""
    for line in lines_of(found):
        area = line.area or area
        by_area.setdefault(area, []).append(line)
    return by_area


def _mark(shown: Assessment, corrections: Sequence[Correction]) -> str:
    """Mark of the pass that counts; the teacher's where there is one."""
    by_ear = [
        c
        for c in corrections
        if (c.what, c.name) == (What.READING, "mark") and c.number in (None, shown.best)
    ]
    mark = float(by_ear[-1].value) if by_ear else shown.best_pass.mark.value
    return "" if mark is None else f"{mark:.0f}"


def answer_page(
    title: str, pseudonym: str, pieces: Sequence[bytes], refused: Sequence[str] = ()
) -> str:
    """One player's answer as an HTML document.

    Parameters
    ----------
    title : str
        Of the assignment.
    pseudonym : str
    pieces : sequence of bytes
        What `answer_take` drew, the take that counts first.
    refused : sequence of str
        Why other takes could not be assessed.
    """
    style = COLOURS + SHAPES + shipped("page.css") + shipped("class_page.css")
    return template("class_answer.html").render(
        title=title,
        pseudonym=pseudonym,
        pieces=[piece.decode() for piece in pieces],
        refused=refused,
        style=style,
        style_hash=source_hash(style),
        tool_version=tool_version(),
    )
