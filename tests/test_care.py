"""Sound dose and practice load against the published tables."""

from __future__ import annotations

import pytest

from assessor import care

MINUTE_S = 60.0


@pytest.mark.parametrize(
    ("level_dba", "minutes"),
    [
        # NIOSH 98-126 as given by CDC/NIOSH: the exact powers of two
        (85, 480),
        (88, 240),
        (91, 120),
        (94, 60),
        (97, 30),
        (100, 15),
        # its formula elsewhere; WHO's press table rounds 95 dBA to 47 min, 105 to 4
        (80, 1523.9),
        (90, 151.2),
        (95, 47.6),
        (99, 18.90),
        (105, 4.72),
        (120, 0.148),
    ],
)
def test_niosh_allowance(level_dba: float, minutes: float) -> None:
    """Allowed minutes a day are those of the published table."""
    assert care.niosh_allowed_minutes(level_dba) == pytest.approx(minutes, abs=0.05)


def test_niosh_mixed_day() -> None:
    """A day at several levels adds up; figures computed from the formula by hand."""
    dose = care.niosh_dose_percent([(90, 60), (85, 240), (97, 10)])
    assert dose == pytest.approx(123.02, abs=0.005)
    assert care.twa_dba(dose) == pytest.approx(85.90, abs=0.005)


def test_practice_rooms() -> None:
    """47 minutes at 87 and 95 dBA (Phillips & Mace 2008) are 15.5 and 98.7 %."""
    assert care.niosh_dose_percent([(87, 47)]) == pytest.approx(15.5, abs=0.05)
    assert care.niosh_dose_percent([(95, 47)]) == pytest.approx(98.7, abs=0.05)


def test_no_exposure_is_no_dose() -> None:
    """An empty day has dose 0, and so has a minute count of 0."""
    assert care.niosh_dose_percent([]) == 0
    assert care.niosh_dose_percent([(100, 0)]) == 0


@pytest.mark.parametrize(("dose", "level_dba"), [(100, 85.0), (200, 88.01)])
def test_time_weighted_average(dose: float, level_dba: float) -> None:
    """NIOSH 98-126: TWA = 10 lg(D / 100) + 85."""
    assert care.twa_dba(dose) == pytest.approx(level_dba, abs=0.005)


@pytest.mark.parametrize(
    ("level_dba", "hours"),
    # Rec. ITU-T H.870, mode 1: 80 dBA for 40 h a week, equal energy
    [(80, 40), (83, 20.05), (86, 10.05), (90, 4.0), (95, 1.26), (100, 0.40)],
)
def test_who_itu_allowance(level_dba: float, hours: float) -> None:
    """Allowed hours a week for adults, and the same 5 dB lower for children."""
    adult = care.who_itu_allowed_hours(level_dba)
    child = care.who_itu_allowed_hours(level_dba - 5, child=True)
    assert adult == pytest.approx(hours, abs=0.005)
    assert child == pytest.approx(hours, abs=0.005)


@pytest.mark.parametrize("level_dba", [-0.1, 194.1, float("nan"), float("inf")])
def test_impossible_levels(level_dba: float) -> None:
    """A level no meter shows is refused, with its value in the message."""
    with pytest.raises(ValueError, match=f"{level_dba} dBA"):
        care.niosh_allowed_minutes(level_dba)
    with pytest.raises(ValueError, match=f"{level_dba} dBA"):
        care.who_itu_allowed_hours(level_dba)


def test_impossible_times_and_doses() -> None:
    """Negative minutes and a dose of zero are refused."""
    with pytest.raises(ValueError, match="-1 minutes"):
        care.niosh_dose_percent([(85, -1)])
    with pytest.raises(ValueError, match="dose of 0"):
        care.twa_dba(0)


@pytest.mark.parametrize(
    ("rest_s", "longest_s"),
    # BAPAM: a break has five minutes
    [(299, 1299), (300, 600), (301, 600)],
)
def test_a_break_has_five_minutes(rest_s: float, longest_s: float) -> None:
    """Just under five minutes of rest belongs to the playing, five do not."""
    played = [(0.0, 600.0), (600.0 + rest_s, 1000.0 + rest_s)]
    assert care.longest_stretch_s(played) == longest_s


def test_stretch_of_overlapping_unordered_notes() -> None:
    """A long ringing note bridges what begins and ends inside it."""
    played = [(500.0, 510.0), (0.0, 900.0), (1100.0, 1101.0)]
    assert care.longest_stretch_s(played) == 1101.0
    assert care.longest_stretch_s([]) == 0.0


def test_a_note_that_ends_before_it_begins() -> None:
    """Such a note is a wrong call."""
    with pytest.raises(ValueError, match=r"from 2\.0 s to 1\.0 s"):
        care.longest_stretch_s([(2.0, 1.0)])


@pytest.mark.parametrize(
    ("duration_s", "due"),
    [(0, False), (25 * MINUTE_S - 1, False), (25 * MINUTE_S, True)],
)
def test_long_recordings_are_cautioned(duration_s: float, due: bool) -> None:
    """From 25 minutes on, inclusive, whether anything was found in it or not."""
    assert bool(care.practice_caution(duration_s, [])) is due


def test_the_reason_comes_first() -> None:
    """Unbroken playing is named as such; else the length of the recording is."""
    unbroken = [(k * 4 * MINUTE_S, k * 4 * MINUTE_S + 1) for k in range(8)]
    broken = [(0.0, 10 * MINUTE_S), (16 * MINUTE_S, 30 * MINUTE_S)]
    assert (
        "played for 28 minutes without a break"
        in (care.practice_caution(31 * MINUTE_S, unbroken)[0])
    )
    assert (
        "recording lasts 31 minutes"
        in (care.practice_caution(31 * MINUTE_S, broken)[0])
    )


@pytest.mark.parametrize(
    "words",
    [
        "NIOSH (publication 98-126, 1998)",
        "Recommendation H.870",
        "BAPAM",
        "five minutes in every half-hour",
        "ten minutes a day",
        "never to play in pain",
        "cannot be known from a recording",
        "not medical advice",
        "the rules of the place",
    ],
)
def test_the_caution_names_its_sources(words: str) -> None:
    """Every source, the stop on pain and the limits are in the sentences."""
    assert words in " ".join(care.practice_caution(1800, []))


def test_the_caution_agrees_with_the_tables() -> None:
    """The figures in the words are those the functions give."""
    text = " ".join(care.practice_caution(1800, []))
    assert f"{care.niosh_allowed_minutes(85) / 60:.0f} hours at 85 dBA" in text
    assert f"{care.niosh_allowed_minutes(94):.0f} minutes at 94 dBA" in text
    assert f"{care.who_itu_allowed_hours(80):.0f} hours at 80 dBA" in text
    assert care.who_itu_allowed_hours(75, child=True) == 40


def test_impossible_durations() -> None:
    """A negative length is a wrong call."""
    with pytest.raises(ValueError, match="-1"):
        care.practice_caution(-1, [])
