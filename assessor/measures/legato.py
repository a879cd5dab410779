"""How even the slurs are: time, loudness, gaps, and how each note was sounded.

A slurred group is a picked note and the slurred notes that follow it (hammer-ons,
pull-offs, slides).

Measured in each group
----------------------
- *intervals* (ms): length of each inter-onset interval minus what is written, at the
  tempo of the pass.
- *spread* (ms): root mean square of these.
- *nPVI*: 100 / (m - 1) times the sum over neighbouring intervals of |a - b| over
  their mean (Grabe & Low 2002, Papers in Laboratory Phonology 7:515-546; Patel &
  Daniele 2003, Cognition 87:B35-B45), each interval first divided by its written
  length: 0 = even as written, whatever the rhythm.  From three notes on.
- *level* (dB): median of the slurred notes minus the picked note before them.
- *overlap* (ms): end of a note minus onset of the next, + overlap, - gap: the key
  overlap time of Repp 1994 and Bresin & Battel 2000; median over the group.

Over the pass: the same over all groups, slurs that were picked instead, picks that
were slurred.

Conventions
-----------
+ longer, + louder.  Notes surely right or wrong count for time, surely right ones for
level and sounding; what is unclear counts nowhere.  A group rushed evenly has an nPVI
of 0 and a large spread: both are told.

Known limits
------------
Ends of notes are known to one step of the contour (10 ms) and levels to about a
decibel.  Notes differ in level from string to string, slurs or not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from assessor.alignment import Verdict
from assessor.lick.fingerboard import slurred_groups
from assessor.lick.notation import SLURRED, Articulation, Lick
from assessor.measures.robust import median_uncertainty, robust_sd
from assessor.measures.tolerance import Limit, Reading, Tolerance
from assessor.pitch import PerformedNote, PerformedPass, PlayedNote, SoundedBy
from assessor.tuning import FloatArray

PICKED = frozenset({Articulation.PICK})

SHORTEST_S = 0.001  # what is less apart is one onset, not two
END_UNCERTAINTY_MS = 10.0
LEVEL_UNCERTAINTY_DB = 1.0


@dataclass(frozen=True)
class SlurredNote:
    """The interval that ends in one slurred note.

    Attributes
    ----------
    index : int
        0-based place of the slurred note in the lick.
    interval : Reading
        Played minus written length in ms, + longer.
    """

    index: int
    interval: Reading


@dataclass(frozen=True)
class SlurredGroup:
    """One picked note and the slurred notes after it; None = too little heard.

    Attributes
    ----------
    indices : tuple of int
        In the lick, the picked note first.
    notes : tuple of SlurredNote
    spread, npvi, level, overlap : Reading or None
    """

    indices: tuple[int, ...]
    notes: tuple[SlurredNote, ...]
    spread: Reading | None
    npvi: Reading | None
    level: Reading | None
    overlap: Reading | None


@dataclass(frozen=True)
class Legato:
    """Everything about the slurs of one pass.

    Attributes
    ----------
    groups : tuple of SlurredGroup
    spread, npvi, level, overlap : Reading or None
        Over all groups; None where the lick has no slurs or too little was heard.
    picked_instead, slurred_instead : tuple of int
        Slurs that were picked, picks that were slurred, by index in the lick.
    """

    groups: tuple[SlurredGroup, ...]
    spread: Reading | None
    npvi: Reading | None
    level: Reading | None
    overlap: Reading | None
    picked_instead: tuple[int, ...]
    slurred_instead: tuple[int, ...]

    @property
    def notes(self) -> tuple[SlurredNote, ...]:
        """The slurred notes of all groups."""
        return tuple(note for group in self.groups for note in group.notes)


def npvi(intervals: FloatArray) -> float:
    """Normalised pairwise variability index of positive intervals, shape=(m,), m >= 2.

    Examples
    --------
    Two to one, and even:

    >>> round(npvi(np.array([2.0, 1.0])), 4), npvi(np.array([0.3, 0.3, 0.3]))
    (66.6667, 0.0)
    """
    before, after = intervals[:-1], intervals[1:]
    return float(200 * np.mean(np.abs(after - before) / (after + before)))


@dataclass(frozen=True)
class _Pair:
    """Two neighbours of a group that were both heard; lengths in seconds."""

    group: int
    index: int
    played_s: float
    written_s: float
    uncertainty_s: float
    overlap_s: float

    @property
    def ratio(self) -> float:
        """Played over written length."""
        return self.played_s / self.written_s


def measure(
    lick: Lick,
    performed: PerformedPass,
    tolerance: Tolerance,
    *,
    seconds_per_written: float,
) -> Legato:
    """Slurs of one pass through a lick.

    Parameters
    ----------
    lick : Lick
    performed : PerformedPass
    tolerance : Tolerance
    seconds_per_written : float
        Played seconds for one written second, as `timing.measure` found it.
    """
    members = slurred_groups(lick)
    expected_s = lick.onsets_s() * seconds_per_written
    pairs = [
        pair
        for k, indices in enumerate(members)
        for pair in _pairs(performed, k, indices, expected_s)
    ]
    levels = [_level_differences(performed, indices) for indices in members]
    groups = tuple(
        SlurredGroup(
            indices,
            tuple(_slurred_note(pair, tolerance) for pair in pairs if pair.group == k),
            *_evenness([pair for pair in pairs if pair.group == k], tolerance),
            level=_level(levels[k], tolerance.limit("level")),
            overlap=_overlap([pair for pair in pairs if pair.group == k]),
        )
        for k, indices in enumerate(members)
    )
    return Legato(
        groups,
        *_evenness(pairs, tolerance),
        level=_level(
            [db for group in levels for db in group], tolerance.limit("level")
        ),
        overlap=_overlap(pairs),
        picked_instead=_sounded(lick, performed, SLURRED, SoundedBy.PICKED),
        slurred_instead=_sounded(lick, performed, PICKED, SoundedBy.SLURRED),
    )


def _sure(note: PerformedNote) -> PlayedNote | None:
    """Played note when it is surely right or surely wrong."""
    return note.played if note.verdict in (Verdict.RIGHT, Verdict.WRONG) else None


def _pairs(
    performed: PerformedPass,
    group: int,
    indices: tuple[int, ...],
    expected_s: FloatArray,
) -> list[_Pair]:
    """Neighbours of one group; `expected_s` are onsets from any start, shape=(n,)."""
    pairs = []
    for index in indices[1:]:
        first = _sure(performed.notes[index - 1])
        second = _sure(performed.notes[index])
        if first is None or second is None:
            continue
        if second.onset_s - first.onset_s < SHORTEST_S:
            continue
        written_s = float(expected_s[index] - expected_s[index - 1])
        pairs.append(
            _Pair(
                group,
                index,
                second.onset_s - first.onset_s,
                written_s,
                float(np.hypot(first.onset_uncertainty_s, second.onset_uncertainty_s)),
                first.offset_s - second.onset_s,
            )
        )
    return pairs


def _slurred_note(pair: _Pair, tolerance: Tolerance) -> SlurredNote:
    longer_ms = 1000 * (pair.played_s - pair.written_s)
    limit = tolerance.limit_ms("slur", pair.written_s)
    known_ms = 1000 * pair.uncertainty_s
    return SlurredNote(pair.index, Reading(longer_ms, "ms", known_ms, limit=limit))


def _evenness(
    pairs: Sequence[_Pair], tolerance: Tolerance
) -> tuple[Reading | None, Reading | None]:
    """Spread and nPVI of the intervals of one group or of all."""
    if not pairs:
        return None, None
    ioi_s = float(np.mean([pair.written_s for pair in pairs]))
    longer_ms = 1000 * np.array([pair.played_s - pair.written_s for pair in pairs])
    known_ms = 1000 * np.array([pair.uncertainty_s for pair in pairs])
    spread = Reading(
        float(np.sqrt(np.mean(longer_ms**2))),
        "ms",
        float(np.linalg.norm(known_ms)) / len(pairs),
        limit=tolerance.limit_ms("slur", ioi_s),
    )
    # neighbours in one group, with nothing missed between them
    neighbours = [
        (a, b)
        for a, b in pairwise(pairs)
        if a.group == b.group and a.index + 1 == b.index
    ]
    if not neighbours:
        return spread, None
    values = [npvi(np.array([a.ratio, b.ratio])) for a, b in neighbours]
    # an interval a of uncertainty u moves |a - b| / mean by about u / a
    known = [
        100 * np.hypot(a.uncertainty_s / a.played_s, b.uncertainty_s / b.played_s)
        for a, b in neighbours
    ]
    uncertainty = float(np.linalg.norm(known)) / len(known)
    limit = tolerance.evenness(ioi_s)
    return spread, Reading(float(np.mean(values)), "nPVI", uncertainty, limit=limit)


def _level_differences(
    performed: PerformedPass, indices: tuple[int, ...]
) -> list[float]:
    """Level of each right slurred note over the picked note of its group, in dB."""
    right = {
        index: performed.notes[index].played
        for index in indices
        if performed.notes[index].verdict == Verdict.RIGHT
    }
    picked = right.pop(indices[0], None)
    if picked is None:
        return []
    return [note.level_db - picked.level_db for note in right.values() if note]


def _level(differences_db: Sequence[float], limit: Limit) -> Reading | None:
    if not differences_db:
        return None
    values = np.array(differences_db)
    sd = max(robust_sd(values), LEVEL_UNCERTAINTY_DB / 1.96)
    known = median_uncertainty(sd, len(values))
    return Reading(float(np.median(values)), "dB", known, limit=limit)


def _overlap(pairs: Sequence[_Pair]) -> Reading | None:
    if not pairs:
        return None
    values_ms = 1000 * np.array([pair.overlap_s for pair in pairs])
    sd = max(robust_sd(values_ms), END_UNCERTAINTY_MS / 1.96)
    known = median_uncertainty(sd, len(values_ms))
    return Reading(float(np.median(values_ms)), "ms", known)


def _sounded(
    lick: Lick,
    performed: PerformedPass,
    written: frozenset[Articulation],
    by: SoundedBy,
) -> tuple[int, ...]:
    """Right notes of some written articulations that were clearly sounded so."""
    return tuple(
        note.index
        for note in performed.notes
        if note.verdict == Verdict.RIGHT
        and note.played is not None
        and note.played.sounded_by == by
        and lick.notes[note.index].articulation in written
    )
