"""A class against its last assignment: who got better, as far as that is sure."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass

from assessor.measures.tolerance import DECIMALS
from assessor.review.books import Books
from assessor.review.earlier import Earlier
from assessor.review.finding import Finding, Known
from assessor.review.summary import ClassReview

OTHER_TEMPO = 0.05  # a step of the metronome
# Readings that tell whether a take is better than an earlier one of the same lick
COMPARED = ("notes", "spread", "drift", "swing", "bends", "pitch", "slur spread")


@dataclass(frozen=True)
class Changed:
    """A player against the last assignment.

    Attributes
    ----------
    player : str
    same_lick : bool
        And played at about the same tempo.
    better, worse : tuple of str
        Readings that changed by more than both uncertainties; empty for other licks.
    mark_before, mark_now : float or None
    """

    player: str
    same_lick: bool
    better: tuple[str, ...]
    worse: tuple[str, ...]
    mark_before: float | None
    mark_now: float | None

    @property
    def improved(self) -> bool:
        """More readings better than worse; of other licks nothing is claimed."""
        return len(self.better) > len(self.worse)


def changes(review: ClassReview) -> list[Changed]:
    """Players who were there last time, against it: who improved first."""
    if not review.earlier:
        return []
    before = review.earlier[-1]
    found = []
    for player in review.players:
        now = _counted_now(review, player)
        if now and before.mark_of(player) is not None:
            found.append(_changed(player, now, before))
    return sorted(
        found,
        key=lambda one: (len(one.worse) - len(one.better), one.player),
    )


def _counted_now(review: ClassReview, player: str) -> dict[str, Finding]:
    """What counts for a player now, by the lick's digest."""
    found = {}
    for number, asked in enumerate(review.licks):
        takes = review.takes_of(player, number)
        if takes and takes[0].shown is not None:
            found[asked.digest] = takes[0].shown
    return found


def _changed(player: str, now: Mapping[str, Finding], before: Earlier) -> Changed:
    better, worse, same = [], [], False
    for digest, finding in now.items():
        _, known = before.counted.get((player, digest), (None, {}))
        if not known or _other_tempo(known, finding):
            continue
        same = True
        for name in COMPARED:
            change = _nearer(known.get(name), finding.readings.get(name))
            better += [name] * (change > 0)
            worse += [name] * (change < 0)
    marks = [one.mark for one in now.values() if one.mark is not None]
    mark_now = sum(marks) / len(marks) if marks else None
    return Changed(
        player, same, tuple(better), tuple(worse), before.mark_of(player), mark_now
    )


def _other_tempo(before: Mapping[str, Known], now: Finding) -> bool:
    """Slower is easier: takes at different tempi are not held against each other."""
    known, tempo_bpm = before.get("tempo"), now.tempo_bpm
    if known is None or tempo_bpm is None:
        return False
    slow, fast = sorted((known.value, tempo_bpm))
    return fast > (1 + OTHER_TEMPO) * slow


def _nearer(before: Known | None, now: Known | None) -> int:
    """Whether a reading lies nearer to what was asked, beyond both uncertainties."""
    if before is None or now is None or before.unit != now.unit:
        return 0
    if before.judgement == now.judgement == "inside":
        return 0
    known = math.hypot(before.uncertainty, now.uncertainty)
    if round(abs(before.off - now.off) - known, DECIMALS) <= 0:
        return 0
    return 1 if now.off < before.off else -1


def write_counted(books: Books, review: ClassReview) -> None:
    """Keep what counted, for the next assignment to be held against."""
    counted = [
        {
            "player": player,
            "lick": digest,
            "mark": finding.mark,
            "readings": {name: asdict(one) for name, one in finding.readings.items()},
        }
        for player in review.players
        for digest, finding in _counted_now(review, player).items()
    ]
    books.write_counted({"title": review.title, "counted": counted})
