"""Passwords: argon2 hashes, and patience with whoever tries many."""

from __future__ import annotations

import hmac
import re
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
# Of one name: from one address or one known browser, and from all that are not known
MOST_BY_BROWSER, MOST_BY_NAME = 8, 24
MOST_BY_ADDRESS = 60
MOST_KEYS = 10_000
# No l, 1, O or 0, which are taken for each other
LETTERS = "abcdefghijkmnpqrstuvwxyz23456789"
MOST_MARKS = 20  # accounts of one browser: 1.8 kB of the 4 kB that a cookie may have
_MARK = re.compile(r"[\w-]{22}\.[0-9a-f]{64}", re.ASCII)


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
    """How often it may be tried in a while, by whatever key.

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


@dataclass(frozen=True)
class Trier:
    """Who tries to sign in.

    Attributes
    ----------
    name, address : str
    browser : str
        Number of the mark of a browser that has signed in by this name; else empty.
    """

    name: str
    address: str
    browser: str = ""


@dataclass
class Tries:
    """Failures to sign in, counted so that a stranger's keep no known browser out.

    Known browsers are counted each by itself, all others by name and address: see
    OWASP, "Slow Down Online Guessing Attacks with Device Cookies".

    Attributes
    ----------
    clock : callable
        Seconds.
    """

    clock: Callable[[], float] = time.monotonic

    def __post_init__(self) -> None:
        """Begin with none."""
        self.by_browser = Patience(MOST_BY_BROWSER, self.clock)
        self.by_pair = Patience(MOST_BY_BROWSER, self.clock)
        self.by_name = Patience(MOST_BY_NAME, self.clock)
        self.by_address = Patience(MOST_BY_ADDRESS, self.clock)

    def wait_s(self, who: Trier) -> float:
        """Seconds until they may try again; 0 = now.

        >>> tries, stranger = Tries(lambda: 0.0), Trier("anna", "192.0.2.1")
        >>> for _ in range(8): tries.failed(stranger)
        >>> tries.wait_s(stranger), tries.wait_s(Trier("anna", "192.0.2.1", "hers"))
        (900.0, 0.0)
        """
        return max(patience.wait_s(key) for patience, key in self._counts(who))

    def failed(self, who: Trier) -> None:
        """Remember a failure."""
        for patience, key in self._counts(who):
            patience.failed(key)

    def fine(self, who: Trier) -> None:
        """Forget who was let in; of what others share, this one try is taken back."""
        (own, own_key), *shared = self._counts(who)
        own.fine(own_key)
        for patience, key in shared:
            patience.forgive(key)

    def _counts(self, who: Trier) -> list[tuple[Patience, str]]:
        if who.browser:
            return [(self.by_browser, who.browser)]
        return [
            (self.by_pair, f"{who.address} {who.name}"),
            (self.by_name, who.name),
            (self.by_address, who.address),
        ]


class Marks:
    """What a browser holds of the accounts that have signed in there (device cookie).

    A mark is a random number and its code, made with what is kept of the account's
    password as the key: that holds random bits of its own (the salt) and never leaves
    the server. So another password, or no account, makes it worthless. It names
    nobody to who reads it.

    Parameters
    ----------
    text : str
        As the browser sent it; what is no mark is left out.
    """

    def __init__(self, text: str) -> None:
        self._marks = _MARK.findall(text)[:MOST_MARKS]

    def number(self, name: str, kept: str | None) -> str:
        """Number of an account's mark; empty when there is none that holds.

        >>> marks = Marks(Marks("").text_with("anna", "hash"))
        >>> len(marks.number("anna", "hash"))
        22
        >>> marks.number("anna", "another"), marks.number("ben", "hash")
        ('', '')
        """
        held = (mark for mark in self._marks if kept and _holds(mark, name, kept))
        return next(held, "").partition(".")[0]

    def text_with(self, name: str, kept: str) -> str:
        """Text with a new mark of an account first; the oldest make room."""
        number = secrets.token_urlsafe(16)
        others = [mark for mark in self._marks if not _holds(mark, name, kept)]
        new = f"{number}.{_code(number, name, kept)}"
        return ":".join([new, *others][:MOST_MARKS])


def _holds(mark: str, name: str, kept: str) -> bool:
    number, _, code = mark.partition(".")
    return hmac.compare_digest(code, _code(number, name, kept))


def _code(number: str, name: str, kept: str) -> str:
    said = f"known browser {number} {name}"
    return hmac.new(kept.encode(), said.encode(), "sha256").hexdigest()
