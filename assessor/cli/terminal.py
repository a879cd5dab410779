"""What all commands share: printing, writing, waiting, and the words for misuse.

Exit codes of every command: 0 done; 1 only where an option asks for it; 2 wrong use;
3 a file that cannot be used.
"""

from __future__ import annotations

import contextlib
import errno
import math
import os
import re
import shutil
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any, TextIO

import click

from assessor.errors import AssessorError
from assessor.whole_file import write_whole

BAD_FILE = 3
INTERRUPTED = 130  # 128 + SIGINT, as shells have it
PATIENCE_S = 1.0  # what takes longer is announced
PIPE_WIDTH, WIDEST = 80, 120  # columns: not on a terminal, and at most on one
# Control characters but tab, line feed, and the escape that begins a colour
# (ECMA-48: C0, DEL, C1; SGR)
COMMANDS_IN_TEXT = re.compile(
    r"[\x00-\x08\x0b-\x1a\x1c-\x1f\x7f-\x9f]|\x1b(?!\[[\d;]*m)"
)


class Number(click.FloatRange):
    """A number in a range; what is no number lies in none."""

    name = "number"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Convert as the parent does, and refuse NaN, which it lets pass."""
        number = float(super().convert(value, param, ctx))
        if math.isnan(number):
            self.fail(f"{value!r} is no number", param, ctx)
        return number


@contextlib.contextmanager
def bad_files() -> Iterator[None]:
    """End the program with words and code 3 where a file cannot be used."""
    try:
        yield
    except AssessorError as problem:
        click.echo(printable(f"assessor: {problem}"), err=True)
        sys.exit(BAD_FILE)
    except KeyboardInterrupt:
        sys.exit(INTERRUPTED)


@contextlib.contextmanager
def wrong_value(option: str) -> Iterator[None]:
    """End the program with words and code 2 where what an option says has no sense."""
    try:
        yield
    except ValueError as problem:
        raise click.BadParameter(str(problem), param_hint=option) from problem


def wants_colour(stream: TextIO) -> bool:
    """Colour for a terminal, unless the user's environment says no (NO_COLOR)."""
    plain = os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb"
    return stream.isatty() and not plain


def can_hold(stream: TextIO, text: str) -> bool:
    """Say whether a stream's encoding has every character of a text."""
    try:
        text.encode(stream.encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return False
    return True


def printable(text: str) -> str:
    r"""Text in which a title or a name from some file cannot command the terminal.

    >>> printable("a title\x1b]0;\a, \x1b[1mbold\x1b[0m")
    'a title?]0;?, \x1b[1mbold\x1b[0m'
    """
    return COMMANDS_IN_TEXT.sub("?", text)


def show(text: str, *, as_is: bool = False) -> None:
    """Write to standard output; a reader that has gone away is no error.

    Parameters
    ----------
    text : str
    as_is : bool
        For programs to read; else made `printable`.
    """
    try:
        sys.stdout.write(text if as_is else printable(text))
        sys.stdout.flush()
    except BrokenPipeError:
        # the interpreter flushes once more at its end: give it somewhere to go
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def say_words(text: str) -> None:
    """Show words; a question mark for what the terminal's encoding does not have."""
    if not can_hold(sys.stdout, text):
        encoding = sys.stdout.encoding or "ascii"
        text = text.encode(encoding, "replace").decode(encoding)
    show(text)


def width_of_terminal() -> int:
    """Columns to fill."""
    if sys.stdout.isatty():
        return min(shutil.get_terminal_size().columns, WIDEST)
    return PIPE_WIDTH


def wrong_place(file: Path) -> str:
    """Why no file can be written there, and what to do; empty where it can."""
    folder = file.parent
    if file.is_dir():
        return "that is a folder; name a file"
    if not folder.is_dir():
        return f"there is no folder {folder}; make it, or name another"
    if not os.access(folder, os.W_OK):
        return f"nothing may be written to the folder {folder}; name another"
    return ""


def write(file: Path, content: str | bytes) -> None:
    """Write a whole file or none; end the program with words where it cannot be."""
    try:
        write_whole(file, content)
    except OSError as problem:
        full = problem.errno == errno.ENOSPC
        remedy = "make room" if full else wrong_place(file) or "name another place"
        message = f"{file}: cannot be written: {problem.strerror}; {remedy}"
        raise click.UsageError(message) from problem


@contextlib.contextmanager
def patience(what: str) -> Iterator[None]:
    """Tell a person at a terminal that it takes longer, and how long it has taken."""
    if not sys.stderr.isatty():
        yield
        return
    done, start_s = threading.Event(), time.monotonic()

    def tell() -> None:
        while not done.wait(PATIENCE_S):
            seconds = time.monotonic() - start_s
            print(f"\r{what} … {seconds:.0f} s", end="", file=sys.stderr, flush=True)

    teller = threading.Thread(target=tell, daemon=True)
    teller.start()
    try:
        yield
    finally:
        done.set()
        teller.join()
        print("\r\x1b[K", end="", file=sys.stderr, flush=True)
