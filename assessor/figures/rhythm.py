"""Note values, and which of them share a beam or a tuplet."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from assessor.lick.notation import Lick, Meter
from assessor.lick.sheet_signs import VALUE, tuplet_ratio
from assessor.lick.sheet_writing import bars as sheet_bars

FLAGS = {"e": 1, "s": 2, "t": 3, "x": 4}


@dataclass(frozen=True)
class Value:
    """One written note value or rest.

    Attributes
    ----------
    beat, beats : Fraction
        Start and length in quarter notes.
    letter : str
        Key of `assessor.lick.sheet_signs.VALUE_BEATS`.
    dots : int
    tuplet : (int, int) or None
        So many notes in the time of so many.
    index : int or None
        The note that sounds; None = rest.
    starts : bool
        The note starts here; else it is held on from the value before.
    tied : bool
        The note is held on into the next value.
    """

    beat: Fraction
    beats: Fraction
    letter: str
    dots: int
    tuplet: tuple[int, int] | None
    index: int | None
    starts: bool
    tied: bool

    @property
    def flags(self) -> int:
        """Flags or beams: 1 for an eighth; 0 for rests and longer values."""
        return 0 if self.index is None else FLAGS.get(self.letter, 0)

    @property
    def end(self) -> Fraction:
        """Beat at which it ends."""
        return self.beat + self.beats


@dataclass(frozen=True)
class Bar:
    """The values from one bar line to the next.

    Attributes
    ----------
    number : int
        As counted by players: 1 for the first whole bar, 0 for a pickup.
    start, end : Fraction
        Beats; the last bar may end early.
    values : tuple of Value
    """

    number: int
    start: Fraction
    end: Fraction
    values: tuple[Value, ...]


def bars_of(lick: Lick) -> tuple[Bar, ...]:
    """Every bar of a lick as note values, the gaps filled with rests."""
    beat, index, out = Fraction(0), -1, []
    first = 0 if lick.pickup_beats else 1
    for number, slots in enumerate(sheet_bars(lick), first):
        start, values = beat, []
        for slot in slots:
            if not slot.beats:  # a change of tempo takes no time
                continue
            index = index if slot.index is None else slot.index
            values.append(_value(slot.rhythm, beat, slot.beats, index, slot.index))
            beat += slot.beats
        out.append(Bar(number, start, beat, tuple(values)))
    return tuple(out)


def _value(
    rhythm: str, beat: Fraction, beats: Fraction, sounding: int, starting: int | None
) -> Value:
    """Read one value as the lick sheet writes it."""
    match = VALUE.fullmatch(rhythm)
    assert match is not None, rhythm
    tuplet = None
    if match["actual"] is not None:
        actual = int(match["actual"])
        normal = match["normal"]
        ratio = tuplet_ratio(actual, None if normal is None else int(normal))
        tuplet = (actual, int(normal or ratio * actual))
    return Value(
        beat,
        beats,
        match["letter"],
        len(match["dots"]),
        tuplet,
        None if match["rest"] else sounding,
        starting is not None,
        bool(match["tie"]),
    )


def beamed(bar: Bar, lick: Lick) -> Iterator[tuple[Value, ...]]:
    """Groups of two values or more that share a beam: those within one beat.

    In 6/8 and its like a beat is three eighths, and in 5/8, 7/8 and theirs the last one
    is (common practice).
    """
    group: list[Value] = []
    for value in bar.values:
        same = group and _beat(bar, lick, group[0]) == _beat(bar, lick, value)
        if not value.flags or not same:
            yield from _whole(group)
            group = []
        if value.flags:
            group.append(value)
    yield from _whole(group)


def _beat(bar: Bar, lick: Lick, value: Value) -> int:
    """Which beat of its bar a value falls into; a pickup is counted from its end."""
    meter, length = lick.meter, _beat_length(lick.meter)
    if bar.number == 0:
        return (value.beat - bar.end) // length
    place = (value.beat - bar.start) // length
    three_at_the_end = meter.unit == 8 and length == 1 and meter.count % 2 == 1
    return min(place, meter.count // 2 - 1) if three_at_the_end else place


def _whole(group: Sequence[Value]) -> Iterator[tuple[Value, ...]]:
    """Pass on a group of two or more."""
    if len(group) > 1:
        yield tuple(group)


def _beat_length(meter: Meter) -> Fraction:
    """What is beamed together, in quarter notes."""
    if meter.unit >= 8 and meter.count % 3 == 0:
        return Fraction(12, meter.unit)
    return Fraction(1)


def tuplets(bar: Bar) -> Iterator[tuple[Value, ...]]:
    """Groups of values that fill one tuplet: up to where the beat is whole again."""
    group: list[Value] = []
    for value in bar.values:
        if group and value.tuplet != group[0].tuplet:
            yield tuple(group)
            group = []
        if value.tuplet is None:
            continue
        group.append(value)
        length = sum((v.beats for v in group), Fraction(0))
        if length.denominator & (length.denominator - 1) == 0:
            yield tuple(group)
            group = []
    if group:
        yield tuple(group)
