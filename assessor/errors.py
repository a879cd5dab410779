"""What can be wrong with a file, drawn as one tree.

::

    AssessorError
      LickError               a lick file: path, line, column or measure
        UnsupportedNotation   well formed, but more than a single guitar line
      FileError               any other file: path
        RecordingError        a sound file: measured value, limit
        TranscriptionError    a take that no lick can be written from
        ResultError           a result file, or one of a version not known
        ReviewError           an assignment, or a folder of a review
      AlignmentError          a take that is not this lick
      HandoutError            a text for a hand-out: path, line
      HistoryError            a store of takes: its place, schema found and known
      CaptureError            a sound device: what it is called

Bad files raise these; wrong calls raise `ValueError` or `TypeError`.  A message
says, in this order: what is wrong, what was found against what is allowed with
its unit, where, and what to do.
"""

from __future__ import annotations

from dataclasses import dataclass


class AssessorError(Exception):
    """The root of everything a user's file can do wrong."""


@dataclass(eq=False)  # exceptions compare by identity
class LickError(AssessorError):
    """A lick that cannot be read.

    Attributes
    ----------
    message : str
        What is wrong, found against allowed, and the remedy.
    path : str
        The file as the user named it.
    line, column : int or None
        1-based place in a text file.
    measure : str or None
        Measure number as printed, for notation files.
    excerpt : str or None
        The offending line itself.
    """

    message: str
    path: str = ""
    line: int | None = None
    column: int | None = None
    measure: str | None = None
    excerpt: str | None = None

    def __str__(self) -> str:
        """Message, place, and the line with a caret under the column."""
        where = self.path
        if self.line is not None:
            where += f", line {self.line}"
        if self.column is not None:
            where += f", column {self.column}"
        if self.measure is not None:
            where += f", measure {self.measure}"
        text = f"{where}: {self.message}" if where else self.message
        if self.excerpt is not None:
            text += f"\n    {self.excerpt}"
            if self.column is not None:
                text += "\n    " + " " * (self.column - 1) + "^"
        return text


class UnsupportedNotation(LickError):
    """A well-formed lick file that holds more than a single guitar line."""


@dataclass(eq=False)
class FileError(AssessorError):
    """A file, or a folder, that cannot be used.

    Attributes
    ----------
    message : str
        What is wrong, and the remedy.
    path : str
        As the user named it.
    """

    message: str
    path: str = ""

    def __str__(self) -> str:
        """Path and message."""
        return f"{self.path}: {self.message}" if self.path else self.message


@dataclass(eq=False)
class RecordingError(FileError):
    """A sound file that cannot be assessed.

    Attributes
    ----------
    measured, limit : float or None
        The value found and the limit it broke, in `unit`.
    unit : str
        Unit of both.
    """

    measured: float | None = None
    limit: float | None = None
    unit: str = ""


@dataclass(eq=False)
class AlignmentError(AssessorError):
    """A take in which the lick was not found.

    Attributes
    ----------
    message : str
        What is wrong, and the remedy.
    expected_notes, heard_notes, matched_notes : int
        Notes in the lick, notes heard in the take, and how many of the lick's
        notes the best run through it matched.
    """

    message: str
    expected_notes: int = 0
    heard_notes: int = 0
    matched_notes: int = 0

    def __str__(self) -> str:
        """Return the message alone."""
        return self.message


class TranscriptionError(FileError):
    """A take that no lick can be written from."""


class ResultError(FileError):
    """A file that is no result of an assessment, or of a version not known."""


@dataclass(eq=False)
class HandoutError(AssessorError):
    """A text that cannot be made into a hand-out.

    Attributes
    ----------
    message : str
        What is wrong, and the remedy.
    path : str
    line : int or None
        1-based.
    """

    message: str
    path: str = ""
    line: int | None = None

    def __str__(self) -> str:
        """Path, line and message."""
        where = self.path if self.line is None else f"{self.path}, line {self.line}"
        return f"{where}: {self.message}"


class ReviewError(FileError):
    """An assignment, or a folder of a review, that cannot be used."""


@dataclass(eq=False)
class HistoryError(AssessorError):
    """A store of takes, or a file exported from one, that cannot be used.

    Attributes
    ----------
    message : str
        What is wrong, and the remedy.
    place : str
        Path or URL of the store, without its password.
    found, known : str
        Schema version of the store, and the newest this program knows; empty where
        versions are not what is wrong.
    """

    message: str
    place: str = ""
    found: str = ""
    known: str = ""

    def __str__(self) -> str:
        """Place and message."""
        return f"{self.place}: {self.message}" if self.place else self.message


@dataclass(eq=False)
class CaptureError(AssessorError):
    """A sound device that cannot be recorded from or played to.

    Attributes
    ----------
    message : str
        What is wrong, and the remedy.
    device : str
        Its name; empty where none is meant.
    """

    message: str
    device: str = ""

    def __str__(self) -> str:
        """Device and message."""
        return f"{self.device}: {self.message}" if self.device else self.message
