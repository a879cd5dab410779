"""Every note of every pass as comma-separated values, units in the head."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from typing import Any

from assessor.assessment import Assessment, PassAssessment
from assessor.lick.notation import Lick
from assessor.measures.focus import say_place
from assessor.measures.tolerance import Reading

HEAD = (
    "pass", "note", "place", "string", "fret", "written_midi", "verdict",
    "probability", "onset_s", "offset_s", "heard_midi", "level_db", "sounded_by",
    "deviation_ms", "deviation_uncertainty_ms", "deviation_judgement",
    "pitch_off_cents", "pitch_off_uncertainty_cents", "pitch_judgement",
    "slur_interval_off_ms", "slur_interval_uncertainty_ms", "slur_judgement",
    "vibrato_hz", "vibrato_cents",
)  # fmt: skip


def notes_csv(assessment: Assessment) -> str:
    """Notes of an assessment as CSV.

    One row a written note and pass, extra notes after those of their pass with an empty
    ``note``.  What was not measured is empty.  Pitches are of the lick as written:
    tuning and transposition of the whole take are taken out.
    """
    stream = io.StringIO()
    writer = csv.DictWriter(stream, HEAD, restval="", lineterminator="\n")
    writer.writeheader()
    for number, found in enumerate(assessment.passes, 1):
        for row in _rows(assessment.lick, found, assessment.transposition):
            writer.writerow({"pass": number, **row})
    return stream.getvalue()


def _rows(
    lick: Lick, found: PassAssessment, transposition: int
) -> Iterator[dict[str, Any]]:
    time = {n.index: n.deviation for n in found.timing.notes}
    pitch = {n.index: n.intonation for n in found.bends.plain}
    pitch |= {n.index: n.reached for n in found.bends.bent}
    slur = {n.index: n.interval for n in found.legato.notes}
    shaken = {n.index: n for n in found.bends.vibrato}
    for note in found.performed.notes:
        k, written = note.index, lick.notes[note.index]
        row: dict[str, Any] = {
            "note": k + 1,
            "place": say_place(lick, k),
            "string": written.string,
            "fret": written.fret,
            "written_midi": written.midi_number,
            "verdict": str(note.verdict),
            "probability": f"{note.probability:.3f}",
        }
        if note.played is not None:
            played = note.played
            row["onset_s"] = f"{played.onset_s:.4f}"
            row["offset_s"] = f"{played.offset_s:.3f}"
            row["heard_midi"] = played.midi_number - transposition
            row["level_db"] = f"{played.level_db:.1f}"
            row["sounded_by"] = str(played.sounded_by)
        row |= _judged(time.get(k), "deviation_ms", "deviation")
        row |= _judged(pitch.get(k), "pitch_off_cents", "pitch")
        row |= _judged(slur.get(k), "slur_interval_off_ms", "slur")
        vibrato = shaken.get(k)
        if vibrato is not None and vibrato.rate and vibrato.depth:
            row["vibrato_hz"] = f"{vibrato.rate.value:.2f}"
            row["vibrato_cents"] = f"{vibrato.depth.value:.1f}"
        yield row
    for extra in found.accuracy.extra:
        yield {
            "verdict": "extra",
            "onset_s": f"{extra.onset_s:.4f}",
            "heard_midi": extra.midi_number,
        }


def _judged(reading: Reading | None, column: str, name: str) -> dict[str, str]:
    """Three cells of a reading."""
    if reading is None:
        return {}
    first, unit = column.rsplit("_", 1)
    stem = {"slur": "slur_interval"}.get(name, first)
    return {
        column: f"{reading.deviation:.1f}",
        f"{stem}_uncertainty_{unit}": f"{reading.uncertainty:.1f}",
        f"{name}_judgement": str(reading.judgement),
    }
