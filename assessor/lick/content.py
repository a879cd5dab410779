"""What a lick is made of and what it asks for, in plain quantities: no grades."""

from __future__ import annotations

from collections import Counter
from collections.abc import Set
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

import numpy as np

from assessor.lick.cells import Cell, EqualSteps, equal_steps, find_cells
from assessor.lick.fingerboard import slurred_groups, string_skips
from assessor.lick.hands import (
    SPAN_FRETS,
    Crossing,
    HandCaution,
    Shift,
    Stretch,
    crossings,
    hand_cautions,
    hand_shifts,
    widest_stretch,
)
from assessor.lick.harmony import (
    Key,
    infer_key,
    interval_content,
    notes_outside,
    pitch_classes,
    sounding,
)
from assessor.lick.notation import Articulation, BendKind, Lick, LickNote
from assessor.lick.scales import (
    Chord,
    Scale,
    degree,
    nearest_scales,
    scales_holding,
    spells_flat,
)
from assessor.lick.sheet_signs import spell_beats

# What may be done with a note, and what that means.
TECHNIQUES = {
    "hammer-ons": "notes sounded by a finger coming down",
    "pull-offs": "notes sounded by a finger pulled away",
    "slides": "notes slid into or out of",
    "bends": "notes bent in any way",
    "prebends": "notes bent before they sound",
    "releases": "bends let down again",
    "vibrato": "notes shaken",
    "ringing": "notes that ring on",
    "dead": "muted notes",
    "plucked": "notes plucked by a finger of the picking hand",
}

_RELEASED = frozenset({BendKind.BEND_RELEASE, BendKind.PREBEND_RELEASE})
_BENT_BEFORE = frozenset({BendKind.PREBEND, BendKind.PREBEND_RELEASE})
_PICKED = frozenset({Articulation.PICK, Articulation.DEAD})


@dataclass(frozen=True)
class Demands:
    """What a lick asks for at its tempo.

    Attributes
    ----------
    tempo_bpm : float
        Quarter notes a minute, at the start.
    notes_per_s, most_notes_per_s : float or None
        From the first onset to the last, and where two onsets lie closest; None for a
        single note.
    most_strokes_per_s : float or None
        Where two picked or plucked notes lie closest; None where fewer than two are.
    skips_per_bar, shifts_per_bar : float
    stretch : Stretch or None
        The widest; None where no string is fretted.
    quickest_shift : Shift or None
        The one with most frets a second; None where the hand stays.
    """

    tempo_bpm: float
    notes_per_s: float | None
    most_notes_per_s: float | None
    most_strokes_per_s: float | None
    skips_per_bar: float
    shifts_per_bar: float
    stretch: Stretch | None
    quickest_shift: Shift | None


@dataclass(frozen=True)
class Content:
    """What a lick is made of.

    Attributes
    ----------
    bars : float
        Length in bars, the pickup counted by its share.
    seconds : float
        Length as written.
    lowest_midi, highest_midi : int or None
        Of what is heard, bends to a semitone included; None where all notes are dead.
    lowest_fret, highest_fret : int
    intervals : dict of str to int
        How often each interval comes between neighbours, the narrowest first.
    values : dict of str to int
        Notes of each value, spelled as on a lick sheet, longest first; tied values
        joined by ``_``.
    techniques : dict of str to int
        How many notes there are for each of `TECHNIQUES` that occurs.
    cells : tuple of Cell
    shifts : tuple of Shift
    shift_chains : tuple of EqualSteps
        Shifts by equal steps, in frets; positions are those in `shifts`.
    skips : tuple of int
        Notes reached by jumping over at least one string.
    slurred_groups : tuple of tuple of int
        Notes of each slurred group, the picked note first.
    crossings : tuple of (int, Crossing)
        How the pick crosses to notes; only where strokes are written.
    key : Key or None
        Found in the notes.
    scale : Scale or None
        Given.
    chord : Chord or None
        Given.
    scales : tuple of (Scale, int)
        Scales on the tonic (on every tonic where it is not known) that hold every note,
        and how many of their notes are not heard; the fullest first.
    nearest_scales : tuple of (Scale, int)
        Where no scale holds every note and the tonic is known: those on it that leave
        fewest out, and how many.
    outside_scale, outside_chord : tuple of int
        Notes outside the given scale and chord.
    ending_degree, ending_chord_degree : str or None
        Degree of the last pitch against the tonic, and against the given chord's root.
    cautions : tuple of HandCaution
    demands : Demands
    """

    bars: float
    seconds: float
    lowest_midi: int | None
    highest_midi: int | None
    lowest_fret: int
    highest_fret: int
    intervals: dict[str, int]
    values: dict[str, int]
    techniques: dict[str, int]
    cells: tuple[Cell, ...]
    shifts: tuple[Shift, ...]
    shift_chains: tuple[EqualSteps, ...]
    skips: tuple[int, ...]
    slurred_groups: tuple[tuple[int, ...], ...]
    crossings: tuple[tuple[int, Crossing], ...]
    key: Key | None
    scale: Scale | None
    chord: Chord | None
    scales: tuple[tuple[Scale, int], ...]
    nearest_scales: tuple[tuple[Scale, int], ...]
    outside_scale: tuple[int, ...]
    outside_chord: tuple[int, ...]
    ending_degree: str | None
    ending_chord_degree: str | None
    cautions: tuple[HandCaution, ...]
    demands: Demands

    @property
    def tonic(self) -> int | None:
        """Pitch class that degrees count from: that given, or that found for sure."""
        if self.scale is not None:
            return self.scale.tonic
        return self.key.tonic if self.key is not None and self.key.sure else None

    @property
    def flats(self) -> bool | None:
        """Whether its notes are spelled with flats; None where it is all the same."""
        if self.scale is not None:
            return spells_flat(self.scale.pitch_classes)
        return None if self.key is None else spells_flat(self.key.pitch_classes)


def content_of(
    lick: Lick,
    *,
    scale: Scale | None = None,
    chord: Chord | None = None,
    span_frets: int = SPAN_FRETS,
) -> Content:
    """What a lick is made of.

    Parameters
    ----------
    lick : Lick
    scale : Scale or None
        The key it is meant in; None = found in the notes where they show it.
    chord : Chord or None
        The chord it is meant to be played over.
    span_frets : int
        Frets that the hand may cover without a caution, both ends counted.

    Returns
    -------
    Content
    """
    heard = [midi for note in lick.notes for midi in sounding(note)]
    classes = pitch_classes(lick)
    frets = [note.fret for note in lick.notes]
    key = infer_key(lick)
    found = key.tonic if key is not None and key.sure else None
    tonic = found if scale is None else scale.tonic
    scales = _scales(classes, tonic, key) if heard else ()
    moves, skips = hand_shifts(lick), string_skips(lick)
    bars = float(lick.notes[-1].end_beats / lick.meter.bar_beats)
    last = sounding(lick.notes[-1])[-1:]
    return Content(
        bars=bars,
        seconds=float(lick.ends_s()[-1]),
        lowest_midi=min(heard, default=None),
        highest_midi=max(heard, default=None),
        lowest_fret=min(frets),
        highest_fret=max(frets),
        intervals=interval_content(lick),
        values=_values(lick),
        techniques=_techniques(lick),
        cells=find_cells(lick),
        shifts=moves,
        shift_chains=equal_steps([shift.frets for shift in moves]),
        skips=skips,
        slurred_groups=slurred_groups(lick),
        crossings=crossings(lick),
        key=key,
        scale=scale,
        chord=chord,
        scales=scales,
        nearest_scales=(
            () if scales or tonic is None else nearest_scales(classes, tonic)
        ),
        outside_scale=notes_outside(lick, scale.pitch_classes) if scale else (),
        outside_chord=notes_outside(lick, chord.pitch_classes) if chord else (),
        ending_degree=degree(last[0], tonic) if last and tonic is not None else None,
        ending_chord_degree=degree(last[0], chord.root) if last and chord else None,
        cautions=hand_cautions(lick, span_frets),
        demands=_demands(lick, moves, len(skips), bars),
    )


def _scales(
    heard: Set[int], tonic: int | None, key: Key | None
) -> tuple[tuple[Scale, int], ...]:
    """Scales that hold what is heard; of equals those on the likeliest tonic first."""
    found = scales_holding(heard, tonic)
    if key is None:
        return found
    return tuple(sorted(found, key=lambda each: (each[1], each[0].tonic != key.tonic)))


def _values(lick: Lick) -> dict[str, int]:
    """Notes of each value."""
    counts = Counter(note.duration_beats for note in lick.notes)
    return {_spelled(beats): counts[beats] for beats in sorted(counts, reverse=True)}


def _spelled(beats: Fraction) -> str:
    """Value on a lick sheet.

    >>> _spelled(Fraction(3, 2)), _spelled(Fraction(1, 3)), _spelled(Fraction(5, 4))
    ('q.', 'e3', 'q_s')
    """
    return "_".join(text for text, _ in spell_beats(beats))


def _techniques(lick: Lick) -> dict[str, int]:
    """Notes that are sounded or treated in some way, those that occur."""
    counts: Counter[str] = Counter()
    for note in lick.notes:
        counts.update(_treatments(note))
    return {name: counts[name] for name in TECHNIQUES if counts[name]}


def _treatments(note: LickNote) -> set[str]:
    """How one note is sounded and treated."""
    slid = note.slide_in is not None or note.slide_out is not None
    kind = None if note.bend is None else note.bend.kind
    told = {
        "hammer-ons": note.articulation is Articulation.HAMMER_ON,
        "pull-offs": note.articulation is Articulation.PULL_OFF,
        "slides": slid or note.articulation is Articulation.SLIDE,
        "bends": kind is not None,
        "prebends": kind in _BENT_BEFORE,
        "releases": kind in _RELEASED,
        "vibrato": note.vibrato,
        "ringing": note.let_ring,
        "dead": note.articulation is Articulation.DEAD,
        "plucked": note.stroke is not None and note.stroke not in ("down", "up"),
    }
    return {name for name, so in told.items() if so}


def _demands(lick: Lick, moves: tuple[Shift, ...], skips: int, bars: float) -> Demands:
    """What a lick asks for at its tempo."""
    onsets_s = lick.onsets_s()
    picked = [note.articulation in _PICKED for note in lick.notes]
    strokes_s = onsets_s[np.array(picked)]
    span_s = float(onsets_s[-1] - onsets_s[0])
    return Demands(
        tempo_bpm=lick.tempo_bpm,
        notes_per_s=(len(lick) - 1) / span_s if len(lick) > 1 else None,
        most_notes_per_s=_most_per_s(onsets_s.tolist()),
        most_strokes_per_s=_most_per_s(strokes_s.tolist()),
        skips_per_bar=skips / bars,
        shifts_per_bar=len(moves) / bars,
        stretch=widest_stretch(lick),
        quickest_shift=max(
            moves, key=lambda each: abs(each.frets) / each.seconds, default=None
        ),
    )


def _most_per_s(onsets_s: list[float]) -> float | None:
    """Where two of them lie closest, as so many a second."""
    gaps_s = [b - a for a, b in pairwise(onsets_s)]
    return 1 / min(gaps_s) if gaps_s else None
