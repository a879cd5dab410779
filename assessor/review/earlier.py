"""What an earlier review of the same class came to."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from assessor.review.books import open_books
from assessor.review.finding import Known


@dataclass(frozen=True)
class Earlier:
    """What an earlier review of the same class came to.

    Attributes
    ----------
    title : str
    counted : mapping of (pseudonym, lick digest) to (mark, readings)
    """

    title: str
    counted: Mapping[tuple[str, str], tuple[float | None, Mapping[str, Known]]]

    def mark_of(self, player: str) -> float | None:
        """Mean of a player's marks; None when there is none."""
        marks = [
            mark
            for (who, _), (mark, _) in self.counted.items()
            if who == player and mark is not None
        ]
        return sum(marks) / len(marks) if marks else None


def read_earlier(folder: Path) -> Earlier:
    """Read what counted in the review of a folder.

    Raises
    ------
    ReviewError
        When it is none, or was never finished.
    """
    kept = open_books(folder).read_counted()
    return Earlier(
        kept["title"],
        {
            (one["player"], one["lick"]): (
                one["mark"],
                {name: Known(**known) for name, known in one["readings"].items()},
            )
            for one in kept["counted"]
        },
    )
