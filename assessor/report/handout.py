"""A hand-out: a teacher's words in Markdown, with licks between them, numbered.

A lick is put in as a picture that stands alone, ``![its title](NAME.lick)``, with its
file as seen from the text's folder; in quotes behind the name may stand a tempo and
what it is played over: ``![](NAME.lick "60 bpm over Am7")``.  Markdown is CommonMark
with tables and struck-out words; HTML in it is text like any other, and a link leads to
the web, to a mail address or to ``#lick-2``, else it is only its words.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import unquote

from assessor import lick as licks
from assessor.demo.over import parse_over
from assessor.errors import HandoutError, LickError
from assessor.lick.notation import Lick

if TYPE_CHECKING:
    from markdown_it import MarkdownIt
    from markdown_it.token import Token

MOST_BYTES = 2**20  # 300 pages of words
SLOWEST_BPM, FASTEST_BPM = 20.0, 400.0
DEEPEST = 6  # levels of headings
LONGEST_LINK = 2000  # characters; common programs and typst take more
MOST_NESTED = 20  # signs in signs; a list in a list is 2 more

_MANNER = re.compile(
    r"\s*(?:(?P<bpm>\d+(?:\.\d+)?)\s*bpm)?\s*(?:over\s(?P<over>.+))?", re.IGNORECASE
)
_WEB = re.compile(r"(?:https?://|mailto:)", re.IGNORECASE)
_NUMBERED = re.compile(r"#lick-([1-9]\d{0,3})")
_HOW = "write ![](NAME.lick) on a line of its own, with an empty line above and below"


@dataclass(frozen=True)
class Words:
    """A stretch of text.

    Attributes
    ----------
    tokens : tuple of Token
        As markdown-it has them, of whole blocks.
    """

    tokens: tuple[Token, ...]


@dataclass(frozen=True)
class NumberedLick:
    """A lick in its place.

    Attributes
    ----------
    number : int
        From 1, in the order of the text.
    level : int
        Of its heading, one below the heading it stands under; 2 to 6.
    lick : Lick
        With the title and the tempo that the text gives it.
    over_midi : tuple of tuple of int
        What it is played over, as `assessor.demo.Manner` has it.
    """

    number: int
    level: int
    lick: Lick
    over_midi: tuple[tuple[int, ...], ...] = ()

    @property
    def heading(self) -> str:
        """Number and title."""
        return f"{self.number}. {self.lick.title or 'Lick'}"


@dataclass(frozen=True)
class Handout:
    """A text with its licks.

    Attributes
    ----------
    title : str
        The first heading of the first level, else the name of the file.
    titled : bool
        The title is among the words.
    parts : tuple of Words or NumberedLick
        In the order of the text.
    """

    title: str
    titled: bool
    parts: tuple[Words | NumberedLick, ...]

    @property
    def licks(self) -> tuple[NumberedLick, ...]:
        """The licks alone."""
        return tuple(part for part in self.parts if isinstance(part, NumberedLick))


def markdown() -> MarkdownIt:
    """Reader of the Markdown that a hand-out is written in."""
    from markdown_it import MarkdownIt

    rules = ["table", "strikethrough"]
    # what lies deeper than allowed would be left out without a word: see `_refuse_deep`
    options = {"html": False, "maxNesting": 4 * MOST_NESTED}
    return MarkdownIt("commonmark", options).enable(rules)


def read(path: str | Path) -> Handout:
    """Read a text and every lick that is put into it.

    Parameters
    ----------
    path : str or Path
        A text in Markdown, UTF-8.

    Returns
    -------
    Handout

    Raises
    ------
    HandoutError
        When there is no such text, it is none, it has no lick in it, or a lick in it
        cannot be read; with the line where there is one.
    """
    file = Path(path)
    tokens = markdown().parse(_text(file))
    _refuse_deep(tokens, file)
    parts = tuple(_parts(tokens, file))
    title = _title(tokens)
    made = Handout(title or file.stem, bool(title), parts)
    if not made.licks:
        message = f"no lick is put into this text; {_HOW}"
        raise HandoutError(message, str(file))
    _mend_links(tokens, len(made.licks))
    return made


def _text(file: Path) -> str:
    """Content of a file that is there, is text and not too long."""
    if os.path.isdir(file):  # unlike Path.is_dir, quiet about impossible names
        message = "this is a folder; name the text in it"
        raise HandoutError(message, str(file))
    try:
        content = file.read_bytes()
    except FileNotFoundError as problem:
        message = "there is no such file; check the name"
        raise HandoutError(message, str(file)) from problem
    except (OSError, ValueError) as problem:
        reason = getattr(problem, "strerror", None) or str(problem)
        message = f"the file cannot be opened: {reason}"
        raise HandoutError(message, str(file)) from problem
    if len(content) > MOST_BYTES:
        message = f"{len(content)} bytes of text, more than {MOST_BYTES}; split it"
        raise HandoutError(message, str(file))
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as problem:
        line = content[: problem.start].count(b"\n") + 1
        message = (
            f"byte 0x{content[problem.start]:02x} is no UTF-8 text; save it as UTF-8"
        )
        raise HandoutError(message, str(file), line) from problem


def _refuse_deep(tokens: Sequence[Token], file: Path) -> None:
    """Refuse lists in lists in lists, and so on, that no paper has room for."""
    for token in tokens:
        deepest = max(
            (
                token.level,
                *(token.level + child.level for child in token.children or []),
            )
        )
        if deepest > MOST_NESTED:
            message = (
                f"nested {deepest} deep, more than {MOST_NESTED}; write it flatter"
            )
            raise HandoutError(message, str(file), _line(token))


def _parts(tokens: Sequence[Token], file: Path) -> Iterator[Words | NumberedLick]:
    """Words and licks, in turn."""
    stretch: list[Token] = []
    level = number = 0
    at = 0
    while at < len(tokens):
        token = tokens[at]
        if token.type == "heading_open" and token.level == 0:
            level = int(token.tag[1:])
        picture = _picture_alone(tokens[at : at + 3])
        if picture is None:
            _refuse_pictures(token, file)
            stretch.append(token)
            at += 1
            continue
        if stretch:
            yield Words(tuple(stretch))
            stretch = []
        number += 1
        asked, over_midi = _lick(picture, file, _line(tokens[at]))
        below = min(max(level, 1) + 1, DEEPEST)
        yield NumberedLick(number, below, asked, over_midi)
        at += 3
    if stretch:
        yield Words(tuple(stretch))


def _picture_alone(three: Sequence[Token]) -> Token | None:
    """Picture that is a whole paragraph of the text itself, else None."""
    if len(three) < 3 or three[0].type != "paragraph_open" or three[0].level:
        return None
    inside = three[1].children or []
    return inside[0] if [t.type for t in inside] == ["image"] else None


def _refuse_pictures(token: Token, file: Path) -> None:
    """Refuse a picture among other words."""
    if any(child.type == "image" for child in token.children or []):
        message = f"a picture among words; a lick stands alone: {_HOW}"
        raise HandoutError(message, str(file), _line(token))


def _line(token: Token) -> int | None:
    """Line where a block begins."""
    return None if token.map is None else token.map[0] + 1


def _lick(
    picture: Token, file: Path, line: int | None
) -> tuple[Lick, tuple[tuple[int, ...], ...]]:
    """Lick that a picture stands for, and what it is played over."""
    name = unquote(str(picture.attrs.get("src", "")))
    try:
        asked = licks.read(file.parent / name)
        tempo_bpm, over_midi = _manner(str(picture.attrs.get("title", "")))
    except (LickError, ValueError) as problem:
        raise HandoutError(str(problem), str(file), line) from problem
    title = plain_text(picture.children or []).strip()
    if title:
        asked = replace(asked, title=title)
    return asked if tempo_bpm is None else asked.at_tempo(tempo_bpm), over_midi


def _manner(words: str) -> tuple[float | None, tuple[tuple[int, ...], ...]]:
    """Tempo, or None, and what is held, from what stands in quotes."""
    found = _MANNER.fullmatch(words)
    tempo_bpm = float(found["bpm"]) if found and found["bpm"] else None
    allowed = tempo_bpm is None or SLOWEST_BPM <= tempo_bpm <= FASTEST_BPM
    if found is None or not allowed:
        message = (
            f'in quotes behind a lick stands how it is played, such as "60 bpm" (from '
            f'{SLOWEST_BPM:g} to {FASTEST_BPM:g}) or "60 bpm over Am7", not {words!r}'
        )
        raise ValueError(message)
    return tempo_bpm, parse_over(found["over"]) if found["over"] else ()


def plain_text(tokens: Sequence[Token]) -> str:
    """Words of inline tokens, without their signs."""
    out = []
    for token in tokens:
        breaks = token.type in ("softbreak", "hardbreak")
        inside = plain_text(token.children) if token.children else token.content
        out.append(" " if breaks else inside)
    return "".join(out)


def _title(tokens: Sequence[Token]) -> str:
    """Words of the first heading of the first level, or nothing."""
    for before, token in pairwise(tokens):
        if before.type == "heading_open" and before.tag == "h1" and before.level == 0:
            return plain_text(token.children or []).strip()
    return ""


def _mend_links(tokens: Sequence[Token], count: int) -> None:
    """Leave of links that lead nowhere, once the hand-out is sent, only the words."""
    for token in tokens:
        opened: list[bool] = []
        for child in token.children or []:
            if child.type == "link_open":
                leads = _leads_somewhere(str(child.attrs.get("href", "")), count)
                opened.append(leads)
                child.hidden = not leads
                child.attrSet("rel", "noreferrer noopener")
            elif child.type == "link_close":
                child.hidden = not opened.pop()


def _leads_somewhere(address: str, count: int) -> bool:
    """Whether a reader can follow a link."""
    numbered = _NUMBERED.fullmatch(address)
    if numbered is not None:
        return int(numbered[1]) <= count
    return len(address) <= LONGEST_LINK and _WEB.match(address) is not None
