"""A phrase that is played several times in one take, and which time to write down.

Runs are told by pauses: stretches between longer gaps that hold about the same pitches.
Three or more copies in a row without a pause are runs as well; two are not, since many
licks repeat a bar.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher
from itertools import pairwise

import numpy as np

from assessor.tuning import FloatArray

SHORTEST_PAUSE_S = 1.0
PAUSE_IOIS = 2.0  # times the usual interval
LEAST_SILENCE_S = 0.25
LONG_PAUSE_S = 4.0  # a pause, whatever rings on
FEWEST_NOTES = 4  # of a run
ALIKE = 0.75  # share of pitches in common
COVERED = 0.7  # of all notes, by runs that are alike
BEGUN_NOTES = 3  # of a run that breaks off
COPY_NOTES, FEWEST_COPIES = 8, 3
COPY_ALIKE, COPY_TEMPO = 0.95, 0.06


@dataclass(frozen=True)
class Runs:
    """The runs of a take.

    Attributes
    ----------
    spans : tuple of (int, int)
        First note of each, and one past the last, in order of time.
    typical : int
        Index of the run that is most like the others.
    """

    spans: tuple[tuple[int, int], ...]
    typical: int


def find_runs(midi: Sequence[int], onset_s: FloatArray, offset_s: FloatArray) -> Runs:
    """Find how often a phrase was played; once, where nothing says otherwise.

    Parameters
    ----------
    midi : sequence of int
        Pitches of the notes, at least one.
    onset_s, offset_s : shape=(n,)
        When each began and was heard no more.

    Examples
    --------
    >>> midi = [60, 62, 64, 65, 67] * 2
    >>> onset_s = np.array([0, 0.5, 1, 1.5, 2, 5, 5.5, 6, 6.5, 7])
    >>> find_runs(midi, onset_s, onset_s + 0.5).spans
    ((0, 5), (5, 10))
    >>> find_runs(midi, np.arange(10) * 0.5, np.arange(10) * 0.5 + 0.5).spans
    ((0, 10),)
    """
    silent_s = onset_s[1:] - offset_s[:-1]
    spans = _by_pauses(midi, onset_s, silent_s) or _by_copies(midi, onset_s)
    if not spans:
        return Runs(((0, len(midi)),), 0)
    return Runs(tuple(spans), _typical(midi, spans))


def alike(one: Sequence[int], other: Sequence[int]) -> float:
    """Share of pitches that two runs have in common, in order, 0 to 1."""
    return SequenceMatcher(None, one, other, autojunk=False).ratio()


def _by_pauses(
    midi: Sequence[int], onset_s: FloatArray, silent_s: FloatArray
) -> list[tuple[int, int]]:
    """Stretches between pauses, where most of them are alike.

    A last note that rings until the phrase comes again is no pause: a riff goes round.
    """
    ioi_s = np.diff(onset_s)
    if not len(ioi_s):
        return []
    least_s = max(SHORTEST_PAUSE_S, PAUSE_IOIS * float(np.median(ioi_s)))
    pauses_s = np.where((silent_s >= LEAST_SILENCE_S) & (ioi_s >= least_s), ioi_s, 0.0)
    pauses_s[ioi_s >= LONG_PAUSE_S] = ioi_s[ioi_s >= LONG_PAUSE_S]
    for pause_s in sorted(set(pauses_s[pauses_s > 0].tolist()), reverse=True):
        cuts = [0, *(np.flatnonzero(pauses_s >= pause_s) + 1).tolist(), len(midi)]
        found = _alike_spans(midi, list(pairwise(cuts)))
        if found:
            return found
    return []


def _alike_spans(
    midi: Sequence[int], spans: list[tuple[int, int]]
) -> list[tuple[int, int]]:
    """Those of some stretches that are one phrase, begun ones too; none if few are."""
    whole = max(([t for t in spans if _same(midi, s, t)] for s in spans), key=len)
    found = [s for s in spans if s in whole or any(_begins(midi, s, w) for w in whole)]
    if len(found) < 2:
        return []
    covered = sum(b - a for a, b in found) / len(midi)
    return found if covered >= COVERED else []


def _same(midi: Sequence[int], one: tuple[int, int], other: tuple[int, int]) -> bool:
    """Say whether two stretches are the same phrase."""
    if min(one[1] - one[0], other[1] - other[0]) < FEWEST_NOTES:
        return False
    return alike(midi[slice(*one)], midi[slice(*other)]) >= ALIKE


def _begins(midi: Sequence[int], one: tuple[int, int], whole: tuple[int, int]) -> bool:
    """Say whether a stretch is a phrase that breaks off, or is taken up again."""
    count = one[1] - one[0]
    if not BEGUN_NOTES <= count < whole[1] - whole[0]:
        return False
    return alike(midi[slice(*one)], midi[whole[0] : whole[0] + count]) >= ALIKE


def _by_copies(midi: Sequence[int], onset_s: FloatArray) -> list[tuple[int, int]]:
    """Copies of one phrase in a row, in one tempo."""
    count = len(midi)
    pitch = np.asarray(midi)
    for length in range(COPY_NOTES, count // FEWEST_COPIES + 1):
        if count % length:
            continue
        same = np.mean(pitch[length:] == pitch[:-length])
        took_s = onset_s[length:] - onset_s[:-length]
        steady = np.ptp(took_s) < COPY_TEMPO * np.median(took_s)
        if same >= COPY_ALIKE and steady:
            return [(a, a + length) for a in range(0, count, length)]
    return []


def _typical(midi: Sequence[int], spans: Sequence[tuple[int, int]]) -> int:
    """Run that has most in common with all; the later one of equals."""
    parts = [midi[slice(*span)] for span in spans]
    common = [sum(alike(one, other) for other in parts) for one in parts]
    best = max(common)
    return max(k for k, c in enumerate(common) if c > best - 1e-9)
