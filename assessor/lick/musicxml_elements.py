"""Numbers, pitches and faults of a MusicXML file, each with its place."""

from __future__ import annotations

import re
from fractions import Fraction
from typing import cast

from lxml import etree

from assessor.errors import LickError, UnsupportedNotation
from assessor.tuning import parse_note_name

Element = etree._Element

# Digits are counted so that no number can be made to fill the memory.
_NUMBER = re.compile(r"[+-]?(\d{1,9}(\.\d{0,30})?|\.\d{1,30})", re.ASCII)


def measure_of(element: Element) -> str | None:
    """Measure number as printed; None outside measures."""
    for parent in (element, *element.iterancestors()):
        if parent.tag == "measure":
            return parent.get("number", "?")
    return None


def line_of(element: Element) -> int | None:
    """Line of the file an element starts in."""
    return cast("int | None", element.sourceline)  # the stubs do not say


def fault(message: str, element: Element) -> LickError:
    """Error at an element, with its line and measure."""
    return LickError(message, line=line_of(element), measure=measure_of(element))


def unsupported(message: str, element: Element) -> UnsupportedNotation:
    """Refusal at an element, with its line and measure."""
    return UnsupportedNotation(
        message, line=line_of(element), measure=measure_of(element)
    )


def text_of(element: Element) -> str:
    """Text of an element without the white space around it."""
    return (element.text or "").strip()


def number(element: Element) -> Fraction:
    """Exact number that an element holds.

    Raises
    ------
    LickError
        When it holds none, or one of more than nine digits before the point.
    """
    text = text_of(element)
    if _NUMBER.fullmatch(text) is None:
        message = f"<{element.tag}> holds {text[:40]!r} instead of a number"
        raise fault(message, element)
    return Fraction(text)


def integer(element: Element, lowest: int, highest: int) -> int:
    """Whole number that an element holds.

    Raises
    ------
    LickError
        When it holds none in `lowest` to `highest`, both inclusive.
    """
    value = number(element)
    if value.denominator != 1 or not lowest <= value <= highest:
        message = f"<{element.tag}> holds {text_of(element)}; "
        message += f"a whole number from {lowest} to {highest} belongs there"
        raise fault(message, element)
    return int(value)


def required(parent: Element, tag: str) -> Element:
    """Child that must be there.

    Raises
    ------
    LickError
        When it is not.
    """
    child = parent.find(tag)
    if child is None:
        message = f"<{parent.tag}> lacks its <{tag}>"
        raise fault(message, parent)
    return child


def integer_attribute(
    element: Element, name: str, *, default: int | None = None
) -> int:
    """Whole number of up to three digits in an attribute.

    Raises
    ------
    LickError
        When there is none and no default.
    """
    text = element.get(name)
    if text is None and default is not None:
        return default
    if text is None or re.fullmatch(r"\s*\d{1,3}\s*", text) is None:
        message = f"<{element.tag}> has {name}={(text or '')[:20]!r}; "
        message += "a whole number of up to three digits belongs there"
        raise fault(message, element)
    return int(text)


def pitch_of(element: Element, step: str, alter: str, octave: str) -> int:
    """MIDI number of a step, an alteration and an octave.

    Raises
    ------
    UnsupportedNotation
        When the pitch lies between the semitones.
    LickError
        When it is none.
    """
    name = text_of(required(element, step))
    altered = element.find(alter)
    semitones = Fraction(0) if altered is None else number(altered)
    if semitones.denominator != 1:
        message = "a pitch between the semitones; a fret cannot be found for it"
        raise unsupported(message, element)
    natural = f"{name}{integer(required(element, octave), -1, 9)}"
    try:
        return parse_note_name(natural) + int(semitones)
    except ValueError as error:
        raise fault(str(error), element) from None
