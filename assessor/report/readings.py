"""The readings of a pass in words, one line each."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from assessor.assessment import Assessment, PassAssessment
from assessor.measures.accuracy import Accuracy
from assessor.measures.bends import Bends
from assessor.measures.legato import Legato
from assessor.measures.marks import outside
from assessor.measures.timing import Timing
from assessor.measures.tolerance import Judgement, Reading

SLOWER = 0.03  # a tempo this far under the written one is worth a word


@dataclass(frozen=True)
class Line:
    """One line of the report.

    Attributes
    ----------
    area : str
        Empty when the line goes on with the area of the one before.
    text : str
    judged : Reading or None
        The reading the line is judged by.
    """

    area: str
    text: str
    judged: Reading | None = None


def lines_of(found: PassAssessment) -> list[Line]:
    """Every line that has something to say, the main one of each area first."""
    return [
        Line("Notes", _notes_text(found.accuracy), found.accuracy.share),
        *_time_lines(found.timing),
        *_bend_lines(found.bends),
        *_legato_lines(found.legato),
    ]


def value_in(value: float, unit: str) -> str:
    """A number with its unit, to the digits a player can use.

    >>> value_in(12.34, "ms"), value_in(2.06, ":1"), value_in(4.26, "cents")
    ('12 ms', '2.06:1', '4.3 cents')
    """
    digits = f"{value:.2f}" if unit == ":1" else f"{value:.1f}"
    if unit in ("ms", "%", "nPVI") or (unit == "cents" and abs(value) >= 10):
        digits = f"{value:.0f}"
    if "." in digits:
        digits = digits.rstrip("0").rstrip(".")
    if unit == ":1":
        return f"{digits}:1"
    one = unit == "cents" and digits == "1"
    return f"{digits} {'cent' if one else unit}"


def amount(reading: Reading) -> str:
    """Size of a reading with its uncertainty.

    >>> amount(Reading(-12.3, "ms", 2.2))
    '12 ms ±2'
    """
    known = value_in(reading.uncertainty, reading.unit).split(" ")[0].split(":")[0]
    return f"{value_in(abs(reading.value), reading.unit)} ±{known}"


def allowed(reading: Reading) -> str:
    """Limit of a judged reading with its unit."""
    if reading.limit is None:
        return ""
    text = value_in(reading.limit.value, reading.unit)
    return f"{text} faults" if reading.limit.name == "notes" else text


def _notes_text(accuracy: Accuracy) -> str:
    counts = {
        "wrong": len(accuracy.wrong),
        "missed": len(accuracy.missed),
        "extra": len(accuracy.extra),
        "unsure": len(accuracy.unsure),
    }
    right = f"{len(accuracy.right)} of {accuracy.judged} right"
    return ", ".join([right, *(f"{n} {name}" for name, n in counts.items() if n)])


def _time_lines(timing: Timing) -> Iterator[Line]:
    if timing.spread is not None:
        inside = [note.deviation.judgement for note in timing.notes]
        judged = inside.count(Judgement.INSIDE) + inside.count(Judgement.OUTSIDE)
        text = f"{inside.count(Judgement.INSIDE)} of {judged} in time"
        yield Line("Time", f"spread {amount(timing.spread)}, {text}", timing.spread)
    if timing.drift is not None and timing.tempo is not None:
        tempo = value_in(timing.tempo.value, "bpm")
        asked = value_in(timing.tempo.target, "").strip()
        change = _change(timing.drift, timing.duration_s)
        yield Line("", f"{tempo} ({asked} asked), {_drift_text(change)}", change)
    if timing.offset is not None:
        side = "behind" if timing.offset.value > 0 else "ahead of"
        yield Line("", f"{amount(timing.offset)} {side} the click", timing.offset)
    if timing.swing is not None:
        asked = value_in(timing.swing.target, ":1")
        yield Line("", f"swing {amount(timing.swing)} ({asked} asked)", timing.swing)
    for hesitation in timing.hesitations:
        if outside(hesitation.extra) and hesitation.extra.value > 0:
            text = f"{hesitation.movement}s cost {amount(hesitation.extra)} each"
            yield Line("", text, hesitation.extra)


def _change(drift: Reading, duration_s: float) -> Reading:
    """Drift as the change of tempo from the first note to the last, in bpm."""
    minutes = duration_s / 60
    limit = drift.limit
    return Reading(
        drift.value * minutes,
        "bpm",
        drift.uncertainty * minutes,
        limit=limit and replace(limit, value=limit.value * minutes),
    )


def _drift_text(change: Reading) -> str:
    if abs(change.value) <= change.uncertainty:
        return "steady"
    way = "speeding up" if change.value > 0 else "slowing"
    return f"{way} by {amount(change)}"


def _bend_lines(bends: Bends) -> Iterator[Line]:
    if bends.bend_error is not None:
        told = [note.reached.judgement for note in bends.bent]
        unsure = told.count(Judgement.UNSURE)
        inside = f"{told.count(Judgement.INSIDE)} of {len(told) - unsure} inside"
        inside += f", {unsure} unsure" if unsure else ""
        yield Line(
            "Bends", f"{amount(bends.bend_error)} off, {inside}", bends.bend_error
        )
    shaken = [n for n in bends.vibrato if n.rate is not None and n.depth is not None]
    if bends.vibrato and not shaken:
        yield Line(
            "Vibrato", f"none heard in {len(bends.vibrato)} notes that ask for it"
        )
    if shaken:
        rate_hz = float(np.median([n.rate.value for n in shaken if n.rate]))
        depth = float(np.median([n.depth.value for n in shaken if n.depth]))
        text = f"{value_in(rate_hz, 'Hz')}, {value_in(depth, 'cents')} either way"
        yield Line("Vibrato", text)
    if bends.plain_error is not None:
        text = f"plain notes {amount(bends.plain_error)} off"
        yield Line("Pitch", text, bends.plain_error)


def _legato_lines(legato: Legato) -> Iterator[Line]:
    if legato.spread is not None:
        yield Line("Legato", f"intervals {amount(legato.spread)} off", legato.spread)
    if legato.npvi is not None:
        text = f"unevenness {amount(legato.npvi)}".replace(" nPVI", "") + " nPVI"
        yield Line("", text, legato.npvi)
    if legato.level is not None:
        way = "louder" if legato.level.value > 0 else "softer"
        yield Line("", f"slurs {amount(legato.level)} {way} than picked", legato.level)
    if legato.picked_instead:
        count = len(legato.picked_instead)
        yield Line("", f"{count} slur{'s' * (count > 1)} may have been picked")


def next_step(assessment: Assessment) -> str:
    """What to do when nothing was outside."""
    if assessment.best_pass.mark.value is None:
        return "Nothing could be judged: record it again, closer to the guitar."
    tempo = assessment.best_pass.timing.tempo
    written_bpm = assessment.written_tempo_bpm
    if tempo is not None and tempo.value < (1 - SLOWER) * written_bpm:
        return (
            f"Nothing lies outside the tolerance: bring the tempo up, from "
            f"{tempo.value:.0f} towards the written {written_bpm:.0f} bpm."
        )
    return "Nothing lies outside the tolerance: try a tighter one."
