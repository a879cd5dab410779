"""Practice forms of a lick: each a lick of its own that knows its parent.

Whatever is cut out and repeated keeps its place in the beat, or in the bar where whole
bars are practised.  A note whose slur would lead from a note that is not there is
picked.  Drills keep the starting tempo; changes of tempo stay only where the whole lick
stays.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from math import ceil

from assessor.lick.cells import find_cells
from assessor.lick.digest import digest_of
from assessor.lick.fingerboard import shifts
from assessor.lick.fretting import REACH_MM, distance_mm
from assessor.lick.moves import beat_of
from assessor.lick.notation import (
    Articulation,
    BendKind,
    Lick,
    LickNote,
    Parent,
    TempoChange,
)

MOST_NOTES = 5000  # a quarter of an hour of eighths at 160

LEAST_NOTES = 3  # fewer, left over between cells, go with the cell beside them


def groups_of(lick: Lick) -> tuple[range, ...]:
    """Cut a lick into cells: those that come again, and by bars what lies between.

    Returns
    -------
    tuple of range
        Indices of notes; together they are the whole lick.

    Examples
    --------
    >>> from assessor.lick.notation import Meter
    >>> from assessor.tuning import STANDARD
    >>> frets = [5, 6, 8, 6, 8, 9, 11, 9, 12]
    >>> notes = tuple(
    ...     LickNote(Fraction(k, 4), Fraction(1, 4), 64 + fret, 1, fret)
    ...     for k, fret in enumerate(frets)
    ... )
    >>> groups_of(Lick("three frets up", 90, Meter(), STANDARD, notes))
    (range(0, 4), range(4, 9))
    """
    found = [
        range(place.first, place.first + cell.notes)
        for cell in find_cells(lick)
        for place in cell.occurrences
    ]
    groups: list[range] = []
    for cell in sorted(found, key=lambda span: span.start):
        at = groups[-1].stop if groups else 0
        if cell.start >= at:  # not inside a cell that began before
            groups += [*_by_bars(lick, at, cell.start), cell]
    groups += _by_bars(lick, groups[-1].stop if groups else 0, len(lick))
    return tuple(_with_scraps(groups))


def _by_bars(lick: Lick, start: int, stop: int) -> Iterator[range]:
    """Cut what lies between two cells at the bar lines, but never inside a slur."""
    cuts = [
        k
        for k in range(start + 1, stop)
        if _bar(lick, lick.notes[k]) != _bar(lick, lick.notes[k - 1])
    ]
    for k, cut in enumerate(cuts):
        while lick.notes[cut].slurred and cut > start:
            cut -= 1
        cuts[k] = cut
    edges = sorted({start, *cuts, stop})
    return (range(low, high) for low, high in pairwise(edges))


def _with_scraps(groups: Sequence[range]) -> list[range]:
    """Join what is too short to be practised alone to the group before, or after."""
    joined: list[range] = []
    for group in groups:
        short = joined and min(len(group), len(joined[-1])) < LEAST_NOTES
        if short and (len(group) < LEAST_NOTES or len(joined) == 1):
            joined[-1] = range(joined[-1].start, group.stop)
        else:
            joined.append(group)
    return joined


def _bar(lick: Lick, note: LickNote) -> int:
    """Bar in which a note starts; a pickup is bar -1."""
    return int((note.onset_beats - lick.pickup_beats) // lick.meter.bar_beats)


# ----------------------------------------------------------------- cut and repeated


def every_cell(
    lick: Lick,
    groups: Sequence[range],
    times: int,
    pause_beats: Fraction = Fraction(0),
) -> Lick:
    """Every cell so many times before the next, time to prepare the next shift.

    Parameters
    ----------
    lick : Lick
    groups : sequence of range
        Cells, from `groups_of` or by hand.
    times : int
    pause_beats : Fraction
        Rest before the next cell, in quarter notes.

    Raises
    ------
    ValueError
        When the drill would hold more than `MOST_NOTES`.

    Examples
    --------
    >>> from assessor.lick.notation import Meter
    >>> from assessor.tuning import STANDARD
    >>> notes = tuple(
    ...     LickNote(Fraction(k, 2), Fraction(1, 2), 69 + k, 1, 5 + k) for k in range(4)
    ... )
    >>> lick = Lick("A", 90, Meter(), STANDARD, notes)
    >>> every_cell(lick, [range(0, 2), range(2, 4)], 2).parent.notes
    (0, 1, 0, 1, 2, 3, 2, 3)
    """
    parts = [group for group in groups for _ in range(times)]
    last = [k % times == times - 1 for k in range(len(parts))]
    rests = [pause_beats if is_last else Fraction(0) for is_last in last]
    return _laid(lick, parts, f"every cell {_times(times)}", beat_of(lick), rests)


def one_cell(lick: Lick, groups: Sequence[range], number: int, times: int) -> Lick:
    """One cell alone, over and over; `number` counts from 1.

    Raises
    ------
    ValueError
        When there is no such cell, or the drill would hold too many notes.
    """
    if not 1 <= number <= len(groups):
        message = f"there is no cell {number}: they count from 1 to {len(groups)}"
        raise ValueError(message)
    form = f"cell {number} alone, {_times(times)}"
    return _laid(lick, [groups[number - 1]] * times, form, beat_of(lick))


def round_shifts(
    lick: Lick, times: int, *, round_beats: Fraction | None = None
) -> Lick:
    """The bars round each shift, so many times each.

    Parameters
    ----------
    lick : Lick
    times : int
    round_beats : Fraction or None
        Instead of bars, so many quarter notes before the shift and after it.

    Raises
    ------
    ValueError
        When the hand never shifts, or the drill would hold too many notes.
    """
    found = shifts(lick)
    if not found:
        message = "the hand never shifts in this lick; take another form"
        raise ValueError(message)
    if round_beats is None:
        spans = [_bars_round(lick, index) for index in found]
        unit, what = lick.meter.bar_beats, "the bars"
    else:
        spans = [_beats_round(lick, index, round_beats) for index in found]
        unit, what = beat_of(lick), f"{round_beats} beats"
    spans = [span for span in dict.fromkeys(spans) if not _inside_other(span, spans)]
    parts = [span for span in spans for _ in range(times)]
    return _laid(lick, parts, f"{what} round each shift, {_times(times)}", unit)


def _bars_round(lick: Lick, index: int) -> range:
    """Notes of the bars from the note before a shift to the note it is made for."""
    bars = [_bar(lick, lick.notes[k]) for k in (index - 1, index)]
    inside = [
        k for k, note in enumerate(lick.notes) if bars[0] <= _bar(lick, note) <= bars[1]
    ]
    return range(inside[0], inside[-1] + 1)


def _beats_round(lick: Lick, index: int, beats: Fraction) -> range:
    """Notes so near a shift; at least the two it lies between."""
    at = lick.notes[index].onset_beats
    inside = [
        k
        for k, note in enumerate(lick.notes)
        if at - beats <= note.onset_beats < at + beats
    ]
    return range(min(inside[0], index - 1), inside[-1] + 1)


def _inside_other(span: range, spans: Sequence[range]) -> bool:
    """Whether another, longer span holds this one."""
    return any(
        other != span and other.start <= span.start and span.stop <= other.stop
        for other in spans
    )


def from_the_end(lick: Lick, groups: Sequence[range], times: int) -> Lick:
    """The last cell, the last two, … the whole lick, so many times each.

    Raises
    ------
    ValueError
        When the drill would hold too many notes.
    """
    stages = [range(group.start, len(lick)) for group in reversed(groups)]
    parts = [stage for stage in stages for _ in range(times)]
    form = f"built up from the end, {_times(times)} each"
    return _laid(lick, parts, form, lick.meter.bar_beats)


def _laid(
    lick: Lick,
    parts: Sequence[range],
    form: str,
    unit: Fraction,
    rests: Sequence[Fraction] | None = None,
) -> Lick:
    """Parts one after the other, each at its place in a unit of the metre."""
    total = sum(len(part) for part in parts)
    if total > MOST_NOTES:
        message = f"that makes {total} notes, more than {MOST_NOTES}; take fewer times"
        raise ValueError(message)
    notes: list[LickNote] = []
    places: list[int] = []
    at = Fraction(0)
    for part, rest in zip(parts, rests or [Fraction(0)] * len(parts), strict=True):
        first = lick.notes[part.start].onset_beats
        by = at + (first - lick.pickup_beats) % unit - first
        notes += _moved_in_time(lick, part, by)
        places += part
        at = unit * ceil((notes[-1].end_beats + rest) / unit)
    return replace(
        lick,
        title=f"{lick.title}: {form}",
        notes=tuple(notes),
        tempo_changes=(),
        pickup_beats=Fraction(0),
        parent=_parent(lick, form, places),
    )


def _moved_in_time(lick: Lick, part: range, by: Fraction) -> Iterator[LickNote]:
    """Notes of a part, later; the first is picked, for nothing leads into it."""
    for index in part:
        note = lick.notes[index]
        note = replace(note, onset_beats=note.onset_beats + by)
        yield _picked(note) if index == part.start else note


def _picked(note: LickNote) -> LickNote:
    """A slurred note as a picked one."""
    if not note.slurred:
        return note
    return replace(note, articulation=Articulation.PICK, stroke=None)


# ----------------------------------------------------------------- the whole, changed


def displaced(lick: Lick, by_beats: Fraction) -> Lick:
    """The whole lick later in the bar, so that other notes fall on the beat.

    Raises
    ------
    ValueError
        When it would fall on the same places again, or earlier.
    """
    bar = lick.meter.bar_beats
    if not 0 < by_beats < bar:
        message = f"a displacement lies between 0 and a bar of {bar} quarter notes"
        raise ValueError(message)
    notes = tuple(
        replace(note, onset_beats=note.onset_beats + by_beats) for note in lick.notes
    )
    changes = tuple(
        TempoChange(change.beat + by_beats, change.tempo_bpm)
        for change in lick.tempo_changes
    )
    plural = "" if by_beats == 1 else "s"
    form = f"rhythm displaced by {by_beats} quarter note{plural}"
    return _changed(replace(lick, notes=notes, tempo_changes=changes), lick, form)


def slurs_picked(lick: Lick) -> Lick:
    """Every slurred note picked.

    Raises
    ------
    ValueError
        When nothing is slurred.
    """
    if not any(note.slurred for note in lick.notes):
        message = "nothing is slurred in this lick; take another form"
        raise ValueError(message)
    notes = tuple(_picked(note) for note in lick.notes)
    return _changed(replace(lick, notes=notes), lick, "slurs picked")


def picks_slurred(lick: Lick) -> Lick:
    """Every picked note that can be hammered or pulled from the one before is.

    Raises
    ------
    ValueError
        When none can.
    """
    notes: list[LickNote] = []
    frets: list[int] = []  # of the slurred group so far
    for note in lick.notes:
        if notes and _can_be_slurred(notes[-1], note, frets, lick.capo):
            up = note.fret > notes[-1].fret
            kind = Articulation.HAMMER_ON if up else Articulation.PULL_OFF
            note = replace(note, articulation=kind, stroke=None)
        held = note.articulation in (Articulation.HAMMER_ON, Articulation.PULL_OFF)
        frets = [*frets, note.fret] if held else [note.fret]
        notes.append(note)
    if tuple(notes) == lick.notes:
        message = (
            "no picked note can be slurred: none follows another on its string within "
            "reach; take another form"
        )
        raise ValueError(message)
    return _changed(replace(lick, notes=tuple(notes)), lick, "picks slurred")


def _can_be_slurred(
    before: LickNote, note: LickNote, frets: Sequence[int], capo: int
) -> bool:
    """Whether a picked note can be hammered or pulled from the note before it."""
    joined = before.string == note.string and before.end_beats == note.onset_beats
    plain = note.articulation is Articulation.PICK and note.slide_in is None
    bent_before = note.bend is not None and note.bend.kind in (
        BendKind.PREBEND,
        BendKind.PREBEND_RELEASE,
    )
    left = (
        before.articulation is Articulation.DEAD
        or before.bend is not None
        or before.slide_out is not None
    )
    return (
        joined
        and plain
        and not bent_before
        and not left
        and before.fret != note.fret
        and all(distance_mm(fret, note.fret, capo) <= REACH_MM for fret in frets)
    )


def _changed(drill: Lick, lick: Lick, form: str) -> Lick:
    """Drill of a whole lick, note for note."""
    parent = _parent(lick, form, range(len(lick)))
    return replace(drill, title=f"{lick.title}: {form}", parent=parent)


def _parent(lick: Lick, form: str, places: Sequence[int]) -> Parent:
    """Link to a lick, or to the lick that it is a drill of itself."""
    first = lick.parent
    if first is None:
        return Parent(lick.title, digest_of(lick), form, tuple(places))
    forms = f"{first.form}; {form}" if first.form else form
    notes = tuple(first.notes[place] for place in places)
    return replace(first, form=forms, notes=notes)


def _times(times: int) -> str:
    """Number of times in words.

    >>> _times(1), _times(2), _times(4)
    ('once', 'twice', '4 times')
    """
    return {1: "once", 2: "twice"}.get(times, f"{times} times")
