"""How a lick is played: times, pitches, faults, all of them known."""

from __future__ import annotations

import itertools
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
from takes.invent import HIGHEST_FRET, HIGHEST_MIDI, LOWEST_MIDI

Generator = np.random.Generator
CURVE_STEP_S = 0.004
FLAT = np.zeros((1, 2))
SOUNDING = ("jump", "slide")  # slurs inside one sounding note
SHORTEST_ORNAMENT_S = 0.42


@dataclass(frozen=True)
class Manner:
    """The way a take is played.

    Attributes
    ----------
    jitter_ms : float
        Standard deviation of each onset.
    drift : float
        Relative change of the tempo over the lick, + slower.
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
    bend_error_cents : float
        Bends end up to this far from their target.
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
    bend_error_cents: float = 0.0


@dataclass
class Stroke:
    """One played note, before it sounds.

    Attributes
    ----------
    index : int or None
        0-based place in the lick; None for an extra note.
    onset_s, offset_s : float
        Seconds in the take.
    midi_number : int
    velocity : int
    articulation : str
        As in the truth file.
    curve : shape=(k, 2)
        Seconds after the onset and cents above `midi_number`.
    group : int or None
        Slurred group.
    slur : str
        ``jump`` (the pitch jumps inside a sounding note), ``soft`` (a quiet new
        attack) or ``slide``; empty outside slurred groups.
    facts : dict
        Further truth: bend and vibrato.
    """

    index: int | None
    onset_s: float
    offset_s: float
    midi_number: int
    velocity: int
    articulation: str = "pick"
    curve: FloatArray = field(default_factory=lambda: FLAT)
    group: int | None = None
    slur: str = ""
    facts: dict[str, Any] = field(default_factory=dict)


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
    choice = int(rng.choice(7, p=[0.24, 0.14, 0.1, 0.12, 0.2, 0.14, 0.06]))
    if choice == 4:
        return replace(note, vibrato=True)
    kinds = (BendKind.BEND, BendKind.BEND_RELEASE, BendKind.PREBEND)
    kinds += (BendKind.PREBEND_RELEASE, BendKind.BEND, BendKind.BEND, BendKind.PREBEND)
    target = float(rng.choice([50, 100, 200, 300], p=[0.15, 0.35, 0.42, 0.08]))
    return replace(note, bend=Bend(kinds[choice], target), vibrato=choice >= 5)


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
        velocity = int(
            rng.integers(manner.softest_velocity, manner.loudest_velocity + 1)
        )
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
            _bend(lick.notes[stroke.index], stroke, manner, rng)
    return strokes, faults


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
    gone = set()
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


def _rise(times_s: FloatArray, start_s: float, length_s: float) -> FloatArray:
    """From 0 to 1 along half a cosine."""
    return 0.5 * (1 - np.cos(np.pi * np.clip((times_s - start_s) / length_s, 0, 1)))


def _bend(note: LickNote, stroke: Stroke, manner: Manner, rng: Generator) -> None:
    """Give a stroke the pitch curve its note asks for."""
    length_s = stroke.offset_s - stroke.onset_s
    if note.midi_number != stroke.midi_number:
        return
    times_s = np.arange(0.0, length_s + 0.05, CURVE_STEP_S)
    cents = np.zeros_like(times_s)
    steady_s = 0.08
    if note.bend is not None and length_s >= 0.3:
        top = note.bend.target_cents + rng.uniform(-1, 1) * manner.bend_error_cents
        cents, steady_s, settled_s = _bent_curve(note.bend, top, times_s, length_s, rng)
        stroke.articulation = str(note.bend.kind)
        stroke.facts |= {
            "bend_target_cents": note.bend.target_cents,
            "bend_dev_cents": round(top - note.bend.target_cents, 2),
            "bend_plateau_cents": round(top, 2),
            "plateau_rel_s": [round(steady_s, 4), round(settled_s, 4)],
        }
        steady_s += 0.03
    if note.vibrato and length_s >= 0.3:
        cents = cents + _vibrato(stroke, times_s, steady_s, rng)
    if note.slide_in is not None or note.slide_out is not None:
        cents = cents + _slide_edges(note, times_s, length_s, rng)
        stroke.facts["slide_in"] = note.slide_in and str(note.slide_in)
        stroke.facts["slide_out"] = note.slide_out and str(note.slide_out)
    if np.any(cents):
        stroke.curve = np.stack([times_s, cents], axis=1)


def _bent_curve(
    bend: Bend, top: float, times_s: FloatArray, length_s: float, rng: Generator
) -> tuple[FloatArray, float, float]:
    """Curve of a bend of `top` cents, and where its plateau starts and ends."""
    start_s, rise_s = rng.uniform(0.03, 0.1), rng.uniform(0.06, 0.2)
    plateau_s, end_s = start_s + rise_s, length_s
    cents = top * _rise(times_s, start_s, rise_s)
    if bend.kind in (BendKind.PREBEND, BendKind.PREBEND_RELEASE):
        plateau_s, cents = 0.0, np.full_like(times_s, top)
    if bend.kind in (BendKind.BEND_RELEASE, BendKind.PREBEND_RELEASE):
        end_s = plateau_s + rng.uniform(0.35, 0.55) * (length_s - plateau_s)
        down_s = min(rng.uniform(0.06, 0.18), length_s - end_s)
        cents = cents - top * _rise(times_s, end_s, down_s)
    return cents, plateau_s, end_s


def _vibrato(
    stroke: Stroke, times_s: FloatArray, start_s: float, rng: Generator
) -> FloatArray:
    """Swing the pitch, and write down how."""
    rate_hz, depth_cents = rng.uniform(2, 8), rng.uniform(10, 80)
    if "bend_target_cents" not in stroke.facts:
        stroke.articulation = "vibrato"
    elif stroke.articulation == "bend":
        stroke.articulation = "bend_vibrato"
    stroke.facts |= {
        "vibrato_rate_hz": round(rate_hz, 3),
        "vibrato_depth_cents": round(depth_cents, 2),
        "vibrato_start_rel_s": round(start_s, 4),
    }
    swing = depth_cents * np.sin(2 * np.pi * rate_hz * (times_s - start_s))
    return swing * np.clip((times_s - start_s) / 0.08, 0, 1)


def _slide_edges(
    note: LickNote, times_s: FloatArray, length_s: float, rng: Generator
) -> FloatArray:
    """Come from, or go, a few frets away."""
    cents = np.zeros_like(times_s)
    if note.slide_in is not None:
        frets = min(int(rng.integers(2, 5)), note.fret)
        from_below = note.slide_in is SlideEdge.FROM_BELOW
        took_s = min(rng.uniform(0.04, 0.12), 0.4 * length_s)
        away = -frets if from_below else min(frets, HIGHEST_FRET - note.fret)
        cents += 100 * away * (1 - _frets(times_s / took_s, abs(away)))
    if note.slide_out is not None:
        frets = int(rng.integers(3, 8))
        down = note.slide_out is SlideEdge.DOWN
        away = -min(frets, note.fret) if down else min(frets, HIGHEST_FRET - note.fret)
        took_s = min(rng.uniform(0.1, 0.25), 0.5 * length_s)
        cents += 100 * away * _frets((times_s - length_s + took_s) / took_s, abs(away))
    return cents


def _frets(progress: FloatArray, frets: int) -> FloatArray:
    """From 0 to 1 over `frets` frets: mostly in steps, partly gliding."""
    steady = np.clip(progress, 0, 1)
    if frets == 0:
        return np.zeros_like(steady)
    return 0.7 * np.round(steady * frets) / frets + 0.3 * steady


def slur_curve(chain: list[Stroke], rng: Generator) -> FloatArray:
    """Pitch curve of a chain of slurred notes inside one sounding note.

    The pitch passes half way between two notes exactly at the later onset.
    """
    first = chain[0]
    points = [first.curve]
    level = 0.0
    for before, stroke in itertools.pairwise(chain):
        at_s = stroke.onset_s - first.onset_s
        step = 100.0 * (stroke.midi_number - before.midi_number)
        if stroke.slur == "slide":
            points.append(_slide_between(before, stroke, at_s, level, rng))
        else:
            half_s = float(rng.uniform(0.0005, 0.003))
            points.append(
                np.array([[at_s - half_s, level], [at_s + half_s, level + step]])
            )
        level += step
        tail = stroke.curve + np.array([at_s, level])
        points.append(tail[tail[:, 0] > points[-1][-1, 0]])
    return np.concatenate(points)


def _slide_between(
    before: Stroke, stroke: Stroke, at_s: float, level: float, rng: Generator
) -> FloatArray:
    """Frets passed on the way, the last of them reached at the onset."""
    frets = stroke.midi_number - before.midi_number
    room_s = stroke.onset_s - before.onset_s
    took_s = min(float(rng.uniform(0.03, 0.15)), 0.5 * room_s)
    fret_s = took_s / abs(frets)
    rows = []
    for k in range(abs(frets)):
        middle_s = at_s - (abs(frets) - 1 - k) * fret_s
        sign = 100.0 * np.sign(frets)
        half_s = min(0.002, fret_s / 4)
        rows += [
            [middle_s - half_s, level + sign * k],
            [middle_s + half_s, level + sign * (k + 1)],
        ]
    return np.array(rows)
