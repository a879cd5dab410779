"""Results of a class put into a history, by pseudonym."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from assessor.review.books import Books
    from assessor.review.summary import ClassReview


def keep_all(found: ClassReview, books: Books, store_text: str) -> str:
    """Keep the result of every take; a line on how many.

    The path of a take is not kept: it may hold a name.

    Raises
    ------
    HistoryError
        When the store refuses.
    """
    from assessor.history import takes
    from assessor.history.store import open_store

    now, count = datetime.now(UTC), 0
    with open_store(store_text) as store:
        for take in found.takes:
            file = books.out / "takes" / f"{take.take_id}.json"
            if take.shown is None or not file.exists():
                continue
            asked = found.licks[take.planned.lick]
            at = take.planned.at
            what = takes.ToKeep(
                result=json.loads(file.read_bytes()),
                lick=asked.lick,
                lick_file=str(asked.file),
                take_file=f"review {take.take_id}",
                recorded_at=datetime.fromisoformat(at) if at else now,
                player=take.player,
                device="",
                a_level_dbfs=None,
                copy=None,
            )
            takes.keep(store, what, now)
            count += 1
        place = str(store.place)
    return f"Kept    {count} results in {place}\n"
