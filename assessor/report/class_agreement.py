"""Agreement of tool and teacher in words."""

from __future__ import annotations

from collections.abc import Iterator

from assessor.report.readings import value_in
from assessor.review.agreement import RIGHT, Kappa, Limits, agreement
from assessor.review.overruling import UNITS
from assessor.review.summary import ClassReview


def agreement_lines(review: ClassReview) -> list[str]:
    """Sentences on takes that were judged blind; none where none was."""
    found = agreement(review)
    if not found.takes:
        return []
    takes = f"{found.takes} take{'s' * (found.takes != 1)} judged blind."
    verdicts = list(_verdicts(found.verdicts))
    readings = [_reading(name, one) for name, one in found.readings.items()]
    return [takes, *verdicts, *readings]


def _verdicts(found: Kappa | None) -> Iterator[str]:
    if found is None:
        return
    same = f"Same verdict on {100 * found.observed:.0f} % of {found.pairs} notes"
    if found.kappa is None or found.low is None or found.high is None:
        yield f"{same}; all of one kind, so kappa cannot be told."
        return
    interval = f"95 %: {found.low:.2f} to {found.high:.2f}"
    text = f"{same}; Cohen's kappa {found.kappa:.2f} ({interval})"
    if found.left_out:
        text += f"; {found.left_out} unsure left out"
    yield text + "."


def _reading(name: str, found: Limits) -> str:
    unit = {**UNITS, RIGHT: "%"}.get(name, "points")
    bias, known, low, high = (
        value_in(value, unit)
        for value in (found.bias, found.bias_uncertainty, found.low, found.high)
    )
    return (
        f"{name.capitalize()}: tool minus teacher {bias} (±{known}) on average; "
        f"95 of 100 differences lie from {low} to {high} ({found.pairs} takes)."
    )
