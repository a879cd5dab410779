"""How a lick is played: times, pitches, faults, all of them known."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from assessor.lick.notation import (
    Articulation,
    Bend,
    BendKind,
    Lick,
    LickNote,
    SlideEdge,
)
from assessor.tuning import FloatArray
from takes.curves import Stroke, Touch, bend
from takes.invent import HIGHEST_MIDI, LOWEST_MIDI

Generator = np.random.Generator
SHORTEST_ORNAMENT_S = 0.42
LONGEST_RING_S = 2.5


@dataclass(frozen=True)
class Manner:
    """The way a take is played.

    Attributes
    ----------
    jitter_ms : float
        Standard deviation of each onset.
    drift : float
        Relative change of the tempo over the lick, + faster.
    tempo_ratio : float
        Played over written tempo.
    softest_velocity, loudest_velocity : int
        Range the notes are drawn from.
    wrong, missed, extra : float
        Share of the notes with that fault.
    ring : float
        Share of the notes that ring over the following ones.
    detached : float
        Share of the notes that are cut short.
    slur_unevenness : float
        Largest shift of a slurred note, share of the inter-onset interval.
    touch : Touch
    accent : int
        Velocity added on the beat and taken off between.
    """

    jitter_ms: float = 4.0
    drift: float = 0.0
    tempo_ratio: float = 1.0
    softest_velocity: int = 90
    loudest_velocity: int = 110
    wrong: float = 0.0
    missed: float = 0.0
    extra: float = 0.0
    ring: float = 0.0
    detached: float = 0.0
    slur_unevenness: float = 0.0
    touch: Touch = field(default_factory=Touch)
    accent: int = 0


@dataclass
class Faults:
    """What was done wrong on purpose, in the form of the truth file."""

    wrong: list[dict[str, Any]] = field(default_factory=list)
    missed: list[dict[str, Any]] = field(default_factory=list)
    extra: list[dict[str, Any]] = field(default_factory=list)


def ornament(lick: Lick, rng: Generator, *, bends: bool, slides: bool) -> Lick:
    """Write bends and vibrato, or slides from and to nowhere, on long notes."""
    written_s = (lick.ends_s() - lick.onsets_s()).tolist()
    notes = list(lick.notes)
    for i, note in enumerate(notes):
        held = note.articulation is Articulation.PICK and (
            i + 1 == len(notes) or not notes[i + 1].slurred
        )
        if not held or rng.random() < 0.35:
            continue
        if bends and written_s[i] >= SHORTEST_ORNAMENT_S and note.fret > 0:
            notes[i] = _bent(note, rng)
        elif slides and written_s[i] >= 0.25 and note.fret >= 4:
            notes[i] = _slid(note, rng)
    return replace(lick, notes=tuple(notes))


def _bent(note: LickNote, rng: Generator) -> LickNote:
    """Write a bend, a vibrato, or both."""
    # Bends, releases, pre-bends; then vibrato alone; then bends with vibrato.
    kinds = (*BendKind, None, BendKind.BEND, BendKind.PREBEND)
    choice = int(rng.choice(7, p=[0.24, 0.14, 0.1, 0.12, 0.2, 0.14, 0.06]))
    kind = kinds[choice]
    if kind is None:
        return replace(note, vibrato=True)
    target = float(rng.choice([50, 100, 200, 300], p=[0.15, 0.35, 0.42, 0.08]))
    return replace(note, bend=Bend(kind, target), vibrato=choice >= 5)


def _slid(note: LickNote, rng: Generator) -> LickNote:
    """Write a slide in, out, or both."""
    choice = int(rng.integers(3))
    if choice != 1:
        edge = SlideEdge.FROM_BELOW if rng.random() < 0.7 else SlideEdge.FROM_ABOVE
        note = replace(note, slide_in=edge)
    if choice != 0:
        down = rng.random() < 0.7
        note = replace(note, slide_out=SlideEdge.DOWN if down else SlideEdge.UP)
    return note


def play(
    lick: Lick, manner: Manner, rng: Generator, start_s: float
) -> tuple[list[Stroke], Faults]:
    """Play a lick once.

    Returns
    -------
    strokes : list of Stroke
        In order of time.
    faults : Faults
    """
    onsets_s = _times(lick, manner, rng) + start_s
    lengths_s = (lick.ends_s() - lick.onsets_s()) / manner.tempo_ratio
    strokes = []
    for i, note in enumerate(lick.notes):
        offset_s = onsets_s[i] + lengths_s[i]
        if i + 1 < len(lick):
            legato = note.end_beats == lick.notes[i + 1].onset_beats
            offset_s = onsets_s[i + 1] if legato else min(offset_s, onsets_s[i + 1])
        if note.let_ring:
            offset_s = _ring_end_s(lick, i, onsets_s)
        velocity = int(
            rng.integers(manner.softest_velocity, manner.loudest_velocity + 1)
        )
        on_beat = note.onset_beats.denominator == 1
        velocity += manner.accent if on_beat else -manner.accent
        name = str(note.articulation)
        strokes.append(
            Stroke(
                i, float(onsets_s[i]), float(offset_s), note.midi_number, velocity, name
            )
        )
    _slur(lick, strokes, manner, rng)
    _lengths(strokes, manner, rng)
    strokes, faults = _err(strokes, manner, rng)
    for stroke in strokes:
        if stroke.index is not None:
            bend(lick.notes[stroke.index], stroke, manner.touch, rng)
    return strokes, faults


def _ring_end_s(lick: Lick, index: int, onsets_s: FloatArray) -> float:
    """When a note that rings on is stopped: by the next one on its string."""
    string, longest_s = lick.notes[index].string, onsets_s[index] + LONGEST_RING_S
    after = range(index + 1, len(lick))
    same = (onsets_s[k] for k in after if lick.notes[k].string == string)
    return float(min(next(same, longest_s), longest_s))


def _times(lick: Lick, manner: Manner, rng: Generator) -> FloatArray:
    """Played onsets from the start of the pass, never closer than 40 ms."""
    written_s = lick.onsets_s() / manner.tempo_ratio
    last_s = max(float(written_s[-1]), 1e-9)
    if manner.drift:
        stretch = np.log1p(manner.drift * written_s / last_s) / manner.drift
        written_s = last_s * stretch
    limit = 2.5 * manner.jitter_ms
    jitter_ms = np.clip(rng.normal(0, manner.jitter_ms, len(lick)), -limit, limit)
    onsets_s = written_s + jitter_ms / 1000
    for i in range(1, len(onsets_s)):
        onsets_s[i] = max(onsets_s[i], onsets_s[i - 1] + 0.04)
    return onsets_s - min(0.0, float(onsets_s[0]))


def _slur(lick: Lick, strokes: list[Stroke], manner: Manner, rng: Generator) -> None:
    """Join slurred notes into groups and make them uneven."""
    group = -1
    for i in range(1, len(strokes)):
        note, stroke, before = lick.notes[i], strokes[i], strokes[i - 1]
        if not note.slurred:
            continue
        if before.group is None:
            group += 1
            before.group, before.slur = group, str(rng.choice(["jump", "soft"]))
        stroke.group, stroke.slur = before.group, before.slur
        if note.articulation is Articulation.SLIDE:
            stroke.slur = "slide"
        elif before.slur == "slide":
            stroke.slur = "jump"
        shift = rng.uniform(-1, 1) * manner.slur_unevenness
        moved_s = stroke.onset_s + shift * (stroke.onset_s - before.onset_s)
        latest_s = strokes[i + 1].onset_s - 0.05 if i + 1 < len(strokes) else np.inf
        stroke.onset_s = max(min(moved_s, latest_s), before.onset_s + 0.06)
        before.offset_s = stroke.onset_s
        if i + 1 < len(strokes) and stroke.onset_s > strokes[i + 1].onset_s - 0.05:
            strokes[i + 1].onset_s = stroke.onset_s + 0.05
            stroke.offset_s = strokes[i + 1].onset_s
        if stroke.slur == "soft":
            stroke.velocity = int(rng.integers(40, 60))


def _lengths(strokes: list[Stroke], manner: Manner, rng: Generator) -> None:
    """Let notes ring over the next ones, or cut them short."""
    for i, stroke in enumerate(strokes[:-1]):
        after = strokes[i + 1]
        if after.group is not None and after.group == stroke.group:
            continue
        length_s = stroke.offset_s - stroke.onset_s
        if rng.random() < manner.ring and stroke.midi_number != after.midi_number:
            again_s = (
                s.onset_s
                for s in strokes[i + 1 :]
                if s.midi_number == stroke.midi_number
            )
            ring_s = float(
                rng.choice(
                    [rng.uniform(0.05, 0.4), rng.uniform(0.3, 1.2)], p=[0.75, 0.25]
                )
            )
            stroke.offset_s = min(after.onset_s + ring_s, min(again_s, default=np.inf))
        elif rng.random() < manner.detached and length_s > 0.12:
            stroke.offset_s = stroke.onset_s + length_s * float(rng.uniform(0.35, 0.9))


def _err(
    strokes: list[Stroke], manner: Manner, rng: Generator
) -> tuple[list[Stroke], Faults]:
    """Play wrong notes, leave some out, add some; never two side by side."""
    faults = Faults()
    places = _apart(strokes, rng)
    counts = [
        min(int(np.ceil(share * len(strokes))), 6)
        for share in (manner.wrong, manner.missed, manner.extra)
    ]
    for i in places[: counts[0]]:
        _wrong(strokes[i], faults, rng)
    used = counts[0]
    gone: set[int] = set()
    for i in places[used:]:
        pitch = strokes[i].midi_number
        around = (strokes[i - 1].midi_number, strokes[i + 1].midi_number)
        if len(gone) < counts[1] and pitch not in around:
            gone.add(i)
            faults.missed.append({"expected_index": i})
    rest = [i for i in places[used:] if i not in gone][: counts[2]]
    added = [_extra(strokes, i, faults, rng) for i in rest]
    kept = [s for i, s in enumerate(strokes) if i not in gone]
    kept += [s for s in added if s is not None]
    kept.sort(key=lambda s: s.onset_s)
    return kept, faults


def _apart(strokes: list[Stroke], rng: Generator) -> list[int]:
    """Places inside the lick for faults, in random order, no two adjacent."""
    places: list[int] = []
    for i in rng.permutation(np.arange(1, len(strokes) - 1)).tolist():
        plain = strokes[i].group is None and strokes[i + 1].group is None
        if plain and all(abs(i - j) > 1 for j in places):
            places.append(i)
    return places


def _wrong(stroke: Stroke, faults: Faults, rng: Generator) -> None:
    """Play another pitch."""
    size = int(
        rng.choice([1, 2, 3, 4, 5, 7, 12], p=[0.34, 0.26, 0.06, 0.08, 0.16, 0.04, 0.06])
    )
    step = size * int(rng.choice([-1, 1]))
    if not LOWEST_MIDI <= stroke.midi_number + step <= HIGHEST_MIDI:
        step = -step
    stroke.midi_number += step
    faults.wrong.append(
        {
            "expected_index": stroke.index,
            "played_midi": stroke.midi_number,
            "semitones": step,
        }
    )


def _extra(
    strokes: list[Stroke], i: int, faults: Faults, rng: Generator
) -> Stroke | None:
    """Put a note between note `i` and the next; None where there is no room."""
    here, after = strokes[i], strokes[i + 1]
    gap_s = after.onset_s - here.onset_s
    if gap_s < 0.09:
        return None
    share = 0.5 if gap_s < 0.15 else float(rng.uniform(0.35, 0.65))
    onset_s = here.onset_s + share * gap_s
    choices = [
        here.midi_number + d
        for d in (-7, -5, -4, -3, -2, -1, 1, 2, 3, 4, 5, 7)
        if LOWEST_MIDI <= here.midi_number + d <= HIGHEST_MIDI
        and here.midi_number + d != after.midi_number
    ]
    midi_number = int(rng.choice(choices))
    here.offset_s = min(here.offset_s, onset_s)
    faults.extra.append(
        {
            "time_s": onset_s,
            "played_midi": midi_number,
            "after_expected_index": here.index,
        }
    )
    velocity = int(rng.integers(60, 110))
    return Stroke(None, onset_s, after.onset_s, midi_number, velocity)
