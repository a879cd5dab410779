"""Which player a take is by, and which lick it is of: by folder, or by file name.

A name of a folder is a player's when it is the same; a name of a file, when it holds
the player's words in a row, and not only as a part of another player's.  Letters' case
and what stands between words do not count.  Where nothing fits, or two players do, the
take is listed with the reason and assessed for nobody.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from pathlib import PurePosixPath

from assessor.review.assignment import AskedLick, Assignment, Player
from assessor.review.places import HandedIn

# Words before the number of a take: "ada-take-2" and "ada v3" are by "ada".  What is
# written in one with a name is part of it: "s1234" and "s1235" may be two players.
COUNT_WORDS = ("take", "pass", "try", "v", "nr", "no")
_COUNT = re.compile(rf"(?:{'|'.join(COUNT_WORDS)})?\d+")

Span = tuple[int, int]


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
    roster = [
        (player, [words_of(text) for text in player.match])
        for player in assignment.players
    ]
    whoever: dict[tuple[str, ...], Player] = {}
    matched, unmatched = [], []
    for take in takes:
        if roster:
            by = _players_of(roster, take.name)
        else:
            name = _player_name(assignment.licks, take.name)
            by = [whoever.setdefault(words_of(name) or (name,), Player(name))]
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
    return tuple(plain[start:end] for start, end in _words_in(plain))


def _words_in(text: str) -> list[Span]:
    """Where words stand: letters and digits with the marks above and below them."""
    spans = []
    for is_word, signs in groupby(enumerate(text), lambda one: _is_of_word(one[1])):
        places = [place for place, _ in signs]
        if is_word:
            spans.append((places[0], places[-1] + 1))
    return spans


def _is_of_word(sign: str) -> bool:
    return sign.isalnum() or unicodedata.category(sign).startswith("M")


def _held(words: Sequence[str], wanted: Sequence[str]) -> Iterator[Span]:
    """Where some words stand among others, in a row."""
    span = len(wanted)
    for start in range(len(words) - span + 1) if span else ():
        if tuple(words[start : start + span]) == tuple(wanted):
            yield start, start + span


# ------------------------------------------------------------------ with a roster


def _players_of(
    roster: Sequence[tuple[Player, list[tuple[str, ...]]]], name: str
) -> list[Player]:
    """Whom a take may be by: "ann marie" is Ann Marie's, where there is an Ann, too."""
    path = PurePosixPath(name)
    folders = [words_of(part) for part in path.parts[:-1]]
    stem = words_of(path.stem)
    held = [[span for one in mine for span in _held(stem, one)] for _, mine in roster]
    every = [span for spans in held for span in spans]
    return [
        player
        for (player, mine), spans in zip(roster, held, strict=True)
        if any(one in folders for one in mine if one)
        or any(not _is_part(span, every) for span in spans)
    ]


def _is_part(span: Span, of: Sequence[Span]) -> bool:
    """Say whether words are only some of those that fit another name."""
    return any(a <= span[0] and span[1] <= b and (a, b) != span for a, b in of)


def _is_of(asked: AskedLick, name: str) -> bool:
    return not asked.match or any(_held(words_of(name), words_of(asked.match)))


# --------------------------------------------------------------- without a roster


def _player_name(licks: Sequence[AskedLick], name: str) -> str:
    """Name of the outermost folder, or of the file without lick and number."""
    path = PurePosixPath(name)
    if len(path.parts) > 1:
        return path.parts[0]
    stem = path.stem
    for asked in licks:
        stem = _without(stem, words_of(asked.match))
    spans = _words_in(stem)
    words = [stem[start:end].casefold() for start, end in spans]
    while words and _COUNT.fullmatch(words[-1]):
        words.pop()
        if words and words[-1] in COUNT_WORDS:
            words.pop()
    return stem[spans[0][0] : spans[len(words) - 1][1]] if words else path.stem


def _without(stem: str, words: tuple[str, ...]) -> str:
    """Name of a file without a lick's word."""
    spans = _words_in(stem)
    plain = ["".join(words_of(stem[start:end])) for start, end in spans]
    for first, end in _held(plain, words):
        return stem[: spans[first][0]] + stem[spans[end - 1][1] :]
    return stem
