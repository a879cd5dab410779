"""What players are called in everything that is shown."""

from __future__ import annotations

import hashlib
import re
import secrets
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

from assessor.errors import ReviewError
from assessor.review.assignment import Player

LONGEST_NAME = 64  # of a pseudonym as a file's name; file systems end at 255 bytes


def with_pseudonyms(players: Sequence[Player], known: Sequence[Player]) -> list[Player]:
    """Players with pseudonyms: their own, the one they had, or a new one.

    New ones are ``P`` and a number that says nothing of the name or its place in the
    alphabet.

    Raises
    ------
    ReviewError
        When two players would have one pseudonym.
    """
    had = {player.name: player.pseudonym for player in known}
    given = [replace(p, pseudonym=p.pseudonym or had.get(p.name, "")) for p in players]
    taken = {player.pseudonym for player in given} | set(had.values())
    named = []
    for player in given:
        if not player.pseudonym:
            player = replace(player, pseudonym=_new_pseudonym(taken, len(players)))
            taken.add(player.pseudonym)
        named.append(player)
    # some file systems take Heron.html and heron.html for one
    counts = Counter(player.pseudonym.casefold() for player in named)
    twice = sorted(p.pseudonym for p in named if counts[p.pseudonym.casefold()] > 1)
    if twice:
        message = f"two players have the pseudonym {twice[0]!r}; give each their own"
        raise ReviewError(message)
    return named


def _new_pseudonym(taken: set[str], players: int) -> str:
    """One of ten times as many numbers as there are players."""
    digits = len(str(10 * max(players, 10) - 1))
    while True:
        name = f"P{secrets.randbelow(10**digits):0{digits}d}"
        if name not in taken:
            return name


def file_stem(pseudonym: str) -> str:
    """Pseudonym as a file's name, without its ending.

    >>> file_stem("P12"), file_stem("../a b")
    ('P12', '.._a b-2c2c')
    """
    plain = re.sub(r"[^\w .-]", "_", pseudonym).strip()[:LONGEST_NAME]
    if plain == pseudonym and not plain.startswith("."):
        return plain
    digest = hashlib.sha256(pseudonym.encode()).hexdigest()[:4]
    return f"{plain}-{digest}"
