"""Limits against their published sources, and judging at the limit."""

from __future__ import annotations

import pytest

from assessor.measures.tolerance import (
    TOLERANCES,
    Judgement,
    Limit,
    Reading,
    parse_tolerance,
)

LIMIT = Limit(12.0, "timing", "test")

# Friberg & Sundberg 1995 (JASA 98:2524): max(6 ms, 2.5 % of the interval)
NOTICEABLE = [(0.1, 6.0), (0.24, 6.0), (0.3, 7.5), (0.5, 12.5), (0.6, 15.0), (1.0, 25)]


@pytest.mark.parametrize(("ioi_s", "limit_ms"), NOTICEABLE)
@pytest.mark.parametrize(("name", "factor"), [("tight", 1), ("usual", 2), ("wide", 4)])
def test_timing_limit_follows_the_noticeable_one(
    ioi_s: float, limit_ms: float, name: str, factor: int
) -> None:
    """Tight is the just noticeable displacement, the others multiples of it."""
    limit = TOLERANCES[name].limit_ms("timing", ioi_s)
    assert limit.value == pytest.approx(factor * limit_ms)


def test_timing_limit_grows_no_further_than_it_was_measured() -> None:
    """Beyond intervals of one second the limit stays."""
    usual = TOLERANCES["usual"]
    assert usual.limit_ms("timing", 4.0) == usual.limit_ms("timing", 1.0)


@pytest.mark.parametrize(
    ("value", "uncertainty", "judgement"),
    [
        (11.999, 0.0, Judgement.INSIDE),
        (12.0, 0.0, Judgement.INSIDE),
        (12.0 + 1e-9, 0.0, Judgement.INSIDE),  # the noise of adding floats
        (12.001, 0.0, Judgement.OUTSIDE),
        (-12.0, 0.0, Judgement.INSIDE),
        (-12.001, 0.0, Judgement.OUTSIDE),
        (12.001, 0.5, Judgement.UNSURE),
        (12.5, 0.5, Judgement.UNSURE),
        (12.501, 0.5, Judgement.OUTSIDE),
        (11.999, 5.0, Judgement.INSIDE),  # doubt never speaks against the player
    ],
)
def test_judging_around_the_limit(
    value: float, uncertainty: float, judgement: Judgement
) -> None:
    """Exactly at the limit is inside; outside only beyond the uncertainty."""
    assert Reading(value, "ms", uncertainty, limit=LIMIT).judgement == judgement


def test_judging_holds_the_distance_from_the_target() -> None:
    """A bend of 188 cents where 200 are asked is 12 cents flat."""
    reading = Reading(188.0, "cents", target=200.0, limit=LIMIT)
    assert (reading.deviation, reading.judgement) == (-12.0, Judgement.INSIDE)


def test_reading_without_a_limit_is_not_judged() -> None:
    """Where no norm exists nothing is inside or outside."""
    assert Reading(5.5, "Hz").judgement == Judgement.UNJUDGED


@pytest.mark.parametrize(
    ("value", "uncertainty"), [(float("nan"), 0), (float("inf"), 0), (1, float("nan"))]
)
def test_reading_is_a_number(value: float, uncertainty: float) -> None:
    """What could not be measured is no reading."""
    with pytest.raises(ValueError, match="no reading"):
        Reading(value, "ms", uncertainty)


def test_own_numbers_replace_the_named_ones() -> None:
    """Own numbers change their rule and no other, and say whose they are."""
    own = parse_tolerance("wide,timing=20ms,bend=15cents")
    assert own.limit_ms("timing", 1.0) == Limit(20.0, "timing", "own number")
    assert own.limit("bend").value == 15.0
    assert own.limit("pitch") == TOLERANCES["wide"].limit("pitch")
    assert own.name == "wide,timing=20ms,bend=15cents"


def test_own_numbers_alone_change_the_usual_ones() -> None:
    """Without a name the usual numbers hold for the rest."""
    own = parse_tolerance("level=4dB")
    assert own.limit("level").value == 4.0
    assert own.limit("pitch") == TOLERANCES["usual"].limit("pitch")


@pytest.mark.parametrize(
    "text",
    ["", "loose", "usual,", "usual,timing", "timing=20", "timing=20c", "bend=-5c"],
)
def test_other_words_are_refused_with_what_is_allowed(text: str) -> None:
    """The message names the part that is wrong and lists the right ones."""
    with pytest.raises(
        ValueError, match=r"neither wide, usual, tight nor .*timing=…ms"
    ):
        parse_tolerance(text)
