"""Where in a lick a class has trouble, and with what."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from assessor.figures.picture import Picture, Table, canvas
from assessor.figures.svg import element, words
from assessor.figures.tab import FONTS, TabPicture, systems
from assessor.lick.notation import Lick

# The colours of the two sides: early and flat, late and sharp
SIDES = {"early": "low", "flat": "low", "late": "high", "sharp": "high"}
KINDS = ("missed", "wrong", "early", "late", "flat", "sharp", "uneven", "extra")
ROW_PT, GAP_PT, LABEL_PT, TEXT_PT = 12.0, 16.0, 44.0, 9.5
LARGEST_PT = 9.5  # a square where everybody has it


def class_heat(
    lick: Lick,
    counts: Sequence[Mapping[str, int]],
    played: Sequence[int],
    width: float,
) -> Picture:
    """A row for each kind of fault under the tab, a square for who has it.

    Parameters
    ----------
    lick : Lick
    counts : shape=(notes,)
        Players by fault, for each note; faults are those of `KINDS`.
    played : shape=(notes,)
        Players who reached it.
    width : float
        Of the picture, in points.
    """
    kinds = _kinds(counts)
    parts, y = [], 0.0
    for tab in systems(lick, width - LABEL_PT):
        parts.append(element("g", tab.svg, transform=f"translate({LABEL_PT} {y:.1f})"))
        rows = [*_rows(tab, kinds, counts, played)]
        top = y + tab.height + 8
        parts.append(element("g", *rows, transform=f"translate(0 {top:.1f})"))
        y = top + ROW_PT * len(kinds) + GAP_PT
    title = f"{lick.title}: where the class has trouble"
    svg = canvas([element("g", *parts, font_family=FONTS)], width + 2, y, title)
    return Picture(svg, title, _table(kinds, counts, played))


def _kinds(counts: Sequence[Mapping[str, int]]) -> list[str]:
    """Every kind there is, always in the same order."""
    there = {kind for one in counts for kind in one}
    return [kind for kind in KINDS if kind in there]


def _rows(
    tab: TabPicture,
    kinds: Sequence[str],
    counts: Sequence[Mapping[str, int]],
    played: Sequence[int],
) -> Iterator[str]:
    for number, kind in enumerate(kinds):
        y = ROW_PT * (number + 0.5)
        yield words(kind, 0, y + 3, TEXT_PT, class_=SIDES.get(kind, "quiet"))
        for index in tab.notes:
            x = LABEL_PT + tab.x_of_note(index)
            count = counts[index].get(kind, 0)
            if not count:
                yield element("circle", cx=x, cy=y, r=0.8, class_="quiet")
                continue
            side = LARGEST_PT * (count / max(played[index], 1)) ** 0.5
            box = {"width": side, "height": side, "class_": SIDES.get(kind, "strong")}
            yield element("rect", x=x - side / 2, y=y - side / 2, **box)


def _table(
    kinds: Sequence[str], counts: Sequence[Mapping[str, int]], played: Sequence[int]
) -> Table:
    rows = tuple(
        (str(k + 1), str(played[k]), *(str(counts[k].get(kind, "")) for kind in kinds))
        for k in range(len(counts))
    )
    return Table(("Note", "Players", *kinds), rows)
