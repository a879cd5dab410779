"""Events with evidence made by hand: what an ear might have heard of a take."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from assessor.evidence import Candidates
from assessor.kernels import PITCHES
from assessor.onset import Events


@dataclass(frozen=True)
class Heard:
    """One event.

    Attributes
    ----------
    time_s : float
    midi_number : int or None
        Likeliest pitch; None = rather nothing new.
    probability : float
        Of that; the rest is shared by all else.
    nothing : float
        Probability of nothing new, beside a pitch.
    flux, rise_db : float
        A clear attack unless said otherwise.
    """

    time_s: float
    midi_number: int | None
    probability: float = 0.95
    flux: float = 3.0
    rise_db: float = 20.0
    is_step: bool = False
    expected_only: bool = False
    nothing: float = 0.0


def events(heard: Sequence[Heard], tuning_cents: float = 0.0) -> Events:
    """Events of a take, in order of time."""
    heard = sorted(heard, key=lambda h: h.time_s)
    probability = np.empty((len(heard), 1 + len(PITCHES)))
    for row, one in zip(probability, heard, strict=True):
        row[:] = (1 - one.probability - one.nothing) / len(PITCHES)
        row[0] += one.nothing
        column = 0 if one.midi_number is None else 1 + one.midi_number - PITCHES[0]
        row[column] = one.probability
    return Events(
        Candidates(
            np.array([h.time_s for h in heard]),
            np.array([h.is_step for h in heard], np.bool_),
            np.array([0.0 if h.is_step else h.rise_db for h in heard]),
        ),
        np.log(probability),
        np.array([h.flux for h in heard]),
        np.array([h.rise_db for h in heard]),
        np.array([h.expected_only for h in heard], np.bool_),
        tuning_cents,
    )


def played(
    midi_numbers: npt.ArrayLike, times_s: npt.ArrayLike, probability: float = 0.95
) -> list[Heard]:
    """One clear event for each note."""
    return [
        Heard(float(t), int(m), probability)
        for m, t in zip(np.asarray(midi_numbers), np.asarray(times_s), strict=True)
    ]
