"""What hands do to strings besides playing notes: ticks, squeaks, buzz, sympathy.

None of these is a note; all of them are in a real take.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import astuple, dataclass, replace
from typing import Any

import numpy as np
from scipy import signal

from assessor.tuning import STANDARD, FloatArray, midi_to_hz
from takes.degrade import syllable
from takes.measure import SAMPLE_RATE_HZ
from takes.sounds import Source

Generator = np.random.Generator
COUNT_INS = ("click", "talk")
NOISES = (
    "none",
    "landing",
    "lift",
    "squeak",
    "sympathy",
    "handling",
    "muffled",
    "buzz",
    "scrape",
    "count-in-click",
    "count-in-talk",
)


@dataclass(frozen=True)
class Hand:
    """How noisy the hands are; shares of the notes, or events a second.

    Attributes
    ----------
    landing : float
        Share of the picked notes before which the pick lands on the string.
    lift : float
        Share of the notes after which a finger lifts with a noise.
    squeak : float
        Share of the notes after which a finger slides along a wound string.
    sympathy : float
        Share of the notes that set an open string going, very softly.
    handling_per_s : float
        Knocks and rubs anywhere.
    muffled : float
        Share of the notes after which a damped string is hit: a thud, no note.
    buzz : float
        Share of the notes whose string rattles on a fret.
    scrapes_per_s : float
        The pick's edge drawn along a wound string.
    count_in : str
        ``click`` or ``talk`` before the first note; empty for none.
    """

    landing: float = 0.0
    lift: float = 0.0
    squeak: float = 0.0
    sympathy: float = 0.0
    handling_per_s: float = 0.0
    muffled: float = 0.0
    buzz: float = 0.0
    scrapes_per_s: float = 0.0
    count_in: str = ""


def draw_hand(rng: Generator) -> Hand:
    """Draw clean hands (one in four) or noisy ones."""
    if rng.random() < 0.25:
        return Hand()
    landing, lift, squeak, sympathy = (
        float(rng.uniform(0.1, 0.9)) if rng.random() < p else 0.0
        for p in (0.6, 0.5, 0.35, 0.4)
    )
    handling = float(rng.uniform(0.2, 2.5)) if rng.random() < 0.4 else 0.0
    muffled = float(rng.uniform(0.03, 0.3)) if rng.random() < 0.25 else 0.0
    buzz = float(rng.uniform(0.1, 0.6)) if rng.random() < 0.25 else 0.0
    scrapes = float(rng.uniform(0.1, 0.6)) if rng.random() < 0.2 else 0.0
    count_in = str(rng.choice(COUNT_INS)) if rng.random() < 0.3 else ""
    return Hand(
        landing,
        lift,
        0.3 * squeak,
        sympathy,
        handling,
        muffled,
        buzz,
        scrapes,
        count_in,
    )


def only_hand(what: str) -> Hand:
    """Hands that make plenty of one kind of noise, one of `NOISES`."""
    if what == "none":
        return Hand()
    if what.startswith("count-in"):
        return Hand(count_in=what.removeprefix("count-in-"))
    plenty = {"handling": 2.0, "scrape": 0.6, "muffled": 0.25, "squeak": 0.3}
    field = {"handling": "handling_per_s", "scrape": "scrapes_per_s"}.get(what, what)
    return replace(Hand(), **{field: plenty.get(what, 0.6)})


def _log_uniform(rng: Generator, low: float, high: float) -> float:
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def burst(
    rng: Generator, seconds: float, low_hz: float, high_hz: float, *, decaying: bool
) -> FloatArray:
    """Noise in a random band, dying away or swelling; 1 at its peak."""
    count = max(int(seconds * SAMPLE_RATE_HZ), 16)
    middle_hz = _log_uniform(rng, low_hz, high_hz)
    band = [0.6 * middle_hz, min(1.7 * middle_hz, 0.45 * SAMPLE_RATE_HZ)]
    shape = (
        np.exp(-np.linspace(0, rng.uniform(2, 6), count))
        if decaying
        else np.hanning(count)
    )
    noise = np.concatenate([rng.normal(size=count) * shape, np.zeros(256)])
    sos = signal.butter(1, band, "band", fs=SAMPLE_RATE_HZ, output="sos")
    filtered = signal.sosfilt(sos, noise)
    return np.asarray(filtered / (np.abs(filtered).max() + 1e-12))


def knock(rng: Generator, damped: Sequence[Source]) -> FloatArray:
    """Return the start of a damped note, filtered, or a synthetic one."""
    if not damped or rng.random() < 0.4:
        return burst(rng, _log_uniform(rng, 0.002, 0.03), 150, 5000, decaying=True)
    source = damped[int(rng.integers(len(damped)))]
    count = int(_log_uniform(rng, 0.004, 0.04) * SAMPLE_RATE_HZ)
    start = max(source.onset_sample - count // 4, 0)
    piece = source.samples[start : start + count]
    # High-pass, or the knock has the pitch of the damped string.
    sos = signal.butter(
        2, _log_uniform(rng, 600, 3000), "high", fs=SAMPLE_RATE_HZ, output="sos"
    )
    cut = signal.sosfilt(sos, piece * np.hanning(len(piece)))
    return np.asarray(cut / (np.abs(cut).max() + 1e-12))


def squeak(rng: Generator) -> FloatArray:
    """Draw a finger along a wound string: a rising or falling whistle in noise."""
    count = int(rng.uniform(0.03, 0.16) * SAMPLE_RATE_HZ)
    sweep_hz = np.geomspace(rng.uniform(800, 2500), rng.uniform(800, 4000), count)
    phase = 2 * np.pi * np.cumsum(sweep_hz) / SAMPLE_RATE_HZ
    tone = np.sin(phase + 0.8 * np.cumsum(rng.normal(0, 0.15, count)))
    noise = rng.normal(0, rng.uniform(0.2, 0.8), count)
    out = (tone + noise) * np.hanning(count)
    return np.asarray(out / np.abs(out).max())


def sympathy(rng: Generator) -> FloatArray:
    """Draw an open string that answers: a soft tone, slow to come and to go."""
    midi = int(rng.choice(STANDARD.open_midi))
    count = int(rng.uniform(0.3, 1.5) * SAMPLE_RATE_HZ)
    times_s = np.arange(count) / SAMPLE_RATE_HZ
    out = np.zeros(count)
    for partial in range(1, int(rng.integers(3, 7))):
        f0_hz = partial * midi_to_hz(midi + rng.normal(0, 0.04))
        decay = np.exp(-times_s * rng.uniform(1, 4))
        wave = np.sin(2 * np.pi * f0_hz * times_s + rng.uniform(0, 2 * np.pi))
        out += rng.uniform(0.1, 1) / partial * decay * wave
    rise = np.minimum(times_s / rng.uniform(0.02, 0.15), 1)
    fall = np.minimum((times_s[-1] - times_s) / 0.08, 1)
    out *= rise * fall
    return np.asarray(out / (np.abs(out).max() + 1e-12))


def thud(rng: Generator, damped: Sequence[Source]) -> FloatArray:
    """Hit a damped string: a real one where there is one, else a dull burst."""
    if not damped or rng.random() < 0.3:
        dull = burst(rng, rng.uniform(0.02, 0.09), 90, 900, decaying=True)
        pick = burst(rng, rng.uniform(0.003, 0.01), 1500, 6000, decaying=True)
        dull[: len(pick)] += rng.uniform(0.1, 0.7) * pick[: len(dull)]
        return np.asarray(dull / np.abs(dull).max())
    source = damped[int(rng.integers(len(damped)))]
    start = max(source.onset_sample - 100, 0)
    piece = source.samples[start : start + int(0.12 * SAMPLE_RATE_HZ)]
    fade = np.minimum(np.linspace(4, 0, len(piece)), 1)
    return np.asarray(piece * fade / (np.abs(piece).max() + 1e-12))


def scrape(rng: Generator) -> FloatArray:
    """Draw the pick's edge along the windings: clicks ever faster or slower."""
    count = int(rng.uniform(0.1, 0.5) * SAMPLE_RATE_HZ)
    clicks_hz = np.geomspace(rng.uniform(60, 500), rng.uniform(200, 1500), count)
    turns = np.cumsum(clicks_hz) / SAMPLE_RATE_HZ
    train = (np.diff(np.floor(turns), prepend=0.0) > 0) * rng.uniform(0.4, 1, count)
    rough = train + 0.02 * rng.normal(size=count)
    middle_hz = _log_uniform(rng, 1200, 4000)
    band = [0.5 * middle_hz, 1.9 * middle_hz]
    sos = signal.butter(1, band, "band", fs=SAMPLE_RATE_HZ, output="sos")
    out = signal.sosfilt(sos, rough) * np.hanning(count)
    return np.asarray(out / (np.abs(out).max() + 1e-12))


def rattle(rng: Generator, sound: FloatArray) -> FloatArray:
    """Let a sounding string knock on a fret: what its swing does beyond a limit.

    The clipped peaks of the note's own wave, high-passed: harmonics of the note that
    start and end as it rises and falls.
    """
    limit = rng.uniform(0.3, 0.7) * np.abs(sound).max()
    beyond = np.sign(sound) * np.maximum(np.abs(sound) - limit, 0)
    beyond = beyond * (1 + 0.5 * rng.normal(size=len(sound)))
    sos = signal.butter(
        2, rng.uniform(800, 2500), "high", fs=SAMPLE_RATE_HZ, output="sos"
    )
    out = signal.sosfilt(sos, beyond)
    fade = np.minimum(np.linspace(20, 0, len(out)), 1)
    return np.asarray(out * fade / (np.abs(out).max() + 1e-12))


def tick(rng: Generator) -> FloatArray:
    """Draw a metronome's click: a short decaying tone."""
    times_s = np.arange(int(0.05 * SAMPLE_RATE_HZ)) / SAMPLE_RATE_HZ
    wave = np.sin(2 * np.pi * rng.uniform(700, 4000) * times_s)
    return np.asarray(wave * np.exp(-times_s / rng.uniform(0.002, 0.012)))


@dataclass(frozen=True)
class Moment:
    """When a note starts and ends."""

    onset_s: float
    offset_s: float


def _counts(rng: Generator, first_s: float) -> list[float]:
    """Up to four beats that lead to the first note, as many as there is room for."""
    beat_s = min(float(rng.uniform(0.3, 0.7)), first_s / 1.2)
    counts = min(int(first_s / beat_s), 4)
    return [first_s - k * beat_s for k in range(counts, 0, -1)]


def add_noise(
    samples: FloatArray,
    moments: Sequence[Moment],
    landings_s: Sequence[float],
    hand: Hand,
    *,
    rng: Generator,
    damped: Sequence[Source],
) -> list[dict[str, Any]]:
    """Add the noises of the hands to a take, in place.

    Parameters
    ----------
    samples : shape=(n,)
        The take; the noises are scaled against its peak.
    moments : sequence of Moment
        Its notes.
    landings_s : sequence of float
        When the pick landed on a string.
    hand : Hand
    rng : numpy.random.Generator
    damped : sequence of Source
        Real damped notes to cut knocks from.

    Returns
    -------
    list of dict
        ``time_s``, ``what`` and ``level_db`` (peak, re the take's peak) of each.
    """
    peak, log = float(np.abs(samples).max()), []

    def put(what: str, noise: FloatArray, time_s: float, level_db: float) -> None:
        start = int(time_s * SAMPLE_RATE_HZ)
        piece = noise[: max(len(samples) - start, 0)]
        if start < 0 or not len(piece):
            return
        samples[start : start + len(piece)] += piece * peak * 10 ** (level_db / 20)
        log.append(
            {"time_s": round(time_s, 4), "what": what, "level_db": round(level_db, 1)}
        )

    for time_s in landings_s:
        put("landing", knock(rng, damped), time_s, -rng.uniform(14, 42))
    for moment in moments:
        if rng.random() < hand.lift:
            lift = burst(rng, rng.uniform(0.004, 0.06), 400, 5000, decaying=False)
            put(
                "lift",
                lift,
                moment.offset_s + rng.normal(0, 0.01),
                -rng.uniform(22, 52),
            )
        if rng.random() < hand.squeak:
            put("squeak", squeak(rng), moment.offset_s - 0.03, -rng.uniform(20, 45))
        if rng.random() < hand.sympathy:
            at_s = moment.onset_s if rng.random() < 0.6 else moment.offset_s
            put("sympathy", sympathy(rng), at_s, -rng.uniform(34, 58))
        if rng.random() < hand.muffled:
            put("muffled", thud(rng, damped), moment.offset_s, -rng.uniform(8, 30))
        if rng.random() < hand.buzz:
            low, high = (int(t * SAMPLE_RATE_HZ) for t in astuple(moment))
            sounding = samples[low:high]
            if len(sounding) > 2000:
                buzzing = rattle(rng, sounding.copy())
                put("buzz", buzzing, moment.onset_s, -rng.uniform(14, 34))
    length_s = len(samples) / SAMPLE_RATE_HZ
    for _ in range(int(rng.poisson(hand.scrapes_per_s * length_s))):
        put("scrape", scrape(rng), rng.uniform(0, length_s), -rng.uniform(12, 36))
    if hand.count_in:
        first_s = min(m.onset_s for m in moments)
        make = tick(rng) if hand.count_in == "click" else None
        level_db = -rng.uniform(6, 26)
        for at_s in _counts(rng, first_s):
            noise = syllable(rng) if make is None else make
            put(f"count-in-{hand.count_in}", noise, at_s, level_db)
    for _ in range(int(rng.poisson(hand.handling_per_s * length_s))):
        decaying = rng.random() < 0.5
        noise = burst(rng, _log_uniform(rng, 0.002, 0.15), 60, 6000, decaying=decaying)
        put("handling", noise, rng.uniform(0, length_s), -rng.uniform(26, 70))
    return log
