"""How the pitch of a played note moves: bends, vibrato, slides, slurs."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from assessor.lick.notation import Bend, BendKind, LickNote, SlideEdge
from assessor.tuning import FloatArray
from takes.invent import HIGHEST_FRET

Generator = np.random.Generator
CURVE_STEP_S = 0.004
FLAT = np.zeros((1, 2))
SOUNDING = ("jump", "slide")  # slurs inside one sounding note


@dataclass(frozen=True)
class Touch:
    """How bends and vibrato come out; each draws from its limits.

    Attributes
    ----------
    bend_off_cents : (float, float)
        Where a bend ends against its target, + sharp.
    rate_hz, depth_cents : (float, float)
        Of vibrato; depth is half the peak-to-peak swing.
    """

    bend_off_cents: tuple[float, float] = (0.0, 0.0)
    rate_hz: tuple[float, float] = (2.0, 8.0)
    depth_cents: tuple[float, float] = (10.0, 80.0)


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


def bend(note: LickNote, stroke: Stroke, touch: Touch, rng: Generator) -> None:
    """Give a stroke the pitch curve its note asks for.

    Parameters
    ----------
    note : LickNote
    stroke : Stroke
        Gets the curve, and the facts of its bend and vibrato.
    touch : Touch
    rng : numpy.random.Generator
    """
    length_s = stroke.offset_s - stroke.onset_s
    if note.midi_number != stroke.midi_number:
        return
    times_s = np.arange(0.0, length_s + 0.05, CURVE_STEP_S)
    cents = np.zeros_like(times_s)
    steady_s = 0.08
    if note.bend is not None and length_s >= 0.3:
        top = note.bend.target_cents + rng.uniform(*touch.bend_off_cents)
        cents, steady_s, settled_s = _bent_curve(
            note.bend, top, times_s, length_s=length_s, rng=rng
        )
        stroke.articulation = str(note.bend.kind)
        stroke.facts |= {
            "bend_target_cents": note.bend.target_cents,
            "bend_dev_cents": round(top - note.bend.target_cents, 2),
            "bend_plateau_cents": round(top, 2),
            "plateau_rel_s": [round(steady_s, 4), round(settled_s, 4)],
        }
        steady_s += 0.03
    if note.vibrato and length_s >= 0.3:
        rate_hz, depth_cents = (
            float(rng.uniform(*limits)) for limits in (touch.rate_hz, touch.depth_cents)
        )
        stroke.facts |= {
            "vibrato_rate_hz": round(rate_hz, 3),
            "vibrato_depth_cents": round(depth_cents, 2),
            "vibrato_start_rel_s": round(steady_s, 4),
        }
        if note.bend is None:
            stroke.articulation = "vibrato"
        elif stroke.articulation == "bend":
            stroke.articulation = "bend_vibrato"
        swing = depth_cents * np.sin(2 * np.pi * rate_hz * (times_s - steady_s))
        cents = cents + swing * np.clip((times_s - steady_s) / 0.08, 0, 1)
    if note.slide_in is not None or note.slide_out is not None:
        cents = cents + _slide_edges(note, times_s, length_s, rng)
        stroke.facts["slide_in"] = note.slide_in and str(note.slide_in)
        stroke.facts["slide_out"] = note.slide_out and str(note.slide_out)
    if np.any(cents):
        stroke.curve = np.stack([times_s, cents], axis=1)


def _rise(times_s: FloatArray, start_s: float, length_s: float) -> FloatArray:
    """From 0 to 1 along half a cosine."""
    progress = np.clip((times_s - start_s) / length_s, 0, 1)
    return np.asarray(0.5 * (1 - np.cos(np.pi * progress)))


def _bent_curve(
    bend: Bend, top: float, times_s: FloatArray, *, length_s: float, rng: Generator
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
            points.append(_slide_between(before, stroke, at_s, level=level, rng=rng))
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
    before: Stroke, stroke: Stroke, at_s: float, *, level: float, rng: Generator
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
