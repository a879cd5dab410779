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
    [
        (80, 40),
        (83, 20.05),
        (86, 10.05),
        (89, 5.04),
        (90, 4.0),
        (92, 2.52),
        (95, 1.26),
        (98, 0.63),
        (100, 0.40),
    ],
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


# Every value NIOSH 98-126 gives by its formula T = 480 / 2^((L - 85) / 3), minutes;
# computed from it, those at 85 to 100 in steps of 3 as printed by CDC/NIOSH.
NIOSH_TABLE_MINUTES = """
80 1523.9  81 1209.5  82 960  83 762.0  84 604.8  85 480  86 381.0  87 302.4  88 240
89 190.5  90 151.2  91 120  92 95.2  93 75.6  94 60  95 47.6  96 37.8  97 30  98 23.81
99 18.90  100 15  101 11.91  102 9.45  103 7.5  104 5.95  105 4.72  106 3.75  107 2.98
108 2.36  109 1.875  110 1.488  112 .938  115 .469  118 .234  120 .148  130 .0147
"""
# 29 CFR 1910.95 appendix A, table G-16a, hours (osha.gov)
OSHA_TABLE_HOURS = """
80 32  85 16  86 13.9  87 12.1  88 10.6  89 9.2  90 8  91 7.0  92 6.1  93 5.3  94 4.6
95 4  96 3.5  97 3.0  98 2.6  99 2.3  100 2  102 1.5  105 1  110 .5  115 .25  120 .125
125 .063  130 .031
"""


def table(text: str) -> list[tuple[float, float]]:
    """Pairs of numbers of a table above."""
    numbers = [float(word) for word in text.split()]
    return list(zip(numbers[::2], numbers[1::2], strict=True))


@pytest.mark.parametrize(("level_dba", "minutes"), table(NIOSH_TABLE_MINUTES))
def test_niosh_table(level_dba: float, minutes: float) -> None:
    """The whole table, to the digits given."""
    found = care.NIOSH.allowed_minutes(level_dba)
    assert found == pytest.approx(minutes, rel=0.004, abs=0.00005)


@pytest.mark.parametrize(("level_dba", "hours"), table(OSHA_TABLE_HOURS))
def test_osha_table(level_dba: float, hours: float) -> None:
    """The whole table; it is printed to one decimal, the smallest to three."""
    found = care.OSHA.allowed_minutes(level_dba) / 60
    assert found == pytest.approx(hours, abs=0.05 if hours >= 1 else 0.0006)


@pytest.mark.parametrize(
    ("dose", "average_dba"),
    # 29 CFR 1910.95 appendix A, table A-1: TWA = 16.61 lg(D / 100) + 90
    [(10, 73.4), (50, 85.0), (100, 90.0), (200, 95.0), (400, 100.0)],
)
def test_osha_average(dose: float, average_dba: float) -> None:
    """A doubled dose is 5 dB more; half a dose is the action level."""
    assert care.OSHA.average_dba(dose) == pytest.approx(average_dba, abs=0.05)


@pytest.mark.parametrize(
    ("exposures", "dose", "tolerance"),
    [
        # OSHA's example: 8 h at 92 dBA, T = 6.1 h in the rounded table, so 131 %
        ([(92, 480)], 131.0, 1.0),
        # a training example: 90 dBA 4 h, 95 dBA 2 h, 85 dBA 2 h
        ([(90, 240), (95, 120), (85, 120)], 112.5, 0.005),
        # 29 CFR 1926.52(d)(2)(iii): 110 dBA 1/4 h, 100 dBA 1/2 h, 90 dBA 1.5 h; the
        # numbers from memory, .938 by its table
        ([(110, 15), (100, 30), (90, 90)], 93.8, 0.06),
    ],
)
def test_osha_examples(
    exposures: list[tuple[float, float]], dose: float, tolerance: float
) -> None:
    """Worked examples of published rules."""
    assert care.OSHA.dose_percent(exposures) == pytest.approx(dose, abs=tolerance)


def test_osha_training_example_average() -> None:
    """112.5 % are 90.85 dBA."""
    assert care.OSHA.average_dba(112.5) == pytest.approx(90.85, abs=0.005)


def test_iso_9612_worked_example() -> None:
    """ISO 9612:2009, welders: tasks 70.0, 80.8, 90.1 dB make L_EX,8h 84.3 dB."""
    tasks = [(70.0, 90.0), (80.8, 300.0), (90.1, 90.0)]
    assert care.lex_8h_dba(tasks) == pytest.approx(84.3, abs=0.05)
    parts = [care.lex_8h_dba([task]) for task in tasks]
    assert parts == pytest.approx([62.7, 78.7, 82.8], abs=0.06)  # 78.76: cut off


@pytest.mark.parametrize(
    ("value_dba", "pairs"),
    # SCENIHR 2008, table 3: what equals the values of Directive 2003/10/EC in 8 hours
    [
        (80, [(83, 240), (86, 120), (89, 60), (92, 30), (95, 15)]),
        (85, [(88, 240), (91, 120), (94, 60), (97, 30), (100, 15), (105, 5)]),
        (87, [(90, 240), (93, 120), (96, 60), (99, 30), (102, 15), (107, 5)]),
    ],
)
def test_eu_equivalents(value_dba: float, pairs: list[tuple[float, float]]) -> None:
    """Half the time for 3 dB; the table rounds 4.7 min to 5, and 3.01 dB to 3."""
    assert value_dba in (*care.EU_ACTION_DBA, care.EU_LIMIT_DBA)
    for level_dba, minutes in pairs:
        found = care.lex_8h_dba([(level_dba, minutes)])
        assert found == pytest.approx(value_dba, abs=0.25 if minutes == 5 else 0.06)


def test_who_itu_energy() -> None:
    """Rec. ITU-T H.870: 1.6 Pa²h a week for adults (from memory), 0.506 for children.

    Sound pressure is 20 µPa · 10^(L / 20).
    """
    for allowance, energy in (
        (care.WHO_ITU_ADULT, 1.6),
        (care.WHO_ITU_CHILD, 0.506),
    ):
        squared = (20e-6) ** 2 * 10 ** (allowance.level_dba / 10)
        assert squared * allowance.minutes / 60 == pytest.approx(energy, abs=0.0005)
        assert allowance.dose_percent([(allowance.level_dba, 2400)]) == 100


def test_no_time_has_no_level() -> None:
    """L_EX,8h of nothing is refused."""
    with pytest.raises(ValueError, match="dose of 0"):
        care.lex_8h_dba([])
