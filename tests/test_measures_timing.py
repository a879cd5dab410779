"""Timing of hand-made passes whose truth is exact."""

from __future__ import annotations

from fractions import Fraction

import hand_made as made
import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from assessor.alignment import Verdict
from assessor.lick.notation import Lick, Meter
from assessor.measures import timing
from assessor.measures.clock import JUMP_S, Against, Click
from assessor.measures.timing import Tendency, Timing
from assessor.measures.tolerance import TOLERANCES, Judgement

USUAL = TOLERANCES["usual"]
TIME_TOLERANCE_MS = 1e-6

EIGHTHS = made.lick([k / 2 for k in range(16)])  # 0.3 s each at 100 bpm


def measured(lick: Lick, late_s: object = 0.0, **fields: object) -> Timing:
    """Timing of a pass played as written but for `late_s`."""
    click = fields.pop("click", None)
    notes = made.as_written(lick, late_s=late_s, **fields)  # type: ignore[arg-type]
    return timing.measure(lick, made.passage(notes), USUAL, click)  # type: ignore[arg-type]


def deviations_ms(found: Timing) -> list[float]:
    """Deviation of each note."""
    return [note.deviation.value for note in found.notes]


def test_steady_pass_is_in_time() -> None:
    """As written, slower: no deviation, the tempo is found, nothing drifts."""
    found = measured(EIGHTHS, pace=1.25)
    assert found.against == Against.OWN_TEMPO
    np.testing.assert_allclose(deviations_ms(found), 0, atol=TIME_TOLERANCE_MS)
    assert found.tempo is not None
    assert found.tempo.value == pytest.approx(80.0)
    assert found.tempo.target == 100.0
    assert found.spread is not None
    assert found.spread.value == pytest.approx(0, abs=TIME_TOLERANCE_MS)
    assert found.drift is not None
    assert found.drift.value == pytest.approx(0, abs=1e-6)
    assert found.tendency == Tendency.STEADY
    assert (found.offset, found.swing, found.jumps) == (None, None, ())


def test_one_late_note_is_late_alone() -> None:
    """A robust tempo does not follow one note that is 60 ms late."""
    late_s = np.zeros(16)
    late_s[7] = 0.06
    found = measured(EIGHTHS, late_s)
    expected = np.zeros(16)
    expected[7] = 60.0
    np.testing.assert_allclose(deviations_ms(found), expected, atol=0.5)
    assert found.notes[7].beat_percent == pytest.approx(10.0, abs=0.1)  # of 600 ms
    judged = [note.deviation.judgement for note in found.notes]
    assert judged.count(Judgement.OUTSIDE) == 1


@pytest.mark.parametrize(
    ("late_ms", "judgement"),
    [(14.9, Judgement.INSIDE), (15.0, Judgement.INSIDE), (15.1, Judgement.OUTSIDE)],
)
def test_limit_is_that_of_the_interval_before(
    late_ms: float, judgement: Judgement
) -> None:
    """Usual, 300 ms: 5 % are 15 ms, inclusive."""
    late_s = np.zeros(16)
    late_s[7] = late_ms / 1000
    found = measured(EIGHTHS, late_s, start_s=0.6, click=Click())
    assert found.notes[7].deviation.judgement == judgement


def test_late_by_a_constant_shows_against_a_click_only() -> None:
    """20 ms behind the click throughout: an offset, no spread."""
    found = measured(EIGHTHS, start_s=1.22, click=Click())
    assert found.against == Against.CLICK
    assert found.offset is not None
    assert found.offset.value == pytest.approx(20.0)
    np.testing.assert_allclose(deviations_ms(found), 20.0)
    assert found.spread is not None
    assert found.spread.value == pytest.approx(0, abs=TIME_TOLERANCE_MS)
    own = measured(EIGHTHS, start_s=1.22)
    np.testing.assert_allclose(deviations_ms(own), 0.0, atol=TIME_TOLERANCE_MS)


@pytest.mark.parametrize("count_in", [0, 1, 4, 7])
def test_lick_starts_on_any_count_of_the_click(count_in: int) -> None:
    """A count-in of any length, a click that does not start with the take."""
    start_s = 0.37 + count_in * 0.75 + 0.01
    click = Click(0.37, tempo_bpm=80.0)
    found = measured(EIGHTHS, start_s=start_s, pace=1.25, click=click)
    np.testing.assert_allclose(deviations_ms(found), 10.0, atol=TIME_TOLERANCE_MS)
    assert found.seconds_per_written == 1.25


def test_pickup_puts_the_first_bar_line_on_the_click() -> None:
    """A pickup of an eighth starts between two clicks."""
    lick = made.lick([k / 2 for k in range(9)], pickup_beats=Fraction(1, 2))
    found = measured(lick, start_s=0.6 * 4 - 0.3, click=Click())
    np.testing.assert_allclose(deviations_ms(found), 0.0, atol=TIME_TOLERANCE_MS)


def test_compound_meter_starts_on_any_eighth() -> None:
    """In 6/8 the counts are eighths."""
    lick = made.lick([k / 2 for k in range(12)], meter=Meter(6, 8))
    found = measured(lick, start_s=0.9, click=Click())
    np.testing.assert_allclose(deviations_ms(found), 0.0, atol=TIME_TOLERANCE_MS)


@pytest.mark.parametrize("bpm_min", [-40.0, -12.0, 6.0, 30.0])
def test_even_drift_is_measured(bpm_min: float) -> None:
    """Tempo 100 at the start, changing evenly: drift and lag in closed form."""
    lick = made.lick([k / 2 for k in range(32)])
    beats = np.arange(32) / 2
    start, half = 100 / 60, bpm_min / 3600 / 2  # beats a second, half its change
    onset_s = (np.sqrt(start**2 + 4 * half * beats) - start) / (2 * half)
    found = measured(lick, onset_s - lick.onsets_s())
    assert found.drift is not None
    assert found.lag is not None
    assert found.drift.value == pytest.approx(bpm_min, rel=1e-6)
    lag_ms = 1000 * (onset_s[-1] - beats[-1] / start)
    assert found.lag.value == pytest.approx(lag_ms, rel=1e-6)
    # usual: 3 % of the tempo over the pass
    outside = abs(bpm_min) * onset_s[-1] / 60 > 3.0
    fast, slow = Tendency.RUSHING, Tendency.DRAGGING
    expected = (fast if bpm_min > 0 else slow) if outside else Tendency.STEADY
    assert found.tendency == expected


def test_intervals_hold_what_they_promise() -> None:
    """Of 300 passes with 12 ms of jitter, about 95 % hold the true drift and tempo."""
    random = np.random.default_rng(5)
    held = np.zeros(3)
    for _ in range(300):
        found = measured(EIGHTHS, random.normal(0, 0.012, 16))
        assert found.drift is not None
        assert found.tempo is not None
        assert found.spread is not None
        held += [
            abs(found.drift.value) <= found.drift.uncertainty,
            abs(found.tempo.value - 100) <= found.tempo.uncertainty,
            abs(found.spread.value - 12) <= found.spread.uncertainty,
        ]
    assert np.all(held / 300 > 0.9)
    assert np.all(held[:2] / 300 < 0.99)


def test_pause_costs_one_note_only() -> None:
    """Playing that stops for 0.9 s before note 9 and goes on in time."""
    late_s = np.where(np.arange(16) >= 9, 0.9, 0.0)
    found = measured(EIGHTHS, late_s)
    expected = np.zeros(16)
    expected[9] = 900.0
    np.testing.assert_allclose(deviations_ms(found), expected, atol=1e-3)
    assert [(j.index, round(j.extra_ms)) for j in found.jumps] == [(9, 900)]
    assert found.tempo is not None
    assert found.tempo.value == pytest.approx(100.0)


def test_click_waits_for_nobody() -> None:
    """The same pause against a click makes every later note late."""
    late_s = np.where(np.arange(16) >= 12, 0.2, 0.0)
    found = measured(EIGHTHS, late_s, start_s=0.6, click=Click())
    assert found.jumps == ()
    np.testing.assert_allclose(deviations_ms(found)[12:], 200.0)


def test_one_note_far_out_of_place_is_no_pause() -> None:
    """One note 250 ms late between notes in time: no jump of the clock."""
    late_s = np.zeros(16)
    late_s[8] = 0.25
    assert measured(EIGHTHS, late_s).jumps == ()


def test_hesitation_at_shifts_and_skips() -> None:
    """Each shift takes 40 ms more than the plain notes, each skip nothing."""
    places = [(3, 5), (3, 7), (2, 5), (2, 7), (3, 12), (3, 14), (2, 12), (2, 14)] * 2
    lick = made.lick([k / 2 for k in range(16)], places)
    shifts = np.isin(np.arange(16), [4, 8, 12])
    found = measured(lick, np.cumsum(0.04 * shifts))
    assert [h.movement for h in found.hesitations] == ["shift"]
    hesitation = found.hesitations[0]
    assert hesitation.extra.value == pytest.approx(40.0, abs=0.01)
    assert hesitation.worst in (4, 8, 12)


def test_string_skips_are_held_against_the_other_notes() -> None:
    """Notes after a jump over a string come 30 ms late and are made up for."""
    places = [(4, 5), (4, 7), (2, 5), (2, 7)] * 4
    lick = made.lick([k / 2 for k in range(16)], places)
    skips = np.array([k > 0 and k % 4 in (0, 2) for k in range(16)])
    found = measured(lick, 0.03 * skips)
    (hesitation,) = found.hesitations
    assert hesitation.movement == "string skip"
    # from a plain note to a skip + 30 ms, from a skip to a plain note - 30 ms
    assert hesitation.extra.value == pytest.approx(60.0, abs=0.1)


@pytest.mark.parametrize(
    ("asked", "played", "off_beat_percent"),
    # Friberg & Sundstrom 2002: a ratio r puts the off-beat at r / (1 + r)
    [(1.5, 1.5, 60.0), (2.0, 2.0, 66.667), (2.0, 1.5, 60.0), (2.0, 3.5, 77.778)],
)
def test_swing_ratio(asked: float, played: float, off_beat_percent: float) -> None:
    """Long over short eighth, whatever was asked for."""
    swung = made.lick([k / 2 for k in range(17)], swing=asked)
    off = np.arange(17) % 2 == 1
    beat_s = 0.6
    late_s = np.where(off, beat_s * (off_beat_percent / 100 - asked / (1 + asked)), 0)
    found = measured(swung, late_s, start_s=0.6, click=Click())
    assert found.swing is not None
    assert found.swing.value == pytest.approx(played, abs=1e-3)
    assert found.swing.target == asked
    inside = Judgement.INSIDE if asked == played else Judgement.OUTSIDE
    assert found.swing.judgement == inside


def test_straight_licks_have_no_swing_ratio() -> None:
    """Swing is measured where the lick asks for it."""
    assert measured(EIGHTHS).swing is None


@pytest.mark.parametrize("heard", [0, 1, 3])
def test_too_few_notes_are_not_judged(heard: int) -> None:
    """Below four notes there is no own tempo, and the ears' tempo stands in."""
    notes = made.as_written(EIGHTHS)[:heard] + [None] * (16 - heard)
    found = timing.measure(EIGHTHS, made.passage(notes, tempo_ratio=0.8), USUAL)
    assert found == Timing(Against.OWN_TEMPO, 1.25)


def test_single_note_lick_against_a_click() -> None:
    """One note is early or late by a click, but has no spread and no tempo."""
    single = made.lick([0])
    found = measured(single, start_s=1.19, click=Click())
    assert deviations_ms(found) == [pytest.approx(-10.0)]
    assert (found.tempo, found.spread, found.drift) == (None, None, None)


def test_unsure_notes_do_not_count() -> None:
    """A note the ears are not sure of gives no deviation."""
    notes = made.as_written(EIGHTHS)
    passage = made.passage(notes, verdicts={3: Verdict.UNSURE, 5: Verdict.WRONG})
    found = timing.measure(EIGHTHS, passage, USUAL)
    assert [n.index for n in found.notes] == [k for k in range(16) if k != 3]


def test_uncertain_onsets_make_an_unsure_judgement() -> None:
    """20 ms late, known to 10 ms: beyond 15 ms, but not for sure."""
    late_s = np.zeros(16)
    late_s[7] = 0.02
    click = Click()
    args = {"start_s": 0.6, "click": click, "onset_uncertainty_s": 0.01}
    found = measured(EIGHTHS, late_s, **args)
    assert found.notes[7].deviation.judgement == Judgement.UNSURE


JITTER = st.lists(st.floats(-0.05, 0.05), min_size=16, max_size=16)


@settings(max_examples=30, deadline=None)
@given(late_s=JITTER, shift_s=st.floats(0.0, 100.0))
def test_shift_in_time_changes_nothing(late_s: list[float], shift_s: float) -> None:
    """Silence before the take leaves every own-tempo reading as it was."""
    here = measured(EIGHTHS, late_s, start_s=1.0)
    there = measured(EIGHTHS, late_s, start_s=1.0 + shift_s)
    np.testing.assert_allclose(deviations_ms(there), deviations_ms(here), atol=1e-3)
    assert here.drift is not None
    assert there.drift is not None
    assert there.drift.value == pytest.approx(here.drift.value, abs=1e-3)


@settings(max_examples=30, deadline=None)
@given(late_s=JITTER, pace=st.floats(0.7, 2.5))
def test_playing_in_proportion_scales_the_deviations(
    late_s: list[float], pace: float
) -> None:
    """The same pass at another speed is off by the same share of the beat.

    As long as nobody stops: what is a stop does not depend on the speed.
    """
    late = np.array(late_s)
    assume(pace * np.abs(np.diff(late)).max() < JUMP_S)
    here, there = measured(EIGHTHS, late), measured(EIGHTHS, pace * late, pace=pace)
    shares = [[n.beat_percent for n in found.notes] for found in (here, there)]
    np.testing.assert_allclose(shares[1], shares[0], atol=0.05)
