"""Runs through a lick, found among events made by hand."""

from __future__ import annotations

import hand_made_events as made
import numpy as np
import pytest
from hand_made_events import Heard
from hypothesis import given, settings
from hypothesis import strategies as st

from assessor import passes
from assessor.passes import Chain, Run

# A lick of 16 notes with rests, unequal steps and a repeated pitch.
MIDI = np.array([57, 60, 62, 60, 64, 67, 64, 64, 69, 67, 64, 62, 60, 62, 57, 55])
WRITTEN_S = np.array(
    [0, 0.3, 0.6, 0.9, 1.2, 1.8, 2.1, 2.4, 3.0, 3.3, 3.6, 3.75, 3.9, 4.2, 4.8, 5.4]
)
PLACE_TOLERANCE_S = 0.05
RATIO_TOLERANCE = 0.02


def _take(
    start_s: float = 1.0,
    ratio: float = 1.0,
    *,
    first: int = 0,
    last: int = 15,
    moved: int = 0,
) -> list[Heard]:
    """Notes `first` to `last`; written time 0 falls on `start_s`."""
    part = slice(first, last + 1)
    return made.played(MIDI[part] + moved, start_s + ratio * WRITTEN_S[part])


def _find(heard: list[Heard], tuning_cents: float = 0.0) -> tuple[int, list[Chain]]:
    return passes.find(WRITTEN_S, MIDI, made.events(heard, tuning_cents))


def _notes(chains: list[Chain]) -> list[list[tuple[int, int]]]:
    """First and last note of every run of every chain."""
    return [[(run.first, run.last) for run in chain] for chain in chains]


WHOLE = [(0, 15)]


@pytest.mark.parametrize("ratio", [0.625, 0.7, 0.8, 1.0, 1.3, 2.0, 2.5])
@pytest.mark.parametrize("start_s", [0.0, 1.0, 37.123])
def test_one_pass(ratio: float, start_s: float) -> None:
    """At 0.4 to 1.6 times the written tempo, beginning anywhere."""
    transposition, chains = _find(_take(start_s, ratio))
    assert (transposition, _notes(chains)) == (0, [WHOLE])
    (run,) = chains[0]
    assert run.ratio == pytest.approx(ratio, rel=RATIO_TOLERANCE)
    place_s, played_s = run.place(WRITTEN_S), start_s + ratio * WRITTEN_S
    assert np.abs(place_s - played_s).max() < 2 * PLACE_TOLERANCE_S
    assert (run.start_s, run.end_s) == (played_s[0], pytest.approx(played_s[-1]))
    assert run.support == pytest.approx(0.95 * 16)


@pytest.mark.parametrize("ratio", [0.3, 4.0])
def test_beyond_all_tempi(ratio: float) -> None:
    """What is played at none of the tempi looked for is no whole pass."""
    assert WHOLE not in _notes(_find(_take(1.0, ratio))[1])


@pytest.mark.parametrize("moved", [-19, -12, -5, -1, 1, 3, 7, 12])
def test_moved_take(moved: int) -> None:
    """The whole take in another position, key or octave."""
    transposition, chains = _find(_take(moved=moved))
    assert (transposition, _notes(chains)) == (moved, [WHOLE])


def test_two_passes_of_which_one_is_moved() -> None:
    """The take as a whole is read as written."""
    transposition, chains = _find(_take() + _take(9.0, moved=3))
    assert transposition == 0
    assert _notes(chains)[0] == WHOLE


@pytest.mark.parametrize(
    ("transposition", "tuning_cents", "mistuned"),
    [
        (1, -40, True),  # 60 cents sharp
        (1, -35, True),  # exactly 65
        (1, -34, False),
        (-1, 40, True),
        (-1, 30, False),
        (1, 40, False),  # 140 sharp is moved
        (2, -50, False),
    ],
)
def test_mistuned_or_moved(
    transposition: int, tuning_cents: float, mistuned: bool
) -> None:
    """A guitar out of tune by up to 65 cents looks like a semitone the other way."""
    assert passes.is_mistuned(transposition, tuning_cents) is mistuned
    assert _find(_take(moved=transposition), tuning_cents)[0] == transposition


def test_every_pass_of_many() -> None:
    """Six in a row at their own tempi, a second of rest between."""
    heard, start_s, starts_s = [], 0.5, []
    for ratio in (1.0, 0.8, 1.25, 1.0, 0.7, 1.4):
        starts_s.append(start_s)
        heard += _take(start_s, ratio)
        start_s += ratio * WRITTEN_S[-1] + 1.5
    _, chains = _find(heard)
    assert _notes(chains) == [WHOLE] * 6
    assert [chain[0].start_s for chain in chains] == starts_s


@pytest.mark.parametrize("away_s", np.arange(0, 24, 1.7))
def test_no_pass_is_lost_between_windows(away_s: float) -> None:
    """A long take is searched window by window; a pass may lie over their edge."""
    start_s = passes.WINDOW_S - 20 + away_s
    heard = [Heard(0.0, 50), *_take(start_s), Heard(3 * passes.WINDOW_S, 50)]
    _, chains = _find(heard)
    assert _notes(chains) == [WHOLE]
    assert chains[0][0].start_s == start_s


def test_a_quarter_of_an_hour_of_passes() -> None:
    """Each found once."""
    starts_s = np.arange(1.0, 900, 7.3)
    heard = [one for start_s in starts_s for one in _take(start_s)]
    _, chains = _find(heard)
    assert _notes(chains) == [WHOLE] * len(starts_s)
    assert [chain[0].start_s for chain in chains] == list(starts_s)


@pytest.mark.parametrize("pause_s", [0.5, 2.0, 7.0])
def test_a_pause_is_inside_one_pass(pause_s: float) -> None:
    """Stopped after the eighth note and gone on from there."""
    heard = _take(last=7) + _take(1.0 + pause_s, first=8)
    _, chains = _find(heard)
    assert _notes(chains) == [[(0, 7), (8, 15)]]


def test_a_long_break_ends_a_pass() -> None:
    """Going on from there after more than `LONGEST_PAUSE_S` is another pass."""
    late_s = 1.0 + passes.LONGEST_PAUSE_S + 2.0
    _, chains = _find(_take(last=7) + _take(late_s, first=8))
    assert _notes(chains) == [[(0, 7)], [(8, 15)]]


def test_a_restart_is_a_pass_of_its_own() -> None:
    """Broken off after six notes and begun again."""
    _, chains = _find(_take(last=5) + _take(4.5))
    assert _notes(chains) == [[(0, 5)], WHOLE]


def test_an_unfinished_take() -> None:
    """The first nine notes are one pass that ends there."""
    assert _notes(_find(_take(last=8))[1]) == [[(0, 8)]]


def test_missed_and_wrong_notes_do_not_break_a_pass() -> None:
    """Three of sixteen wrong, two missed, three more between."""
    heard = _take()
    for k in (3, 8, 12):
        heard[k] = Heard(heard[k].time_s, int(MIDI[k]) + 1)
    heard = [h for k, h in enumerate(heard) if k not in (5, 10)]
    heard += [Heard(t, 71) for t in (1.45, 3.2, 5.1)]
    assert _notes(_find(heard)[1]) == [WHOLE]


def test_uneven_time_does_not_break_a_pass() -> None:
    """Every note up to 60 ms early or late."""
    rng = np.random.default_rng(1)
    played_s = 1.0 + WRITTEN_S + rng.uniform(-0.06, 0.06, 16)
    assert _notes(_find(made.played(MIDI, played_s))[1]) == [WHOLE]


@pytest.mark.parametrize("seed", range(10))
def test_other_notes_are_no_run(seed: int) -> None:
    """The same number of random notes at random times holds no whole pass."""
    rng = np.random.default_rng(seed)
    times_s = np.sort(rng.uniform(0, 6, 16))
    _, chains = _find(made.played(rng.integers(45, 80, 16), times_s))
    assert WHOLE not in _notes(chains)


def test_nothing_heard() -> None:
    """No events, or only events that are rather nothing."""
    assert _find([]) == (0, [])
    assert _find([Heard(0.3 * k, None) for k in range(20)]) == (0, [])


@pytest.mark.parametrize("count", [1, 2, 3, 4])
def test_short_licks(count: int) -> None:
    """As few notes as a lick may have."""
    heard = made.events(_take(last=count - 1))
    _, chains = passes.find(WRITTEN_S[:count], MIDI[:count], heard)
    assert _notes(chains) == [[(0, count - 1)]]


def test_notes_that_cannot_be_heard_have_no_vote() -> None:
    """Below and above what the ear hears; the rest carries the pass."""
    midi = MIDI.copy()
    midi[[4, 9]] = 20, 110
    _, chains = passes.find(WRITTEN_S, midi, made.events(_take()))
    assert _notes(chains) == [WHOLE]


def test_notes_below_all_hearing_are_not_the_lowest_that_is_heard() -> None:
    """A lick below what is heard is not found in a take of its lowest pitch."""
    heard = made.events(made.played([36] * 16, 1.0 + WRITTEN_S))
    assert passes.find_runs(WRITTEN_S, np.full(16, 36), heard) != []
    assert passes.find_runs(WRITTEN_S, np.full(16, 30), heard) == []


@settings(deadline=None, max_examples=40)
@given(
    start_s=st.floats(0, 600),
    ratio=st.floats(0.65, 2.4),
    moved=st.integers(-18, 18),
)
def test_any_place_tempo_and_position(start_s: float, ratio: float, moved: int) -> None:
    """Time, tempo and position change where a pass is, not that it is found."""
    transposition, chains = _find(_take(start_s, ratio, moved=moved))
    assert (transposition, _notes(chains)) == (moved, [WHOLE])


# ------------------------------------------------------------------- chains


def _run(first: int, last: int, start_s: float, support: float | None = None) -> Run:
    """Run at the written tempo of which note `first` falls on `start_s`."""
    offset_s = start_s - WRITTEN_S[first]
    end_s = float(offset_s + WRITTEN_S[last])
    support = last - first + 1 if support is None else support
    return Run(1.0, float(offset_s), first, last, start_s, end_s, support)


@pytest.mark.parametrize(
    ("runs", "expected"),
    [
        # goes on where the one before stopped
        ([_run(0, 7, 1.0), _run(8, 15, 6.0)], [[(0, 7), (8, 15)]]),
        # the last note played once more: still the same pass
        ([_run(0, 7, 1.0), _run(7, 15, 6.0)], [[(0, 7), (7, 15)]]),
        # two notes back, too
        ([_run(0, 7, 1.0), _run(6, 15, 6.0)], [[(0, 7), (6, 15)]]),
        # three notes back: begun again
        ([_run(0, 7, 1.0), _run(5, 15, 6.0)], [[(0, 7)], [(5, 15)]]),
        # from the start: begun again
        ([_run(0, 7, 1.0), _run(0, 15, 6.0)], [[(0, 7)], [(0, 15)]]),
        # in order of time, whatever the order they were found in
        ([_run(0, 15, 9.0), _run(0, 15, 1.0)], [[(0, 15)], [(0, 15)]]),
        # a weaker run inside a stronger one is an echo of it
        ([_run(0, 15, 1.0), _run(3, 8, 2.0)], [[(0, 15)]]),
        # three pieces
        (
            [_run(0, 3, 1.0), _run(4, 9, 4.0), _run(10, 15, 9.0)],
            [[(0, 3), (4, 9), (10, 15)]],
        ),
    ],
)
def test_chains(runs: list[Run], expected: list[list[tuple[int, int]]]) -> None:
    """Runs that continue each other are one pass."""
    assert _notes(passes.chain(runs, WRITTEN_S)) == expected
