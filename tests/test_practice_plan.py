"""The next practice: the rule, its numbers, and the files it writes."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, timedelta
from fractions import Fraction
from pathlib import Path

import hand_made as made
import pytest
import soundfile
import stores
from test_progress import take

from assessor import lick as licks
from assessor.errors import HistoryError
from assessor.history.licks import digest_of
from assessor.history.parts import bar_of, bars_of_notes
from assessor.history.plan import Numbers, Plan, Step, parse_numbers, plan_of
from assessor.history.plan_files import write_files
from assessor.history.progress import progress_of
from assessor.history.takes import Take
from assessor.lick.notation import Articulation, TempoChange

KNOWN = {digest_of(stores.LICK): stores.LICK}
GOAL = stores.LICK.tempo_bpm  # 100


def planned(takes: Sequence[Take], minutes: float = 9, text: str = "") -> Plan:
    """Plan from takes, at the usual moment."""
    return plan_of(
        progress_of(takes, UTC),
        KNOWN,
        minutes,
        stores.NOW,
        numbers=parse_numbers(text),
        zone=UTC,
    )


def at(bpm: float, *inside: bool, days_ago: int = 1) -> list[Take]:
    """Takes at a tempo, the earliest first, inside the tolerance or not."""
    missed = {True: (), False: (1, 4, 7, 9, 12, 15)}
    return [
        take(
            100 * days_ago + k,
            days_ago + (len(inside) - k) / 100,
            pace=GOAL / bpm,
            late_ms=1.0,
            missed=missed[ok],
        )
        for k, ok in enumerate(inside)
    ]


def step(takes: Sequence[Take], text: str = "") -> Step:
    """The only step of a plan."""
    (one,) = planned(takes, text=text).steps
    return one


@pytest.mark.parametrize(
    ("inside", "text", "bpm"),
    [
        ((True, True, True), "", 84),  # 5 % faster
        ((False, True, True, True), "", 84),  # only the last three count
        ((True, True, False), "", 80),
        ((False, False, True), "", 80),
        ((False, False, False), "", 72),  # 10 % slower
        ((True, True), "", 80),  # too few to say
        ((True, True, True), "up=10", 88),
        ((False, False, False), "down=20%", 64),
        ((True, True), "passes=2", 84),
        ((True, True, True), "up=50", 100),  # never above the written tempo
    ],
)
def test_tempo(inside: tuple[bool, ...], text: str, bpm: float) -> None:
    """Up when all were inside, down when none was, else stay; numbers may change."""
    assert step(at(80, *inside), text).tempo_bpm == bpm


def test_goal_reached_rests() -> None:
    """All inside at the written tempo: again after a week, or when the player says."""
    takes = at(100, True, True, True)
    plan = planned(takes)
    assert plan.steps[0].due == (stores.NOW + timedelta(days=6)).date()
    assert step(takes, "rest=0").due == (stores.NOW - timedelta(days=1)).date()
    assert "keep it there" in plan.steps[0].why


def test_too_slow_is_cut_smaller() -> None:
    """Below half of the written tempo one bar is practised instead."""
    one = step(at(52, False, False, False))
    assert (one.tempo_bpm, one.bar is None) == (50, False)
    assert "one bar alone" in one.why


@pytest.mark.parametrize(
    ("missed", "bar"),
    [
        ((9, 10, 12, 13), 2),  # all in the second of two bars
        ((1, 9, 10, 12), 2),
        ((1, 2, 9, 10), None),  # spread
        ((9,), None),  # once is chance
    ],
)
def test_trouble_in_one_bar(missed: tuple[int, ...], bar: int | None) -> None:
    """Where most goes wrong, and at least twice as often as elsewhere."""
    assert step([take(1, 1, late_ms=1.0, missed=missed)]).bar == bar


def test_old_trouble_is_forgotten() -> None:
    """What went wrong more than four weeks with takes ago does not count."""
    old = take(1, 40, late_ms=1.0, missed=(9, 10, 12, 13))
    recent = [take(k, 28 - 7 * k, late_ms=1.0) for k in range(4)]
    assert step([old, *recent]).bar is None


def test_order_and_days() -> None:
    """Longest not played first; what was played today comes last; what rests waits."""
    first = at(80, True, False, days_ago=5)
    today = [
        one._replace(lick="b" * 64, title="Today", recorded_at=stores.NOW)
        for one in at(80, True, False)
    ]
    resting = [
        one._replace(lick="c" * 64, title="Resting")
        for one in at(100, True, True, True)
    ]
    plan = planned([*today, *first, *resting])
    assert [one.title for one in plan.steps] == ["Sixteen of them", "Today"]
    assert [one.title for one in plan.later] == ["Resting"]
    assert (plan.takes, plan.days) == (7, 3)


def test_licks_take_turns() -> None:
    """Three minutes each, in turn; no more licks than there are turns."""
    takes = [
        one._replace(lick=name * 64, title=name)
        for name in "abc"
        for one in at(80, True, False)
    ]
    plan = planned(takes, minutes=15)
    names = [turn.step.title if turn.step else "" for turn in plan.turns]
    assert sorted(names[:3]) == ["a", "b", "c"]
    assert names == [*names[:3], *names[:2]]
    assert {turn.minutes for turn in plan.turns} == {3}
    assert len(planned(takes, minutes=7).steps) == 2
    assert len(planned(takes, minutes=60, text="licks=1").steps) == 1


@pytest.mark.parametrize("minutes", [3, 20, 30, 60, 120])
def test_breaks_after_25_minutes(minutes: float) -> None:
    """No more than 25 minutes in one go, and all inside the time there is."""
    plan = planned(at(80, True, False), minutes)
    played = 0.0
    for turn in plan.turns:
        played = 0.0 if turn.step is None else played + turn.minutes
        assert played <= 25
        assert turn.start_minute + turn.minutes <= minutes
    assert plan.turns[-1].step is not None
    assert (minutes > 30) == any(turn.step is None for turn in plan.turns)


def test_nothing_to_plan_from() -> None:
    """No takes, no steps; less time than a turn is a wrong call."""
    assert planned([]).steps == ()
    with pytest.raises(ValueError, match="less than one turn of 3"):
        planned(at(80, True), minutes=2)


@pytest.mark.parametrize("text", ["up", "up=-1", "up=99", "speed=3", "up=3;down=2"])
def test_wrong_numbers(text: str) -> None:
    """Refused with what is allowed."""
    with pytest.raises(ValueError, match="passes=1…50"):
        parse_numbers(text)
    assert parse_numbers("") == Numbers()


# ----------------------------------------------------------------------- parts


def test_bars_after_a_pickup() -> None:
    """The pickup is bar 0; whole bars count from 1."""
    lick = made.lick([0, 1, 2, 4, 5, 6], pickup_beats=Fraction(1))
    assert bars_of_notes(lick) == (0, 1, 1, 1, 2, 2)
    assert bars_of_notes(bar_of(lick, 1)) == (1, 1, 1)
    assert bar_of(lick, 0).title == "hand made, pickup"


def test_a_bar_is_cut_at_its_lines() -> None:
    """A long note ends at the line; a slur from the bar before is picked."""
    hammered = {"articulation": Articulation.HAMMER_ON}
    lick = made.lick(
        [0, 2, 4, 5],
        [(3, 5), (3, 5), (3, 7), (3, 5)],
        last_beats=9,
        extras={2: hammered},
        tempo_changes=(TempoChange(Fraction(4), 80.0), TempoChange(Fraction(6), 60.0)),
    )
    second = bar_of(lick, 2)
    assert [n.onset_beats for n in second.notes] == [0, 1]
    assert second.notes[1].end_beats == 4
    assert second.notes[0].articulation is Articulation.PICK
    assert second.tempo_bpm == 80
    assert second.tempo_changes == (TempoChange(Fraction(2), 60.0),)
    with pytest.raises(ValueError, match="no note starts in bar 3"):
        bar_of(lick, 3)


def test_files_of_a_plan(tmp_path: Path) -> None:
    """A demo, a click as long as a turn, and the cut bar as a lick of its own."""
    plan = planned([take(1, 1, late_ms=1.0, missed=(9, 10, 12, 13))])
    files = write_files(plan, KNOWN, tmp_path / "new" / "plan", 3)
    assert [one.name for one in files] == [
        "01-sixteen-of-them-bar-2-100bpm-demo.flac",
        "01-sixteen-of-them-bar-2-100bpm-click.flac",
        "01-sixteen-of-them-bar-2.lick",
    ]
    assert soundfile.info(files[1]).duration == pytest.approx(180, abs=3)
    # a bar of clicks, then the bar twice
    assert soundfile.info(files[0]).duration == pytest.approx(3 * 2.4 + 0.6, abs=0.5)
    cut = licks.read(files[2])
    assert len(cut) == 8
    assert cut.tempo_bpm == 100


def test_plan_of_unknown_licks_writes_nothing(tmp_path: Path) -> None:
    """Their notes are not known."""
    assert write_files(planned(at(80, True)), {}, tmp_path, 3) == []


def test_folder_that_cannot_be(tmp_path: Path) -> None:
    """In words."""
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(HistoryError, match="name another place"):
        write_files(planned(at(80, True)), KNOWN, tmp_path / "file", 3)
