"""The result file: everything that was measured, as JSON.

`docs/result.schema.json` describes it.  Keys are only ever added under one `version`;
one that is taken away or means something else makes a new version.  Times are seconds
of the take's own clock; what could not be measured is null.  A judged number is a
reading: value, unit, uncertainty (half the 95 % interval), target, limit with the name
of its rule, judgement; the rules with their sources stand under `settings`.
"""

from __future__ import annotations

import math
from dataclasses import asdict
from importlib.metadata import PackageNotFoundError, version
from typing import Any

from assessor.assessment import Assessment, PassAssessment, Settings
from assessor.lick.notation import Lick
from assessor.measures.bends import BentNote, VibratoNote
from assessor.measures.focus import Fault, say_place
from assessor.measures.legato import Legato, SlurredGroup
from assessor.measures.timing import Timing
from assessor.measures.tolerance import Reading
from assessor.pitch import PerformedNote, PlayedNote
from assessor.report.home import HomeNote, come_home

FORMAT = "assessor-result"
VERSION = 1

Json = dict[str, Any]


def result(assessment: Assessment) -> Json:
    """Assessment as a value that `json` can write.

    Parameters
    ----------
    assessment : Assessment

    Returns
    -------
    dict
        Under `docs/result.schema.json`; holds no NaN.
    """
    recording, lick = assessment.recording, assessment.lick
    return {
        "format": FORMAT,
        "version": VERSION,
        "tool_version": tool_version(),
        "recording": {
            "name": recording.name,
            "sha256": recording.digest,
            "duration_s": recording.duration_s,
            "sample_rate_hz": recording.sample_rate_hz,
            "flags": [
                {
                    "kind": flag.kind,
                    "value": _number(flag.value),
                    "limit": _number(flag.limit),
                    "unit": flag.unit,
                    "message": flag.message,
                }
                for flag in recording.flags
            ],
        },
        "lick": {
            "title": lick.title,
            "tuning": str(lick.tuning),
            "capo": lick.capo,
            "meter": str(lick.meter),
            "written_tempo_bpm": assessment.written_tempo_bpm,
            "asked_tempo_bpm": lick.tempo_bpm,
            "notes": len(lick),
            "parent": lick.parent
            and {
                "title": lick.parent.title,
                "sha256": lick.parent.digest or None,
                "drill": lick.parent.form,
            },
        },
        "settings": _settings(assessment.settings),
        "tuning_cents": assessment.tuning_cents,
        "transposition": assessment.transposition,
        "best_pass": assessment.best,
        "passes": [
            _pass(lick, found, assessment.tuning_cents) for found in assessment.passes
        ],
        "stretches": [asdict(stretch) for stretch in assessment.stretches],
        "second_opinion": _second_opinion(assessment),
        "cautions": [
            {"kind": caution.kind, "message": caution.message}
            for caution in assessment.cautions
        ],
    }


def tool_version() -> str:
    """Version of the installed program; ``unknown`` from a bare source tree."""
    try:
        return version("assessor")
    except PackageNotFoundError:
        return "unknown"


def _settings(settings: Settings) -> Json:
    click = settings.click
    return {
        "tempo_bpm": settings.tempo_bpm,
        "click": click and {"offset_s": click.offset_s, "tempo_bpm": click.tempo_bpm},
        "tracker": str(settings.tracker),
        "tolerance": {
            "name": settings.tolerance.name,
            "rules": {
                name: {
                    "value": rule.value,
                    "unit": rule.unit,
                    "percent_of_interval": rule.percent_of_ioi,
                    "source": rule.source,
                }
                for name, rule in settings.tolerance.rules.items()
            },
        },
    }


def _pass(lick: Lick, found: PassAssessment, tuning_cents: float) -> Json:
    focus = found.focus
    return {
        "complete": found.performed.complete,
        "mark": found.mark.value,
        "mark_formula": found.mark.formula,
        "inside_tolerance": found.inside,
        "notes": _notes(lick, found, tuning_cents),
        "parent_notes": [_home(note) for note in come_home(lick.parent, found)]
        if lick.parent
        else [],
        "extra": [_extra(note, tuning_cents) for note in found.performed.extras],
        "right_share": _reading(found.accuracy.share),
        "timing": _timing(found.timing),
        "pitch": {
            "bend_error": _reading(found.bends.bend_error),
            "plain_error": _reading(found.bends.plain_error),
        },
        "legato": _legato(found.legato),
        "faults": [_fault(lick, fault) for fault in found.faults],
        "work_on_first": focus
        and {
            "cause": str(focus.cause),
            "cost": focus.cost,
            "indices": list(focus.indices),
            "index": focus.worst,
            "place": say_place(lick, focus.worst),
            "what": focus.what,
            "advice": focus.advice,
        },
    }


def _notes(lick: Lick, found: PassAssessment, tuning_cents: float) -> list[Json]:
    """Every written note of a pass, with all that was measured on it."""
    timing = {note.index: note for note in found.timing.notes}
    bent = {note.index: note for note in found.bends.bent}
    vibrato = {note.index: note for note in found.bends.vibrato}
    plain = {note.index: note.intonation for note in found.bends.plain}
    slurred = {note.index: note.interval for note in found.legato.notes}
    slips = {note.index: note.slip for note in found.accuracy.wrong}
    notes = []
    for note in found.performed.notes:
        k = note.index
        slip = slips.get(k)
        notes.append(
            {
                **_heard(note, tuning_cents),
                "place": say_place(lick, k),
                "parent_index": lick.parent and lick.parent.notes[k],
                "slip": slip
                and {
                    "kind": str(slip.kind),
                    "string": slip.string,
                    "fret": slip.fret,
                    "sentence": slip.sentence,
                },
                "deviation": _reading(timing[k].deviation) if k in timing else None,
                "beat_percent": timing[k].beat_percent if k in timing else None,
                "intonation": _reading(plain.get(k)),
                "slur_interval": _reading(slurred.get(k)),
                "bend": _bend(bent.get(k)),
                "vibrato": _vibrato(vibrato.get(k)),
            }
        )
    return notes


def _heard(note: PerformedNote, tuning_cents: float) -> Json:
    """What the ears found for one written note."""
    played = note.played
    return {
        "index": note.index,
        "verdict": str(note.verdict),
        "probability": note.probability,
        "onset_s": played and played.onset_s,
        "onset_uncertainty_s": played and played.onset_uncertainty_s,
        "offset_s": played and played.offset_s,
        "midi_number": played and _sounding_midi(played, tuning_cents),
        "midi_uncertainty_cents": played and _number(played.steady_uncertainty_cents),
        "level_db": played and _number(played.level_db),
        "sounded_by": played and str(played.sounded_by),
    }


def _sounding_midi(played: PlayedNote, tuning_cents: float) -> float:
    """Pitch of the steady part, tuning not removed; of the fret where it moves."""
    if math.isfinite(played.steady_midi):
        return played.steady_midi
    return played.midi_number + tuning_cents / 100


def _extra(played: PlayedNote, tuning_cents: float) -> Json:
    return {
        "onset_s": played.onset_s,
        "offset_s": played.offset_s,
        "midi_number": _sounding_midi(played, tuning_cents),
    }


def _home(note: HomeNote) -> Json:
    """What a pass of a drill says of one note of its parent."""
    return {
        "index": note.index,
        "indices": list(note.indices),
        "right": note.right,
        "wrong": note.wrong,
        "missed": note.missed,
        "unsure": note.unsure,
        "deviation_ms": note.deviation_ms,
        "intonation_cents": note.intonation_cents,
        "causes": {str(cause): count for cause, count in note.causes.items()},
    }


def _bend(note: BentNote | None) -> Json | None:
    """Bend of one note; `peak_cents` and `settled_cents` stand bare as well."""
    if note is None:
        return None
    return {
        "peak_cents": note.peak.value,
        "settled_cents": note.settled and note.settled.value,
        "target_cents": note.peak.target,
        "reached": _reading(note.reached),
        "peak": _reading(note.peak),
        "settled": _reading(note.settled),
        "overshoot": _reading(note.overshoot),
        "start": _reading(note.start),
        "end": _reading(note.end),
        "rise": _reading(note.rise),
        "hold": _reading(note.hold),
        "release": _reading(note.release),
    }


def _vibrato(note: VibratoNote | None) -> Json | None:
    """Vibrato of one note, null when it does not swing."""
    if note is None or note.rate is None or note.depth is None:
        return None
    return {
        "rate_hz": note.rate.value,
        "depth_cents": note.depth.value,
        "rate": _reading(note.rate),
        "depth": _reading(note.depth),
        "rate_spread": _reading(note.rate_spread),
        "depth_spread": _reading(note.depth_spread),
    }


def _timing(timing: Timing) -> Json:
    return {
        "against": str(timing.against),
        "tempo": _reading(timing.tempo),
        "spread": _reading(timing.spread),
        "offset": _reading(timing.offset),
        "drift": _reading(timing.drift),
        "lag": _reading(timing.lag),
        "tendency": str(timing.tendency),
        "swing": _reading(timing.swing),
        "jumps": [
            {"index": jump.index, "extra_ms": jump.extra_ms} for jump in timing.jumps
        ],
        "hesitations": [
            {
                "movement": found.movement,
                "indices": list(found.indices),
                "extra": _reading(found.extra),
                "worst_index": found.worst,
                "worst_ms": found.worst_ms,
            }
            for found in timing.hesitations
        ],
    }


def _legato(legato: Legato) -> Json:
    return {
        **_evenness(legato),
        "picked_instead": list(legato.picked_instead),
        "slurred_instead": list(legato.slurred_instead),
        "groups": [
            {"indices": list(group.indices), **_evenness(group)}
            for group in legato.groups
        ],
    }


def _evenness(slurs: Legato | SlurredGroup) -> Json:
    """What a group and the whole pass have in common."""
    return {
        "spread": _reading(slurs.spread),
        "npvi": _reading(slurs.npvi),
        "level": _reading(slurs.level),
        "overlap": _reading(slurs.overlap),
    }


def _fault(lick: Lick, fault: Fault) -> Json:
    return {
        "area": str(fault.area),
        "cause": str(fault.cause),
        "index": fault.index,
        "place": say_place(lick, fault.index),
        "what": fault.what,
    }


def _second_opinion(assessment: Assessment) -> Json | None:
    opinion = assessment.second_opinion
    if opinion is None:
        return None
    return {
        "tracker": opinion.tracker,
        "agreed": opinion.agreed,
        "unheard": opinion.unheard,
        "disagreements": [
            {
                "pass": found.pass_index,
                "index": found.index,
                "own_midi": found.own_midi,
                "other_midi": found.other_midi,
            }
            for found in opinion.disagreements
        ],
    }


def _reading(reading: Reading | None) -> Json | None:
    """One reading, the same everywhere."""
    if reading is None:
        return None
    return {
        "value": reading.value,
        "unit": reading.unit,
        "uncertainty": reading.uncertainty,
        "target": reading.target,
        "limit": reading.limit and reading.limit.value,
        "rule": reading.limit and reading.limit.name,
        "judgement": str(reading.judgement),
    }


def _number(value: float) -> float | None:
    """A number, null when it is none."""
    return value if math.isfinite(value) else None
