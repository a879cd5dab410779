"""Single keys from a terminal, without waiting for them."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Iterator
from typing import Protocol

ENTER = ("\r", "\n")


class Keys(Protocol):
    """Where keys come from."""

    @property
    def there(self) -> bool:
        """True where somebody can press one."""

    def pressed(self) -> str:
        """Key that was pressed since the last call; empty when none was."""


class NoKeys:
    """Nobody is there to press one: input is no terminal."""

    there = False

    def pressed(self) -> str:
        """Never any."""
        return ""


@contextlib.contextmanager
def keys() -> Iterator[Keys]:
    """Take single keys while inside, where standard input is a terminal."""
    if not sys.stdin.isatty():
        yield NoKeys()
        return
    try:
        import termios
        import tty
    except ImportError:
        yield _WindowsKeys()
        return
    number = sys.stdin.fileno()
    before = termios.tcgetattr(number)
    try:
        tty.setcbreak(number)
        yield _PosixKeys(number)
    finally:
        termios.tcsetattr(number, termios.TCSADRAIN, before)


class _PosixKeys:
    """Keys of a terminal that gives them one by one."""

    there = True

    def __init__(self, number: int) -> None:
        self._number = number

    def pressed(self) -> str:
        import os
        import select

        if not select.select([self._number], [], [], 0)[0]:
            return ""
        # an empty read is a terminal that has gone away
        return os.read(self._number, 1).decode(errors="replace") or "q"


class _WindowsKeys:
    """Keys of a Windows console."""

    there = True

    def pressed(self) -> str:
        import msvcrt  # there only on Windows, where the checker does not look

        if sys.platform != "win32" or not msvcrt.kbhit():
            return ""
        return msvcrt.getwch()
