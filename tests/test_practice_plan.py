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
from assessor.history.licks import digest_of, sheet_of
from assessor.history.parts import bars_of_notes, cut, parts_of
from assessor.history.plan import Numbers, Plan, Step, parse_numbers, plan_of
from assessor.history.plan_files import write_files
from assessor.history.progress import progress_of
from assessor.history.takes import Take
from assessor.lick import sheet
from assessor.lick.notation import Articulation, Parent, TempoChange

KNOWN = {digest_of(stores.LICK): stores.LICK}
REFERENCES = Path(__file__).parents[1] / "references"
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
    """Below half of the written tempo one part is practised instead."""
    one = step(at(52, False, False, False))
    assert (one.tempo_bpm, one.part is None) == (50, False)
    assert "one part alone" in one.why


@pytest.mark.parametrize(
    ("missed", "part"),
    [
        ((8, 9, 10, 11), "cell at bar 2, beat 1"),  # the lick is one cell, four times
        ((1, 8, 9, 10), "cell at bar 2, beat 1"),
        ((1, 5, 9, 13), None),  # spread
        ((9,), None),  # once is chance
    ],
)
def test_trouble_in_one_part(missed: tuple[int, ...], part: str | None) -> None:
    """Where most goes wrong, and at least twice as often as elsewhere."""
    one = step([take(1, 1, late_ms=1.0, missed=missed)])
    assert (one.part.name if one.part else None) == part


def test_old_trouble_is_forgotten() -> None:
    """What went wrong more than four weeks with takes ago does not count."""
    old = take(1, 40, late_ms=1.0, missed=(9, 10, 12, 13))
    recent = [take(k, 28 - 7 * k, late_ms=1.0) for k in range(4)]
    assert step([old, *recent]).part is None


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


def test_parts_are_cells_and_bars_between() -> None:
    """A cell three times, then notes of the same bar, then a bar."""
    places = [(3, 5), (2, 6), (3, 7), (3, 8), (2, 9), (3, 10), (4, 5), (5, 5)]
    lick = made.lick([0, 0.5, 1, 1.5, 2, 2.5, 3, 3.5, 4, 5, 6], [*places, *places[:3]])
    parts = parts_of(lick)
    names = ["cell at bar 1, beat 1", "cell at bar 1, beat 2.5", "bar 2"]
    assert [part.name for part in parts] == names
    # two notes before the bar line are too few for a part of their own
    assert [(part.first, part.last) for part in parts] == [(0, 2), (3, 7), (8, 10)]


def test_bars_after_a_pickup() -> None:
    """The pickup is bar 0; whole bars count from 1; a short one joins the first."""
    lick = made.lick(
        [0, 1, 2, 4, 5, 6],
        [(3, 5), (2, 5), (4, 7), (1, 3), (3, 2), (5, 5)],
        pickup_beats=Fraction(1),
    )
    assert bars_of_notes(lick) == (0, 1, 1, 1, 2, 2)
    assert [(part.first, part.last) for part in parts_of(lick)] == [(0, 5)]


@pytest.mark.parametrize("path", sorted(REFERENCES.glob("*.lick")), ids=str)
def test_every_part_of_the_shipped_licks_is_a_lick(path: Path) -> None:
    """All notes are in one, in order; each can be written, in its place in the bar."""
    lick = licks.read(path)
    parts = parts_of(lick)
    inside = [k for part in parts for k in range(part.first, part.last + 1)]
    assert inside == list(range(len(lick)))
    for part in parts:
        one = cut(lick, part)
        assert sheet.read(str(sheet_of(one)), "part") == one
        bar_beats = lick.meter.bar_beats
        was_s = lick.notes[part.first].onset_beats - lick.pickup_beats
        assert (-one.pickup_beats - was_s) % bar_beats == 0


def test_a_part_ends_with_the_way_on() -> None:
    """With the next note, cut to a beat; a slur from before is picked; tempos stay."""
    lick = made.lick(
        [0, 2, 3, 4, 5, 6, 8],
        [(3, 5), (3, 5), (2, 4), (3, 7), (4, 5), (5, 5), (6, 3)],
        last_beats=4,
        extras={3: {"articulation": Articulation.HAMMER_ON}},
        tempo_changes=(TempoChange(Fraction(4), 80.0), TempoChange(Fraction(6), 60.0)),
    )
    first, second = parts_of(lick)
    assert (second.name, second.first, second.last) == ("bar 2", 3, 6)
    one = cut(lick, second)
    assert one.notes[0].articulation is Articulation.PICK
    assert (one.tempo_bpm, one.pickup_beats) == (80, 0)
    assert one.tempo_changes == (TempoChange(Fraction(2), 60.0),)
    onto = cut(lick, first).notes[-1]
    assert (onto.onset_beats, onto.duration_beats, onto.fret) == (4, 1, 7)
    assert onto.articulation is Articulation.HAMMER_ON
    assert one.parent == Parent(lick.title, digest_of(lick), "bar 2", (3, 4, 5, 6))


def test_files_of_a_plan(tmp_path: Path) -> None:
    """A demo, a click as long as a turn, and the cut part as a lick of its own."""
    plan = planned([take(1, 1, late_ms=1.0, missed=(8, 9, 10, 11))])
    files = write_files(plan, KNOWN, tmp_path / "new" / "plan", 3)
    assert [one.name for one in files] == [
        "01-sixteen-of-them-cell-at-bar-2-beat-1-100bpm-demo.flac",
        "01-sixteen-of-them-cell-at-bar-2-beat-1-100bpm-click.flac",
        "01-sixteen-of-them-cell-at-bar-2-beat-1.lick",
    ]
    assert soundfile.info(files[1]).duration == pytest.approx(180, abs=3)
    # a bar of clicks, then the bar twice, and what rings on
    assert 0 <= soundfile.info(files[0]).duration - 3 * 2.4 <= 0.7
    part = licks.read(files[2])
    assert len(part) == 5
    assert part.tempo_bpm == 100


def test_plan_of_unknown_licks_writes_nothing(tmp_path: Path) -> None:
    """Their notes are not known."""
    assert write_files(planned(at(80, True)), {}, tmp_path, 3) == []


def test_folder_that_cannot_be(tmp_path: Path) -> None:
    """In words."""
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(HistoryError, match="name another place"):
        write_files(planned(at(80, True)), KNOWN, tmp_path / "file", 3)


def test_file_that_cannot_be(tmp_path: Path) -> None:
    """In words, and nothing half-written stays."""
    folder = tmp_path / "plan"
    (first, _) = write_files(planned(at(80, True)), KNOWN, folder, 3)
    first.unlink()
    first.mkdir()
    before = sorted(folder.iterdir())
    with pytest.raises(HistoryError, match="name another place"):
        write_files(planned(at(80, True)), KNOWN, folder, 3)
    assert sorted(folder.iterdir()) == before
