"""What was found in one take, small enough that a class of them is read at once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from assessor.alignment import Verdict
from assessor.assessment import Assessment, PassAssessment
from assessor.measures.focus import Cause
from assessor.measures.tolerance import Judgement, Reading

# What can be outside at a note, by the cause of its fault
AT_NOTE = {
    Cause.EARLY: "early",
    Cause.LATE: "late",
    Cause.FLAT_BEND: "flat",
    Cause.SHARP_BEND: "sharp",
    Cause.FLAT_NOTE: "flat",
    Cause.SHARP_NOTE: "sharp",
    Cause.UNEVEN_SLUR: "uneven",
    Cause.EXTRA: "extra",
    Cause.PAUSE: "late",
    Cause.SHIFT: "late",
    Cause.STRING_SKIP: "late",
}


@dataclass(frozen=True)
class Known:
    """A reading as a class needs it.

    Attributes
    ----------
    value, uncertainty, target : float
        In `unit`; the uncertainty is half the 95 % interval.
    unit : str
    judgement : str
    """

    value: float
    unit: str
    uncertainty: float
    target: float
    judgement: str

    @classmethod
    def of(cls, reading: Reading) -> Known:
        """Reading without its limit."""
        return cls(
            reading.value,
            reading.unit,
            reading.uncertainty,
            reading.target,
            str(reading.judgement),
        )

    @property
    def off(self) -> float:
        """Distance from what was asked for."""
        return abs(self.value - self.target)


@dataclass(frozen=True)
class FoundNote:
    """One written note of the pass that counts.

    Attributes
    ----------
    verdict : str
        right, wrong, missed, unsure.
    probability : float
        That the verdict is true.
    outside : tuple of str
        early, late, flat, sharp, uneven, extra: what is outside for sure.
    onset_s : float or None
        Where it is heard in the take; None when it is not.
    due_s : float
        Where the pass's own tempo puts it.
    """

    verdict: str
    probability: float
    outside: tuple[str, ...]
    onset_s: float | None
    due_s: float

    @property
    def faults(self) -> tuple[str, ...]:
        """Every word for what is wrong here."""
        bad = self.verdict in (Verdict.WRONG, Verdict.MISSED)
        return (self.verdict, *self.outside) if bad else self.outside


@dataclass(frozen=True)
class Finding:
    """What was found in one take.

    Attributes
    ----------
    mark : float or None
        Of the pass that counts, 0 to 100.
    right, judged : int
        Notes; extra ones are judged too.
    unsure, extra : int
    readings : mapping of str to Known
        ``notes``, ``spread``, ``drift``, ``bends``, ``pitch``, ``slur spread``, ...,
        and ``tempo``.
    notes : tuple of FoundNote
    extras_s : tuple of float
        Onsets of the notes that were not asked for.
    passes, best : int
        How many there are, and which one counts.
    complete : bool
    cause, place, what : str
        What cost most, and where; empty when nothing was outside.
    focus : tuple of int
        Notes it touches.
    cautions : tuple of (str, str)
        Kind and sentence.
    duration_s : float
    inside : bool
        No reading lies outside for sure.
    """

    mark: float | None
    right: int
    judged: int
    unsure: int
    extra: int
    readings: Mapping[str, Known]
    notes: tuple[FoundNote, ...]
    extras_s: tuple[float, ...]
    passes: int
    best: int
    complete: bool
    cause: str
    place: str
    what: str
    focus: tuple[int, ...]
    cautions: tuple[tuple[str, str], ...]
    duration_s: float
    inside: bool

    @property
    def tempo_bpm(self) -> float | None:
        """As played."""
        tempo = self.readings.get("tempo")
        return None if tempo is None else tempo.value

    @property
    def doubt(self) -> float:
        """How many verdicts are to be expected wrong, by their own probabilities."""
        return sum(1 - note.probability for note in self.notes)


def finding_of(assessment: Assessment) -> Finding:
    """Sum up an assessment."""
    from assessor.measures.focus import say_place

    found = assessment.best_pass
    readings = dict(found.headlines)
    if found.timing.tempo is not None:
        readings["tempo"] = found.timing.tempo
    focus = found.focus
    return Finding(
        mark=found.mark.value,
        right=len(found.accuracy.right),
        judged=found.accuracy.judged,
        unsure=len(found.accuracy.unsure),
        extra=len(found.accuracy.extra),
        readings={name: Known.of(reading) for name, reading in readings.items()},
        notes=_notes(found),
        extras_s=tuple(extra.onset_s for extra in found.performed.extras),
        passes=len(assessment.passes),
        best=assessment.best,
        complete=found.performed.complete,
        cause=str(focus.cause) if focus else "",
        place=say_place(assessment.lick, focus.worst) if focus else "",
        what=focus.what if focus else "",
        focus=focus.indices if focus else (),
        cautions=tuple((c.kind, c.message) for c in assessment.cautions),
        duration_s=assessment.recording.duration_s,
        inside=found.inside,
    )


def _notes(found: PassAssessment) -> tuple[FoundNote, ...]:
    outside: dict[int, set[str]] = {}
    for fault in found.faults:
        if fault.cause in AT_NOTE:
            outside.setdefault(fault.index, set()).add(AT_NOTE[fault.cause])
    for note in found.timing.notes:  # a run of late notes is one fault, or none
        if note.deviation.judgement == Judgement.OUTSIDE:
            word = "late" if note.deviation.value > 0 else "early"
            outside.setdefault(note.index, set()).add(word)
    return tuple(
        FoundNote(
            str(note.verdict),
            note.probability,
            tuple(sorted(outside.get(note.index, ()))),
            None if note.played is None else note.played.onset_s,
            note.expected_s,
        )
        for note in found.performed.notes
    )


def finding_from(value: Mapping[str, Any]) -> Finding:
    """Finding from what JSON read; KeyError or TypeError when it is none."""
    known = dict(value)
    known["readings"] = {k: Known(**one) for k, one in known["readings"].items()}
    known["notes"] = tuple(
        FoundNote(**{**one, "outside": tuple(one["outside"])}) for one in known["notes"]
    )
    for name in ("extras_s", "focus"):
        known[name] = tuple(known[name])
    known["cautions"] = tuple((kind, said) for kind, said in known["cautions"])
    return Finding(**known)
