"""The signs of the lick sheet: note values, strokes, fingers and their limits.

One table a sign, used by both the reader and the writer, so that the two cannot
drift apart.  `docs/lick-sheet.md` says the same for people.
"""

from __future__ import annotations

import re
from decimal import Context, Decimal
from fractions import Fraction

from assessor.lick.notation import Stroke

# Note values in quarter notes: whole, half, quarter, eighth, sixteenth,
# thirty-second and sixty-fourth.
VALUE_BEATS = {
    "w": Fraction(4),
    "h": Fraction(2),
    "q": Fraction(1),
    "e": Fraction(1, 2),
    "s": Fraction(1, 4),
    "t": Fraction(1, 8),
    "x": Fraction(1, 16),
}
# No dot, one dot (half as long again), two dots.
DOT_FACTORS = (Fraction(1), Fraction(3, 2), Fraction(7, 4))

# Thumb to ring finger as classical players write them: pulgar, indice, medio, anular.
STROKE_SIGNS = {
    "d": Stroke.DOWN,
    "u": Stroke.UP,
    "p": Stroke.THUMB,
    "i": Stroke.INDEX,
    "m": Stroke.MIDDLE,
    "a": Stroke.RING,
}
FINGER_SIGNS = {"t": 0, "1": 1, "2": 2, "3": 3, "4": 4}

# Necks end at fret 24, a few later (common practice); a larger number is two
# notes typed without a dash between them.
MAX_FRET = 30

# `7b` without a target is the bend players call full (common practice).
FULL_BEND_CENTS = 200.0

VALUE = re.compile(
    r"(?P<rest>r?)(?P<letter>[whqestx])(?P<dots>\.{0,2})"
    r"(?:(?P<actual>\d+)(?::(?P<normal>\d+))?)?(?P<tie>_?)"
)

# Wide enough for every digit of a float, so that no bend is rounded.
_EXACT = Context(prec=400)


def tuplet_ratio(actual: int, normal: int | None) -> Fraction:
    """How much of its written length a note of a tuplet keeps.

    Parameters
    ----------
    actual : int >= 1
        Notes played.
    normal : int >= 1 or None
        Notes of that value whose time they take; None = the next smaller power
        of two, as notation has it (3 in the time of 2, 5, 6 and 7 of 4).

    Raises
    ------
    ValueError
        When a number is zero, or the usual reading needs the second number.

    Examples
    --------
    >>> tuplet_ratio(3, None), tuplet_ratio(7, None), tuplet_ratio(4, 3)
    (Fraction(2, 3), Fraction(4, 7), Fraction(3, 4))
    """
    if actual == 0 or normal == 0:
        message = "a tuplet of nothing"
        raise ValueError(message)
    if normal is not None:
        return Fraction(normal, actual)
    if actual & (actual - 1) == 0:
        message = f"a tuplet of {actual} needs its ratio, such as {actual}:3"
        raise ValueError(message)
    return Fraction(1 << (actual.bit_length() - 1), actual)


def value_beats(match: re.Match[str]) -> Fraction:
    """Length in quarter notes of a value matched by `VALUE`.

    Raises
    ------
    ValueError
        When its tuplet cannot be read.

    Examples
    --------
    >>> [str(value_beats(VALUE.fullmatch(v))) for v in ("q.", "e3", "rs..", "q5:3_")]
    ['3/2', '1/3', '7/16', '3/5']
    """
    beats = VALUE_BEATS[match["letter"]] * DOT_FACTORS[len(match["dots"])]
    if match["actual"] is not None:
        normal = None if match["normal"] is None else int(match["normal"])
        beats *= tuplet_ratio(int(match["actual"]), normal)
    return beats


def _single_values() -> dict[Fraction, str]:
    """Every length one value can have, plainest spelling first."""
    table: dict[Fraction, str] = {}
    for tuplet, dots in ((1, 2), (3, 2), (5, 1), (7, 1), (9, 1), (11, 1), (13, 1)):
        ratio = Fraction(1) if tuplet == 1 else tuplet_ratio(tuplet, None)
        mark = "" if tuplet == 1 else str(tuplet)
        for count, factor in enumerate(DOT_FACTORS[:dots]):
            for letter, beats in VALUE_BEATS.items():
                table.setdefault(beats * factor * ratio, letter + "." * count + mark)
    return table


_SINGLE_VALUES = _single_values()


def spell_beats(beats: Fraction) -> tuple[tuple[str, Fraction], ...]:
    """Note values that together last `beats` quarter notes, each with its length.

    One value where one will do, else two tied ones, else as many plain ones as
    it takes; a length no notation has becomes a quarter under its own ratio.

    >>> [[text for text, _ in spell_beats(Fraction(b))] for b in ("3/2", "1/3", "5/4")]
    [['q.'], ['e3'], ['q', 's']]
    >>> [text for text, _ in spell_beats(Fraction(17, 960))]
    ['q960:17']
    """
    if beats in _SINGLE_VALUES:
        return ((_SINGLE_VALUES[beats], beats),)
    for first, text in _SINGLE_VALUES.items():
        if beats - first in _SINGLE_VALUES:
            return ((text, first), (_SINGLE_VALUES[beats - first], beats - first))
    whole = VALUE_BEATS["w"]
    if beats > whole:
        return (("w", whole), *spell_beats(beats - whole))
    return ((f"q{beats.denominator}:{beats.numerator}", beats),)


def bend_target(fret: int, cents: float) -> str:
    """Fret a bend of `cents` sounds like, as it is typed after the ``b``.

    >>> bend_target(7, 200.0), bend_target(7, 50.0)
    ('9', '7.5')
    """
    steps = _EXACT.divide(Decimal(repr(float(cents))), Decimal(100))
    text = format(_EXACT.add(Decimal(fret), steps), "f")
    return text.rstrip("0").rstrip(".") if "." in text else text


def bend_cents(fret: int, target: str) -> float:
    """Cents from `fret` up to the fret a bend is to sound like.

    >>> bend_cents(7, "8"), bend_cents(7, "7.5")
    (100.0, 50.0)
    """
    steps = _EXACT.subtract(Decimal(target), Decimal(fret))
    return float(_EXACT.multiply(steps, Decimal(100)))


def plain_number(value: float) -> str:
    """Shortest text that reads back as `value`, without a needless ``.0``.

    >>> plain_number(96.0), plain_number(92.5)
    ('96', '92.5')
    """
    text = format(Decimal(repr(float(value))), "f")
    return text.rstrip("0").rstrip(".") if "." in text else text
