"""Practice load against the advice it is held to."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from assessor.load import (
    Load,
    break_caution,
    load_cautions,
    load_of,
    strain_caution,
)

TODAY = date(2026, 11, 25)


def days(*minutes: float) -> dict[date, float]:
    """Minutes of the days that end today."""
    count = len(minutes)
    return {
        TODAY - timedelta(days=count - 1 - k): value
        for k, value in enumerate(minutes)
        if value
    }


def test_this_week_against_the_four_before() -> None:
    """A week's mean over as many weeks as there are, four at most."""
    steady = load_of(days(*[30.0] * 35), TODAY)
    assert (steady.today_minutes, steady.week_minutes) == (30, 210)
    assert steady.before_minutes == pytest.approx(210)
    shorter = load_of(days(*[20.0] * 14, *[30.0] * 7), TODAY)
    assert shorter.before_minutes == pytest.approx(140)
    older = load_of(days(*[99.0] * 7, *[10.0] * 28, *[30.0] * 7), TODAY)
    assert older.before_minutes == pytest.approx(70)


def test_nothing_is_said_of_a_week_without_one_before() -> None:
    """History that begins this week has nothing to be compared with."""
    assert load_of(days(30, 30, 30), TODAY).before_minutes is None
    first = load_of(days(90), TODAY)
    assert first.growth_minutes is None
    assert load_cautions(first) == ()
    assert load_of({}, TODAY) == Load(0, 0, None, None, 0)


@pytest.mark.parametrize(
    ("today", "due"),
    # BAPAM: at most ten minutes more a day; half a minute is what is printed as same
    [(30, False), (40, False), (40.4, False), (41, True), (90, True)],
)
def test_ten_minutes_more_a_day(today: float, due: bool) -> None:
    """Just at ten is inside."""
    assert bool(load_cautions(load_of(days(30, 30, today), TODAY))) is due


def test_growth_is_against_the_longest_day_of_the_week_before() -> None:
    """A rest day yesterday makes today no leap."""
    assert load_cautions(load_of(days(50, 0, 0, 0, 55), TODAY)) == ()
    assert load_cautions(load_of(days(50, *[0] * 7, 55), TODAY)) == ()
    assert load_cautions(load_of(days(50, 10, 10, 10, 10, 10, 10, 10, 55), TODAY))


def test_after_three_days_the_time_is_held() -> None:
    """BAPAM: add time on three days, then hold it for the rest of the week."""
    assert load_cautions(load_of(days(30, 35, 40, 45), TODAY)) == ()
    assert "hold it" in load_cautions(load_of(days(30, 35, 40, 45, 50), TODAY))[0]
    assert load_cautions(load_of(days(30, 35, 40, 45, 45), TODAY)) == ()


@pytest.mark.parametrize(("minutes", "due"), [(25, False), (25.1, True), (50, True)])
def test_breaks(minutes: float, due: bool) -> None:
    """Five minutes of each half-hour are a break, so 25 in one go are not too many."""
    assert bool(break_caution(60 * minutes)) is due


def test_any_strain_is_a_reason_to_stop() -> None:
    """Zero says nothing; one says stop, and who to see; eleven is no strain."""
    assert strain_caution(0) == ()
    for strain in (1, 10):
        assert "stop for today" in strain_caution(strain)[0]
        assert "doctor or physiotherapist" in strain_caution(strain)[0]
    for wrong in (-1, 11):
        with pytest.raises(ValueError, match=f"strain of {wrong}"):
            strain_caution(wrong)
