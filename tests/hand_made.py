"""Licks and performances made by hand, with exact truth."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import Any

import numpy as np

from assessor import assessment
from assessor.alignment import Verdict
from assessor.assessment import Assessment, RecordingFacts, Settings
from assessor.lick.notation import Lick, LickNote, Meter
from assessor.pitch import (
    Contour,
    Performance,
    PerformedNote,
    PerformedPass,
    PlayedNote,
    SoundedBy,
)
from assessor.tuning import STANDARD, midi_to_hz

STEP_S = 0.01


def lick(
    beats: Sequence[object],
    places: Sequence[tuple[int, int]] | None = None,
    *,
    last_beats: object = 1,
    extras: dict[int, dict[str, Any]] | None = None,
    **fields: Any,
) -> Lick:
    """Lick with notes at `beats`, on string 3 from fret 5 up unless said otherwise.

    `extras` gives a note further fields, by index.
    """
    onsets = [Fraction(str(beat)) for beat in beats]
    ends = [*onsets[1:], onsets[-1] + Fraction(str(last_beats))]
    places = places or [(3, 5 + k % 4) for k in range(len(onsets))]
    extras = extras or {}
    notes = tuple(
        LickNote(
            onset,
            end - onset,
            STANDARD.midi_number(*place),
            *place,
            **extras.get(k, {}),
        )
        for k, (onset, end, place) in enumerate(zip(onsets, ends, places, strict=True))
    )
    heading: dict[str, Any] = {
        "title": "hand made",
        "tempo_bpm": 100.0,
        "meter": Meter(),
        "tuning": STANDARD,
    }
    return Lick(notes=notes, **(heading | fields))


def contour(onset_s: float, cents: Sequence[float], midi_number: int) -> Contour:
    """Contour whose pitch is `cents` above a MIDI number, a value each 10 ms."""
    above = np.asarray(cents, dtype=np.float64)
    times_s = onset_s + STEP_S * np.arange(len(above))
    f0_hz = midi_to_hz(midi_number + above / 100)
    return Contour(times_s, f0_hz, np.full(len(above), -20.0))


def played(
    onset_s: float,
    midi_number: int,
    *,
    offset_s: float | None = None,
    cents: Sequence[float] | float = 0.0,
    level_db: float = -20.0,
    sounded_by: SoundedBy = SoundedBy.PICKED,
    onset_uncertainty_s: float = 0.0,
) -> PlayedNote:
    """Played note; `cents` is its steady pitch or its whole contour."""
    offset_s = onset_s + 0.3 if offset_s is None else offset_s
    count = max(round((offset_s - onset_s) / STEP_S), 0)
    curve = [cents] * count if isinstance(cents, int | float) else list(cents)
    steady = float(np.median(curve)) if curve else float("nan")
    return PlayedNote(
        onset_s=onset_s,
        onset_uncertainty_s=onset_uncertainty_s,
        offset_s=offset_s,
        midi_number=midi_number,
        steady_midi=midi_number + steady / 100,
        steady_uncertainty_cents=0.5,
        level_db=level_db,
        sounded_by=sounded_by,
        contour=contour(onset_s, curve, midi_number),
    )


def passage(
    notes: Sequence[PlayedNote | None],
    *,
    verdicts: dict[int, Verdict] | None = None,
    extras: Sequence[PlayedNote] = (),
    probability: float = 1.0,
    complete: bool = True,
    tempo_ratio: float = 1.0,
) -> PerformedPass:
    """Pass in which every note is right, or missed where None, or as said."""
    verdicts = verdicts or {}
    performed = tuple(
        PerformedNote(
            index=k,
            verdict=verdicts.get(k, Verdict.MISSED if note is None else Verdict.RIGHT),
            probability=probability,
            expected_s=0.0,
            played=note,
        )
        for k, note in enumerate(notes)
    )
    return PerformedPass(performed, tuple(extras), tempo_ratio, complete)


def as_written(
    lick: Lick,
    *,
    start_s: float = 1.0,
    pace: float = 1.0,
    late_s: Sequence[float] | float = 0.0,
    **fields: Any,
) -> list[PlayedNote]:
    """Every note of a lick, at `pace` seconds a written second, late by `late_s`.

    Slurs are sounded as slurs.
    """
    late = np.broadcast_to(np.asarray(late_s, dtype=np.float64), (len(lick),))
    onsets = start_s + pace * lick.onsets_s() + late
    ends = start_s + pace * lick.ends_s()
    ends[:-1] = np.minimum(ends[:-1], onsets[1:])
    return [
        played(
            float(on),
            note.midi_number,
            offset_s=float(off),
            sounded_by=SoundedBy.SLURRED if note.slurred else SoundedBy.PICKED,
            **fields,
        )
        for on, off, note in zip(onsets, ends, lick.notes, strict=True)
    ]


def performance(
    *passes: PerformedPass,
    best: int = 0,
    tuning_cents: float = 0.0,
    transposition: int = 0,
) -> Performance:
    """Performance of one or more passes."""
    return Performance(passes, best, tuning_cents, transposition)


def assessed(
    lick: Lick,
    *passes: PerformedPass,
    best: int = 0,
    settings: Settings = assessment.USUAL,
    duration_s: float = 12.0,
    name: str = "take.wav",
    tuning_cents: float = 0.0,
    transposition: int = 0,
    **fields: Any,
) -> Assessment:
    """Assessment of hand-made passes, as if a take had been heard."""
    heard = performance(
        *passes, best=best, tuning_cents=tuning_cents, transposition=transposition
    )
    facts = {"digest": "0" * 64, "sample_rate_hz": 44100, "flags": ()}
    rest = {"written_tempo_bpm": lick.tempo_bpm, "second_opinion": None}
    return Assessment(
        lick=lick,
        recording=RecordingFacts(
            name, duration_s=duration_s, **(facts | fields.pop("facts", {}))
        ),
        settings=settings,
        tuning_cents=tuning_cents,
        transposition=transposition,
        passes=assessment.measure(lick, heard, settings),
        best=best,
        **(rest | fields),
    )
