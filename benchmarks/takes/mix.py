"""A played lick and single notes become one take, with its truth."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from scipy import signal

from assessor.lick.notation import Lick, LickNote
from assessor.tuning import FloatArray
from takes import hand as hands
from takes.curves import SOUNDING, Stroke, slur_curve
from takes.degrade import PEAK
from takes.measure import SAMPLE_RATE_HZ, energy_rise
from takes.play import Faults
from takes.sounds import LEAD_S, RecordedGuitar, SampledGuitar, Source, Wanted, sound

Generator = np.random.Generator
SOFT_OVERLAP_S = 0.018  # a soft slur fades the note before out under its attack
AUDIBLE_DB = 40.0  # below the loudest 20 ms of the take


@dataclass(frozen=True)
class Plan:
    """Everything decided about a take before it sounds.

    Attributes
    ----------
    name, kind : str
    lick : Lick
    passes : tuple of list of Stroke
        One for each run through the lick.
    judged : int
        The pass the truth's ``performed`` and ``injected`` speak of.
    faults : Faults
        Of the judged pass.
    program : str
        Key of `PROGRAMS`, or the recorded guitar's name.
    tuning_cents : float
    hand : Hand
    landings_s : tuple of float
        When the pick landed on a sounding string.
    fade_s : float
        How fast a stopped note dies.
    """

    name: str
    kind: str
    lick: Lick
    passes: tuple[list[Stroke], ...]
    judged: int
    faults: Faults
    program: str
    tuning_cents: float = 0.0
    hand: hands.Hand = field(default_factory=hands.Hand)
    landings_s: tuple[float, ...] = ()
    fade_s: float = 0.012


@dataclass
class Placed:
    """A stroke on the take's time line, measured."""

    stroke: Stroke
    onset_s: float
    offset_s: float
    origin_s: float
    key: str
    level: FloatArray
    level_start: int
    attack_window_ms: list[float] | None


def land_pick(
    strokes: list[Stroke], hand: hands.Hand, rng: Generator
) -> tuple[float, ...]:
    """Let the pick land on sounding strings shortly before it plucks them."""
    earliest_s, latest_s = rng.uniform(0.006, 0.02), rng.uniform(0.02, 0.075)
    landings = []
    for before, stroke in itertools.pairwise(strokes):
        room_s = stroke.onset_s - before.onset_s
        slurred = stroke.articulation in ("hammer_on", "pull_off", "slide")
        if slurred or room_s < 0.11 or rng.random() >= hand.landing:
            continue
        at_s = stroke.onset_s - float(rng.uniform(earliest_s, latest_s))
        landings.append(at_s)
        if before.offset_s <= stroke.onset_s + 1e-6:
            before.offset_s = min(before.offset_s, at_s)
    return tuple(landings)


def chains(strokes: Sequence[Stroke]) -> list[list[Stroke]]:
    """Group the strokes that share one sounding note."""
    out: list[list[Stroke]] = []
    for stroke in strokes:
        before = out[-1][-1] if out else None
        joined = (
            before is not None
            and stroke.group is not None
            and stroke.group == before.group
            and stroke.slur in SOUNDING
        )
        if joined:
            out[-1].append(stroke)
        else:
            out.append([stroke])
    return out


def _seconds(plan: Plan, chain: Sequence[Stroke]) -> float:
    """How long a chain sounds."""
    last = chain[-1]
    seconds = last.offset_s - chain[0].onset_s
    followed = last.group is not None and any(
        s.group == last.group and s.onset_s > last.onset_s
        for strokes in plan.passes
        if last in strokes
        for s in strokes
    )
    return max(seconds + (SOFT_OVERLAP_S if followed else 0.0), 0.03)


def wanted(plan: Plan) -> list[Wanted]:
    """List the single notes a plan needs, chain by chain, pass by pass."""
    out = []
    for strokes in plan.passes:
        for chain in chains(strokes):
            first = chain[0]
            highest = max(s.midi_number for s in chain) - first.midi_number
            top = max(100.0 * highest, float(first.curve[:, 1].max()), 0.0)
            seconds = _seconds(plan, chain) * 2 ** (top / 1200) + 0.1
            slurred = first.articulation in ("hammer_on", "pull_off")
            out.append(
                Wanted(
                    first.midi_number,
                    first.velocity,
                    seconds,
                    plan.program,
                    slurred,
                    plan.tuning_cents,
                )
            )
    return out


def mix(
    plan: Plan,
    sources: Sequence[Source],
    guitar: SampledGuitar | RecordedGuitar,
    rng: Generator,
) -> tuple[FloatArray, dict[str, Any]]:
    """Sound a plan.

    Parameters
    ----------
    plan : Plan
    sources : sequence of Source
        One for each of `wanted`.
    guitar : SampledGuitar or RecordedGuitar
        Where they come from.
    rng : numpy.random.Generator

    Returns
    -------
    samples : shape=(n,)
    truth : dict
        In the form of the truth file.
    """
    last_s = max(s.offset_s for strokes in plan.passes for s in strokes)
    count = int((last_s + float(rng.choice([0.4, 0.6, 1.2]))) * SAMPLE_RATE_HZ)
    samples = np.zeros(count + SAMPLE_RATE_HZ)
    recorded = isinstance(guitar, RecordedGuitar)
    passes, stock = [], iter(sources)
    for strokes in plan.passes:
        placed: list[Placed] = []
        for chain in chains(strokes):
            source = next(stock)
            stem = _stem(plan, chain, source, rng, recorded=recorded)
            placed += _place(plan, chain, stem, samples)
        passes.append(placed)
    damped = [s for _, s in guitar.damped] if isinstance(guitar, RecordedGuitar) else []
    moments = [hands.Moment(p.onset_s, p.offset_s) for placed in passes for p in placed]
    samples = samples[:count]
    noises = hands.add_noise(
        samples, moments, plan.landings_s, plan.hand, rng=rng, damped=damped
    )
    samples = samples * (PEAK / np.abs(samples).max())
    return samples, _truth(plan, passes, guitar, noises)


@dataclass(frozen=True)
class Stem:
    """A chain of notes as it sounds, with its onset `LEAD_S` in."""

    samples: FloatArray
    key: str  # of its detune curve


def _stem(
    plan: Plan,
    chain: Sequence[Stroke],
    source: Source,
    rng: Generator,
    *,
    recorded: bool,
) -> Stem:
    """Sound a chain of notes alone."""
    first, seconds = chain[0], _seconds(plan, chain)
    curve = slur_curve(list(chain), rng)
    cents = 100.0 * first.midi_number + plan.tuning_cents
    samples = sound(source, seconds, curve, cents)
    if recorded:  # a sound font follows the velocity by itself
        samples *= (first.velocity / 110) ** 2
    if first.articulation in ("hammer_on", "pull_off") and rng.random() < 0.6:
        # Slurred notes are duller: hammered ones have about 14 dB less above 4 kHz.
        corner_hz = float(rng.uniform(900, 5000))
        sos = signal.butter(1, corner_hz, fs=SAMPLE_RATE_HZ, output="sos")
        samples = signal.sosfilt(sos, samples)
    for stroke in chain[1:]:
        _strike(samples, stroke.onset_s - first.onset_s, rng)
    return Stem(samples, source.key)


def _strike(samples: FloatArray, at_s: float, rng: Generator) -> None:
    """Let a finger change the level, or knock, where the pitch jumps."""
    start = int((LEAD_S + at_s) * SAMPLE_RATE_HZ)
    if start + 400 > len(samples):
        return
    if rng.random() < 0.5:
        gain = 10 ** (rng.uniform(-5, 3) / 20)
        width = rng.uniform(0.003, 0.02) * SAMPLE_RATE_HZ
        samples[start:] *= 1 + (gain - 1) * np.minimum(
            np.arange(len(samples) - start) / width, 1
        )
    if rng.random() < 0.3:
        around = float(np.abs(samples[max(start - 1000, 0) : start]).max())
        noise = hands.burst(rng, 0.006, 400, 5000, decaying=True)[:400]
        samples[start : start + len(noise)] += noise * around * rng.uniform(0.03, 0.2)


def _place(
    plan: Plan,
    chain: Sequence[Stroke],
    stem: Stem,
    samples: FloatArray,
) -> list[Placed]:
    """Put a stem so that its energy rises exactly at the intended time."""
    first, alone = chain[0], stem.samples
    rise_s = energy_rise(alone, LEAD_S, 10.0)
    if rise_s is None:
        message = f"{plan.name}: a note of the take is silent"
        raise ValueError(message)
    window_ms = [
        round(1000 * ((energy_rise(alone, LEAD_S, drop) or 0.0) - rise_s), 2)
        for drop in (20.0, 6.0)
    ]
    fade = min(int(plan.fade_s * SAMPLE_RATE_HZ), len(alone))
    alone[len(alone) - fade :] *= 0.5 * (1 + np.cos(np.pi * np.arange(fade) / fade))
    start = round((first.onset_s - rise_s - LEAD_S) * SAMPLE_RATE_HZ)
    cut = max(0, -start)
    alone = alone[cut : len(samples) - start]
    samples[start + cut : start + cut + len(alone)] += alone
    origin_s = first.onset_s - rise_s
    level = _level(alone)
    out = []
    for stroke in chain:
        own = stroke is first
        moved_s = 0.0 if own else -rise_s
        onset_s = stroke.onset_s + moved_s
        end_s = (
            origin_s + _seconds(plan, chain)
            if stroke is chain[-1]
            else stroke.offset_s - rise_s
        )
        window = window_ms if own else None
        out.append(
            Placed(
                stroke, onset_s, end_s, origin_s, stem.key, level, start + cut, window
            )
        )
    return out


def _level(samples: FloatArray) -> FloatArray:
    """Effective value over the 20 ms before each sample."""
    width = int(0.02 * SAMPLE_RATE_HZ)
    summed = np.cumsum(np.concatenate([np.zeros(width), samples**2]))
    return np.asarray(np.sqrt(np.maximum(summed[width:] - summed[:-width], 0) / width))


def _truth(
    plan: Plan,
    passes: Sequence[Sequence[Placed]],
    guitar: SampledGuitar | RecordedGuitar,
    noises: list[dict[str, Any]],
) -> dict[str, Any]:
    """Write down what was played."""
    lick = plan.lick
    loudest = max(float(p.level.max()) for placed in passes for p in placed)
    floor = loudest * 10 ** (-AUDIBLE_DB / 20)
    performed = [[_performed(p, floor) for p in placed] for placed in passes]
    for notes in performed:
        notes.sort(key=lambda n: float(n["onset_s"]))
    judged = performed[plan.judged]
    truth: dict[str, Any] = {
        "take": plan.name,
        "lick": lick.title,
        "kind": plan.kind,
        "degradation": "none",
        "soundfont": guitar.name,
        "program": plan.program,
        "bpm": lick.tempo_bpm,
        "t0_s": judged[0]["onset_s"],
        "tuning_cents": plan.tuning_cents,
        "sample_rate": SAMPLE_RATE_HZ,
        "expected": [_expected(lick, i) for i in range(len(lick))],
        "performed": judged,
        "injected": vars(plan.faults),
        "hand_noise": noises,
    }
    if len(passes) > 1:
        truth["passes"] = [
            {
                "complete": notes[-1]["expected_index"] == len(lick) - 1,
                "performed": notes,
            }
            for notes in performed
        ]
        truth["judged_pass"] = plan.judged
    return truth


def _performed(placed: Placed, floor: float) -> dict[str, Any]:
    """Write down one played note."""
    stroke = placed.stroke
    first, last = (
        int(t * SAMPLE_RATE_HZ) - placed.level_start
        for t in (placed.onset_s, placed.offset_s)
    )
    loud = np.flatnonzero(placed.level[max(first, 0) : max(last, 1)] > floor)
    heard_s = float(loud[-1]) / SAMPLE_RATE_HZ if len(loud) else 0.0
    note: dict[str, Any] = {
        "expected_index": stroke.index,
        "onset_s": round(placed.onset_s, 5),
        "offset_s": round(placed.offset_s, 5),
        "audible_until_s": round(placed.onset_s + heard_s, 5),
        "midi": stroke.midi_number,
        "velocity": stroke.velocity,
        "articulation": stroke.articulation,
        "sample_key": placed.key,
        "curve_origin_s": round(placed.origin_s, 5),
    }
    if placed.attack_window_ms is not None:
        note["attack_window_ms"] = placed.attack_window_ms
    if stroke.group is not None:
        mode = {"jump": "bendjump"}.get(stroke.slur, stroke.slur)
        note |= {"legato_group": stroke.group, "legato_mode": mode}
    if len(stroke.curve) > 1:
        note["pitch_curve"] = np.round(stroke.curve, 4).tolist()
    return note | stroke.facts


def _expected(lick: Lick, index: int) -> dict[str, Any]:
    """Write down one written note."""
    note = lick.notes[index]
    onset_s, end_s = lick.seconds(note.onset_beats), lick.seconds(note.end_beats)
    out: dict[str, Any] = {
        "index": index,
        "beat": round(float(note.onset_beats), 5),
        "beats": round(float(note.duration_beats), 5),
        "onset_rel_s": round(onset_s, 5),
        "dur_s": round(end_s - onset_s, 5),
        "midi": note.midi_number,
        "string": note.string,
        "fret": note.fret,
    }
    technique = _technique(note)
    if technique != "pick":
        out["technique"] = technique
    if note.bend is not None:
        out["bend_target_cents"] = note.bend.target_cents
    return out


def _technique(note: LickNote) -> str:
    """Name what the lick asks for in one word."""
    if note.bend is not None:
        bent = str(note.bend.kind)
        return "bend_vibrato" if note.vibrato and bent == "bend" else bent
    return "vibrato" if note.vibrato else str(note.articulation)
