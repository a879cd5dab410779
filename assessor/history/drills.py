"""Takes of drills, brought home to the notes of the lick they are made of."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import tzinfo

from assessor.history.progress import LickProgress, progress_of
from assessor.history.takes import KeptLick, Take
from assessor.lick.notation import Lick


@dataclass(frozen=True)
class DrillProgress:
    """What takes of one drill say of its parent.

    Attributes
    ----------
    form : str
        What is done with the parent; the drill's title where that is not known.
    found : LickProgress
        Of the drill as a lick of its own.
    reached, faulty : mapping of int to int
        By 0-based note of the parent, how often it was judged, and how often something
        was wrong there, over every pass of every take.
    """

    form: str
    found: LickProgress
    reached: Mapping[int, int]
    faulty: Mapping[int, int]


def parents_of(kept: Iterable[KeptLick]) -> dict[str, str]:
    """Title of every lick, by its digest, that some drills are made of."""
    from assessor.history.licks import lick_of  # who names no lick needs no reader

    parents = (lick_of(one.sheet).parent for one in kept if one.sheet)
    return {one.digest: one.title for one in parents if one is not None and one.digest}


def drills_among(parent: str, licks: Mapping[str, Lick]) -> list[str]:
    """Digests of the drills of a lick.

    Parameters
    ----------
    parent : str
        Digest of the lick.
    licks : mapping of str to Lick
        By digest.
    """
    return [
        digest
        for digest, one in licks.items()
        if one.parent is not None and one.parent.digest == parent
    ]


def drills_of(
    parent: str,
    licks: Mapping[str, Lick],
    takes: Iterable[Take],
    zone: tzinfo | None = None,
) -> tuple[DrillProgress, ...]:
    """Progress in every drill of a lick there are takes of, the latest played first.

    Parameters
    ----------
    parent : str
        Digest of the lick.
    licks : mapping of str to Lick
        By digest.
    takes : iterable of Take
        Those of other licks are passed over.
    zone : tzinfo or None
        None is that of the machine.
    """
    drills = set(drills_among(parent, licks))
    ours = progress_of((take for take in takes if take.lick in drills), zone)
    return tuple(_at_home(one, licks[one.lick]) for one in ours)


def _at_home(found: LickProgress, drill: Lick) -> DrillProgress:
    assert drill.parent is not None
    reached: Counter[int] = Counter()
    faulty: Counter[int] = Counter()
    for take in found.takes:
        counts = zip(
            drill.parent.notes, take.summary.reached, take.summary.faulty, strict=True
        )
        for place, judged, wrong in counts:
            reached[place] += judged
            faulty[place] += wrong
    return DrillProgress(drill.parent.form or found.title, found, reached, faulty)
