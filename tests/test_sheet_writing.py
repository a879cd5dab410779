"""Writing a lick sheet, and drawing its systems for a report."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assessor.lick.notation import (
    SLURRED,
    Articulation,
    Bend,
    BendKind,
    Lick,
    LickNote,
    Meter,
    SlideEdge,
    Stroke,
    TempoChange,
)
from assessor.lick.sheet import read, tab_systems, write
from assessor.tuning import STANDARD, Tuning

PICK, DEAD, SLIDE = Articulation.PICK, Articulation.DEAD, Articulation.SLIDE
HAMMER_ON, PULL_OFF = Articulation.HAMMER_ON, Articulation.PULL_OFF

DURATIONS = [Fraction(n, d) for d in (1, 2, 3, 4, 5, 6, 7, 8, 12) for n in (1, 2, 3, 5)]
METERS = [Meter(4, 4), Meter(3, 4), Meter(6, 8), Meter(7, 8), Meter(2, 2), Meter(12, 8)]
WORDS = st.text(st.characters(exclude_categories=["C"]), max_size=20).map(
    lambda text: " ".join(text.split())
)


def optional(values: Iterable[Any]) -> st.SearchStrategy[Any]:
    """One of some values, or None."""
    return st.none() | st.sampled_from(list(values))


@st.composite
def notes(draw: st.DrawFn, tuning: Tuning, capo: int) -> tuple[LickNote, ...]:
    """A line of notes with every technique, no two at once."""
    lengths = st.sampled_from(DURATIONS) | st.fractions(
        Fraction(1, 100), 5, max_denominator=960
    )
    made: list[LickNote] = []
    at = Fraction(0)
    for _ in range(draw(st.integers(1, 8))):
        rested = draw(st.booleans()) and draw(st.booleans())
        at += draw(lengths) if rested else 0
        beats = draw(lengths)
        string, fret = draw(st.integers(1, tuning.strings)), draw(st.integers(0, 30))
        articulation = draw(st.sampled_from([PICK, PICK, DEAD, HAMMER_ON]))
        before = made[-1] if made and not rested else None
        if (
            before is not None
            and before.articulation is not DEAD
            and draw(st.booleans())
        ):
            string, articulation = before.string, draw(st.sampled_from(sorted(SLURRED)))
        if before is not None and before.string == string and articulation in SLURRED:
            step = fret - before.fret
            if step == 0 or (before.slide_out and articulation is not PICK):
                articulation = PICK
            elif articulation is not SLIDE:
                articulation = HAMMER_ON if step > 0 else PULL_OFF
        pitched = articulation is not DEAD
        cents = st.sampled_from([50.0, 100.0, 200.0, 300.0, 400.0]) | st.floats(
            0.001, 500.0
        )
        bend = st.none() | st.builds(Bend, st.sampled_from(list(BendKind)), cents)
        plain = articulation not in SLURRED
        edges_in = [SlideEdge.FROM_BELOW, SlideEdge.FROM_ABOVE]
        made.append(
            LickNote(
                onset_beats=at,
                duration_beats=beats,
                midi_number=tuning.midi_number(string, fret, capo),
                string=string,
                fret=fret,
                articulation=articulation,
                bend=draw(bend) if pitched else None,
                vibrato=pitched and draw(st.booleans()),
                slide_in=draw(optional(edges_in)) if plain else None,
                slide_out=draw(optional([SlideEdge.UP, SlideEdge.DOWN])),
                let_ring=draw(st.booleans()),
                finger=draw(optional(range(5))),
                stroke=draw(optional(Stroke)),
            )
        )
        at += beats
    return tuple(made)


@st.composite
def licks(draw: st.DrawFn) -> Lick:
    """Any lick a guitar can play, and many a hand cannot."""
    tuning = Tuning(tuple(draw(st.lists(st.integers(21, 76), min_size=4, max_size=9))))
    capo = draw(st.integers(0, 12))
    meter = draw(st.sampled_from(METERS))
    beats = draw(st.lists(st.sampled_from(DURATIONS), max_size=3, unique=True))
    return Lick(
        title=draw(WORDS),
        tempo_bpm=draw(st.floats(10, 600)),
        meter=meter,
        tuning=tuning,
        notes=draw(notes(tuning, capo)),
        capo=capo,
        swing=draw(st.none() | st.floats(0.25, 4.0)),
        tempo_changes=tuple(
            TempoChange(beat, draw(st.floats(10, 600))) for beat in sorted(beats)
        ),
        pickup_beats=draw(
            st.sampled_from([Fraction(0), Fraction(1, 2), Fraction(1), Fraction(1, 3)])
        ),
        trains=draw(WORDS),
    )


@settings(deadline=None)
@given(licks())
def test_what_is_written_reads_back_equal(lick: Lick) -> None:
    """A reader of a written sheet holds the same lick."""
    assert read(write(lick), "written.lick") == lick


@settings(deadline=None, max_examples=50)
@given(licks(), st.integers(30, 120))
def test_systems_keep_to_their_width_and_point_at_the_frets(
    lick: Lick, width_columns: int
) -> None:
    """Every note has one column, where its fret number stands."""
    seen: list[int] = []
    for system in tab_systems(lick, width_columns):
        tab = [line for line in system.lines if "|" in line]
        for index, column in system.columns.items():
            note = lick.notes[index]
            sign = "x" if note.articulation is DEAD else str(note.fret)
            assert tab[note.string - 1][column:].startswith(sign)
        if len(system.columns) > 1:
            assert max(map(len, system.lines)) <= width_columns
        seen += system.columns
    assert seen == list(range(len(lick)))


def test_a_note_off_the_beat_is_tied_at_the_beat() -> None:
    """A syncopation shows where the beat falls, as notation does."""
    notes = (
        LickNote(Fraction(0), Fraction(1, 2), 64, 2, 5),
        LickNote(Fraction(1, 2), Fraction(5, 2), 64, 2, 5),
    )
    (system,) = tab_systems(Lick("", 90, Meter(), STANDARD, notes), 76)
    assert system.lines[0].split() == ["e", "e_", "h"]


def a_note(**changes: object) -> LickNote:
    """B string, fifth fret, one beat."""
    plain = {"midi_number": 64, "string": 2, "fret": 5, **changes}
    return LickNote(Fraction(0), Fraction(1), **plain)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("note", "message"),
    [
        (a_note(midi_number=65), "its pitch is MIDI 64, not 65"),
        (a_note(fret=31, midi_number=90), "frets go from 0 to 30"),
        (a_note(articulation=PULL_OFF), "a pull-off from no note"),
        (a_note(articulation=SLIDE), "a slide from no note"),
        (a_note(articulation=DEAD, vibrato=True), "no pitch to bend"),
    ],
)
def test_what_no_sheet_can_say_is_not_written(note: LickNote, message: str) -> None:
    """Writing refuses what reading could not give back."""
    with pytest.raises(ValueError, match=message):
        write(Lick("", 90, Meter(), STANDARD, (note,)))
