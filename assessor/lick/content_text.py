"""What a lick is made of, told to a person: the tab, then a line for each question."""

from __future__ import annotations

import textwrap
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise

from assessor.lick.cells import Cell, Likeness, Occurrence
from assessor.lick.content import Content, Demands
from assessor.lick.fretting import SCALE_LENGTH_MM
from assessor.lick.hands import Shift
from assessor.lick.harmony import sounding
from assessor.lick.notation import Lick
from assessor.lick.places import say_place
from assessor.lick.scales import Chord, Scale, interval_name, tonic_name
from assessor.lick.sheet_header import NAMED_TUNINGS
from assessor.lick.sheet_signs import plain_number
from assessor.lick.sheet_writing import tab_systems
from assessor.words import plural, span

NARROWEST = 40
LABEL = 9  # columns for the word in front of a line
MOST_SCALES = 5
MOST_PLACES = 6

_VALUE_NAMES = {
    "w": "whole note",
    "h": "half note",
    "q": "quarter",
    "e": "eighth",
    "s": "sixteenth",
    "t": "thirty-second",
    "x": "sixty-fourth",
}
_TUPLET_NAMES = {"3": "triplet", "5": "quintuplet", "6": "sextuplet", "7": "septuplet"}


def text_of(lick: Lick, content: Content, width: int = 80) -> str:
    """Clean tab of a lick, and what it is made of.

    Parameters
    ----------
    lick : Lick
    content : Content
        Of this lick.
    width : int
        Columns; at least 40 are used.

    Returns
    -------
    str
        Ends with a line break.
    """
    width = max(width, NARROWEST)
    lines = [*textwrap.wrap(lick.title, width), *textwrap.wrap(heading(lick), width)]
    for system in tab_systems(lick, width):
        lines += ["", *system.lines]
    lines.append("")
    for label, text in _answers(lick, content):
        lines += textwrap.wrap(
            text,
            width,
            initial_indent=label.ljust(LABEL),
            subsequent_indent=" " * LABEL,
            break_on_hyphens=False,
        )
    return "\n".join(lines) + "\n"


def heading(lick: Lick) -> str:
    """Tempo, meter, tuning and what else stands over a lick.

    >>> from fractions import Fraction
    >>> from assessor.lick.notation import LickNote, Meter
    >>> from assessor.tuning import STANDARD
    >>> note = LickNote(Fraction(0), Fraction(1), 64, 1, 0)
    >>> heading(Lick("A", 92.5, Meter(), STANDARD, (note,), swing=2.0))
    '92.5 bpm, 4/4, tuning E2 A2 D3 G3 B3 E4 (standard), swing 2:1'
    """
    names = {notes: name for name, notes in NAMED_TUNINGS.items()}
    named = names.get(str(lick.tuning))
    tuning = f"tuning {lick.tuning}" + (f" ({tuning_name(named)})" if named else "")
    parts = [f"{plain_number(lick.tempo_bpm)} bpm", str(lick.meter), tuning]
    if lick.capo:
        parts.append(f"capo at fret {lick.capo}")
    if lick.swing is not None:
        parts.append(f"swing {plain_number(lick.swing)}:1")
    return ", ".join(parts)


def tuning_name(name: str) -> str:
    """Name of a tuning as players write it.

    >>> tuning_name("drop d"), tuning_name("dadgad"), tuning_name("standard")
    ('drop D', 'DADGAD', 'standard')
    """
    words = name.split()
    return " ".join(
        word.upper() if set(word) <= set("abcdefg") else word for word in words
    )


def short(number: float) -> str:
    """At most two decimals.

    >>> short(4.0), short(0.25), short(6.6667)
    ('4', '0.25', '6.67')
    """
    return f"{number:.2f}".rstrip("0").rstrip(".")


def counted(counts: Mapping[str, object]) -> str:
    """Names with their counts.

    >>> counted({"fifth": 2, "2 octaves": 1})
    'fifth (2), 2 octaves (1)'
    """
    return ", ".join(f"{name} ({count})" for name, count in counts.items())


def _answers(lick: Lick, content: Content) -> Iterator[tuple[str, str]]:
    """Word in front and text of each line."""
    yield from _labelled("Trains", [lick.trains] if lick.trains else [])
    bars = f"{short(content.bars)} bar{'' if content.bars == 1 else 's'}"
    notes = plural(len(lick), "note")
    yield "Length", f"{notes}, {bars}, {short(content.seconds)} s"
    yield "Values", counted({value_name(v): n for v, n in content.values.items()})
    yield "Range", _range(content)
    yield from _labelled("Steps", [counted(content.intervals)])
    if content.techniques:
        yield "Treated", counted(content.techniques)
    cells = zip(_letters(), content.cells, strict=False)
    yield from _labelled("Cells", [f"{a}: {_cell(lick, c)}" for a, c in cells])
    yield from _labelled("Shifts", list(_shifts(lick, content)))
    yield "Skips", _skips(lick, content)
    yield "Slurs", _slurs(content)
    if content.crossings:
        counts = Counter(kind.value for _, kind in content.crossings)
        yield "Picking", f"string crossings: {counted(dict(counts.most_common()))}"
    yield from _harmony(lick, content)
    yield from _labelled("Asks for", list(_demands(lick, content.demands)))
    cautions = [
        f"{say_place(lick, each.index)}: {each.what}; {each.reason}"
        for each in content.cautions
    ]
    yield from _labelled("Careful", cautions)
    yield from _labelled("Reader", list(lick.notices))


def _labelled(label: str, texts: Sequence[str]) -> Iterator[tuple[str, str]]:
    """Several lines with a word in front of the first; those without text left out."""
    for number, text in enumerate(text for text in texts if text):
        yield "" if number else label, text


def _letters() -> Iterator[str]:
    """A to Z, AA to AZ, and so on: names of cells."""
    rounds = [""]
    for before in rounds:
        for letter in "ABCDEFGHIJKLMNOPQRSTUVWXYZ":
            yield before + letter
            rounds.append(before + letter)


def value_name(spelled: str) -> str:
    """Value in words.

    >>> value_name("q."), value_name("e3"), value_name("h_e"), value_name("q7:3")
    ('dotted quarter', 'eighth triplet', 'half note tied to eighth', 'quarter 7:3')
    """
    return " tied to ".join(_single_value_name(part) for part in spelled.split("_"))


def _single_value_name(spelled: str) -> str:
    letter, dots, tuplet = spelled[0], spelled.count("."), spelled[1:].lstrip(".")
    dotted = {0: "", 1: "dotted ", 2: "double dotted "}[dots]
    named = _TUPLET_NAMES.get(tuplet, tuplet)
    return f"{dotted}{_VALUE_NAMES[letter]} {named}".rstrip()


def _range(content: Content) -> str:
    """Lowest and highest pitch, and the frets."""
    low, high = content.lowest_midi, content.highest_midi
    frets = span("fret", content.lowest_fret, content.highest_fret)
    if low is None or high is None:
        return f"no pitch, all notes are dead; {frets}"
    if low == high:
        return f"{_name(low, content)} alone; {frets}"
    names = f"{_name(low, content)} to {_name(high, content)}"
    return f"{names}, {interval_name(high - low)}; {frets}"


def _name(midi_number: int, content: Content) -> str:
    """Note name with its octave, spelled as the key has it."""
    name = tonic_name(midi_number, flats=content.flats)
    return f"{name}{midi_number // 12 - 1}"


def _cell(lick: Lick, cell: Cell) -> str:
    """How long a cell is, where it begins, and how it comes again."""
    times = len(cell.occurrences)
    text = f"{plural(cell.notes, 'note')} from {say_place(lick, cell.first)}, "
    text += "twice" if times == 2 else f"{times} times"
    moves = [_move(a, b) for a, b in pairwise(cell.occurrences)]
    if set(moves) == {"same frets"}:
        text += ", the same each time"
    elif len(set(moves)) == 1 and times > 2:
        text += f", each time {moves[0]}"
    else:
        text += f": {', '.join(moves)}"
    kinds = {occurrence.likeness for occurrence in cell.occurrences}
    if Likeness.ALONG_A_SCALE in kinds:
        text += "; along a scale"
    elif Likeness.INTERVALS in kinds:
        text += "; fingered otherwise"
    return text


def _move(before: Occurrence, after: Occurrence) -> str:
    """Way of a cell on the neck from one place to the next."""
    frets, strings = after.frets - before.frets, after.strings - before.strings
    parts = []
    if strings:
        side = "thinner" if strings > 0 else "thicker"
        parts.append(f"{plural(abs(strings), 'string')} {side}")
    if frets:
        parts.append(f"{plural(abs(frets), 'fret')} {_side(frets)}")
    return " and ".join(parts) or "same frets"


def _side(frets: int) -> str:
    """Way along the neck."""
    return "up" if frets > 0 else "down"


def _shifts(lick: Lick, content: Content) -> Iterator[str]:
    """Where the hand moves, and moves by equal steps."""
    shifts = content.shifts
    if not shifts:
        yield "none"
        return
    told = [_shift(lick, shift) for shift in shifts[:MOST_PLACES]]
    yield _first_ones(f"{len(shifts)} of the index finger: ", told, len(shifts))
    for chain in content.shift_chains:
        first = say_place(lick, shifts[chain.first].index)
        step = f"{plural(abs(chain.step), 'fret')} {_side(chain.step)}"
        yield f"by {step} {chain.times} times in a row, from {first}"


def _shift(lick: Lick, shift: Shift) -> str:
    way = "slid from" if shift.slid else "from"
    frets = f"{way} fret {shift.from_fret} to {shift.to_fret}"
    return f"{say_place(lick, shift.index)} {frets}"


def _first_ones(before: str, told: Sequence[str], count: int) -> str:
    """Some of many, and how many are left."""
    rest = f"; and {count - len(told)} more" if count > len(told) else ""
    return f"{before}{'; '.join(told)}{rest}"


def _skips(lick: Lick, content: Content) -> str:
    """How often strings are jumped over, and how many at once."""
    if not content.skips:
        return "none"
    notes = lick.notes
    over = Counter(
        abs(notes[k].string - notes[k - 1].string) - 1 for k in content.skips
    )
    return ", ".join(f"{n} over {plural(s, 'string')}" for s, n in sorted(over.items()))


def _slurs(content: Content) -> str:
    """How many groups of so many notes."""
    sizes = Counter(len(group) for group in content.slurred_groups)
    counts = [
        f"{plural(n, 'group')} of {size} notes" for size, n in sorted(sizes.items())
    ]
    return ", ".join(counts) or "none"


def _harmony(lick: Lick, content: Content) -> Iterator[tuple[str, str]]:
    """Key, scales, notes outside, and the last note."""
    if content.lowest_midi is None:
        return
    yield "Key", _key(content)
    yield "Scales", _scales(content)
    outside = [
        _outside(lick, content, given, indices)
        for given, indices in (
            (content.scale, content.outside_scale),
            (content.chord, content.outside_chord),
        )
        if given is not None
    ]
    yield from _labelled("Outside", outside)
    last = sounding(lick.notes[-1])[-1:]
    if last:
        yield "Ends", _ending(content, _name(last[0], content))


def _key(content: Content) -> str:
    if content.scale is not None:
        return f"{content.scale}, as given"
    if content.key is None:
        return "not to be told from these notes"
    if not content.key.sure:
        return f"left open by these notes; {content.key} fits best"
    return f"{content.key}, by its notes"


def _scales(content: Content) -> str:
    """Scales that hold every note, or come nearest."""
    if content.nearest_scales:
        near = [f"{scale} all but {n}" for scale, n in content.nearest_scales]
        return f"none here holds every pitch; {', '.join(near[:MOST_SCALES])}"
    if not content.scales:
        return "none here holds every pitch"
    if content.scale is None and content.key is None:
        return f"{len(content.scales)} hold these few notes; --key says which to name"
    told = [
        f"{scale} ({f'{spare} not played' if spare else 'all of it'})"
        for scale, spare in content.scales[:MOST_SCALES]
    ]
    return _first_ones("", told, len(content.scales))


def _outside(
    lick: Lick, content: Content, given: Scale | Chord, indices: Sequence[int]
) -> str:
    """Notes outside what was given."""
    if not indices:
        return f"none, every note lies in {given}"
    told = [
        "/".join(
            tonic_name(midi, flats=content.flats)
            for midi in dict.fromkeys(sounding(lick.notes[k]))
        )
        + f" at {say_place(lick, k)}"
        for k in indices[:MOST_PLACES]
    ]
    return _first_ones(f"{given}: ", told, len(indices))


def _ending(content: Content, last: str) -> str:
    """Last pitch and what it is to tonic and chord."""
    text = f"on {last}"
    if content.ending_degree is not None:
        text += f", the {content.ending_degree} of {content.scale or content.key}"
    if content.ending_chord_degree is not None:
        text += f", the {content.ending_chord_degree} of {content.chord}"
    return text


def _demands(lick: Lick, demands: Demands) -> Iterator[str]:
    """What a lick asks for, in plain quantities."""
    if demands.notes_per_s is not None and demands.most_notes_per_s is not None:
        speed = f"{short(demands.notes_per_s)} notes a second"
        most = f"{short(demands.most_notes_per_s)} where they are closest"
        yield f"{speed} at {plain_number(demands.tempo_bpm)} bpm, {most}"
    if demands.most_strokes_per_s is not None:
        yield f"{short(demands.most_strokes_per_s)} strokes a second at most"
    skips, shifts = short(demands.skips_per_bar), short(demands.shifts_per_bar)
    yield f"string skips a bar ({skips}), shifts a bar ({shifts})"
    stretch = demands.stretch
    if stretch is not None and stretch.frets > 1:
        held = "held at once for a slur" if stretch.slur else "without a shift"
        yield (
            f"{span('fret', stretch.low_fret, stretch.high_fret)} {held}: "
            f"{plural(stretch.frets, 'fret')}, {stretch.distance_mm:.0f} mm on a neck "
            f"of {SCALE_LENGTH_MM:.0f} mm"
        )
    shift = demands.quickest_shift
    if shift is not None:
        frets = plural(abs(shift.frets), "fret")
        place = say_place(lick, shift.index)
        yield f"a shift of {frets} in {short(shift.seconds)} s, at {place}"
