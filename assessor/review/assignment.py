"""What was asked of whom: licks, tempo, the day it is due, and the roster.

An assignment is a TOML file::

    title = "Week 3"
    due = 2026-11-20            # or 2026-11-20T18:00:00, the teacher's clock
    tolerance = "usual"
    earlier = ["../week-2"]     # folders of earlier reviews

    [[licks]]
    file = "triplets.lick"      # as seen from this file
    tempo_bpm = 80
    match = "triplets"          # word in a take's name; needed for several licks

    [[players]]
    name = "Ada Example"
    pseudonym = "Heron"         # else one is given, and stays
    match = ["ada", "a.example"]  # else the name

Without a ``[[players]]`` table every folder, or every name of a take, is a player.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, time
from pathlib import Path
from typing import Any

from assessor import lick as licks
from assessor.assessment import Settings
from assessor.errors import ReviewError
from assessor.lick.digest import digest_of
from assessor.lick.notation import Lick
from assessor.measures.clock import Click
from assessor.measures.tolerance import parse_tolerance

SLOWEST_BPM, FASTEST_BPM = 20.0, 400.0
LATEST = time(23, 59, 59)

KEYS = {"title", "due", "tempo_bpm", "tolerance", "click_s", "earlier", "licks"}
KEYS |= {"players"}
LICK_KEYS = {"file", "tempo_bpm", "match"}
PLAYER_KEYS = {"name", "pseudonym", "match"}


@dataclass(frozen=True)
class AskedLick:
    """One lick of an assignment.

    Attributes
    ----------
    lick : Lick
        As written.
    settings : Settings
        How a take of it is assessed.
    file : Path
        Where it was read from.
    match : str
        Word in the name of a take of it; empty = any.
    """

    lick: Lick
    settings: Settings
    file: Path
    match: str = ""

    @property
    def digest(self) -> str:
        """What makes two licks the same."""
        return digest_of(self.lick)

    @property
    def tempo_bpm(self) -> float:
        """What is asked for."""
        return self.settings.tempo_bpm or self.lick.tempo_bpm


@dataclass(frozen=True)
class Player:
    """Somebody who hands in takes.

    Attributes
    ----------
    name : str
        Stays on this machine.
    pseudonym : str
        What stands in every page and table; empty until one is given.
    match : tuple of str
        Names of folders, or words in names of files.
    """

    name: str
    pseudonym: str = ""
    match: tuple[str, ...] = ()


@dataclass(frozen=True)
class Assignment:
    """What was asked of whom.

    Attributes
    ----------
    title : str
    licks : tuple of AskedLick
        At least one.
    players : tuple of Player
        Empty = whoever hands in.
    due : datetime or None
        With its time zone.
    earlier : tuple of Path
        Folders of earlier reviews, the oldest first.
    """

    title: str
    licks: tuple[AskedLick, ...]
    players: tuple[Player, ...] = ()
    due: datetime | None = None
    earlier: tuple[Path, ...] = ()


def of_lick(path: str | Path, settings: Settings) -> Assignment:
    """One lick and nothing else.

    Raises
    ------
    LickError
        When it cannot be read.
    """
    file = Path(path)
    lick = licks.read(file)
    asked = AskedLick(lick, settings, file.absolute())
    return Assignment(lick.title or file.stem, (asked,))


def read(path: str | Path) -> Assignment:
    """Read an assignment file.

    Raises
    ------
    ReviewError
        When it cannot be read, or says something that has no meaning.
    LickError
        When one of its licks cannot be read.
    """
    file = Path(path)
    try:
        found = tomllib.loads(file.read_text(encoding="utf-8-sig"))
    except OSError as problem:
        message = f"cannot be read: {problem.strerror}"
        raise ReviewError(message, str(path)) from problem
    except UnicodeDecodeError as problem:
        message = "is no UTF-8 text; save the assignment as plain text"
        raise ReviewError(message, str(path)) from problem
    except tomllib.TOMLDecodeError as problem:
        message = f"is no TOML: {problem}"
        raise ReviewError(message, str(path)) from problem
    try:
        return _assignment(found, file)
    except ValueError as problem:
        raise ReviewError(str(problem), str(path)) from problem


def _assignment(found: Mapping[str, Any], file: Path) -> Assignment:
    """Assignment from TOML's values; `ValueError` says what is wrong."""
    _refuse_unknown(found, KEYS, "an assignment")
    asked = _tables(found, "licks")
    if not asked:
        message = "asks for no lick; write [[licks]] and below it file = '...'"
        raise ValueError(message)
    players = tuple(_player(table) for table in _tables(found, "players"))
    _refuse_twice([p.name for p in players], "the name")
    # some file systems take Heron.html and heron.html for one
    pseudonyms = [p.pseudonym.casefold() for p in players if p.pseudonym]
    _refuse_twice(pseudonyms, "the pseudonym")
    read_licks = tuple(_lick(table, found, file.parent) for table in asked)
    if len(read_licks) > 1 and not all(one.match for one in read_licks):
        message = (
            "asks for several licks; give each a match, a word in its takes' names"
        )
        raise ValueError(message)
    earlier = tuple(file.parent / name for name in _texts(found, "earlier"))
    title = _text(found, "title") or file.stem
    return Assignment(title, read_licks, players, _due(found), earlier)


def _refuse_unknown(found: Mapping[str, Any], known: set[str], what: str) -> None:
    unknown = sorted(set(found) - known)
    if unknown:
        message = f"{what} has no {unknown[0]!r}; it has {', '.join(sorted(known))}"
        raise ValueError(message)


def _refuse_twice(names: list[str], what: str) -> None:
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        message = f"{what} {twice[0]!r} stands twice in the roster; tell the two apart"
        raise ValueError(message)


def _tables(found: Mapping[str, Any], key: str) -> list[Mapping[str, Any]]:
    tables = found.get(key, [])
    if not isinstance(tables, list) or not all(isinstance(t, dict) for t in tables):
        message = f"{key}: write each as [[{key}]]"
        raise ValueError(message)
    return tables


def _text(found: Mapping[str, Any], key: str) -> str:
    text = found.get(key, "")
    if not isinstance(text, str):
        message = f"{key} = {text!r}: is no text in quotes"
        raise ValueError(message)
    return text.strip()


def _texts(found: Mapping[str, Any], key: str) -> tuple[str, ...]:
    """One text, or a list of them."""
    texts = found.get(key, [])
    texts = [texts] if isinstance(texts, str) else texts
    if not isinstance(texts, list) or not all(isinstance(t, str) for t in texts):
        message = f"{key} = {texts!r}: is no text, and no list of texts"
        raise ValueError(message)
    return tuple(text for text in texts if text.strip())


def _number(
    found: Mapping[str, Any], key: str, low: float, high: float
) -> float | None:
    number = found.get(key)
    if number is None:
        return None
    fits = isinstance(number, int | float) and not isinstance(number, bool)
    if not fits or not low <= number <= high:
        message = f"{key} = {number!r}: is no number from {low:g} to {high:g}"
        raise ValueError(message)
    return float(number)


def _due(found: Mapping[str, Any]) -> datetime | None:
    """Moment something is due; a day alone ends at midnight."""
    due = found.get("due")
    if due is None:
        return None
    if isinstance(due, date) and not isinstance(due, datetime):
        due = datetime.combine(due, LATEST)
    if not isinstance(due, datetime):
        message = f"due = {due!r}: is no day such as 2026-11-20, without quotes"
        raise ValueError(message)
    return due if due.tzinfo else due.astimezone()


def _player(table: Mapping[str, Any]) -> Player:
    _refuse_unknown(table, PLAYER_KEYS, "a player")
    name, pseudonym = _text(table, "name"), _text(table, "pseudonym")
    if not (name or pseudonym):
        message = "a player has neither name nor pseudonym"
        raise ValueError(message)
    match = _texts(table, "match") or (name or pseudonym,)
    return Player(name or pseudonym, pseudonym, match)


def _lick(
    table: Mapping[str, Any], found: Mapping[str, Any], folder: Path
) -> AskedLick:
    _refuse_unknown(table, LICK_KEYS, "a lick")
    file = _text(table, "file")
    if not file:
        message = "a lick has no file"
        raise ValueError(message)
    tempo_bpm = _number(table, "tempo_bpm", SLOWEST_BPM, FASTEST_BPM)
    tempo_bpm = tempo_bpm or _number(found, "tempo_bpm", SLOWEST_BPM, FASTEST_BPM)
    click_s = _number(found, "click_s", -3600, 3600)
    settings = Settings(
        tempo_bpm,
        None if click_s is None else Click(click_s),
        parse_tolerance(_text(found, "tolerance") or "usual"),
    )
    path = (folder / file).absolute()
    return AskedLick(licks.read(path), settings, path, _text(table, "match"))
