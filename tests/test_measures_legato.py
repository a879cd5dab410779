"""Slurs of hand-made passes whose unevenness is exact."""

from __future__ import annotations

import dataclasses
from typing import Any

import hand_made as made
import numpy as np
import pytest

from assessor.alignment import Verdict
from assessor.lick.fingerboard import slurred_groups
from assessor.lick.notation import Articulation, Lick
from assessor.measures import legato
from assessor.measures.legato import Legato, npvi
from assessor.measures.tolerance import TOLERANCES, Judgement
from assessor.pitch import PlayedNote, SoundedBy

USUAL = TOLERANCES["usual"]
HAMMER = {"articulation": Articulation.HAMMER_ON}
PULL = {"articulation": Articulation.PULL_OFF}

# eighths of 300 ms: a group of three, a plain note, a group of two, a plain note
LICK = made.lick(
    [k / 2 for k in range(7)],
    [(3, 5), (3, 7), (3, 5), (2, 5), (2, 5), (2, 7), (1, 5)],
    extras={1: HAMMER, 2: PULL, 5: HAMMER},
)


def measured(notes: list[PlayedNote | None], lick: Lick = LICK, **how: Any) -> Legato:
    """Legato of one pass at the written tempo."""
    passage = made.passage(notes, **how)
    return legato.measure(lick, passage, USUAL, seconds_per_written=1.0)


def late(**late_s: float) -> list[PlayedNote | None]:
    """As written, but for some notes late by so much: ``n1=0.02``."""
    shifts = [late_s.get(f"n{k}", 0.0) for k in range(len(LICK))]
    return [*made.as_written(LICK, late_s=shifts)]


def test_groups_are_a_picked_note_and_its_slurs() -> None:
    """Each group starts with the note before its first slur."""
    assert slurred_groups(LICK) == ((0, 1, 2), (4, 5))


@pytest.mark.parametrize(
    ("intervals", "expected"),
    [
        ([1.0, 1.0, 1.0], 0.0),
        # by hand: |2 - 1| / 1.5 = 2/3, twice
        ([2.0, 1.0, 2.0], 200 / 3),
        # by hand, Grabe & Low 2002: 100/3 * (2/3 + 2/3 + 1)
        ([1.0, 2.0, 1.0, 3.0], 100 / 3 * (2 / 3 + 2 / 3 + 1)),
    ],
)
def test_npvi(intervals: list[float], expected: float) -> None:
    """The index of worked sequences."""
    assert npvi(np.array(intervals)) == pytest.approx(expected)


def test_npvi_does_not_know_the_tempo() -> None:
    """Intervals twice as long have the same index."""
    intervals = np.array([0.21, 0.4, 0.33, 0.27])
    assert npvi(2 * intervals) == pytest.approx(npvi(intervals))


def test_even_slurs() -> None:
    """As written: nothing uneven, no gap, as loud as the picked note."""
    found = measured(late())
    for group in (found, *found.groups):
        assert group.spread is not None
        assert group.spread.value == pytest.approx(0, abs=1e-9)
        assert group.level is not None
        assert group.level.value == 0.0
        assert group.overlap is not None
        assert group.overlap.value == pytest.approx(0, abs=1e-9)
    assert found.npvi is not None
    assert found.npvi.value == pytest.approx(0, abs=1e-9)
    assert (found.picked_instead, found.slurred_instead) == ((), ())


def test_early_hammer_on_makes_two_uneven_intervals() -> None:
    """30 ms early between notes of 300 ms: 270 and 330 ms."""
    found = measured(late(n1=-0.03))
    first = found.groups[0]
    assert [n.interval.value for n in first.notes] == [
        pytest.approx(-30.0),
        pytest.approx(30.0),
    ]
    assert first.spread is not None
    assert first.spread.value == pytest.approx(30.0)
    assert first.npvi is not None
    assert first.npvi.value == pytest.approx(200 * 60 / 600)  # |330 - 270| / 300
    assert found.spread is not None
    assert found.spread.value == pytest.approx(np.sqrt((30**2 + 30**2 + 0) / 3))


@pytest.mark.parametrize(
    ("early_ms", "judgement"),
    [(14.9, Judgement.INSIDE), (15.0, Judgement.INSIDE), (15.1, Judgement.OUTSIDE)],
)
def test_limits_of_interval_and_npvi_agree(
    early_ms: float, judgement: Judgement
) -> None:
    """Usual, 300 ms: 5 % are 15 ms; the nPVI's limit is the same displacement."""
    first = measured(late(n1=-early_ms / 1000)).groups[0]
    assert first.npvi is not None
    assert first.npvi.judgement == judgement
    assert {note.interval.judgement for note in first.notes} == {judgement}


def test_group_rushed_evenly_is_even_and_too_fast() -> None:
    """Both slurs 60 ms short: the nPVI is 0, the spread tells."""
    found = measured(late(n1=-0.06, n2=-0.12)).groups[0]
    assert found.npvi is not None
    assert found.npvi.value == pytest.approx(0, abs=1e-9)
    assert found.spread is not None
    assert found.spread.value == pytest.approx(60.0)
    assert found.spread.judgement == Judgement.OUTSIDE


def test_written_rhythm_is_not_unevenness() -> None:
    """A long and a short slur played as written are even."""
    lick = made.lick([0, 1, 1.25, 2], extras={1: HAMMER, 2: HAMMER})
    found = measured([*made.as_written(lick)], lick)
    assert found.npvi is not None
    assert found.npvi.value == pytest.approx(0, abs=1e-9)


def test_two_notes_have_a_spread_and_no_npvi() -> None:
    """One interval has no neighbour."""
    second = measured(late(n5=0.05)).groups[1]
    assert second.npvi is None
    assert second.spread is not None
    assert second.spread.value == pytest.approx(50.0)


def test_level_of_slurs_against_the_picked_note() -> None:
    """Slurs 9 dB softer than the note before them; the pass's median."""
    notes = made.as_written(LICK)
    for index in (1, 2, 5):
        notes[index] = dataclasses.replace(notes[index], level_db=-29.0)
    found = measured([*notes])
    assert found.level is not None
    assert found.level.value == pytest.approx(-9.0)
    assert found.level.judgement == Judgement.OUTSIDE  # usual: 6 dB


def test_gap_before_a_slurred_note() -> None:
    """A picked note that ends 40 ms before the hammer-on: overlap -40 ms."""
    notes = made.as_written(LICK)
    notes[4] = dataclasses.replace(notes[4], offset_s=notes[5].onset_s - 0.04)
    second = measured([*notes]).groups[1]
    assert second.overlap is not None
    assert second.overlap.value == pytest.approx(-40.0)


def test_how_notes_were_sounded() -> None:
    """A slur picked, a pick slurred; what is unclear never counts."""
    sounds = [SoundedBy.PICKED] * 7
    sounds[2] = sounds[3] = SoundedBy.SLURRED
    sounds[5] = SoundedBy.UNCLEAR
    notes = [
        dataclasses.replace(note, sounded_by=by)
        for note, by in zip(made.as_written(LICK), sounds, strict=True)
    ]
    found = measured([*notes])
    assert found.picked_instead == (1,)
    assert found.slurred_instead == (3,)
    unsure = measured([*notes], verdicts={1: Verdict.UNSURE, 3: Verdict.WRONG})
    assert (unsure.picked_instead, unsure.slurred_instead) == ((), ())


def test_missed_note_parts_a_group() -> None:
    """Without the middle note no interval of the group is left."""
    notes = late()
    notes[1] = None
    first = measured(notes).groups[0]
    assert (first.notes, first.spread, first.npvi) == ((), None, None)
    assert first.level is not None  # the last note against the picked one


def test_intervals_apart_are_no_neighbours() -> None:
    """In a group of five whose third note is missed no two intervals touch."""
    slurs = dict.fromkeys(range(1, 5), HAMMER)
    lick = made.lick(range(5), extras=slurs)
    notes: list[PlayedNote | None] = [*made.as_written(lick, late_s=[0, 0.1, 0, 0, 0])]
    notes[2] = None
    (group,) = measured(notes, lick).groups
    assert [note.index for note in group.notes] == [1, 4]
    assert group.npvi is None


def test_lick_without_slurs() -> None:
    """Nothing to read, nothing judged."""
    found = measured([*made.as_written(made.lick([0, 1]))], made.lick([0, 1]))
    assert found.groups == ()
    assert (found.spread, found.npvi, found.level, found.overlap) == (None,) * 4


def test_slur_into_the_very_first_note_is_no_group() -> None:
    """A lick that starts in mid-slur has no picked note to hold it against."""
    assert slurred_groups(made.lick([0, 1], extras={0: HAMMER})) == ()


def test_uncertain_onsets_widen_every_reading() -> None:
    """Onsets known to 6 ms: an interval to 6 √2 ms."""
    notes = made.as_written(LICK, onset_uncertainty_s=0.006)
    found = measured([*notes])
    assert found.notes[0].interval.uncertainty == pytest.approx(6 * 2**0.5)
    assert found.spread is not None
    assert found.spread.uncertainty == pytest.approx(6 * 2**0.5 / 3**0.5)


def test_played_tempo_scales_what_is_written() -> None:
    """At half the tempo the same slurs take twice as long."""
    notes = made.as_written(LICK, pace=2.0)
    found = legato.measure(LICK, made.passage(notes), USUAL, seconds_per_written=2.0)
    assert found.spread is not None
    assert found.spread.value == pytest.approx(0, abs=1e-9)
