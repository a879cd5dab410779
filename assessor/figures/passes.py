"""All passes of a take at once: what became of each note, and how readings changed."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from math import floor, log10

from assessor.alignment import Verdict
from assessor.assessment import Assessment, PassAssessment
from assessor.figures.beats import places_along
from assessor.figures.picture import (
    Gallery,
    Picture,
    Table,
    canvas,
    followed,
    signed,
    told,
    tone,
    triangle,
)
from assessor.figures.svg import element, path, words
from assessor.figures.tab import FONTS, TabPicture, systems
from assessor.measures.tolerance import Judgement, Reading

ROW_PT, THIN_ROW_PT, MANY = 11.0, 6.0, 30
GAP_PT, TEXT_SIZE = 22.0, 8.0
WIDTH_PT, HEIGHT_PT = 250.0, 96.0
LEFT, RIGHT, TOP, FOOT = 40.0, 8.0, 20.0, 16.0
INSIDE = "inside"
ROUND = (1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)  # where an axis may end
MOST_WHISKERS = 40  # passes; beyond, the whiskers would be one grey wall


@dataclass(frozen=True)
class _Shape:
    """What stands for one note of one pass, and its word."""

    word: str
    way: str = ""
    kind: str = ""


def passes_picture(assessment: Assessment, width: float) -> Picture:
    """A row for each pass under the tab, a sign for each note.

    Parameters
    ----------
    assessment : Assessment
    width : float
        In points.
    """
    found = [_shapes(one) for one in assessment.passes]
    row_pt = ROW_PT if len(found) <= MANY else THIN_ROW_PT
    parts, y = [], 0.0
    for tab in systems(assessment.lick, width):
        rows = _rows(assessment, tab, found, row_pt)
        top = y + tab.height + 8
        height = row_pt * len(found)
        parts.append(element("g", tab.svg, transform=f"translate(0 {y:.1f})"))
        moved = followed([*rows], places_along(assessment.lick, tab), -3, height)
        parts.append(element("g", moved, transform=f"translate(0 {top:.1f})"))
        y = top + height + GAP_PT
    title = f"{assessment.lick.title}: what became of each note in each pass"
    svg = canvas([element("g", *parts, font_family=FONTS)], width + 2, y, title)
    head = ("Pass", *(str(k + 1) for k in range(len(assessment.lick))))
    table = Table(
        head,
        tuple(
            (str(k), *(shapes[n].word for n in range(len(assessment.lick))))
            for k, shapes in enumerate(found, 1)
        ),
    )
    return Picture(svg, title, table)


def _shapes(found: PassAssessment) -> dict[int, _Shape]:
    """First thing to say of each note: its verdict, else its pitch, else its time."""
    out = {}
    time = {n.index: n.deviation for n in found.timing.notes}
    pitch = {n.index: n.intonation for n in found.bends.plain}
    pitch |= {n.index: n.reached for n in found.bends.bent}
    for note in found.performed.notes:
        k = note.index
        if note.verdict != Verdict.RIGHT:
            out[k] = _Shape(str(note.verdict))
        elif tone(pitch.get(k)) != "quiet":
            high = tone(pitch.get(k)) == "high"
            way = "up" if high else "down"
            out[k] = _Shape("sharp" if high else "flat", way, tone(pitch.get(k)))
        elif tone(time.get(k)) != "quiet":
            late = tone(time.get(k)) == "high"
            way = "right" if late else "left"
            out[k] = _Shape("late" if late else "early", way, tone(time.get(k)))
        else:
            out[k] = _Shape(INSIDE)
    return out


def _rows(
    assessment: Assessment,
    tab: TabPicture,
    found: list[dict[int, _Shape]],
    row_pt: float,
) -> Iterator[str]:
    """Signs of all passes for the notes of one system."""
    for number, shapes in enumerate(found):
        y = row_pt * (number + 0.5)
        best = number == assessment.best
        if best:
            box = {"width": tab.width - 20, "height": row_pt}
            yield element("rect", x=20, y=y - row_pt / 2, class_="band", **box)
        every = 1 if row_pt == ROW_PT else 10
        if (number + 1) % every == 0 or best:
            style = {"text_anchor": "end", "class_": "strong" if best else "quiet"}
            yield words(str(number + 1), 16, y + 2.5, TEXT_SIZE, **style)
        for index in tab.notes:
            # of many passes only what is outside is drawn: dots would hide it
            if row_pt == ROW_PT or shapes[index].word != INSIDE:
                yield _sign(shapes[index], tab.x_of_note(index), y, row_pt / ROW_PT)


def _sign(shape: _Shape, x: float, y: float, size: float) -> str:
    """One sign."""
    if shape.way:
        return triangle(x, y, shape.way, 3.4 * size, class_=shape.kind)
    if shape.word == Verdict.MISSED:
        return element("circle", cx=x, cy=y, r=3 * size, class_="missed")
    if shape.word == Verdict.WRONG:
        r = 2.8 * size
        d = "M_,_ l_,_ m0,_ l_,_"
        return path(d, x - r, y - r, 2 * r, 2 * r, -2 * r, -2 * r, 2 * r, class_="stem")
    if shape.word == Verdict.UNSURE:
        style = {"text_anchor": "middle", "class_": "quiet"}
        return words("?", x, y + 2.6 * size, 8 * size, **style)
    return element("circle", cx=x, cy=y, r=1.3 * size, class_="quiet")


def readings_by_pass(assessment: Assessment) -> Gallery:
    """How each reading changed from pass to pass; only of those heard twice or more."""
    by_name: dict[str, dict[int, Reading]] = {}
    for number, found in enumerate(assessment.passes):
        for name, reading in found.headlines.items():
            by_name.setdefault(name, {})[number] = reading
    several = {name: found for name, found in by_name.items() if len(found) > 1}
    svgs = tuple(_panel(assessment, name, found) for name, found in several.items())
    rows = tuple(
        (
            str(number + 1),
            "" if found.mark.value is None else f"{found.mark.value:.0f}",
            *(told(several[name].get(number)) for name in several),
        )
        for number, found in enumerate(assessment.passes)
    )
    units = [
        f"{name} off, {next(iter(r.values())).unit}" for name, r in several.items()
    ]
    head = ("Pass", "Mark", *units)
    return Gallery(svgs, "From pass to pass", Table(head, rows))


def _panel(assessment: Assessment, name: str, found: dict[int, Reading]) -> str:
    """One reading: a point for each pass, over what is allowed."""
    first = next(iter(found.values()))
    signed_values = [r.deviation for r in found.values()]
    limits = [r.limit.value for r in found.values() if r.limit is not None]
    far = _round_up(1.1 * max([*map(abs, signed_values), *limits]) or 1.0)
    low = -far if min(signed_values) < 0 else 0.0
    high = far if max(signed_values) > 0 or low == 0 else 0.0
    last = max(len(assessment.passes) - 1, 1)

    def x(number: int) -> float:
        return LEFT + 8 + number / last * (WIDTH_PT - LEFT - RIGHT - 16)

    def y(value: float) -> float:
        share = (high - min(max(value, low), high)) / (high - low)
        return TOP + share * (HEIGHT_PT - TOP - FOOT)

    axis = {"text_anchor": "end", "class_": "quiet"}
    end = WIDTH_PT - RIGHT
    parts = [words(f"{name}, {first.unit} off", 2, 10, 10.5, class_="strong")]
    if limits:
        top, foot = y(min(limits)), y(-min(limits))
        box = {"width": end - LEFT, "height": foot - top}
        parts.append(element("rect", x=LEFT, y=top, class_="band", **box))
    for value in {low, 0.0, high}:
        parts.append(words(_axis(value), LEFT - 4, y(value) + 3, 9.5, **axis))
    parts.append(path("M_,_ H_", LEFT, y(0), end, class_="zero"))
    for number, reading in found.items():
        parts += _point(reading, x(number), y, len(found) <= MOST_WHISKERS)
        if number in (0, last, assessment.best):
            style = {"text_anchor": "middle", "class_": "quiet"}
            text = str(number + 1)
            parts.append(words(text, x(number), HEIGHT_PT - 4, 9.5, **style))
    parts.append(words("pass", LEFT - 4, HEIGHT_PT - 4, 9.5, **axis))
    title = f"{name} from pass to pass"
    body = element("g", *parts, font_family=FONTS)
    return canvas([body], WIDTH_PT, HEIGHT_PT, title)


def _point(
    reading: Reading, x: float, y: Callable[[float], float], whisker: bool
) -> Iterator[str]:
    """A point with its uncertainty; filled when it is outside for sure."""
    middle, known = reading.deviation, reading.uncertainty
    if whisker:
        yield path("M_,_ V_", x, y(middle - known), y(middle + known), class_="grid")
    if reading.judgement == Judgement.OUTSIDE:
        yield element("rect", x=x - 2.4, y=y(middle) - 2.4, width=4.8, height=4.8)
    else:
        yield element("circle", cx=x, cy=y(middle), r=2, class_="quiet")


def _round_up(value: float) -> float:
    """Smallest round number that is no less; above 0.

    >>> _round_up(16.5), _round_up(131.0), _round_up(0.33)
    (20.0, 150.0, 0.4)
    """
    power = 10.0 ** floor(log10(value))
    return next(n * power for n in ROUND if n * power >= value)


def _axis(value: float) -> str:
    """Number on an axis, to two digits.

    >>> _axis(-131.2), _axis(0.34), _axis(0)
    ('−131', '+0.34', '0')
    """
    if abs(value) >= 10 or value == 0:
        return signed(value)
    return f"{value:+.2g}".replace("-", "−")
