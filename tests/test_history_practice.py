"""Practice log, sound levels and the days they fall on, on both databases."""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta, tzinfo
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
import stores

from assessor import care
from assessor.errors import HistoryError
from assessor.history import clock
from assessor.history.cautions import cautions_of, recently
from assessor.history.practice import (
    Practice,
    daily_minutes,
    log,
    merged,
    practice_of,
    running,
    stop,
)
from assessor.history.sound import (
    Calibration,
    Ears,
    calibrate,
    dose_of,
    ears_of,
    exposures_of,
    is_child,
    set_child,
    set_line,
)
from assessor.history.store import Store
from assessor.history.takes import Selection, takes_of

BERLIN = ZoneInfo("Europe/Berlin")
NOW = stores.NOW
HOUR = timedelta(hours=1)
NO_EARS = Ears(frozenset(), {})  # no device is known


@pytest.fixture(params=stores.BOTH)
def store(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Store]:
    """An empty store on each database."""
    with stores.new_store(request.param, tmp_path) as opened:
        yield opened


def practised(hours_ago: float, minutes: float, **fields: object) -> Practice:
    """Logged practice of the unnamed player."""
    began = NOW - timedelta(hours=hours_ago)
    return Practice("", began, began + timedelta(minutes=minutes), **fields)  # type: ignore[arg-type]


def test_log_comes_back(store: Store) -> None:
    """Every field, in order of time."""
    later = practised(2, 30, what="shifts", felt="fine", strain=0, level_dba=88.5)
    earlier = practised(5, 20)
    for one in (later, earlier):
        log(store, one)
    assert practice_of(store, Selection(player="")) == [earlier, later]
    assert practice_of(store, Selection(player="Ada")) == []


def test_start_and_stop(store: Store) -> None:
    """What was started goes on until it is stopped."""
    begun = Practice("", NOW - HOUR)
    log(store, begun)
    assert running(store, "") == begun
    stop(store, Practice("", NOW - HOUR, NOW, strain=3))
    assert running(store, "") is None
    assert practice_of(store, Selection())[0].minutes == 60
    with pytest.raises(HistoryError, match="no practice was started"):
        stop(store, Practice("", NOW - 2 * HOUR, NOW))


@pytest.mark.parametrize(
    ("ended_at", "words"),
    [
        (NOW - 2 * HOUR, "ends after it begins"),  # a clock put back
        (NOW - HOUR, "ends after it begins"),
        (NOW + 12 * HOUR, "13 hours"),  # never stopped
    ],
)
def test_times_that_cannot_be(store: Store, ended_at: datetime, words: str) -> None:
    """Neither logged nor stopped."""
    log(store, Practice("", NOW - HOUR))
    for call in (log, stop):
        with pytest.raises(HistoryError, match=words):
            call(store, Practice("", NOW - HOUR, ended_at))
    assert running(store, "") is not None


def test_overlapping_practice_is_refused(store: Store) -> None:
    """Of one player; practice that touches is fine."""
    log(store, practised(2, 60))
    for hours_ago, minutes in ((2.5, 60), (1.5, 10), (2, 60), (3, 180)):
        with pytest.raises(HistoryError, match="written down already"):
            log(store, practised(hours_ago, minutes))
    log(store, practised(1, 30))
    log(store, practised(3, 60))
    assert len(practice_of(store, Selection())) == 3


def test_takes_inside_practice_count_once(store: Store) -> None:
    """Spans are merged before they are counted."""
    log(store, practised(2, 30))
    stores.put(store, 1, days_ago=1.9 / 24, duration_s=600.0)
    stores.put(store, 2, days_ago=5 / 24, duration_s=600.0)
    minutes = daily_minutes(practice_of(store, Selection()), takes_of(store), UTC)
    assert minutes == {NOW.date(): pytest.approx(40)}
    assert merged([(NOW, NOW + HOUR), (NOW, NOW + 2 * HOUR)]) == [(NOW, NOW + 2 * HOUR)]


def test_midnight_parts_a_practice() -> None:
    """Half an hour around midnight in Berlin, which is 22:00 UTC in summer."""
    began = datetime(2026, 7, 1, 21, 50, tzinfo=UTC)
    one = Practice("", began, began + timedelta(minutes=30))
    minutes = daily_minutes([one], [], BERLIN)
    assert minutes == {date(2026, 7, 1): 10, date(2026, 7, 2): 20}


@pytest.mark.parametrize(
    ("day", "hours"),
    # Summer time in the EU: from the last Sunday of March to that of October
    [(date(2026, 3, 29), 23), (date(2026, 10, 25), 25), (date(2026, 11, 25), 24)],
)
def test_days_of_23_and_25_hours(day: date, hours: int) -> None:
    """Practice across the change of the clock is as long as it was."""
    start = clock.day_start(day, BERLIN)
    end = clock.day_start(day + timedelta(days=1), BERLIN)
    assert end - start == timedelta(hours=hours)
    across = datetime(day.year, day.month, day.day, 0, 30, tzinfo=UTC)  # 01:30 or 02:30
    one = Practice("", across, across + HOUR)
    assert daily_minutes([one], [], BERLIN) == {day: 60}


@pytest.fixture
def zone(
    request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch
) -> Iterator[tzinfo | None]:
    """Berlin, as a zone of its own or as that of the machine."""
    if request.param == "given":
        yield BERLIN
        return
    monkeypatch.setenv("TZ", "Europe/Berlin")
    time.tzset()
    yield None
    monkeypatch.undo()
    time.tzset()


@pytest.mark.parametrize("zone", ["given", "of the machine"], indirect=True)
@pytest.mark.parametrize(
    ("text", "utc", "words"),
    [
        ("2026-10-25 02:30", "2026-10-25T00:30", "came twice"),
        ("2026-03-29 02:30", "2026-03-29T01:30", "did not exist"),
        ("2026-10-25 03:30", "2026-10-25T02:30", ""),
        ("2026-07-01 12:00", "2026-07-01T10:00", ""),
        ("2026-01-01", "2025-12-31T23:00", ""),
        ("12:00", "2026-11-25T11:00", ""),
        ("2026-07-01T12:00+05:00", "2026-07-01T07:00", ""),
    ],
)
def test_local_times_become_utc(
    zone: tzinfo | None, text: str, utc: str, words: str
) -> None:
    """Where the clock was changed it is said."""
    moment, notice = clock.parse(text, NOW, zone)
    assert moment == datetime.fromisoformat(utc).replace(tzinfo=UTC)
    assert bool(notice) == bool(words)
    assert words in notice


@pytest.mark.parametrize("text", ["", "yesterday", "2026-13-01", "25:00", "1:2"])
def test_what_is_no_time(text: str) -> None:
    """The message says how to write one."""
    with pytest.raises(ValueError, match="write 2026-11-25 18:30"):
        clock.parse(text, NOW, BERLIN)


@pytest.fixture
def _new_york(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """A machine in New York."""
    monkeypatch.setenv("TZ", "America/New_York")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


@pytest.mark.usefixtures("_new_york")
def test_the_machines_own_zone() -> None:
    """With its history of summer time: -4 in July, -5 in December."""
    july = datetime(2026, 7, 1, 3, 30, tzinfo=UTC)
    assert clock.local_day(july) == date(2026, 6, 30)
    assert clock.local_day(july.replace(month=12, hour=4)) == date(2026, 11, 30)
    change = date(2026, 11, 1)
    after = clock.day_start(change + timedelta(days=1))
    assert after - clock.day_start(change) == timedelta(hours=25)
    assert "came twice" in clock.parse("2026-11-01 01:30", NOW)[1]
    assert os.environ["TZ"] == "America/New_York"


@pytest.mark.parametrize(
    ("modified", "words"),
    [
        (NOW - HOUR, ""),
        (NOW + timedelta(minutes=1), ""),
        (NOW + HOUR, "dated 2026-11-25, so some clock was set wrong"),
        (datetime(1980, 1, 1, tzinfo=UTC), "dated 1980-01-01"),
    ],
)
def test_files_dated_wrong(modified: datetime, words: str) -> None:
    """A date in the future or before 2000 is not believed."""
    began, notice = clock.recorded_at(modified, 60.0, NOW)
    assert bool(notice) == bool(words)
    assert words in notice
    expected = modified if not words else NOW
    assert began == expected - timedelta(seconds=60)


# --------------------------------------------------------------------- sound


def test_level_of_a_calibrated_device(store: Store) -> None:
    """Meter less samples, added to the samples of later takes."""
    calibrate(store, "phone", Calibration(NOW - 3 * HOUR, 88.0, -30.0))
    stores.put(store, 1, days_ago=1 / 24, device="phone", a_level_dbfs=-27.0)
    (take,) = takes_of(store)
    assert ears_of(store).level_dba(take) == (91.0, "")


@pytest.mark.parametrize(
    ("device", "level_dbfs", "hours_ago", "words"),
    [
        ("", None, 1, "no device was named"),
        ("line", -20.0, 1, "direct line"),
        ("other", -20.0, 1, "not been calibrated"),
        ("phone", -20.0, 5, "not been calibrated with a meter by then"),
        ("phone", None, 1, "not measured"),
    ],
)
def test_no_level_without_calibration(
    store: Store, device: str, level_dbfs: float | None, hours_ago: float, words: str
) -> None:
    """No number, and why."""
    calibrate(store, "phone", Calibration(NOW - 3 * HOUR, 88.0, -30.0))
    calibrate(store, "line", Calibration(NOW - 3 * HOUR, 88.0, -30.0))
    set_line(store, "line", line=True)
    fields = {"device": device, "a_level_dbfs": level_dbfs}
    stores.put(store, 1, days_ago=hours_ago / 24, **fields)
    level_dba, why = ears_of(store).level_dba(takes_of(store)[0])
    assert level_dba is None
    assert words in why
    exposures = exposures_of(ears_of(store), [], takes_of(store))
    dose = dose_of(exposures, care.NIOSH)
    assert (dose.percent, dose.known_minutes, dose.left_minutes) == (0, 0, None)
    assert dose.unknown_minutes == pytest.approx(0.2)


def test_a_direct_line_is_not_calibrated(store: Store) -> None:
    """It hears no room."""
    set_line(store, "interface", line=True)
    with pytest.raises(HistoryError, match="direct line, which hears no room"):
        calibrate(store, "interface", Calibration(NOW, 88.0, -30.0))


def test_newer_calibration_counts_from_then_on(store: Store) -> None:
    """A take between two readings has the first one's; the same moment is replaced."""
    calibrate(store, "phone", Calibration(NOW - 6 * HOUR, 80.0, -30.0))
    calibrate(store, "phone", Calibration(NOW - 6 * HOUR, 85.0, -30.0))
    calibrate(store, "phone", Calibration(NOW - 2 * HOUR, 95.0, -30.0))
    for number, hours_ago in enumerate((4, 1)):
        fields = {"device": "phone", "a_level_dbfs": -30.0}
        stores.put(store, number, days_ago=hours_ago / 24, **fields)
    ears = ears_of(store)
    levels = [ears.level_dba(take)[0] for take in takes_of(store)]
    assert levels == [85.0, 95.0]


def test_dose_of_a_mixed_day() -> None:
    """90 dBA 60 min, 85 dBA 240 min, 97 dBA 10 min: 123.02 % (from the formula)."""
    practice = [
        practised(10, 60, level_dba=90.0),
        practised(8, 240, level_dba=85.0),
        practised(2, 10, level_dba=97.0),
    ]
    exposures = exposures_of(NO_EARS, practice, [])
    dose = dose_of(exposures, care.NIOSH)
    assert dose.percent == pytest.approx(123.02, abs=0.005)
    assert (dose.left_minutes, dose.latest_dba) == (0.0, 97.0)
    half = dose_of(exposures[:1], care.NIOSH)
    assert half.left_minutes == pytest.approx(151.2 - 60, abs=0.05)


def test_take_inside_metered_practice_counts_once(store: Store) -> None:
    """The meter of the log stands; time without any level stays unknown."""
    stores.put(store, 1, days_ago=1.8 / 24, duration_s=600.0)
    takes = takes_of(store)
    metered = exposures_of(NO_EARS, [practised(2, 30, level_dba=90.0)], takes)
    assert [(one.minutes, one.level_dba) for one in metered] == [(30, 90.0)]
    unknown = exposures_of(NO_EARS, [practised(2, 30)], takes)
    assert sum(one.minutes for one in unknown) == pytest.approx(30)


def test_two_recordings_of_one_time_count_once(store: Store) -> None:
    """By a phone and a line at once: the phone, whose level is known, speaks."""
    calibrate(store, "phone", Calibration(NOW - 9 * HOUR, 90.0, -20.0))
    set_line(store, "line", line=True)
    for number, device, hours, minutes in ((1, "line", 2, 30), (2, "phone", 1.9, 12)):
        stores.put(
            store,
            number,
            days_ago=hours / 24,
            duration_s=60.0 * minutes,
            device=device,
            a_level_dbfs=-20.0,
        )
    found = exposures_of(ears_of(store), [], takes_of(store))
    told = [(round(one.minutes, 6), one.level_dba) for one in found]
    assert told == [(6, None), (12, 90.0), (12, None)]
    around = exposures_of(ears_of(store), [practised(3, 180)], takes_of(store))
    assert sum(one.minutes for one in around) == pytest.approx(180)
    assert sum(one.minutes for one in around if one.level_dba) == pytest.approx(12)


def test_children_have_their_own_allowance(store: Store) -> None:
    """Remembered for the player."""
    assert not is_child(store, "Kim")
    set_child(store, "Kim", child=True)
    assert is_child(store, "Kim")
    assert recently(store, "Kim", NOW).child
    assert not recently(store, "", NOW).child


# ------------------------------------------------------------------ cautions


def test_no_cautions_for_a_short_day(store: Store) -> None:
    """Nothing is said where there is nothing to say."""
    log(store, practised(2, 20))
    assert cautions_of(store, "", NOW, UTC) == ()


def test_cautions_name_their_source_and_defer(store: Store) -> None:
    """Growth, break, strain, sound; and that they are no medicine."""
    log(store, practised(30, 20))
    log(store, practised(3, 60, strain=4, level_dba=95.0))
    said = cautions_of(store, "", NOW, UTC)
    text = " ".join(said)
    for words in (
        "strain or pain (4 of 10): stop",
        "see a doctor or physiotherapist",
        "40 more than on any day of the week before",
        "60 minutes without a break",
        "126 % of the day's dose by NIOSH (publication 98-126, 1998)",
        "0 minutes are left",
    ):
        assert words in text, words
    assert said[-1] == care.LIMITS
    assert "not medical advice" in said[-1]


def test_time_without_a_level_only_adds(store: Store) -> None:
    """The dose is then a least one, the time left a longest one."""
    log(store, practised(4, 60, level_dba=94.0))
    log(store, practised(2, 20))
    text = " ".join(cautions_of(store, "", NOW, UTC))
    assert "at least 100 % of the day's dose" in text
    assert "at most 0 minutes are left" in text


def test_strain_is_kept_in_mind_for_two_days(store: Store) -> None:
    """Then a day without any has passed."""
    log(store, practised(47, 10, strain=1))
    assert recently(store, "", NOW, UTC).strain == 1
    assert recently(store, "", NOW + 2 * HOUR, UTC).strain == 0


@pytest.mark.parametrize(("gap_minutes", "unbroken"), [(4, 44), (5, 20), (6, 20)])
def test_a_break_between_practices(
    store: Store, gap_minutes: float, unbroken: float
) -> None:
    """Five minutes are one, four are none."""
    log(store, practised(3, 20))
    log(store, practised(3 - (20 + gap_minutes) / 60, 20))
    found = recently(store, "", NOW, UTC)
    assert found.unbroken_s / 60 == pytest.approx(unbroken)


def test_breaks_inside_a_long_recording_count(store: Store) -> None:
    """A recording of half an hour in which most is silence is no long stretch."""
    stores.put(store, 1, days_ago=2 / 24, duration_s=1800.0)
    assert recently(store, "", NOW, UTC).unbroken_s < 60


def test_a_weeks_dose(store: Store) -> None:
    """WHO and ITU: 100 % of a child's week from 13 hours at 80 dBA, told as such."""
    set_child(store, "", child=True)
    for day in range(6):
        log(store, practised(24 * day + 5, 150, level_dba=80.0))
    text = " ".join(cautions_of(store, "", NOW, UTC))
    assert "119 % of the week's dose by WHO and ITU" in text
    assert "for children" in text
