"""Progress over days, from histories whose truth is known."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
import stores

from assessor.assessment import Settings
from assessor.history.licks import digest_of
from assessor.history.progress import (
    FEWEST_DAYS,
    MOST_POINTS,
    LickProgress,
    Series,
    Verdict,
    progress_of,
)
from assessor.history.summary import summaries_from, summary_of
from assessor.history.takes import Take
from assessor.measures.clock import Click
from assessor.measures.tolerance import TOLERANCES

BERLIN = ZoneInfo("Europe/Berlin")


def take(number: int, days_ago: float = 0.0, **fields: Any) -> Take:
    """A kept take; `fields` of `stores.result`, or of `Take`."""
    kept = {key: fields.pop(key) for key in Take.__annotations__ if key in fields}
    result = stores.result(number, **fields)
    made = Take(
        take_id=number,
        player="",
        lick=digest_of(stores.LICK),
        title=stores.LICK.title,
        device="",
        digest=f"{number:064x}",
        recorded_at=stores.NOW - timedelta(days=days_ago),
        kept_at=stores.NOW,
        duration_s=12.0,
        file="take.wav",
        copied_to=None,
        tool_version="1",
        a_level_dbfs=None,
        summary=summary_of(result),
    )
    return made._replace(**kept)


def only(takes: list[Take]) -> LickProgress:
    """Progress in the one lick there is."""
    (found,) = progress_of(takes, UTC)
    return found


def series(found: LickProgress, name: str) -> Series:
    """One row."""
    (one,) = [row for row in (*found.series, *found.causes) if row.name == name]
    return one


def improving(count: int) -> list[Take]:
    """A take a day whose onsets scatter less and less."""
    return [take(k, count - k, late_ms=40.0 - 3.0 * k) for k in range(count)]


def test_summary_survives_json() -> None:
    """What is stored is what comes back."""
    summary = summary_of(stores.result(3, missed=(4,)))
    (again,) = summaries_from([json.dumps(summary.to_json())])
    assert again.readings.keys() == summary.readings.keys()
    for name, kept in again.readings.items():
        assert kept[:1] == pytest.approx(summary.readings[name][:1], rel=1e-5)
        assert kept[1::4] == summary.readings[name][1::4]
    assert again.passes[0] == pytest.approx(summary.passes[0], rel=1e-5)
    for field in ("causes", "reached", "faulty", "stretch_s", "tolerance", "best"):
        assert getattr(again, field) == getattr(summary, field)
    assert summary.causes["missed notes"] == 1
    assert (summary.reached[4], summary.faulty[4]) == (1, 1)


def test_a_clear_improvement_is_told() -> None:
    """Twelve days, from 40 ms of scatter to 7: better, by about so much."""
    row = series(only(improving(12)), "timing spread")
    assert row.verdict is Verdict.BETTER
    assert row.unit == "ms"
    assert row.change is not None
    assert -60 < row.change.change < -20
    assert row.change.test.p < 0.01
    assert row.change.slope.low < row.change.slope.value < row.change.slope.high < 0
    assert len(row.points) == 12


def test_the_same_the_other_way_round_is_worse() -> None:
    """More spread is worse, more right notes are better."""
    takes = [
        one._replace(recorded_at=stores.NOW + (stores.NOW - one.recorded_at))
        for one in improving(12)
    ]
    assert series(only(takes), "timing spread").verdict is Verdict.WORSE
    fewer = [take(k, 12 - k, missed=tuple(range(max(0, 8 - k)))) for k in range(12)]
    found = only(fewer)
    assert series(found, "right notes").verdict is Verdict.BETTER
    assert series(found, "missed notes").verdict is Verdict.BETTER


@pytest.mark.parametrize(
    ("count", "verdict"),
    [
        (3, Verdict.TOO_FEW),
        (4, Verdict.TOO_FEW),
        (5, Verdict.NOTHING),
        (12, Verdict.BETTER),
    ],
)
def test_nothing_from_fewer_than_five(count: int, verdict: Verdict) -> None:
    """However clear they look; a perfect row of four is chance in one of twelve."""
    row = series(only(improving(count)), "timing spread")
    assert row.verdict is verdict
    assert (row.change is None) == (count < FEWEST_DAYS)


def test_many_rows_make_each_less_sure() -> None:
    """One row in many that rises by itself is what chance does."""
    takes = [take(k, 6 - k, late_ms=4.0, missed=tuple(range(6 - k))) for k in range(6)]
    alone = series(only(takes), "right notes")
    assert alone.change is not None
    assert alone.change.test.p < alone.change.p
    rows = [row.change for row in (*only(takes).series, *only(takes).causes)]
    tested = [change.test.p for change in rows if change is not None]
    assert len(tested) > 3
    assert alone.change.p <= len(tested) * alone.change.test.p


def test_takes_to_a_click_stand_apart() -> None:
    """In rows of time; a pitch is the same with a click and without."""
    to_click = Settings(click=Click(0.0))
    takes = [*improving(8), take(9, 0, late_ms=5.0, settings=to_click)]
    found = only(takes)
    for name in ("timing spread", "mark"):
        row = series(found, name)
        assert [point.comparable for point in row.points] == [False] * 8 + [True]
        assert row.verdict is Verdict.TOO_FEW
    assert all(point.comparable for point in series(found, "right notes").points)
    assert series(found, "click offset").points[0].takes == 1


def test_many_takes_on_one_day_are_one_day() -> None:
    """Nine takes on three days claim nothing."""
    takes = [take(k, 3 - k // 3, late_ms=40.0 - 4 * k) for k in range(9)]
    row = series(only(takes), "timing spread")
    assert [point.takes for point in row.points] == [3, 3, 3]
    assert row.verdict is Verdict.TOO_FEW


def test_change_smaller_than_detectable_is_not_told() -> None:
    """A small trend under large scatter: p may be small, the claim is not made."""
    random = np.random.default_rng(5)
    claims = 0
    for seed in range(40):
        takes = [
            take(
                100 * seed + k, 8 - k, late_ms=float(20 + 4 * random.standard_normal())
            )
            for k in range(8)
        ]
        row = series(only(takes), "timing spread")
        claims += row.verdict in (Verdict.BETTER, Verdict.WORSE)
        if row.change is not None and row.verdict in (Verdict.BETTER, Verdict.WORSE):
            assert abs(row.change.change) > row.change.detectable
    assert claims <= 4  # 5 % of 40, and the binomial's 95 % end


def test_other_versions_are_marked_and_left_out() -> None:
    """Eight days of the old version, three of the new: marked, nothing claimed."""
    takes = improving(11)
    takes = [*takes[:8], *(one._replace(tool_version="2") for one in takes[8:])]
    found = only(takes)
    row = series(found, "timing spread")
    assert found.versions == ("1", "2")
    assert [point.comparable for point in row.points] == [False] * 8 + [True] * 3
    assert row.verdict is Verdict.TOO_FEW


def test_other_tolerance_changes_marks_but_not_readings() -> None:
    """A mark depends on the tolerance, a spread in milliseconds does not."""
    tight = Settings(tolerance=TOLERANCES["tight"])
    takes = [*improving(8), take(9, 0, late_ms=5.0, settings=tight)]
    found = only(takes)
    assert series(found, "mark").verdict is Verdict.TOO_FEW
    assert series(found, "timing spread").change is not None


def test_tempo_reached_counts_whole_passes_inside() -> None:
    """Slower takes reach less; a take outside its tolerance reaches nothing."""
    takes = [
        take(1, 3, pace=2.0, late_ms=1.0),
        take(2, 2, pace=1.25, late_ms=1.0),
        take(3, 1, pace=1.0, late_ms=1.0, missed=(1, 2, 3)),
    ]
    found = only(takes)
    assert found.goal_bpm == 100
    assert found.reached_bpm == pytest.approx(80, abs=0.5)
    values = [point.value for point in series(found, "tempo reached").points]
    assert values == pytest.approx([50, 80], abs=0.5)


def test_heat_by_week_and_note() -> None:
    """Weeks begin on Monday; a note is as hot as often it went wrong."""
    monday = datetime(2026, 11, 23, 12, tzinfo=UTC)
    takes = [
        take(1, recorded_at=monday - timedelta(days=1), missed=(3,)),
        take(2, recorded_at=monday, missed=(3, 5)),
        take(3, recorded_at=monday + timedelta(days=1), missed=(5,)),
    ]
    heat = only(takes).heat
    assert heat.weeks == (date(2026, 11, 16), date(2026, 11, 23))
    assert [heat.share(0, k) for k in (3, 5)] == [1.0, 0.0]
    assert [heat.share(1, k) for k in (3, 5)] == [0.5, 1.0]


def test_days_are_those_of_the_players_clock() -> None:
    """23:30 UTC is the next day in Berlin, in summer and in winter."""
    late = datetime(2026, 7, 1, 23, 30, tzinfo=UTC)
    takes = [take(1, recorded_at=late), take(2, recorded_at=late.replace(month=12))]
    (found,) = progress_of(takes, BERLIN)
    days = [point.day for point in found.series[0].points]
    assert days == [date(2026, 7, 2), date(2026, 12, 2)]


def test_long_histories_are_read_by_week() -> None:
    """Above 120 days the points are Mondays."""
    sample = take(1)
    takes = [
        sample._replace(recorded_at=stores.NOW - timedelta(days=k)) for k in range(200)
    ]
    row = only(takes).series[0]
    assert len(row.points) < MOST_POINTS
    assert {point.day.weekday() for point in row.points} == {0}
    assert sum(point.takes for point in row.points) == 200


def test_licks_stand_apart() -> None:
    """The latest played comes first."""
    other = take(2, 0, lick="b" * 64, title="Other")
    found = progress_of([take(1, 3), other], UTC)
    assert [one.title for one in found] == ["Other", "Sixteen of them"]
    assert progress_of([], UTC) == ()
