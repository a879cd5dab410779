"""The rhythm under a tab: small notes with stems and beams, rests, ties, tuplets."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from itertools import pairwise

from assessor.figures import signs
from assessor.figures.layout import Line
from assessor.figures.rhythm import FLAGS, Value, beamed, tuplets
from assessor.figures.svg import words
from assessor.lick.notation import Lick

NUMBER_SIZE = 7.5


def draw_rhythm(lick: Lick, line: Line, head_y: float, foot_y: float) -> Iterator[str]:
    """Every value of a system, heads at one height and feet of stems at another."""
    yield from _Rhythm(lick, line, head_y, foot_y).draw()


class _Rhythm:
    """The rhythm of one system while it is drawn."""

    def __init__(self, lick: Lick, line: Line, head_y: float, foot_y: float) -> None:
        self.lick, self.line = lick, line
        self.head_y, self.foot_y = head_y, foot_y
        self.values = [v for bar in line.bars for v in bar.values]

    def draw(self) -> Iterator[str]:
        """Heads, stems, beams and tuplets bar by bar, then the ties."""
        for bar in self.line.bars:
            groups = list(beamed(bar, self.lick))
            under_beam = {v.beat for group in groups for v in group}
            for value in bar.values:
                yield from self._value(value, flagged=value.beat not in under_beam)
            for group in groups:
                yield from self._beams(group)
            for group in tuplets(bar):
                yield from self._tuplet(group, under_beam)
        yield from self._ties()

    def _value(self, value: Value, *, flagged: bool) -> Iterator[str]:
        """One head with its stem, or a rest."""
        x = self.line.x(value.beat)
        if value.index is None:
            y = self.head_y + 0.45 * signs.STEM_PT
            count = FLAGS.get(value.letter, 0)
            yield signs.rest(x, y, value.letter, count)
            yield from signs.dots(x, y, value.dots)
            return
        yield signs.head(x, self.head_y, value.letter)
        yield from signs.dots(x, self.head_y, value.dots)
        if value.letter != "w":
            yield signs.stem(x, self.head_y, self.foot_y)
        if flagged:
            yield from signs.flags(x, self.foot_y, value.flags)

    def _beams(self, group: tuple[Value, ...]) -> Iterator[str]:
        """Beams of a group; a level that only one of two has is a stub."""
        places = [self.line.x(v.beat) for v in group]
        yield signs.beam(places[0], places[-1], self.foot_y, 0)
        for level in range(1, max(v.flags for v in group)):
            deep = [v.flags > level for v in group]
            for k, (before, after) in enumerate(pairwise(deep)):
                if before and after:
                    yield signs.beam(places[k], places[k + 1], self.foot_y, level)
            for k, here in enumerate(deep):
                beside = deep[max(k - 1, 0) : k] + deep[k + 1 : k + 2]
                if here and not any(beside):
                    left = k == len(deep) - 1
                    x = places[k] - 6 if left else places[k]
                    yield signs.beam(x, x + 6, self.foot_y, level)

    def _tuplet(
        self, group: tuple[Value, ...], under_beam: set[Fraction]
    ) -> Iterator[str]:
        """Number of a tuplet, with a bracket where no beam shows what belongs to it."""
        assert group[0].tuplet is not None
        actual, normal = group[0].tuplet
        usual = normal == 1 << (actual.bit_length() - 1)
        text = str(actual) if usual else f"{actual}:{normal}"
        x, to_x = self.line.x(group[0].beat), self.line.x(group[-1].beat)
        y = self.foot_y + 8.5
        middle = (x + to_x) / 2 + signs.STEM_X
        style = {"text_anchor": "middle", "font_style": "italic"}
        yield words(text, middle, y, NUMBER_SIZE, **style)
        if not all(v.beat in under_beam for v in group) and len(group) > 1:
            yield signs.bracket(x + signs.STEM_X - 2, to_x + signs.STEM_X + 3, y - 2)

    def _ties(self) -> Iterator[str]:
        """Arcs from value to value of a held note, also over the ends of systems."""
        for k, value in enumerate(self.values):
            x = self.line.x(value.beat)
            if value.tied:
                last = k + 1 == len(self.values)
                to_x = self.line.width if last else self.line.x(value.end) - 3
                yield signs.arc(x + 3, to_x, self.head_y - 2.5, 2.2)
            if k == 0 and value.index is not None and not value.starts:
                yield signs.arc(x - 13, x - 3, self.head_y - 2.5, 2.2)
