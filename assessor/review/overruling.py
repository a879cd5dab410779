"""An assessment as it is with the teacher's corrections in it.

Corrected verdicts are put in the place of the tool's, and everything is measured again:
shares, time, bends, legato, the mark and the thing to work on all follow.  What a
teacher judges by ear keeps its number; its limit is then named *ear*.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

from assessor.alignment import Verdict
from assessor.assessment import Assessment, PassAssessment
from assessor.lick.notation import Lick
from assessor.measures import accuracy, bends, focus, legato, marks, timing
from assessor.measures.accuracy import Accuracy, WrongNote
from assessor.measures.focus import Cause, Fault
from assessor.measures.tolerance import Limit, Reading
from assessor.pitch import PerformedNote, PerformedPass, PlayedNote
from assessor.review.corrections import Correction, What
from assessor.review.finding import Finding, Known

EAR = "ear"
# An extra note this near to where a note was due was meant to be it
INSTEAD_S = 0.15


def overrule(
    assessment: Assessment, corrections: Sequence[Correction]
) -> tuple[Assessment, tuple[Correction, ...]]:
    """Put corrections in the place of findings.

    Parameters
    ----------
    assessment : Assessment
    corrections : sequence of Correction
        That hold, of this take.

    Returns
    -------
    (assessment, left_over)
        Corrections that fit nothing: of a pass or a note there is none of any more.
    """
    passes, left = [], []
    for number, found in enumerate(assessment.passes):
        mine = [c for c in corrections if _number(c, assessment) == number]
        fit = [c for c in mine if _fits(c, found)]
        now = _overruled(assessment, found, fit)
        left += [c for c in mine if c not in fit or not _is_measured(c, now)]
        passes.append(now)
    beyond = [c for c in corrections if _number(c, assessment) >= len(passes)]
    return replace(assessment, passes=tuple(passes)), (*left, *beyond)


def _number(correction: Correction, assessment: Assessment) -> int:
    return assessment.best if correction.number is None else correction.number


def _fits(correction: Correction, found: PassAssessment) -> bool:
    """Say whether there is what a correction speaks of."""
    if correction.note is None:
        return True
    extra = correction.what is What.EXTRA
    count = len(found.performed.extras) if extra else len(found.performed.notes)
    return correction.note < count


def _is_measured(correction: Correction, found: PassAssessment) -> bool:
    """Say whether what was judged by ear has a reading at its note."""
    if correction.what is not What.JUDGEMENT:
        return True
    notes: dict[str, Iterable[Any]] = {
        "time": found.timing.notes,
        "bend": found.bends.bent,
        "pitch": found.bends.plain,
        "slur": found.legato.notes,
    }
    return correction.note in {note.index for note in notes[correction.name]}


def _overruled(
    assessment: Assessment, found: PassAssessment, corrections: Sequence[Correction]
) -> PassAssessment:
    """One pass measured again."""
    by_ear = {What.VERDICT, What.EXTRA, What.JUDGEMENT}
    if not any(c.what in by_ear for c in corrections):
        return found
    performed = _performed(found.performed, corrections)
    lick, settings = assessment.lick, assessment.settings
    tolerance, tuning_cents = settings.tolerance, assessment.tuning_cents
    notes = accuracy.measure(
        lick,
        performed,
        tolerance,
        tuning_cents=tuning_cents,
        transposition=assessment.transposition,
    )
    notes = _wrong_unheard(notes, lick, performed)
    time = timing.measure(lick, performed, tolerance, settings.click)
    cents = bends.measure(lick, performed, tolerance, tuning_cents=tuning_cents)
    slurs = legato.measure(
        lick, performed, tolerance, seconds_per_written=time.seconds_per_written
    )
    said = [c for c in corrections if c.what is What.JUDGEMENT]
    time = replace(time, notes=_judged(time.notes, "deviation", "time", said))
    cents = replace(
        cents,
        bent=_judged(cents.bent, "reached", "bend", said),
        plain=_judged(cents.plain, "intonation", "pitch", said),
    )
    groups = tuple(
        replace(group, notes=_judged(group.notes, "interval", "slur", said))
        for group in slurs.groups
    )
    slurs = replace(slurs, groups=groups)
    mark = marks.measure(notes, time, cents, slurs)
    heard = {c.note for c in corrections if c.value == Verdict.WRONG}
    faults = tuple(
        _named(fault, heard)
        for fault in focus.find_faults(lick, notes, time, cents, slurs)
    )
    first = focus.find_focus(faults, mark)
    return PassAssessment(performed, notes, time, cents, slurs, mark, faults, first)


def _named(fault: Fault, heard: set[int | None]) -> Fault:
    """A fault that only the teacher heard, said so."""
    if fault.cause == Cause.WRONG and fault.index in heard:
        return replace(fault, what="wrong, as your teacher hears it")
    return fault


def _performed(
    performed: PerformedPass, corrections: Sequence[Correction]
) -> PerformedPass:
    """A pass with the teacher's verdicts in it."""
    gone = {c.note for c in corrections if c.what is What.EXTRA}
    extras = [e for k, e in enumerate(performed.extras) if k not in gone]
    notes = list(performed.notes)
    for said in corrections:
        if said.what is What.VERDICT and said.note is not None:
            verdict = Verdict(str(said.value))
            notes[said.note] = _with_verdict(notes[said.note], verdict, extras)
    return replace(performed, notes=tuple(notes), extras=tuple(extras))


def _with_verdict(
    note: PerformedNote, verdict: Verdict, extras: list[PlayedNote]
) -> PerformedNote:
    """A note with another verdict; what sounded in its place is found or let go."""
    played = note.played
    if verdict == Verdict.MISSED:
        played = None
    elif played is None and verdict in (Verdict.RIGHT, Verdict.WRONG):
        played = _nearest(extras, note.expected_s)
        if played is not None:
            extras.remove(played)
    return replace(note, verdict=verdict, probability=1.0, played=played)


def _nearest(extras: Iterable[PlayedNote], due_s: float) -> PlayedNote | None:
    near = [e for e in extras if abs(e.onset_s - due_s) <= INSTEAD_S]
    return min(near, key=lambda e: abs(e.onset_s - due_s), default=None)


def _wrong_unheard(found: Accuracy, lick: Lick, performed: PerformedPass) -> Accuracy:
    """Count as wrong what the teacher heard as wrong and the tool heard not at all."""
    known = {wrong.index for wrong in found.wrong}
    unheard = tuple(
        WrongNote(note.index, lick.notes[note.index].midi_number, 0, None)
        for note in performed.notes
        if note.verdict == Verdict.WRONG and note.index not in known
    )
    if not unheard:
        return found
    counted = replace(found, wrong=found.wrong + unheard)
    share = found.share
    if share is None:
        return counted
    percent = 100 * len(counted.right) / counted.judged
    return replace(counted, share=replace(share, value=percent))


def _judged(notes: Any, reading: str, area: str, said: Sequence[Correction]) -> Any:
    """Notes whose reading the teacher judged by ear, with that judgement."""
    by_note = {c.note: c for c in said if c.name == area}
    return tuple(
        replace(note, **{reading: _by_ear(getattr(note, reading), by_note[note.index])})
        if note.index in by_note
        else note
        for note in notes
    )


def _by_ear(reading: Reading, said: Correction) -> Reading:
    """Reading with a limit on the side the ear puts it."""
    allowed = abs(reading.deviation) if said.value == "inside" else 0.0
    limit = Limit(allowed, EAR, f"{said.author}, by ear")
    return replace(reading, uncertainty=0.0, limit=limit)


def with_readings(found: Finding, corrections: Sequence[Correction]) -> Finding:
    """Finding with the readings the teacher gives the pass that counts."""
    readings, mark = dict(found.readings), found.mark
    for said in corrections:
        counts = said.number in (None, found.best)
        if said.what is not What.READING or not counts:
            continue
        value = float(said.value)
        if said.name == "mark":
            mark = value
            continue
        readings[said.name] = _reading(readings.get(said.name), said.name, value)
    return replace(found, readings=readings, mark=mark)


UNITS = {
    "notes": "%",
    "tempo": "bpm",
    "spread": "ms",
    "bends": "cents",
    "pitch": "cents",
    "slur spread": "ms",
}


def _reading(known: Known | None, name: str, value: float) -> Known:
    """A reading by ear."""
    target = known.target if known else value
    return Known(value, known.unit if known else UNITS[name], 0.0, target, EAR)
