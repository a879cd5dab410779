"""The note-level warp on events whose evidence is made by hand."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import hand_made as made
import hand_made_events as heard_events
import numpy as np
import pytest
from hand_made_events import Heard
from hypothesis import given, settings
from hypothesis import strategies as st

from assessor import warp
from assessor.lick.notation import Articulation, Bend, BendKind, Lick, SlideEdge
from assessor.warp import Expectation, TempoFit, Warped, Written, fit_tempo

PLACES = [(3, 5), (3, 7), (2, 5), (2, 8), (1, 5), (2, 8), (2, 5), (3, 7)]
LICK = made.lick([Fraction(k, 2) for k in range(8)], PLACES)  # a note each 0.3 s
MIDI = [n.midi_number for n in LICK.notes]
START_S = 1.0


def _take(lick: Lick = LICK) -> list[Heard]:
    """Every note clearly heard where it is written."""
    midi = [n.midi_number for n in lick.notes]
    return heard_events.played(midi, START_S + lick.onsets_s())


def _warp(heard: list[Heard], lick: Lick = LICK) -> Warped:
    """Warp with every note expected where it is written, within 40 ms."""
    written = Written.of(lick)
    place_s = START_S + written.onset_s
    lattice = warp.weigh_notes(written, heard_events.events(heard), place_s)
    return lattice.warp(Expectation(place_s[None], 0.04))


def _swapped(heard: list[Heard], k: int, midi_number: int | None) -> list[Heard]:
    """Another pitch heard at event k; None = the event is gone."""
    other = [] if midi_number is None else [Heard(heard[k].time_s, midi_number)]
    return [*heard[:k], *other, *heard[k + 1 :]]


# ------------------------------------------------------------------ verdicts


def test_all_right() -> None:
    """Each note has its event, and for sure."""
    found = _warp(_take())
    assert found.event.tolist() == list(range(8))
    assert found.right.all()
    assert found.midi.tolist() == MIDI
    assert found.extras == ()
    assert found.right_probability.min() > 0.99


@pytest.mark.parametrize("k", range(8))
@pytest.mark.parametrize("away", [-12, -5, -2, -1, 1, 2, 7, 12])
def test_one_wrong_note(k: int, away: int) -> None:
    """Another pitch at its place: wrong, with the pitch; all others right."""
    found = _warp(_swapped(_take(), k, MIDI[k] + away))
    assert found.right.tolist() == [i != k for i in range(8)]
    assert found.midi[k] == MIDI[k] + away
    assert found.event.tolist() == list(range(8))
    assert found.wrong_probability[k] > 0.5
    assert found.extras == ()


@pytest.mark.parametrize("k", range(8))
def test_one_missed_note(k: int) -> None:
    """No event at its place."""
    found = _warp(_swapped(_take(), k, None))
    assert [i for i in range(8) if found.event[i] < 0] == [k]
    assert found.right_probability[k] + found.wrong_probability[k] < 0.05
    assert found.extras == ()


@pytest.mark.parametrize("k", range(7))
def test_one_extra_note(k: int) -> None:
    """A clear event of another pitch half way to the next note."""
    between = Heard(START_S + LICK.onsets_s()[k] + 0.15, 66)
    found = _warp([*_take(), between])
    assert found.right.all()
    assert [(event, midi) for event, midi, _ in found.extras] == [(k + 1, 66)]
    assert found.extras[0][2] > 0.5


def test_events_that_are_nothing_are_dropped() -> None:
    """Between all notes, rather nothing new."""
    nothing = [Heard(h.time_s + 0.15, None) for h in _take()]
    found = _warp([*_take(), *nothing])
    assert found.right.all()
    assert found.extras == ()


def test_every_fault_at_once() -> None:
    """One wrong, one missed, one extra."""
    heard = _swapped(_take(), 2, MIDI[2] - 1)
    heard = [*_swapped(heard, 5, None), Heard(START_S + 0.15, 66)]
    found = _warp(heard)
    assert [i for i in range(8) if found.event[i] < 0] == [5]
    assert [i for i in range(8) if not found.right[i]] == [2, 5]
    assert [midi for _, midi, _ in found.extras] == [66]


def test_nothing_was_heard() -> None:
    """No events: all missed."""
    found = _warp([])
    assert (found.event == -1).all()
    assert not found.right.any()
    assert (found.right_probability + found.wrong_probability).max() == 0


def test_a_note_too_far_from_its_place_is_another() -> None:
    """Two seconds late it is missed, and extra where it was heard."""
    first = _take()[:1]
    found = _warp([*first, Heard(START_S + 4.0, MIDI[7])])
    assert found.event[0] == 0
    assert (found.event[1:7] == -1).all()


@pytest.mark.parametrize("probability", [0.9, 0.5, 0.2, 0.05])
def test_doubtful_evidence_is_doubtful(probability: float) -> None:
    """The less the ear hears the written pitch, the less probable it is right."""
    found = _warp([*_swapped(_take(), 3, None), Heard(START_S + 0.9, 67, probability)])
    assert found.right_probability[3] == pytest.approx(1, abs=1.05 - probability)
    assert found.right_probability[3] < 1


def test_less_evidence_is_less_probable() -> None:
    """Step by step."""
    steps = [
        _warp([*_swapped(_take(), 3, None), Heard(START_S + 0.9, 67, p)])
        for p in (0.9, 0.3, 0.1, 0.03)
    ]
    probabilities = [found.right_probability[3] for found in steps]
    assert probabilities == sorted(probabilities, reverse=True)


@settings(deadline=None, max_examples=60)
@given(data=st.data())
def test_probabilities_are_probabilities(data: st.DataObject) -> None:
    """Whatever was heard: in 0 to 1, at most 1 together, events in order."""
    pitch = st.one_of(st.none(), st.sampled_from(range(50, 76)))
    event = st.builds(
        Heard,
        st.floats(0.5, 4.0),
        pitch,
        st.floats(0.1, 0.99),
        st.floats(0, 3),
        st.floats(-3, 20),
        expected_only=st.booleans(),
    )
    heard = data.draw(st.lists(event, max_size=14))
    found = _warp(heard)
    for p in (found.right_probability, found.wrong_probability):
        assert ((p >= 0) & (p <= 1 + 1e-9)).all()
    assert (found.right_probability + found.wrong_probability <= 1 + 1e-9).all()
    matched = found.event[found.event >= 0]
    assert (np.diff(matched) > 0).all()
    assert not set(matched) & {event for event, _, _ in found.extras}
    assert all(0 <= p <= 1 for _, _, p in found.extras)


def test_time_tells_two_of_one_pitch_apart() -> None:
    """Of two events of the written pitch the one nearer its place is the note."""
    heard = [*_take(), Heard(START_S + 0.12, MIDI[0])]
    found = _warp(heard)
    assert found.event.tolist() == [0, *range(2, 9)]
    late = [Heard(START_S + 0.02, MIDI[0]), *_take()[1:], Heard(START_S - 0.2, MIDI[0])]
    assert _warp(late).event[0] == 1


# --------------------------------------------------- what the lick makes likely


def test_an_event_heard_only_because_expected_may_be_the_note() -> None:
    """Or nothing; it is no wrong and no extra note."""
    due = Heard(START_S + 0.9, MIDI[3], expected_only=True)
    assert _warp([*_swapped(_take(), 3, None), due]).right.all()
    nothing = Heard(START_S + 0.9, None, expected_only=True)
    assert _warp([*_swapped(_take(), 3, None), nothing]).event[3] == -1
    unlike = Heard(START_S + 0.9, 66, 0.5, nothing=0.45, expected_only=True)
    assert _warp([*_swapped(_take(), 3, None), unlike]).event[3] == -1
    between = Heard(START_S + 0.15, 66, 0.5, expected_only=True)
    assert _warp([*_take(), between]).extras == ()


@pytest.mark.parametrize("midi_number", [66, 71])
def test_what_else_an_expected_event_may_be_is_no_question(midi_number: int) -> None:
    """Clearly another pitch where a note is due: not that note, and no extra one."""
    other = Heard(START_S + 0.9, midi_number, expected_only=True)
    found = _warp([*_swapped(_take(), 3, None), other])
    assert found.event[3] == -1
    assert found.extras == ()


def test_what_still_rings_is_no_new_note() -> None:
    """A dull event of a pitch just played is nothing, a struck one an extra note."""
    for rise_db, extras in ((0.0, 0), (20.0, 1)):
        again = Heard(START_S + 0.15, MIDI[0], 0.7, rise_db=rise_db)
        assert len(_warp([*_take(), again]).extras) == extras


def test_weak_events_inside_a_moving_note_are_dropped() -> None:
    """Written as shaken or bent, a step of the pitch is no extra note."""
    step = Heard(START_S + 0.75, MIDI[2] + 1, flux=0.2, rise_db=1.0, is_step=True)
    plain = _warp([*_take(), step])
    assert len(plain.extras) == 1
    bend = Bend(BendKind.BEND, 100.0)
    fields: list[dict[str, Any]] = [
        {"vibrato": True},
        {"bend": bend},
        {"slide_out": SlideEdge.UP},
    ]
    for field in fields:
        lick = made.lick([Fraction(k, 2) for k in range(8)], PLACES, extras={2: field})
        assert _warp([*_take(), step], lick).extras == ()


@pytest.mark.parametrize(
    ("field", "starts"),
    [
        ({}, [0]),
        ({"slide_in": SlideEdge.FROM_BELOW}, [-5, -4, -3, -2, -1, 0]),
        ({"slide_in": SlideEdge.FROM_ABOVE}, [0, 1, 2, 3, 4, 5]),
        ({"bend": Bend(BendKind.PREBEND, 200.0)}, [0, 1, 2]),
        ({"bend": Bend(BendKind.BEND, 150.0)}, [0, 1, 2]),
    ],
)
def test_where_a_note_may_begin(field: dict[str, Any], starts: list[int]) -> None:
    """A slide or bend may be first heard away from the written fret."""
    lick = made.lick([Fraction(k, 2) for k in range(8)], PLACES, extras={3: field})
    written = Written.of(lick)
    assert sorted(written.starts[3]) == starts
    for away in range(-6, 7):
        found = _warp(_swapped(_take(), 3, MIDI[3] + away), lick)
        assert bool(found.right[3]) is (away in starts)


def test_written_arrays() -> None:
    """Pitches moved, moving notes and glides marked."""
    extras = {1: {"vibrato": True}, 2: {"articulation": Articulation.SLIDE}}
    lick = made.lick([0, 1, 2, 4], PLACES[:4], extras=extras, tempo_bpm=120.0)
    written = Written.of(lick, 3)
    assert written.midi.tolist() == [m + 3 for m in MIDI[:4]]
    assert written.onset_s.tolist() == [0, 0.5, 1, 2]
    assert written.end_s.tolist() == [0.5, 1, 2, 2.5]
    assert written.moving.tolist() == [False, True, False, False]
    assert written.gliding.tolist() == [False, False, True, False]
    assert written.typical_ioi_s == 0.5


# --------------------------------------------------------------------- tempo

WRITTEN_S = np.array([0, 0.5, 1, 1.5, 2, 3, 3.5, 4, 4.5, 5])


@pytest.mark.parametrize("ratio", [0.4, 1.0, 1.6])
@pytest.mark.parametrize("count", [2, 3, 10])
def test_tempo_of_an_even_take(ratio: float, count: int) -> None:
    """Exact, with the lag of the start."""
    written_s = WRITTEN_S[:count]
    fit = fit_tempo(written_s, 2.0 + ratio * written_s)
    assert fit.ratio == pytest.approx(ratio)
    np.testing.assert_allclose(fit.at(WRITTEN_S), 2.0 + ratio * WRITTEN_S)
    assert fit.spread_s == 0.006  # nobody is more even than this


@pytest.mark.parametrize("pause_s", [0.3, 3.0])
def test_tempo_over_a_pause(pause_s: float) -> None:
    """The tempo is that of the playing; either side of the pause may be true."""
    played_s = 1.0 + 0.8 * WRITTEN_S + pause_s * (np.arange(10) >= 5)
    fit = fit_tempo(WRITTEN_S, played_s)
    assert fit.ratio == pytest.approx(0.8)
    np.testing.assert_allclose(fit.at(WRITTEN_S), played_s, atol=1e-9)
    between = fit.variants(np.array([2.5]))[:, 0]
    assert between[1] == pytest.approx(3.0)
    assert between[2] == pytest.approx(3.0 + pause_s)


def test_one_late_note_is_not_the_tempo() -> None:
    """A single note 200 ms late moves neither tempo nor lag."""
    played_s = 1.0 + WRITTEN_S
    late_s = played_s + 0.2 * (np.arange(10) == 4)
    fit = fit_tempo(WRITTEN_S, late_s)
    assert fit.ratio == pytest.approx(1.0, abs=0.01)
    np.testing.assert_allclose(fit.at(WRITTEN_S), played_s, atol=0.02)


def test_an_even_slowing_is_followed() -> None:
    """From the written tempo to 20 % slower: within 2 ms, but for the ends."""
    written_s = np.arange(0, 10, 0.25)
    played_s = written_s + 0.01 * written_s**2
    away_s = fit_tempo(written_s, played_s).at(written_s) - played_s
    assert np.abs(away_s[2:-2]).max() < 0.002
    assert np.abs(away_s).max() < 0.025


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("spread_s", [0.01, 0.04])
def test_spread_is_that_of_the_player(seed: int, spread_s: float) -> None:
    """200 uneven notes; the lag, which follows them, takes a third of it."""
    written_s = 0.25 * np.arange(200)
    uneven_s = np.random.default_rng(seed).normal(0, spread_s, 200)
    fit = fit_tempo(written_s, 1.0 + written_s + uneven_s)
    assert 0.45 * spread_s < fit.spread_s < 0.9 * spread_s
    assert fit.ratio == pytest.approx(1.0, abs=0.02)


@pytest.mark.parametrize(
    ("played_s", "cost"),
    [
        (2.0, 0.0),
        (2.04, 1.0),
        (1.92, 2.0),
        (2.2, 5.0),  # the cap
        (2.24, 5.1),  # 0.1 for each scale beyond
        (2.6, 6.0),
        (5.04, 1.0),  # the nearer of two variants
    ],
)
def test_price_of_time(played_s: float, cost: float) -> None:
    """One nat for each 40 ms, five at most and little beyond; by hand."""
    expected = Expectation(np.array([[2.0], [5.0]]), 0.04)
    found = expected.cost(np.array([played_s]))
    assert found.shape == (1, 1)
    assert found[0, 0] == pytest.approx(cost)


@pytest.mark.parametrize(
    ("spread_s", "scale_s"), [(0.001, 0.012), (0.02, 0.024), (0.5, 0.036)]
)
def test_as_tight_as_the_player(spread_s: float, scale_s: float) -> None:
    """Never tighter than 12 ms, never wider than an eighth of the usual interval."""
    written = Written.of(LICK)  # 0.3 s from note to note: 0.12 of it is 36 ms
    fit = TempoFit(1.0, written.onset_s, np.zeros(8), spread_s)
    assert warp.closely(written, fit).scale_s == pytest.approx(scale_s)


def test_tempo_of_the_right_notes() -> None:
    """A lattice's own fit uses right notes alone, and needs four."""
    written = Written.of(LICK)
    heard = _swapped(_take(), 4, MIDI[4] + 1)
    heard[4] = Heard(heard[4].time_s + 0.1, MIDI[4] + 1)
    place_s = START_S + written.onset_s
    for part, right in ((heard, 7), (heard[:4], 4), (heard[:3], 0)):
        lattice = warp.weigh_notes(written, heard_events.events(part), place_s)
        fit = lattice.fit(Expectation(place_s[None], 0.04))
        assert (fit is None) is (right == 0)
        if fit is not None:
            assert len(fit.written_s) == right
            np.testing.assert_allclose(fit.at(written.onset_s[:4]), place_s[:4])
