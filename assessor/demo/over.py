"""What a lick is played over, in words: held notes, or chords, one to the bar.

``A2 E3`` are notes that are held together, ``Am7`` is a chord, ``Dm7 | G7 | C | C`` a
chord to each bar, from the start again after the last.  ``A2`` to ``A4`` are notes,
``A5`` to ``A9`` chords, as players say them.
"""

from __future__ import annotations

from assessor.lick.scales import CHORDS, parse_chord
from assessor.tuning import parse_note_name

HIGHEST_OCTAVE = 4  # of a held note
LOWEST_MIDI, HIGHEST_MIDI = 24, 71
ROOT_FROM_MIDI = 40  # E2: a root lies in the octave from here
OTHERS_FROM_MIDI = 52  # E3: the other notes of a chord likewise
MOST_BARS = 200


def parse_over(text: str) -> tuple[tuple[int, ...], ...]:
    """MIDI numbers of what is held in each bar; one bar of them is held throughout.

    Raises
    ------
    ValueError
        When there is nothing in it, or a bar holds neither notes nor one chord.

    Examples
    --------
    >>> parse_over("A2 E3"), parse_over("A5")
    (((45, 52),), ((45, 52),))
    >>> parse_over("Dm7 | G7")
    ((50, 53, 57, 60), (43, 53, 59, 62))
    """
    if not text.strip():
        message = "nothing is named; name notes or a chord, or leave it out"
        raise ValueError(message)
    bars = text.split("|")
    if len(bars) > MOST_BARS:
        message = f"{len(bars)} bars of chords, more than {MOST_BARS}"
        raise ValueError(message)
    return tuple(_bar(bar.replace(",", " ").split()) for bar in bars)


def _bar(names: list[str]) -> tuple[int, ...]:
    """Notes of one bar."""
    if not names:
        message = "a bar with nothing in it; write its chord again where it goes on"
        raise ValueError(message)
    if len(names) == 1 and not _is_note(names[0]):
        return _voiced(names[0])
    numbers = tuple(parse_note_name(name) for name in names)
    for name, number in zip(names, numbers, strict=True):
        if not LOWEST_MIDI <= number <= HIGHEST_MIDI:
            which = "low" if number < LOWEST_MIDI else "high"
            message = f"{name} is too {which} to hold; C1 to B4 can be held"
            raise ValueError(message)
    return numbers


def _is_note(name: str) -> bool:
    """A name with an octave in which notes are held."""
    try:
        return parse_note_name(name) // 12 - 1 <= HIGHEST_OCTAVE
    except ValueError:
        return False


def _voiced(name: str) -> tuple[int, ...]:
    """Notes of a chord: its root low, the others close together above."""
    chord = parse_chord(name)
    root = _from(ROOT_FROM_MIDI, chord.root)
    others = (chord.root + step for step in CHORDS[chord.kind] if step)
    return (root, *sorted(_from(OTHERS_FROM_MIDI, other) for other in others))


def _from(lowest: int, pitch_class: int) -> int:
    """The first note of a pitch class from a MIDI number up."""
    return lowest + (pitch_class - lowest) % 12
