"""Invented licks: random phrases a guitarist could be asked to play.

Every phrase is drawn from a seeded generator; none is taken from anywhere.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from assessor.lick.notation import Articulation, Lick, LickNote, Meter
from assessor.tuning import STANDARD

LOWEST_MIDI, HIGHEST_MIDI = 40, 88
HIGHEST_FRET = 24
_SCALES = (
    (0, 2, 4, 5, 7, 9, 11),
    (0, 2, 3, 5, 7, 9, 10),
    (0, 2, 3, 5, 7, 8, 10),
    (0, 2, 3, 5, 7, 8, 11),
    (0, 3, 5, 7, 10),
    (0, 3, 5, 6, 7, 10),
    (0, 2, 4, 7, 9),
    (0, 1, 3, 4, 6, 7, 9, 10),
    (0, 2, 4, 6, 8, 10),
)
_CHORDS = (
    (0, 4, 7),
    (0, 3, 7),
    (0, 4, 7, 11),
    (0, 3, 7, 10),
    (0, 4, 7, 10),
    (0, 3, 6, 9),
)
_QUARTER, _EIGHTH, _TRIPLET, _SIXTEENTH = (Fraction(1, d) for d in (1, 2, 3, 4))
SHORTEST_NOTE_S = 0.075  # sixteenths at 190 beats a minute last 79 ms

Line = list[int]
Generator = np.random.Generator


def _fold(midi: int) -> int:
    """Bring a pitch into the range of the instrument by octaves."""
    while midi < LOWEST_MIDI:
        midi += 12
    while midi > HIGHEST_MIDI:
        midi -= 12
    return midi


def _scale_notes(rng: Generator) -> Line:
    """Every note of one random scale, over the whole range."""
    root = int(rng.integers(12))
    steps = _SCALES[int(rng.integers(len(_SCALES)))]
    return [m for m in range(LOWEST_MIDI, HIGHEST_MIDI + 1) if (m - root) % 12 in steps]


def scale_run(rng: Generator, count: int) -> Line:
    """Steps up and down a scale, turning now and then, with a few thirds."""
    notes = _scale_notes(rng)
    place = int(rng.integers(len(notes) // 6, 5 * len(notes) // 6))
    direction, line = int(rng.choice([-1, 1])), []
    for _ in range(count):
        line.append(notes[place])
        step = direction * int(rng.choice([1, 2], p=[0.85, 0.15]))
        if rng.random() < 0.12 or not 0 <= place + step < len(notes):
            direction, step = -direction, -step
        place = int(np.clip(place + step, 0, len(notes) - 1))
    return line


def arpeggio(rng: Generator, count: int) -> Line:
    """Chord tones over several octaves, so that strings are skipped."""
    chord = _CHORDS[int(rng.integers(len(_CHORDS)))]
    root = int(rng.integers(LOWEST_MIDI, 60))
    tones = [root + 12 * o + c for o in range(4) for c in chord]
    tones = [m for m in tones if m <= HIGHEST_MIDI]
    stride = int(rng.choice([1, 1, 2, 3]))
    wave = list(range(0, len(tones), stride))
    wave += wave[-2:0:-1]
    return [tones[wave[i % len(wave)]] for i in range(count)]


def moved_cell(rng: Generator, count: int) -> Line:
    """A cell of three to six notes, repeated and moved in equal steps."""
    size = int(rng.integers(3, 7))
    cell = np.cumsum(rng.choice([-5, -4, -3, -2, -1, 1, 2, 3, 4, 5, 7], size))
    shift = int(rng.choice([-5, -4, -3, -2, -1, 1, 2, 3, 4, 5]))
    start, repeats = int(rng.integers(52, 74)), int(rng.choice([1, 2]))
    return [
        _fold(start + int(cell[i % size]) + shift * (i // (size * repeats)))
        for i in range(count)
    ]


def wide_intervals(rng: Generator, count: int) -> Line:
    """Leaps of a fifth to two octaves, out and back."""
    notes = _scale_notes(rng)
    line = [int(rng.choice(notes))]
    while len(line) < count:
        far = [m for m in notes if 7 <= abs(m - line[-1]) <= 24]
        line.append(int(rng.choice(far)))
    return line


def repeated_notes(rng: Generator, count: int) -> Line:
    """Each note of a short line struck one to four times."""
    out: Line = []
    for midi in scale_run(rng, count):
        out += [midi] * int(rng.choice([1, 2, 3, 4], p=[0.4, 0.3, 0.15, 0.15]))
    return out[:count]


def octave_leaps(rng: Generator, count: int) -> Line:
    """A line in broken octaves."""
    low = [m for m in scale_run(rng, count) if m + 12 <= HIGHEST_MIDI]
    low = low or [52]
    return [low[i // 2 % len(low)] + 12 * (i % 2) for i in range(count)]


def chromatic(rng: Generator, count: int) -> Line:
    """Half steps, in groups that turn or jump."""
    midi, out = int(rng.integers(48, 80)), []
    direction = int(rng.choice([-1, 1]))
    for i in range(count):
        out.append(_fold(midi))
        midi += direction
        if i % 4 == 3 and rng.random() < 0.5:
            midi += int(rng.choice([-5, -3, 3, 5]))
            direction = int(rng.choice([-1, 1]))
    return out


def slow_melody(rng: Generator, count: int) -> Line:
    """A singing line: mostly steps, some leaps of up to a sixth."""
    notes = _scale_notes(rng)
    place = int(rng.integers(len(notes) // 3, len(notes) - 3))
    out = []
    for _ in range(count):
        out.append(notes[place])
        step = int(
            rng.choice(
                [-4, -3, -2, -1, 1, 2, 3, 4],
                p=[0.05, 0.05, 0.1, 0.3, 0.3, 0.1, 0.05, 0.05],
            )
        )
        place = int(np.clip(place + step, len(notes) // 4, len(notes) - 1))
    return out


def pedal(rng: Generator, count: int) -> Line:
    """A low note between the notes of a moving line."""
    line = scale_run(rng, count)
    low = max(LOWEST_MIDI, min(line) - int(rng.integers(0, 8)))
    return [low if i % 2 == 0 else m for i, m in enumerate(line)]


SHAPES: dict[str, Callable[[Generator, int], Line]] = {
    "scale": scale_run,
    "arpeggio": arpeggio,
    "cell": moved_cell,
    "wide": wide_intervals,
    "repeats": repeated_notes,
    "octaves": octave_leaps,
    "chromatic": chromatic,
    "melody": slow_melody,
    "pedal": pedal,
}


@dataclass(frozen=True)
class Wish:
    """What a phrase is wanted for.

    Attributes
    ----------
    shapes : tuple of str
        Keys of `SHAPES` to draw from.
    shortest_s, longest_s : float
        Limits of the usual note length.
    slurred_share : float
        Share of the notes that may be slurred which are.
    slides : bool
        Some slurs are slides.
    """

    shapes: tuple[str, ...] = tuple(SHAPES)
    shortest_s: float = SHORTEST_NOTE_S
    longest_s: float = 0.8
    slurred_share: float = 0.0
    slides: bool = False


def rhythm(rng: Generator, count: int, tempo_bpm: float, wish: Wish) -> list[Fraction]:
    """Note lengths in beats: even, or patterns that fill whole beats."""
    values = [_QUARTER, _EIGHTH, _TRIPLET, _SIXTEENTH, Fraction(3, 2)]
    usable = [
        v
        for v in values
        if wish.shortest_s <= float(v) * 60 / tempo_bpm <= wish.longest_s
    ]
    if not usable:
        usable = [_EIGHTH if tempo_bpm > 100 else _SIXTEENTH]
    if rng.random() < 0.5:
        return [usable[int(rng.integers(len(usable)))]] * count
    lengths: list[Fraction] = []
    whole = {_QUARTER: 1, _EIGHTH: 2, _TRIPLET: 3, _SIXTEENTH: 4, Fraction(3, 2): 2}
    while len(lengths) < count:
        value = usable[int(rng.integers(len(usable)))]
        lengths += [value] * whole[value]
        if value == _EIGHTH and rng.random() < 0.3 and _SIXTEENTH in usable:
            lengths[-2:] = [Fraction(3, 4), _SIXTEENTH]
    return lengths[:count]


def fingering(line: Line, slurred: list[bool]) -> list[tuple[int, int]]:
    """String and fret of every note; slurred notes stay on their string."""
    places: list[tuple[int, int]] = []
    hand = 5.0
    for i, midi in enumerate(line):
        run = [midi]
        for after in range(i + 1, len(line)):
            if not slurred[after]:
                break
            run.append(line[after])
        string = places[-1][0] if slurred[i] else _nearest_string(run, hand)
        fret = midi - STANDARD.open_midi[string - 1]
        places.append((string, fret))
        hand = 0.7 * hand + 0.3 * fret
    return places


def _nearest_string(run: Line, hand: float) -> int:
    """Choose the string on which `run` lies nearest to the hand."""

    def reach(string: int) -> float:
        fret = run[0] - STANDARD.open_midi[string - 1]
        return abs(fret - hand) + (6.0 if fret > 15 else 0.0)

    def playable(string: int, notes: Line) -> bool:
        frets = [m - STANDARD.open_midi[string - 1] for m in notes]
        return min(frets) >= 0 and max(frets) <= HIGHEST_FRET

    strings = range(1, STANDARD.strings + 1)
    candidates = [s for s in strings if playable(s, run)]
    candidates = candidates or [s for s in strings if playable(s, run[:1])]
    return min(candidates, key=reach)


def _slurs(
    rng: Generator, line: Line, lengths: list[Fraction], wish: Wish
) -> list[Articulation]:
    """Hammer-ons, pull-offs and slides where one string can hold them."""
    out, run = [Articulation.PICK], [line[0]]
    for i in range(1, len(line)):
        step = line[i] - line[i - 1]
        limit = 7 if wish.slides else 5
        longer = [*run, line[i]]
        one_string = any(
            min(longer) - o >= 0 and max(longer) - o <= HIGHEST_FRET
            for o in STANDARD.open_midi
        )
        if (
            0 < abs(step) <= limit
            and one_string
            and len(run) < 5
            and rng.random() < wish.slurred_share
        ):
            slide = wish.slides and (abs(step) > 5 or rng.random() < 0.6)
            up = Articulation.HAMMER_ON if step > 0 else Articulation.PULL_OFF
            out.append(Articulation.SLIDE if slide else up)
            run = longer
        else:
            out.append(Articulation.PICK)
            run = [line[i]]
    return out


def invent(rng: Generator, name: str, wish: Wish) -> Lick:
    """Draw one lick.

    Parameters
    ----------
    rng : numpy.random.Generator
    name : str
        Title.
    wish : Wish

    Returns
    -------
    Lick
        8 to 26 notes, about 3 to 14 s long, in 4/4, standard tuning.
    """
    shape = wish.shapes[int(rng.integers(len(wish.shapes)))]
    slow = shape == "melody"
    tempo_bpm = float(np.round(rng.uniform(50, 110 if slow else 190), 1))
    count = int(rng.integers(8, 15 if slow or wish.shortest_s > 0.3 else 27))
    lengths = rhythm(rng, count, tempo_bpm, wish)
    line = SHAPES[shape](rng, count)
    kinds = _slurs(rng, line, lengths, wish)
    places = fingering(line, [k is not Articulation.PICK for k in kinds])
    notes, at = [], Fraction(0)
    for i, midi in enumerate(line):
        length = lengths[i] if i + 1 < count else Fraction(2)
        string, fret = places[i]
        notes.append(LickNote(at, length, midi, string, fret, kinds[i]))
        at += length
        if i + 1 < count and rng.random() < 0.04:
            at += _EIGHTH  # a rest
    return Lick(name, tempo_bpm, Meter(), STANDARD, tuple(notes))
