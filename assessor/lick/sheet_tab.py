"""Tab lines of a lick sheet: from signs with places to frets with all they carry.

A sign may join what a bar line or the end of a system parts, so the signs of one
string are read through the whole sheet before rhythm comes in.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from assessor.errors import LickError
from assessor.lick.notation import Articulation, Bend, BendKind, SlideEdge, Stroke
from assessor.lick.sheet_header import Place, Source
from assessor.lick.sheet_signs import FULL_BEND_CENTS, MAX_FRET, bend_cents, bend_target

_SIGN = re.compile(
    r"""(?P<gap>-+) | (?P<bar>\|+) | \((?P<held>\d{1,3})\) | (?P<note>x\d{0,3}|\d{1,3})
    | (?P<bend>p?b(?:\d{1,3}(?:\.\d+)?)?) | (?P<release>r\d{0,3}) | (?P<vibrato>~+)
    | (?P<ring>=+) | (?P<slide_in>(?://|\\\\)(?=[\dx])) | (?P<slide_out>//|\\\\)
    | (?P<join>[hp/\\])""",
    re.VERBOSE | re.IGNORECASE,
)
_ALLOWED = (
    "allowed in a tab line are - | frets x h p / \\ b pb r ~ = and a tied fret in ( )"
)
MAX_BEND_CENTS = 500.0


@dataclass(frozen=True)
class Sign:
    """One sign of a tab line; `touches` tells that no - or = parts it from the last."""

    kind: str
    text: str
    place: Place
    stop: int
    touches: bool


@dataclass(eq=False)
class Entry:
    """A fret as written, filled in sign by sign as its line is read.

    It stands in columns `start` to `stop`, the latter excluded: its number and the
    sign right before it, over which people write the rhythm as readily.  `join` is
    the sign that leads into it, if any, from the entry `joined_from`.
    """

    string: int
    place: Place
    start: int
    stop: int
    fret: int
    articulation: Articulation = Articulation.PICK
    held: bool = False  # in parentheses: tied to the fret before, not struck again
    bend: Bend | None = None
    vibrato: bool = False
    let_ring: bool = False
    slide_in: SlideEdge | None = None
    slide_out: SlideEdge | None = None
    join: Sign | None = None
    joined_from: Entry | None = None
    touches_join: bool = False
    finger: int | None = None
    stroke: Stroke | None = None

    def covers(self, place: Place) -> bool:
        """Whether a sign in another row, in this column, belongs to this fret."""
        return self.start <= place.column < self.stop


def scan(source: Source, line: int, start: int) -> Iterator[Sign]:
    """Signs of one tab line from column `start` on, without the dashes.

    Raises
    ------
    LickError
        At a sign that no tab line has.
    """
    text = source.lines[line].rstrip()
    at, touches = start, False
    while at < len(text):
        place = Place(line, at)
        found = _SIGN.match(text, at)
        if found is None:
            message = f"found {text[at]!r}; {_ALLOWED}"
            raise source.error(message, place)
        kind = str(found.lastgroup)
        at = found.end()
        if kind != "gap":
            yield Sign(kind, found[kind].lower(), place, at, touches)
        touches = kind not in ("gap", "bar", "ring")


class StringReader:
    """Makes entries of the signs of one string."""

    def __init__(self, source: Source, string: int) -> None:
        self._source = source
        self._string = string
        self._entries: list[Entry] = []
        self._last: Entry | None = None  # the last fret struck
        self._join: Sign | None = None  # waits for the fret it leads into
        self._slide_in: Sign | None = None  # likewise

    def read(self, signs: Iterable[Sign]) -> list[Entry]:
        """Entries of a string, in order, from its signs in the whole sheet.

        Raises
        ------
        LickError
            At a sign that does not belong to a fret, or says what cannot be.
        """
        steps = {
            "note": self._note,
            "held": self._held,
            "bend": self._bend,
            "release": self._release,
            "vibrato": self._vibrato,
            "ring": self._ring,
            "slide_in": self._slide_from_nowhere,
            "slide_out": self._slide_to_nowhere,
            "join": self._start_join,
        }
        for sign in signs:
            if sign.kind != "bar":
                steps[sign.kind](sign)
        if self._join is not None:
            self._leave_open(self._join)
        return self._entries

    def _error(self, sign: Sign, complaint: str) -> LickError:
        """Error at a sign, named first."""
        return self._source.error(f"`{sign.text}` {complaint}", sign.place)

    def _struck(self, sign: Sign, *, apart: bool = False) -> Entry:
        """Fret that `sign` follows, touching it unless `apart`."""
        if self._last is None or self._join is not None:
            raise self._error(sign, "belongs after a fret on this string")
        if not apart and not sign.touches:
            raise self._error(sign, "touches no fret; put it right after its fret")
        return self._last

    def _note(self, sign: Sign) -> None:
        """Start a new entry, led into by the sign that waits."""
        dead = sign.text.startswith("x")
        before = (self._join if sign.touches else None) or self._slide_in
        start = sign.place.column if before is None else before.place.column
        entry = Entry(
            string=self._string,
            place=sign.place,
            start=start,
            stop=sign.stop,
            fret=int(sign.text.removeprefix("x") or 0),
            articulation=Articulation.DEAD if dead else Articulation.PICK,
            slide_in=None if self._slide_in is None else slide_in(self._slide_in),
            join=self._join,
            joined_from=self._last,
            touches_join=sign.touches,
        )
        if entry.fret > MAX_FRET:
            message = (
                f"is beyond fret {MAX_FRET}, where the longest necks end; "
                "put a dash between two frets"
            )
            raise self._error(sign, message)
        if sign.touches and self._join is None and self._slide_in is None:
            raise self._error(sign, "touches the fret before it; put a dash between")
        self._entries.append(entry)
        self._last, self._join, self._slide_in = entry, None, None

    def _held(self, sign: Sign) -> None:
        """Note that a tied fret is repeated in parentheses."""
        last = self._struck(sign, apart=True)
        same = {str(last.fret)}
        if last.bend is not None:
            same.add(bend_target(last.fret, last.bend.target_cents))
        if sign.text not in same:
            message = f"in parentheses holds the fret before it, which is {last.fret}"
            raise self._error(sign, message)
        start = sign.place.column
        entry = Entry(
            self._string, sign.place, start, sign.stop, fret=last.fret, held=True
        )
        self._entries.append(entry)

    def _bend(self, sign: Sign) -> None:
        """Bend the last fret, up to the fret it is to sound like."""
        last = self._struck(sign)
        if last.articulation is Articulation.DEAD or last.bend is not None:
            raise self._error(sign, "follows a fret that is dead or bent already")
        kind = BendKind.PREBEND if sign.text.startswith("p") else BendKind.BEND
        target = sign.text.lstrip("pb")
        cents = bend_cents(last.fret, target) if target else FULL_BEND_CENTS
        if not 0 < cents <= MAX_BEND_CENTS:
            message = (
                f"bends fret {last.fret} by {cents:g} cents; after the b stands the "
                "fret it is to sound like, up to 5 frets higher"
            )
            raise self._error(sign, message)
        last.bend = Bend(kind, cents)

    def _release(self, sign: Sign) -> None:
        """Let the last bend down again."""
        last = self._struck(sign, apart=True)
        released = {
            BendKind.BEND: BendKind.BEND_RELEASE,
            BendKind.PREBEND: BendKind.PREBEND_RELEASE,
        }
        if last.bend is None or last.bend.kind not in released:
            raise self._error(sign, "releases no bend on this string")
        if sign.text[1:] not in ("", str(last.fret)):
            message = f"releases to another fret than the bent one; write r{last.fret}"
            raise self._error(sign, message)
        last.bend = Bend(released[last.bend.kind], last.bend.target_cents)

    def _vibrato(self, sign: Sign) -> None:
        """Give the last fret vibrato."""
        last = self._struck(sign)
        if last.articulation is Articulation.DEAD:
            raise self._error(sign, "follows a dead note, which has no pitch")
        last.vibrato = True

    def _ring(self, sign: Sign) -> None:
        """Let the last fret ring."""
        self._struck(sign).let_ring = True

    def _slide_from_nowhere(self, sign: Sign) -> None:
        """Remember the slide that leads into the next fret."""
        if sign.touches or self._join is not None:
            message = (
                "is a slide from nowhere or to nowhere; put a dash on one side of it, "
                "or write one sign for a slide between two frets"
            )
            raise self._error(sign, message)
        self._slide_in = sign

    def _slide_to_nowhere(self, sign: Sign) -> None:
        """Let the last fret slide away."""
        self._struck(sign).slide_out = slide_out(sign)

    def _start_join(self, sign: Sign) -> None:
        """Let a sign wait for the fret it leads into."""
        if self._join is not None:
            raise self._error(sign, f"follows `{self._join.text}` with no fret between")
        self._join = sign

    def _leave_open(self, sign: Sign) -> None:
        """Settle the sign that still waits at the end of the sheet."""
        if sign.text in "hp" or not sign.touches or self._last is None:
            raise self._error(sign, "leads to no fret on this string")
        self._last.slide_out = slide_out(sign)


def slide_in(sign: Sign) -> SlideEdge:
    """Slide from nowhere that one or two slashes say."""
    return SlideEdge.FROM_BELOW if sign.text.startswith("/") else SlideEdge.FROM_ABOVE


def slide_out(sign: Sign) -> SlideEdge:
    """Slide to nowhere that one or two slashes say."""
    return SlideEdge.UP if sign.text.startswith("/") else SlideEdge.DOWN
