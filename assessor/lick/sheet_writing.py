"""A lick as the text a guitarist reads: rhythm over tab lines, wrapped to a width.

`tab_systems` draws; `write` adds the header lines and returns a whole sheet that
`assessor.lick.sheet.read` reads back to an equal lick.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from fractions import Fraction
from itertools import pairwise

from assessor.lick.notation import (
    Articulation,
    BendKind,
    Lick,
    LickNote,
    SlideEdge,
)
from assessor.lick.parentage import keys_of
from assessor.lick.sheet_layout import Bar, Slot, System, draw, line_names, wrap
from assessor.lick.sheet_signs import (
    FINGER_SIGNS,
    MAX_FRET,
    STROKE_SIGNS,
    bend_target,
    plain_number,
    spell_beats,
)

SHEET_WIDTH_COLUMNS = 76

_STROKE_LETTERS = {stroke: sign for sign, stroke in STROKE_SIGNS.items()}
_FINGER_LETTERS = {finger: sign.upper() for sign, finger in FINGER_SIGNS.items()}
_EDGE_SIGNS = {
    SlideEdge.FROM_BELOW: "//",
    SlideEdge.FROM_ABOVE: "\\\\",
    SlideEdge.UP: "//",
    SlideEdge.DOWN: "\\\\",
}
_SLUR_SIGNS = {Articulation.HAMMER_ON: "h", Articulation.PULL_OFF: "p"}
_BEND_SIGNS = {
    BendKind.BEND: ("b", ""),
    BendKind.BEND_RELEASE: ("b", "r"),
    BendKind.PREBEND: ("pb", ""),
    BendKind.PREBEND_RELEASE: ("pb", "r"),
}


def tab_systems(lick: Lick, width_columns: int) -> tuple[System, ...]:
    r"""Tab of a lick with its rhythm on top, wrapped to a width.

    Systems break at bar lines; a bar that is too long for the width runs on in
    the next system, which is then not closed by a bar line.

    Parameters
    ----------
    lick : Lick
    width_columns : int > 0
        Longest line, in characters.

    Returns
    -------
    tuple of System

    Examples
    --------
    >>> from assessor.tuning import STANDARD
    >>> from assessor.lick.notation import Meter
    >>> notes = (LickNote(Fraction(0), Fraction(1), 57, 3, 2),
    ...          LickNote(Fraction(1), Fraction(1), 59, 3, 4, Articulation.HAMMER_ON))
    >>> (system,) = tab_systems(Lick("", 90, Meter(2, 4), STANDARD, notes), 40)
    >>> print("\n".join(system.lines))
       q     q
    e|-------------|
    B|-------------|
    G|-2----h4-----|
    D|-------------|
    A|-------------|
    E|-------------|
    >>> system.columns
    {0: 3, 1: 9}
    """
    names = line_names(lick.tuning)
    room = width_columns - len(names[0]) - 1
    return tuple(
        draw(names, part, closed=closed) for part, closed in wrap(bars(lick), room)
    )


def write(lick: Lick) -> str:
    """Text of a lick sheet that reads back equal to `lick`.

    Runs of white space in titles, in `trains` and in a drill's form become one space.

    Raises
    ------
    ValueError
        When the lick holds what no sheet can say: a pitch that is not that of
        its string and fret, or a slur that leads from no note on its string.
    """
    for index in range(len(lick.notes)):
        _check(lick, index)
    feel = "straight" if lick.swing is None else f"swing {plain_number(lick.swing)}:1"
    header = [
        ("title", " ".join(lick.title.split())),
        ("tempo", plain_number(lick.tempo_bpm)),
        ("meter", str(lick.meter)),
        ("tuning", str(lick.tuning)),
        ("capo", str(lick.capo)),
        ("feel", feel),
        ("trains", " ".join(lick.trains.split())),
    ]
    if lick.pickup_beats:
        header.append(("pickup", str(lick.pickup_beats)))
    header += keys_of(lick.parent)
    lines = [f"{key}: {value}".rstrip() for key, value in header]
    for system in tab_systems(lick, SHEET_WIDTH_COLUMNS):
        lines += ["", *system.lines]
    return "\n".join(lines) + "\n"


def bars(lick: Lick) -> list[Bar]:
    """Every bar of the lick as slots, the gaps filled with rests."""
    end = lick.notes[-1].end_beats
    tempi = {change.beat: change.tempo_bpm for change in lick.tempo_changes}
    if tempi and max(tempi) >= end:
        end = max(tempi) + 1  # a tempo change stands before a value: here, a rest
    lines = _bar_starts(lick, end)
    found: list[list[Slot]] = []
    bar_start = Fraction(0)
    for start, stop, index in _spans(lick, end):
        cuts = sorted(beat for beat in lines | tempi.keys() if start < beat < stop)
        for at, until in pairwise([start, *cuts, stop]):
            if at in lines:
                found.append([])
                bar_start = at
            if at in tempi:
                found[-1].append(Slot("@" + plain_number(tempi[at])))
            values = spell_beats(until - at)
            if (at - bar_start) % 1:
                values = values[::-1]  # off the beat: reach the next one first
            found[-1] += _slots(lick, index, at, values)
    return [tuple(bar) for bar in found]


def _bar_starts(lick: Lick, end: Fraction) -> set[Fraction]:
    """Beat of the start of every bar before `end`."""
    starts, beat = {Fraction(0)}, lick.pickup_beats or lick.meter.bar_beats
    while beat < end:
        starts.add(beat)
        beat += lick.meter.bar_beats
    return starts


def _spans(
    lick: Lick, end: Fraction
) -> Iterator[tuple[Fraction, Fraction, int | None]]:
    """Start, stop and index of each note, and of the rests (index None) between."""
    at = Fraction(0)
    for index, note in enumerate(lick.notes):
        if note.onset_beats > at:
            yield at, note.onset_beats, None
        at = note.end_beats
        yield note.onset_beats, at, index
    if end > at:
        yield at, end, None


def _slots(
    lick: Lick, index: int | None, at: Fraction, values: Iterable[tuple[str, Fraction]]
) -> Iterator[Slot]:
    """Slots for values from `at` on: of a rest, a note, or the rest of a tied note."""
    for text, beats in values:
        if index is None:
            yield Slot("r" + text, beats)
        else:
            note = lick.notes[index]
            tie = "_" if at + beats < note.end_beats else ""
            if at == note.onset_beats:
                yield _note_slot(lick, index, text + tie, beats)
            else:
                yield Slot(text + tie, beats)
        at += beats


def _note_slot(lick: Lick, index: int, rhythm: str, beats: Fraction) -> Slot:
    """Slot in which a note starts."""
    note = lick.notes[index]
    return Slot(
        rhythm,
        beats,
        index=index,
        string=note.string,
        prefix=_prefix(lick, index),
        body=_body(note),
        stroke="" if note.stroke is None else _STROKE_LETTERS[note.stroke],
        finger="" if note.finger is None else _FINGER_LETTERS[note.finger],
    )


def _prefix(lick: Lick, index: int) -> str:
    """Sign before the fret number: what leads into the note."""
    note = lick.notes[index]
    if note.slide_in is not None:
        return _EDGE_SIGNS[note.slide_in]
    if note.articulation is Articulation.SLIDE:
        down = index > 0 and lick.notes[index - 1].fret > note.fret
        return "\\" if down else "/"
    return _SLUR_SIGNS.get(note.articulation, "")


def _body(note: LickNote) -> str:
    """Fret number with all that follows it."""
    if note.articulation is Articulation.DEAD:
        text = f"x{note.fret or ''}"
    else:
        text = str(note.fret)
    if note.bend is not None:
        up, release = _BEND_SIGNS[note.bend.kind]
        text += up + bend_target(note.fret, note.bend.target_cents)
        text += f"{release}{note.fret}" if release else ""
    text += "~" if note.vibrato else ""
    text += "" if note.slide_out is None else _EDGE_SIGNS[note.slide_out]
    return text + ("=" if note.let_ring else "")


def _check(lick: Lick, index: int) -> None:
    """Refuse a note that no sheet can say."""
    note = lick.notes[index]
    complaint = _pitch_complaint(lick, note)
    if complaint is None and note.slurred:
        complaint = _slur_complaint(note, lick.notes[index - 1] if index else None)
    if complaint is not None:
        message = (
            f"no sheet can say string {note.string}, fret {note.fret} "
            f"at beat {note.onset_beats}: {complaint}"
        )
        raise ValueError(message)


def _pitch_complaint(lick: Lick, note: LickNote) -> str | None:
    """What is wrong with a note by itself."""
    if not 0 <= note.fret <= MAX_FRET:
        return f"frets go from 0 to {MAX_FRET}"
    expected = lick.tuning.midi_number(note.string, note.fret, lick.capo)
    if note.midi_number != expected:
        return f"its pitch is MIDI {expected}, not {note.midi_number}"
    if note.articulation is Articulation.DEAD and (note.bend or note.vibrato):
        return "a dead note has no pitch to bend"
    return None


def _slur_complaint(note: LickNote, before: LickNote | None) -> str | None:
    """What is wrong with the way a slurred note follows the one before it."""
    name = note.articulation.replace("_", "-")
    if note.slide_in is not None:
        return f"a {name} and a slide from nowhere at once"
    joined = (
        before is not None
        and before.string == note.string
        and before.end_beats == note.onset_beats
    )
    if before is None or not joined:
        from_nowhere = note.articulation is Articulation.HAMMER_ON
        return None if from_nowhere else f"a {name} from no note on its string"
    rise = note.fret - before.fret
    wrong = {
        Articulation.HAMMER_ON: rise <= 0,
        Articulation.PULL_OFF: rise >= 0,
        Articulation.SLIDE: rise == 0 or before.slide_out is not None,
    }[note.articulation]
    return f"a {name} from fret {before.fret}" if wrong else None
