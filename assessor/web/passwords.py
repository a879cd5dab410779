"""Passwords: argon2 hashes, and patience with whoever tries many."""

from __future__ import annotations

import secrets
import time
from collections import OrderedDict, deque
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache

from argon2 import PasswordHasher
from argon2.exceptions import Argon2Error, InvalidHashError

SHORTEST, LONGEST = 10, 200
WINDOW_S = 900.0
MOST_KEYS = 10_000
# No l, 1, O or 0, which are taken for each other
LETTERS = "abcdefghijkmnpqrstuvwxyz23456789"


@cache
def _hasher() -> PasswordHasher:
    """RFC 9106's second recommended choice, which argon2-cffi has by default."""
    return PasswordHasher()


@cache
def _nobodys() -> str:
    """Hash of a password that nobody has: an unknown name takes as long as a known."""
    return hashed(secrets.token_hex(16))


def hashed(password: str) -> str:
    """What is kept of a password."""
    return _hasher().hash(password)


def fits(kept: str | None, password: str) -> bool:
    """Say whether a password is the one that was kept; None = of nobody.

    >>> kept = hashed("a long enough one")
    >>> fits(kept, "a long enough one"), fits(kept, "another"), fits(None, "another")
    (True, False, False)
    """
    try:
        right = _hasher().verify(kept or _nobodys(), password)
    except (Argon2Error, InvalidHashError):
        return False
    return right and kept is not None


def why_not(password: str) -> str:
    """Why a password cannot be taken; empty when it can.

    >>> why_not("short")
    'a password has 10 to 200 characters'
    >>> why_not("a long enough one")
    ''
    """
    if SHORTEST <= len(password) <= LONGEST:
        return ""
    return f"a password has {SHORTEST} to {LONGEST} characters"


def invented() -> str:
    """A password to hand out: 12 letters by chance, 60 bits.

    >>> len(invented())
    14
    """
    letters = [secrets.choice(LETTERS) for _ in range(12)]
    return "-".join("".join(letters[k : k + 4]) for k in (0, 4, 8))


@dataclass
class Patience:
    """How often it may be tried in a while, by name and by address.

    Attributes
    ----------
    most : int
        Failures within `WINDOW_S`; then it is waited until the first is so old.
    clock : callable
        Seconds.
    """

    most: int
    clock: Callable[[], float] = time.monotonic
    _failed: OrderedDict[str, deque[float]] = field(default_factory=OrderedDict)

    def wait_s(self, key: str) -> float:
        """Seconds until it may be tried again; 0 = now.

        >>> now_s = [0.0]
        >>> patience = Patience(2, lambda: now_s[0])
        >>> patience.failed("anna"); patience.failed("anna")
        >>> patience.wait_s("anna"), patience.wait_s("ben")
        (900.0, 0.0)
        >>> now_s[0] = 901.0
        >>> patience.wait_s("anna")
        0.0
        """
        times, now_s = self._failed.get(key, deque()), self.clock()
        while times and now_s - times[0] > WINDOW_S:
            times.popleft()
        return WINDOW_S - (now_s - times[0]) if len(times) >= self.most else 0.0

    def failed(self, key: str) -> None:
        """Remember a failure; the oldest keys make room."""
        self._failed.setdefault(key, deque(maxlen=self.most)).append(self.clock())
        self._failed.move_to_end(key)
        while len(self._failed) > MOST_KEYS:
            self._failed.popitem(last=False)

    def fine(self, key: str) -> None:
        """Forget the failures of a key."""
        self._failed.pop(key, None)

    def forgive(self, key: str) -> None:
        """Take the last failure back; those before it stay.

        >>> patience = Patience(2, lambda: 0.0)
        >>> patience.failed("here"); patience.failed("here"); patience.forgive("here")
        >>> patience.wait_s("here")
        0.0
        >>> patience.failed("here"); patience.wait_s("here")
        900.0
        """
        if self._failed.get(key):
            self._failed[key].pop()
