"""What is to be done: the takes there are, and which of them are not assessed yet."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from assessor import lick as licks
from assessor.assessment import Settings, Tracker
from assessor.errors import LickError, ReviewError
from assessor.measures.clock import Click
from assessor.measures.tolerance import parse_tolerance
from assessor.review import corrections, places
from assessor.review.assignment import AskedLick, Assignment, Player
from assessor.review.books import Books, Planned, open_books
from assessor.review.corrections import Correction
from assessor.review.earlier import read_earlier
from assessor.review.jobs import Job, take_id_of
from assessor.review.matching import Matched, match
from assessor.review.places import HandedIn
from assessor.review.pseudonyms import with_pseudonyms


@dataclass(frozen=True)
class Options:
    """What is made of every take.

    Attributes
    ----------
    report, sound : bool
        Its own report, and whether it can be heard there.
    program : str
        Version; another one assesses every take again.
    """

    report: bool = True
    sound: bool = True
    program: str = ""


def plan(
    books: Books, assignment: Assignment, folder: str, options: Options
) -> list[Planned]:
    """Match the takes of a folder, and keep that as the review's plan.

    Parameters
    ----------
    books : Books
    assignment : Assignment
    folder : str
        Path or URL.
    options : Options

    Raises
    ------
    ReviewError
        When the folder is not there, pseudonyms clash, or an earlier review cannot be
        read.
    """
    for earlier in assignment.earlier:
        read_earlier(earlier)  # now, not when every take was assessed
    books.sweep()
    takes = places.handed_in(folder, without=books.out)
    matched, unmatched = match(assignment, takes)
    players = _players(books, assignment, matched)
    digests = _digests(books, takes)
    planned: dict[str, Planned] = {}
    for one in matched:
        player = players[one.player.name].pseudonym
        planned_take = _planned(one, player, assignment, digests)
        planned.setdefault(planned_take.take_id, planned_take)  # one file twice is one
    _follow(books, assignment, list(planned.values()))
    books.write_plan(
        {
            "title": assignment.title,
            "due": assignment.due and assignment.due.isoformat(),
            "folder": folder if places.is_url(folder) else str(Path(folder).absolute()),
            "licks": [asked_json(one) for one in assignment.licks],
            "players": [player.pseudonym for player in players.values()],
            "takes": [asdict(one) for one in planned.values()],
            "unmatched": [
                {"name": one.take.name, "reason": one.reason} for one in unmatched
            ],
            "earlier": [str(path.absolute()) for path in assignment.earlier],
            "options": asdict(options),
        }
    )
    return list(planned.values())


def _follow(books: Books, assignment: Assignment, planned: Sequence[Planned]) -> None:
    """Let what was said of a take follow it to a new name.

    A player who gets another pseudonym has other names for the same takes; what stands
    under the old ones is deleted.
    """
    if not books.is_planned:
        return
    before = [one["digest"] for one in books.read_plan()["licks"]]
    old = {(one.digest, one.name, before[one.lick]): one for one in books.planned()}
    now = {one.take_id for one in planned}
    names = {}
    for one in planned:
        known = old.get((one.digest, one.name, assignment.licks[one.lick].digest))
        if known is not None and known.take_id not in now:
            names[known.take_id] = one.take_id
            books.forget_answer(known.player)
    corrections.rename(books.corrections, names)
    books.forget(set(names))


def _players(
    books: Books, assignment: Assignment, matched: Sequence[Matched]
) -> dict[str, Player]:
    """Players with their pseudonyms, by name; who has which is kept."""
    found = list(assignment.players)
    found += [one.player for one in matched if one.player not in found]
    unique = list({player.name: player for player in found}.values())
    known = books.read_roster()
    for earlier in assignment.earlier:
        known += open_books(earlier).read_roster()
    named = {player.name: player for player in with_pseudonyms(unique, known)}
    gone = [player for player in books.read_roster() if player.name not in named]
    books.write_roster([*named.values(), *gone])
    return named


def _digests(books: Books, takes: Sequence[HandedIn]) -> dict[str, str]:
    """Digest of every file; those that did not change are not read again."""
    known = {}
    if books.is_planned:
        known = {(p.address, p.stamp): p.digest for p in books.planned() if p.stamp}
    return {
        take.address: known.get((take.address, take.stamp)) or places.digest_of(take)
        for take in takes
    }


def _planned(
    one: Matched, player: str, assignment: Assignment, digests: Mapping[str, str]
) -> Planned:
    take, asked = one.take, one.asked
    digest, number = digests[take.address], assignment.licks.index(asked)
    same = [other.digest for other in assignment.licks[:number]].count(asked.digest)
    return Planned(
        take_id=take_id_of(player, digest, asked.digest, same),
        player=player,
        lick=number,
        name=take.name,
        address=take.address,
        stamp=take.stamp,
        digest=digest,
        at=take.at.isoformat() if take.at else "",
    )


def asked_json(one: AskedLick) -> dict[str, Any]:
    """A lick of a plan, as the plan keeps it."""
    click = one.settings.click
    return {
        "file": str(one.file),
        "digest": one.digest,
        "tempo_bpm": one.settings.tempo_bpm,
        "click_s": None if click is None else click.offset_s,
        "tolerance": one.settings.tolerance.name,
        "tracker": str(one.settings.tracker),
        "match": one.match,
    }


def licks_of(kept: Mapping[str, Any]) -> list[AskedLick]:
    """Licks of a plan, read again.

    Raises
    ------
    ReviewError
        When one is gone, or is another one by now.
    """
    return [_asked_again(one) for one in kept["licks"]]


def _asked_again(one: Mapping[str, Any]) -> AskedLick:
    file, click_s = Path(one["file"]), one["click_s"]
    try:
        lick = licks.read(file)
    except LickError as problem:
        message = f"the lick of this review cannot be read: {problem.message}"
        raise ReviewError(message, str(file)) from problem
    asked = AskedLick(
        lick,
        Settings(
            one["tempo_bpm"],
            None if click_s is None else Click(click_s),
            parse_tolerance(one["tolerance"]),
            Tracker(one["tracker"]),
        ),
        file,
        one["match"],
    )
    if asked.digest != one["digest"]:
        message = "the lick has changed since it was reviewed; review the folder again"
        raise ReviewError(message, str(file))
    return asked


def jobs(books: Books, said: Sequence[Correction] | None = None) -> list[Job]:
    """A job for every take of the plan, with the corrections that hold.

    Parameters
    ----------
    books : Books
    said : sequence of Correction or None
        The log, where it is at hand; None reads it.

    Raises
    ------
    ReviewError
        When the folder or its licks cannot be read.
    """
    kept = books.read_plan()
    asked, options = licks_of(kept), Options(**kept["options"])
    log = corrections.read(books.corrections) if said is None else said
    holding = corrections.holding(log)
    return [
        _job(Planned(**one), asked, options, holding.get(one["take_id"], ()))
        for one in kept["takes"]
    ]


def _job(
    take: Planned,
    asked: Sequence[AskedLick],
    options: Options,
    holding: tuple[Correction, ...],
) -> Job:
    one = asked[take.lick]
    return Job(
        take_id=take.take_id,
        address=take.address,
        shown_name=take.player,  # a suffix might hold a name, too
        lick=one.lick,
        settings=one.settings,
        corrections=holding,
        report=options.report,
        sound=options.sound,
        program=options.program,
    )


def undone(books: Books, every: Sequence[Job]) -> list[Job]:
    """Jobs that have no record yet, or one of another key."""
    keys = {job.take_id: _key_of(books, job.take_id) for job in every}
    return [job for job in every if keys[job.take_id] != job.key]


def _key_of(books: Books, take_id: str) -> str:
    try:
        found = json.loads((books.records / f"{take_id}.json").read_bytes())
        return str(found["key"])
    except (OSError, ValueError, TypeError, KeyError):
        return ""


def moment(text: str) -> datetime | None:
    """Moment as the plan keeps it."""
    return datetime.fromisoformat(text) if text else None
