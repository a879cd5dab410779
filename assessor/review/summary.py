"""A class as it stands: who handed in what, where it is hard, who has the same trouble.

Counted for a player is the take with the best mark among those handed in on time; when
all are late, among those.  Everything counts as the teacher corrected it.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from pathlib import Path

from assessor.errors import ReviewError
from assessor.review import corrections
from assessor.review.assignment import AskedLick
from assessor.review.books import Books, Planned, Record, open_books
from assessor.review.corrections import Correction
from assessor.review.earlier import Earlier, read_earlier
from assessor.review.finding import Finding
from assessor.review.planning import licks_of, moment

LEAST_DOUBT = 0.5  # verdicts to be expected wrong; less is not worth an ear
FAULTS = ("missed", "wrong", "early", "late", "flat", "sharp", "uneven", "extra")


@dataclass(frozen=True)
class Take:
    """One take of the class.

    Attributes
    ----------
    planned : Planned
    record : Record or None
        None = not assessed yet.
    corrections : tuple of Correction
        That hold.
    late : bool
        Handed in after it was due.
    twins : tuple of str
        Pseudonyms of others who handed in the very same file.
    """

    planned: Planned
    record: Record | None
    corrections: tuple[Correction, ...]
    late: bool
    twins: tuple[str, ...]

    @property
    def take_id(self) -> str:
        """Its name in this review."""
        return self.planned.take_id

    @property
    def player(self) -> str:
        """Pseudonym."""
        return self.planned.player

    @property
    def shown(self) -> Finding | None:
        """What was found, with the teacher's corrections."""
        return None if self.record is None else self.record.shown

    @property
    def found(self) -> Finding | None:
        """What the tool found."""
        return None if self.record is None else self.record.found

    @property
    def doubt(self) -> float:
        """Verdicts to be expected wrong; without end for a take that was refused."""
        if self.record is None:
            return 0.0
        return math.inf if self.shown is None else self.shown.doubt


@dataclass(frozen=True)
class HardNote:
    """What happened at one note of a lick, over all players.

    Attributes
    ----------
    index : int
    played : int
        Players who reached it, and of whom it is known.
    counts : mapping of str to int
        Players by fault: missed, wrong, early, late, flat, sharp, uneven, extra.
    bad : int
        Players with any of these.
    """

    index: int
    played: int
    counts: Mapping[str, int]
    bad: int

    @property
    def share(self) -> float | None:
        """Of the players who reached it; None when nobody did."""
        return self.bad / self.played if self.played else None


@dataclass(frozen=True)
class Group:
    """Players who should work on the same thing first.

    Attributes
    ----------
    cause : str
    players : tuple of str
        At least two.
    place : str
        Where it was worst for most of them; empty where each has another place.
    """

    cause: str
    players: tuple[str, ...]
    place: str


@dataclass(frozen=True)
class ClassReview:
    """A class as it stands.

    Attributes
    ----------
    title : str
    due : datetime or None
    licks : tuple of AskedLick
    players : tuple of str
        Pseudonyms, sorted.
    names : mapping of str to str
        Names by pseudonym: for the teacher's eyes.
    takes : tuple of Take
    unmatched : tuple of (str, str)
        File and reason.
    earlier : tuple of Earlier
        The oldest first.
    log : tuple of Correction
        Everything the teacher ever said here.
    reports : bool
        Whether takes have reports of their own.
    """

    title: str
    due: datetime | None
    licks: tuple[AskedLick, ...]
    players: tuple[str, ...]
    names: Mapping[str, str]
    takes: tuple[Take, ...]
    unmatched: tuple[tuple[str, str], ...]
    earlier: tuple[Earlier, ...]
    log: tuple[Correction, ...]
    reports: bool = True

    def take(self, take_id: str) -> Take:
        """One take.

        Raises
        ------
        ReviewError
            When there is none of that name; the beginning is enough.
        """
        found = [take for take in self.takes if take.take_id.startswith(take_id)]
        if len(found) != 1 or not take_id:
            message = f"{take_id!r} fits {len(found) or 'no'} takes of this review"
            raise ReviewError(message)
        return found[0]

    def takes_of(self, player: str, lick: int) -> list[Take]:
        """Takes of a player of one lick, the one that counts first."""
        found = [
            take
            for take in self._by_player.get(player, ())
            if take.planned.lick == lick
        ]
        return sorted(found, key=_rank)

    @cached_property
    def _by_player(self) -> Mapping[str, list[Take]]:
        by: dict[str, list[Take]] = {}
        for take in self.takes:
            by.setdefault(take.player, []).append(take)
        return by

    def counted(self, lick: int) -> Iterator[Take]:
        """The take that counts of every player who handed in one."""
        for player in self.players:
            found = self.takes_of(player, lick)
            if found:
                yield found[0]


def _rank(take: Take) -> tuple[bool, bool, float, str]:
    mark = take.shown.mark if take.shown else None
    return (take.shown is None, take.late, -(mark or 0.0), take.planned.name)


def read_class(out: str | Path | Books) -> ClassReview:
    """Read a review's folder.

    Raises
    ------
    ReviewError
        When it is none, or its licks are gone.
    """
    books = out if isinstance(out, Books) else open_books(out)
    kept = books.read_plan()
    log = corrections.read(books.corrections)
    due = moment(kept["due"] or "")
    planned = [Planned(**one) for one in kept["takes"]]
    players = sorted({*kept["players"], *(one.player for one in planned)})
    roster = {player.pseudonym: player.name for player in books.read_roster()}
    return ClassReview(
        title=kept["title"],
        due=due,
        licks=tuple(licks_of(kept)),
        players=tuple(players),
        names={player: roster.get(player, "") for player in players},
        takes=tuple(_takes(books, planned, due, log)),
        unmatched=tuple((one["name"], one["reason"]) for one in kept["unmatched"]),
        earlier=tuple(read_earlier(Path(path)) for path in kept["earlier"]),
        log=tuple(log),
        reports=kept["options"]["report"],
    )


def _takes(
    books: Books,
    planned: Sequence[Planned],
    due: datetime | None,
    log: Sequence[Correction],
) -> Iterator[Take]:
    holding = corrections.holding(log)
    by_digest: dict[str, set[str]] = {}
    for one in planned:
        by_digest.setdefault(one.digest, set()).add(one.player)
    for one in planned:
        at = moment(one.at)
        yield Take(
            one,
            books.read_record(one.take_id),
            holding.get(one.take_id, ()),
            due is not None and at is not None and at > due,
            tuple(sorted(by_digest[one.digest] - {one.player})),
        )


# ------------------------------------------------------------------ the class


def hard_notes(review: ClassReview, lick: int) -> list[HardNote]:
    """What happened at every note of a lick."""
    found = [take.shown for take in review.counted(lick) if take.shown is not None]
    notes = []
    for index in range(len(review.licks[lick].lick)):
        heard = [one.notes[index] for one in found if index < len(one.notes)]
        known = [note for note in heard if note.verdict != "unsure"]
        counts = Counter(fault for note in known for fault in note.faults)
        bad = sum(bool(note.faults) for note in known)
        ordered = {name: counts[name] for name in FAULTS if counts[name]}
        notes.append(HardNote(index, len(known), ordered, bad))
    return notes


def groups(review: ClassReview, lick: int) -> list[Group]:
    """Players with the same trouble, the largest group first."""
    by_cause: dict[str, list[Take]] = {}
    for take in review.counted(lick):
        if take.shown and take.shown.cause:
            by_cause.setdefault(take.shown.cause, []).append(take)
    found = []
    for cause, takes in by_cause.items():
        if len(takes) < 2:
            continue
        places = Counter(take.shown.place for take in takes if take.shown)
        place, count = places.most_common(1)[0]
        players = tuple(take.player for take in takes)
        found.append(Group(cause, players, place if count > 1 else ""))
    return sorted(found, key=lambda group: (-len(group.players), group.cause))


def doubtful(review: ClassReview) -> list[Take]:
    """Takes that need a person's ears, the most doubtful first.

    Also those that were refused; not those a teacher listened to since.
    """
    found = [
        take
        for take in review.takes
        if take.record is not None
        and take.doubt >= LEAST_DOUBT
        and not take.corrections
    ]
    return sorted(found, key=lambda take: (-take.doubt, take.player, take.take_id))


def missing(review: ClassReview, lick: int) -> list[str]:
    """Players who handed in nothing of a lick."""
    return [player for player in review.players if not review.takes_of(player, lick)]
