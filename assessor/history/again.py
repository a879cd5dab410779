"""Settings of a kept take, to assess it once more in the same way."""

from __future__ import annotations

from assessor.assessment import Settings, Tracker
from assessor.errors import HistoryError
from assessor.history.summary import Json
from assessor.measures.clock import Click
from assessor.measures.tolerance import Rule, Tolerance


def settings_of(value: Json) -> Settings:
    """Settings from the result file of a take.

    Raises
    ------
    HistoryError
        When it holds what this version does not know.
    """
    try:
        click, tolerance = value["click"], value["tolerance"]
        rules = {
            name: Rule(
                rule["value"], rule["unit"], rule["source"], rule["percent_of_interval"]
            )
            for name, rule in tolerance["rules"].items()
        }
        return Settings(
            tempo_bpm=value["tempo_bpm"],
            click=click and Click(click["offset_s"], click["tempo_bpm"]),
            tolerance=Tolerance(tolerance["name"], rules),
            tracker=Tracker(value["tracker"]),
        )
    except (KeyError, TypeError, ValueError) as problem:
        message = f"its settings are not known to this version ({problem})"
        raise HistoryError(message) from problem
