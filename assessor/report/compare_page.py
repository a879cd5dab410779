"""Two results of one lick side by side as one self-contained HTML page, no script."""

from __future__ import annotations

from typing import Any

from assessor.figures.gauge import Known, pair
from assessor.figures.picture import COLOURS, SHAPES, Table
from assessor.report.compare import (
    Compared,
    differences,
    facts,
    faults,
    known,
    readings,
    summed,
)
from assessor.report.document import shipped, source_hash, template
from assessor.report.readings import value_in
from assessor.report.result import tool_version

Json = dict[str, Any]


def compare_page(first: Json, second: Json) -> str:
    """Compare two results as an HTML document.

    Parameters
    ----------
    first, second : dict
        As `assessor.report.compare.read_result` gives them; the first is the earlier.
    """
    found = readings(first, second)
    style = COLOURS + SHAPES + shipped("page.css")
    return template("compare.html").render(
        title=first["lick"]["title"],
        takes={"A": facts(first), "B": facts(second)},
        cautions=list(differences(first, second)),
        summed=summed(found),
        readings=[(one, _drawn(one)) for one in found],
        faults=faults(first, second),
        table=_table(found),
        style=style,
        style_hash=source_hash(style),
        tool_version=tool_version(),
    )


def _drawn(one: Compared) -> str:
    """Both distances on one line each."""
    said = "" if one.limit is None else f"{value_in(one.limit, one.unit)} allowed"
    a, b = (
        Known(distance, uncertainty, known(distance, uncertainty, one.unit))
        for distance, uncertainty in (
            (one.first, one.first_uncertainty),
            (one.second, one.second_uncertainty),
        )
    )
    return pair(a, b, limit=one.limit, said=said)


def _table(found: list[Compared]) -> Table:
    rows = tuple(
        (
            one.name,
            known(one.first, one.first_uncertainty, one.unit),
            known(one.second, one.second_uncertainty, one.unit),
            "" if one.limit is None else value_in(one.limit, one.unit),
            one.words,
        )
        for one in found
    )
    return Table(("Reading", "A, off", "B, off", "Allowed in B", "B against A"), rows)
