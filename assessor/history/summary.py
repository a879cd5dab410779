"""What is asked of a take over and over, taken from its result file.

Readings are those of the best pass, the one `assessor check` reports; where trouble
sits and which kinds of fault occur is counted over every pass.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, NamedTuple

import msgspec

from assessor import care

Json = dict[str, Any]

# Reading: where it stands in a pass of the result file.
READINGS = {
    "right notes": ("right_share",),
    "timing spread": ("timing", "spread"),
    "click offset": ("timing", "offset"),
    "tempo drift": ("timing", "drift"),
    "swing": ("timing", "swing"),
    "bends": ("pitch", "bend_error"),
    "plain pitch": ("pitch", "plain_error"),
    "slur spread": ("legato", "spread"),
    "slur unevenness": ("legato", "npvi"),
    "slur level": ("legato", "level"),
}
DIGITS = 6
JUDGED = ("right", "wrong", "missed")


class KeptReading(NamedTuple):
    """One reading as it was kept; as `assessor.measures.tolerance.Reading`."""

    value: float
    unit: str
    uncertainty: float
    target: float
    limit: float | None
    judgement: str


class KeptPass(NamedTuple):
    """One pass.

    Attributes
    ----------
    at_s : float
        When it starts in the take.
    complete, inside : bool
        Whole; no headline reading outside its tolerance.
    tempo_bpm : float
        Played, quarter notes a minute at the start of the lick.
    mark : float or None
    """

    at_s: float
    complete: bool
    inside: bool
    tempo_bpm: float
    mark: float | None


class Summary(msgspec.Struct, frozen=True, gc=False):
    """A take in short.

    Attributes
    ----------
    asked_bpm, written_bpm : float
        The tempo it was held against, and that of the lick's file.
    best : int
        Index of the best pass.
    passes : tuple of KeptPass
    readings : dict of str to KeptReading
        Of the best pass, by the names of `READINGS`.
    causes : dict of str to int
        Faults by cause, over every pass.
    reached, faulty : tuple of int
        For each note of the lick, in how many passes it was judged, and in how many
        something was wrong there.
    stretch_s : float
        Longest playing without a break of five minutes.
    tolerance : str
        Name of the limits that it was judged by.
    """

    asked_bpm: float
    written_bpm: float
    best: int
    passes: tuple[KeptPass, ...]
    readings: dict[str, KeptReading]
    causes: dict[str, int]
    reached: tuple[int, ...]
    faulty: tuple[int, ...]
    stretch_s: float
    tolerance: str

    @property
    def best_pass(self) -> KeptPass:
        """The pass with the fewest faults."""
        return self.passes[self.best]

    @property
    def to_click(self) -> bool:
        """Whether it was judged against a click; only then there is an offset."""
        return "click offset" in self.readings

    def to_json(self) -> Json:
        """Value that `json` can write; passes and readings as rows without names.

        Numbers are kept to six digits, finer than any reading is; the result has them
        whole.
        """
        shorter = {
            "passes": [_short(one) for one in self.passes],
            "readings": {name: _short(one) for name, one in self.readings.items()},
        }
        return msgspec.structs.asdict(self) | shorter


def summaries_from(texts: Iterable[str]) -> list[Summary]:
    """Read the JSON of what `to_json` made, of many takes at once."""
    # ten thousand are read four times as fast as by way of lists and dicts
    decoder = msgspec.json.Decoder(Summary)
    return [decoder.decode(text) for text in texts]


def _short(row: Iterable[Any]) -> list[Any]:
    """Row with its numbers to `DIGITS` digits."""
    return [
        float(f"{one:.{DIGITS}g}") if isinstance(one, float) else one for one in row
    ]


def summary_of(result: Json) -> Summary:
    """Summary of a result file.

    Parameters
    ----------
    result : dict
        As `assessor.report.result` makes it.

    Raises
    ------
    KeyError, TypeError
        When it is no result.
    """
    asked_bpm = float(result["lick"]["asked_tempo_bpm"])
    passes, best = result["passes"], result["best_pass"]
    causes: dict[str, int] = {}
    for fault in (fault for one in passes for fault in one["faults"]):
        causes[fault["cause"]] = causes.get(fault["cause"], 0) + 1
    reached, faulty = _by_note(result["lick"]["notes"], passes)
    return Summary(
        asked_bpm=asked_bpm,
        written_bpm=float(result["lick"]["written_tempo_bpm"]),
        best=best,
        passes=tuple(_pass(one, asked_bpm) for one in passes),
        readings=_readings(passes[best]),
        causes=causes,
        reached=reached,
        faulty=faulty,
        stretch_s=care.longest_stretch_s(_played(passes)),
        tolerance=result["settings"]["tolerance"]["name"],
    )


def _readings(found: Json) -> dict[str, KeptReading]:
    readings = {}
    for name, path in READINGS.items():
        value: Any = found
        for key in path:
            value = value[key]
        if value is not None:
            readings[name] = KeptReading(*(value[key] for key in KeptReading._fields))
    return readings


def _pass(found: Json, asked_bpm: float) -> KeptPass:
    onsets_s = [n["onset_s"] for n in found["notes"] if n["onset_s"] is not None]
    tempo = found["timing"]["tempo"]
    return KeptPass(
        at_s=min(onsets_s, default=0.0),
        complete=found["complete"],
        inside=found["inside_tolerance"],
        tempo_bpm=tempo["value"] if tempo else asked_bpm,
        mark=found["mark"],
    )


def _by_note(count: int, passes: list[Json]) -> tuple[tuple[int, ...], tuple[int, ...]]:
    reached, faulty = [0] * count, [0] * count
    for found in passes:
        for note in found["notes"]:
            reached[note["index"]] += note["verdict"] in JUDGED
        for index in {fault["index"] for fault in found["faults"]}:
            faulty[index] += 1
    return tuple(reached), tuple(faulty)


def _played(passes: list[Json]) -> list[tuple[float, float]]:
    return [
        (note["onset_s"], note["offset_s"])
        for found in passes
        for note in (*found["notes"], *found["extra"])
        if note["onset_s"] is not None
    ]
