"""Which player a take is by, and which lick it is of: by folder, or by file name.

A name of a folder is a player's when it is the same; a name of a file, when it holds
the player's words in a row.  Letters' case and what stands between words do not count.
Where nothing fits, or two players do, the take is listed with the reason and assessed
for nobody.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import PurePosixPath

from assessor.review.assignment import AskedLick, Assignment, Player
from assessor.review.places import HandedIn

# What is left out of a file's name to know its player by: "ada-take-2" is by "ada"
_COUNT = re.compile(r"(?:[\W_]*(?:take|pass|try|v|nr|no)?[\W_]*\d+)+$", re.IGNORECASE)


@dataclass(frozen=True)
class Matched:
    """A take that has its player and its lick."""

    take: HandedIn
    player: Player
    asked: AskedLick


@dataclass(frozen=True)
class Unmatched:
    """A file that has not, and why."""

    take: HandedIn
    reason: str


def match(
    assignment: Assignment, takes: Sequence[HandedIn]
) -> tuple[list[Matched], list[Unmatched]]:
    """Give every take its player and its lick.

    Returns
    -------
    (matched, unmatched)
        Each in the order of `takes`.
    """
    players = assignment.players or _whoever(assignment, takes)
    matched, unmatched = [], []
    for take in takes:
        by = [player for player in players if _is_by(player, take.name)]
        of = [asked for asked in assignment.licks if _is_of(asked, take.name)]
        if len(by) == len(of) == 1:
            matched.append(Matched(take, by[0], of[0]))
            continue
        unmatched.append(Unmatched(take, _reason(by, of)))
    return matched, unmatched


def _reason(by: Sequence[Player], of: Sequence[AskedLick]) -> str:
    if not by:
        return "fits no player of the roster"
    if len(by) > 1:
        return f"fits {len(by)} players"
    return "fits no lick's word" if not of else f"fits {len(of)} licks' words"


def words_of(text: str) -> tuple[str, ...]:
    """Words to compare names by.

    >>> words_of("Ada_Example-2")
    ('ada', 'example', '2')
    """
    plain = unicodedata.normalize("NFKC", text).casefold()
    return tuple(re.findall(r"[^\W_]+", plain))


def _holds(words: tuple[str, ...], wanted: tuple[str, ...]) -> bool:
    """Say whether some words stand among others, in a row."""
    span = len(wanted)
    starts = range(len(words) - span + 1)
    return bool(wanted) and any(words[k : k + span] == wanted for k in starts)


def _is_by(player: Player, name: str) -> bool:
    path = PurePosixPath(name)
    folders = [words_of(part) for part in path.parts[:-1]]
    stem = words_of(path.stem)
    wanted = [words_of(text) for text in player.match]
    return any(w in folders or _holds(stem, w) for w in wanted if w)


def _is_of(asked: AskedLick, name: str) -> bool:
    return not asked.match or _holds(words_of(name), words_of(asked.match))


def _whoever(assignment: Assignment, takes: Sequence[HandedIn]) -> list[Player]:
    """A player for every folder, and for every name of a take beside them."""
    found: dict[tuple[str, ...], Player] = {}
    for take in takes:
        name = _player_name(assignment, take.name)
        found.setdefault(words_of(name), Player(name, match=(name,)))
    return _whole(found)


def _player_name(assignment: Assignment, name: str) -> str:
    path = PurePosixPath(name)
    if len(path.parts) > 1:
        return path.parts[0]
    stem = _COUNT.sub("", path.stem)
    for asked in assignment.licks:
        stem = re.sub(re.escape(asked.match), "", stem, flags=re.IGNORECASE)
    return stem.strip(" _-.") or path.stem


def _whole(found: dict[tuple[str, ...], Player]) -> list[Player]:
    return [player for words, player in sorted(found.items()) if words]
