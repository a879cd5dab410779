"""Bends, vibrato and intonation of contours whose truth is exact."""

from __future__ import annotations

from collections.abc import Callable

import hand_made as made
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assessor.alignment import Verdict
from assessor.lick.notation import Articulation, Bend, BendKind
from assessor.measures import bends, curves
from assessor.measures.bends import Bends, BentNote, VibratoNote
from assessor.measures.tolerance import TOLERANCES, Judgement
from assessor.tuning import FloatArray

USUAL = TOLERANCES["usual"]
PITCH_TOLERANCE_CENTS = 1.0
TIME_TOLERANCE_MS = 10.0  # one step of the contour
RATE_TOLERANCE_HZ = 0.05

Shape = Callable[[FloatArray], FloatArray]


def ramp(since_s: FloatArray, start_s: float, length_s: float) -> FloatArray:
    """Half a cosine from 0 to 1."""
    part = np.clip((since_s - start_s) / length_s, 0, 1)
    return 0.5 * (1 - np.cos(np.pi * part))


def swing(since_s: FloatArray, start_s: float, rate_hz: float) -> FloatArray:
    """Sine from `start_s` on."""
    angle = 2 * np.pi * rate_hz * (since_s - start_s)
    return np.where(since_s >= start_s, np.sin(angle), 0.0)


def measured(
    shape: Shape,
    *,
    bend: Bend | None = None,
    vibrato: bool = False,
    tuning_cents: float = 0.0,
    midi_shift: int = 0,
    shift_s: float = 0.0,
    length_s: float = 1.0,
    noise: FloatArray | None = None,
) -> Bends:
    """Reading of one note whose cents above the fret follow `shape`."""
    lick = made.lick([0], extras={0: {"bend": bend, "vibrato": vibrato}})
    since_s = np.arange(round(length_s / 0.01)) * 0.01
    cents = shape(since_s) + tuning_cents
    if noise is not None:
        cents[: len(noise)] += noise
    note = made.played(
        1.0 + shift_s,
        lick.notes[0].midi_number + midi_shift,
        offset_s=1.0 + shift_s + length_s,
        cents=list(cents),
    )
    return bends.measure(lick, made.passage([note]), USUAL, tuning_cents=tuning_cents)


def bent(shape: Shape, bend: Bend, **fields: object) -> BentNote:
    """Only bent note of a reading."""
    (note,) = measured(shape, bend=bend, **fields).bent  # type: ignore[arg-type]
    return note


def shaken(shape: Shape, **fields: object) -> VibratoNote:
    """Only note with vibrato of a reading."""
    (note,) = measured(shape, vibrato=True, **fields).vibrato  # type: ignore[arg-type]
    return note


WHOLE = Bend(BendKind.BEND, 200.0)


@pytest.mark.parametrize("top", [50.0, 100.0, 188.0, 200.0, 300.0])
def test_held_bend_settles_at_its_top(top: float) -> None:
    """A bend that rises in 150 ms and stays: peak, settled pitch, rise, hold."""
    note = bent(lambda s: top * ramp(s, 0.1, 0.15), WHOLE)
    assert note.settled is not None
    assert note.settled.value == pytest.approx(top, abs=PITCH_TOLERANCE_CENTS)
    assert note.settled.deviation == pytest.approx(top - 200, abs=PITCH_TOLERANCE_CENTS)
    assert note.peak.value == pytest.approx(top, abs=PITCH_TOLERANCE_CENTS)
    assert note.reached == note.settled
    assert note.rise is not None
    # 10 to 90 % of half a cosine takes 0.5903 of its length
    assert note.rise.value == pytest.approx(0.5903 * 150, abs=TIME_TOLERANCE_MS)
    assert note.hold is not None
    assert note.hold.value == pytest.approx(980 - 220, abs=2 * TIME_TOLERANCE_MS)
    assert (note.release, note.end) == (None, None)


@pytest.mark.parametrize(
    ("top", "judgement"),
    [
        (174.0, Judgement.OUTSIDE),
        (174.9, Judgement.UNSURE),
        (175.0, Judgement.INSIDE),
        (225.0, Judgement.INSIDE),
        (225.1, Judgement.UNSURE),
        (226.0, Judgement.OUTSIDE),
    ],
)
def test_bend_is_judged_against_its_written_size(
    top: float, judgement: Judgement
) -> None:
    """Usual: 25 cents, inclusive; beyond it less than 0.4 cents are not sure."""
    note = bent(lambda s: top * ramp(s, 0.1, 0.15), WHOLE)
    assert note.reached.judgement == judgement


def test_overshoot_is_the_peak_over_the_settled_pitch() -> None:
    """Up to 230 cents, then settling at 200."""
    note = bent(lambda s: 230 * ramp(s, 0.1, 0.1) - 30 * ramp(s, 0.25, 0.1), WHOLE)
    assert note.overshoot is not None
    assert note.overshoot.value == pytest.approx(30, abs=2 * PITCH_TOLERANCE_CENTS)


def test_slow_rise_does_not_pull_the_settled_pitch_down() -> None:
    """Up in 500 ms, held for 150 ms, let down in 250 ms."""
    shape = lambda s: 200 * (ramp(s, 0.05, 0.5) - ramp(s, 0.7, 0.25))  # noqa: E731
    note = bent(shape, Bend(BendKind.BEND_RELEASE, 200.0))
    assert note.settled is not None
    assert note.settled.value == pytest.approx(200, abs=2 * PITCH_TOLERANCE_CENTS)


def test_bend_that_never_stays_up_is_judged_by_its_peak() -> None:
    """Up and down again at once: no plateau."""
    shape = lambda s: 190 * (ramp(s, 0.1, 0.05) - ramp(s, 0.15, 0.05))  # noqa: E731
    note = bent(shape, WHOLE)
    assert note.settled is None
    assert note.reached == note.peak


def test_release_is_timed_and_its_end_judged() -> None:
    """Up, held, let down by 100 ms to 30 cents above the fret."""
    release = Bend(BendKind.BEND_RELEASE, 200.0)
    shape = lambda s: 200 * ramp(s, 0.1, 0.1) - 200 * ramp(s, 0.5, 0.1)  # noqa: E731
    note = bent(shape, release)
    assert note.settled is not None
    assert note.settled.value == pytest.approx(200, abs=PITCH_TOLERANCE_CENTS)
    assert note.release is not None
    assert note.release.value == pytest.approx(59.03, abs=TIME_TOLERANCE_MS)
    assert note.end is not None
    assert note.end.judgement == Judgement.INSIDE
    short = bent(lambda s: 200 * ramp(s, 0.1, 0.1) - 160 * ramp(s, 0.5, 0.1), release)
    assert short.end is not None
    assert short.end.value == pytest.approx(40, abs=PITCH_TOLERANCE_CENTS)
    assert short.end.judgement == Judgement.OUTSIDE
    assert short.release is None  # it never came down


def test_prebend_starts_at_its_size() -> None:
    """A pre-bend 40 cents flat at once, then let down."""
    prebend = Bend(BendKind.PREBEND_RELEASE, 200.0)
    note = bent(lambda s: 160 - 160 * ramp(s, 0.5, 0.1), prebend)
    assert note.start.deviation == pytest.approx(-40, abs=PITCH_TOLERANCE_CENTS)
    assert note.start.judgement == Judgement.OUTSIDE
    assert note.rise is None
    assert note.settled is not None
    assert note.settled.value == pytest.approx(160, abs=PITCH_TOLERANCE_CENTS)


def test_string_that_was_not_bent() -> None:
    """A written bend played plain is 200 cents flat."""
    note = bent(np.zeros_like, WHOLE)
    assert note.reached.deviation == pytest.approx(-200, abs=PITCH_TOLERANCE_CENTS)
    assert note.settled is None


@pytest.mark.parametrize("rate_hz", [2.1, 2.7, 3.5, 5.0, 7.5])
@pytest.mark.parametrize("depth", [10.0, 35.0, 80.0, 100.0])
@pytest.mark.parametrize("start_s", [0.0, 0.35])
def test_vibrato_rate_and_depth(rate_hz: float, depth: float, start_s: float) -> None:
    """Also when it starts late in the note."""
    note = shaken(lambda s: depth * swing(s, start_s, rate_hz))
    assert note.rate is not None
    assert note.depth is not None
    assert note.rate.value == pytest.approx(rate_hz, abs=RATE_TOLERANCE_HZ)
    assert note.depth.value == pytest.approx(depth, abs=PITCH_TOLERANCE_CENTS)
    assert note.depth.judgement == Judgement.UNJUDGED


def test_upward_vibrato_has_half_its_swing_as_depth() -> None:
    """A fretted string only goes up: 0 to 60 cents are a depth of 30."""
    note = shaken(lambda s: 30 + 30 * swing(s, 0.0, 5.0))
    assert note.depth is not None
    assert note.depth.value == pytest.approx(30, abs=PITCH_TOLERANCE_CENTS)


def test_vibrato_on_a_bend_leaves_out_the_rise() -> None:
    """Bent by 200 cents, then shaken by 25."""
    shape = lambda s: 200 * ramp(s, 0.1, 0.1) + 25 * swing(s, 0.25, 5.5)  # noqa: E731
    found = measured(shape, bend=WHOLE, vibrato=True, length_s=1.2)
    (note,) = found.vibrato
    assert note.rate is not None
    assert note.depth is not None
    assert note.rate.value == pytest.approx(5.5, abs=RATE_TOLERANCE_HZ)
    assert note.depth.value == pytest.approx(25, abs=PITCH_TOLERANCE_CENTS)


def test_steady_vibrato_varies_less_than_an_uneven_one() -> None:
    """Depth growing from 10 to 60 cents against 35 throughout."""
    steady = shaken(lambda s: 35 * swing(s, 0.0, 5.0))
    uneven = shaken(lambda s: (10 + 50 * s) * swing(s, 0.0, 5.0))
    assert steady.depth_spread is not None
    assert uneven.depth_spread is not None
    assert steady.depth_spread.value < 2.0
    assert uneven.depth_spread.value > 5.0
    assert steady.rate_spread is not None
    assert steady.rate_spread.value < 0.1


@pytest.mark.parametrize("depth", [0.0, 3.0])
def test_note_that_does_not_swing_has_no_vibrato(depth: float) -> None:
    """Less than 10 cents from peak to peak are not heard as vibrato."""
    assert shaken(lambda s: depth * swing(s, 0.0, 5.0)) == VibratoNote(0)


@pytest.mark.parametrize("rate_hz", [0.4, 0.8, 1.2])
def test_a_note_that_wanders_has_no_vibrato(rate_hz: float) -> None:
    """Slower than anybody shakes: no rate is made up for it."""
    assert shaken(lambda s: 20 * np.sin(2 * np.pi * rate_hz * s)) == VibratoNote(0)


def test_noise_at_both_ends_does_not_matter() -> None:
    """Wild values in the first 30 ms and the last 30 ms, strays in between."""
    clean = bent(lambda s: 200 * ramp(s, 0.1, 0.15), WHOLE)
    noise = np.zeros(100)
    noise[:3], noise[-3:], noise[[40, 61]] = [400, -300, 90], 250, [700, -500]
    noise[70:73] = np.nan
    noisy = bent(lambda s: 200 * ramp(s, 0.1, 0.15), WHOLE, noise=noise)
    assert noisy.settled is not None
    assert clean.settled is not None
    assert noisy.settled.value == pytest.approx(clean.settled.value, abs=0.1)
    assert noisy.peak.value == pytest.approx(clean.peak.value, abs=0.5)


@pytest.mark.parametrize("noise_cents", [0.3, 3.0])
def test_uncertainty_grows_with_noise_and_holds(noise_cents: float) -> None:
    """Of 100 bends in noise, nine in ten settled pitches lie in their interval."""
    random = np.random.default_rng(11)
    held = 0
    for _ in range(100):
        noise = random.normal(0, noise_cents, 100)
        note = bent(lambda s: 200 * ramp(s, 0.1, 0.15), WHOLE, noise=noise)
        assert note.settled is not None
        held += abs(note.settled.deviation) <= note.settled.uncertainty
    assert held >= 90


def test_contour_too_short_to_read() -> None:
    """A bend of 80 ms is right, and unread."""
    found = measured(np.zeros_like, bend=WHOLE, length_s=0.08)
    assert (found.bent, found.unread, found.bend_error) == ((), (0,), None)


def test_plain_notes_against_the_guitars_own_tuning() -> None:
    """On a guitar 30 cents flat one note of three is pushed 26 cents sharp."""
    lick = made.lick(range(3))
    notes = made.as_written(lick, cents=-30.0)
    notes[1] = made.played(1.6, lick.notes[1].midi_number, cents=-4.0)
    found = bends.measure(lick, made.passage(notes), USUAL, tuning_cents=-30.0)
    values = [note.intonation.value for note in found.plain]
    np.testing.assert_allclose(values, [0.0, 26.0, 0.0], atol=1e-9)
    assert [note.index for note in found.sharp] == [1]
    assert found.plain_error is not None
    assert found.plain_error.value == pytest.approx(26 / 3)


def test_only_right_notes_with_a_pitch_are_read() -> None:
    """Wrong, unsure, missed and dead notes, and notes without a steady pitch."""
    dead = {3: {"articulation": Articulation.DEAD}}
    lick = made.lick(range(6), extras=dead)
    notes = [*made.as_written(lick, cents=99.0)]
    short = made.played(4.0, lick.notes[4].midi_number, offset_s=4.0)
    passage = made.passage(
        [notes[0], notes[1], None, notes[3], short, notes[5]],
        verdicts={0: Verdict.WRONG, 1: Verdict.UNSURE},
    )
    found = bends.measure(lick, passage, USUAL)
    assert [note.index for note in found.plain] == [5]


@pytest.mark.parametrize(
    "moved", [{"shift_s": 30.0}, {"midi_shift": 5}, {"tuning_cents": 40.0}]
)
def test_moving_the_take_changes_no_reading(moved: dict[str, float]) -> None:
    """Later, in another key, on a detuned guitar: the same cents."""
    shape = lambda s: 190 * ramp(s, 0.1, 0.15) + 20 * swing(s, 0.4, 5.0)  # noqa: E731
    here = bent(shape, WHOLE, vibrato=True)
    there = bent(shape, WHOLE, vibrato=True, **moved)
    assert there.peak.value == pytest.approx(here.peak.value, abs=1e-6)
    assert here.settled is not None
    assert there.settled is not None
    assert there.settled.value == pytest.approx(here.settled.value, abs=1e-6)


def test_empty_contour_gives_no_curve() -> None:
    """A note without a single value."""
    note = made.played(1.0, 60, offset_s=1.0)
    assert curves.curve_of(note, 0.0) is None


@settings(deadline=None)
@given(st.lists(st.floats(-400, 400), min_size=5, max_size=60))
def test_any_curve_has_a_shape(cents: list[float]) -> None:
    """Whatever a pitch does, its shape can be read, and falls nowhere below zero."""
    values = np.array(cents)
    shape = curves.bend_shape(curves.Curve(0.01 * np.arange(len(values)), values))
    assert np.isfinite(shape.peak_cents)
    assert shape.rise_s is None or shape.rise_s >= 0
    assert shape.release_s is None or shape.release_s >= 0


def test_bend_that_is_down_between_has_no_plateau() -> None:
    """Up for a moment at both ends and below the fret between: no settled pitch."""
    cents = np.concatenate([[90.0] * 4, [-60.0] * 20, [95.0] * 4])
    shape = curves.bend_shape(curves.Curve(0.01 * np.arange(len(cents)), cents))
    assert shape.plateau is None
    assert shape.release_s is None
