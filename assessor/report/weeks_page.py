"""Progress over days and weeks as one self-contained HTML page, without script."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from assessor.figures.picture import COLOURS, SHAPES, Picture, Table
from assessor.figures.take import LAYOUTS
from assessor.figures.weeks import Days, days_picture, heat_picture
from assessor.history.drills import DrillProgress
from assessor.history.progress import LickProgress, Series, Verdict
from assessor.lick.notation import Lick
from assessor.report.document import shipped, source_hash, template
from assessor.report.result import tool_version
from assessor.weeks import (
    MOST_CAUSES,
    MOST_WEEKS,
    ONLY_DRILLS,
    SOURCES,
    drill_words,
    notices,
    tempo_line,
    verdict_words,
)


def weeks_page(
    found: Sequence[LickProgress],
    licks: Mapping[str, Lick],
    cautions: Sequence[str] = (),
    drills: Sequence[DrillProgress] = (),
    *,
    title: str = "",
) -> str:
    """Progress in licks as an HTML document.

    Parameters
    ----------
    found : sequence of LickProgress
    licks : mapping of str to Lick
        By digest, those that are known.
    cautions : sequence of str
        Sentences for the player.
    drills : sequence of DrillProgress
        Of the one lick that is told about.
    title : str
        Of the lick, where there are only drills of it.
    """
    style = COLOURS + SHAPES + shipped("page.css")
    return template("weeks.html").render(
        found=[_told(one, licks.get(one.lick)) for one in found],
        cautions=cautions,
        title=title,
        only_drills=ONLY_DRILLS,
        drills=[(one.form, drill_words(one)) for one in drills],
        sources=SOURCES,
        style=style,
        style_hash=source_hash(style),
        tool_version=tool_version(),
    )


def weeks_picture(one: LickProgress, name: str | None = None) -> str:
    """Picture of one row of a lick: of its mark unless another is named.

    Raises
    ------
    ValueError
        When the lick has no such row; the message lists those it has.
    """
    rows = {row.name: row for row in (*one.series, *one.causes)}
    wanted = name or one.series[0].name
    if wanted not in rows:
        message = f"there is no row {wanted!r}; there are {', '.join(rows)}"
        raise ValueError(message)
    return days_picture(drawn_of(rows[wanted]))


def drawn_of(row: Series) -> Days:
    """A row ready to be drawn; the line only where a change may be claimed."""
    sure = row.verdict in (Verdict.BETTER, Verdict.WORSE)
    line = (row.change.first, row.change.last) if row.change and sure else None
    return Days(
        name=row.name,
        unit=row.unit,
        said=verdict_words(row),
        days=tuple(point.day for point in row.points),
        values=tuple(point.value for point in row.points),
        uncertainties=tuple(point.uncertainty for point in row.points),
        comparable=tuple(point.comparable for point in row.points),
        limit=row.limit,
        limit_said=_limit_said(row),
        line=line,
    )


def _limit_said(row: Series) -> str:
    if row.limit is None:
        return ""
    word = "asked" if row.name == "tempo reached" else "allowed"
    return f"{row.limit:.3g} {word}"


def _told(one: LickProgress, lick: Lick | None) -> dict[str, object]:
    """What the template shows of one lick."""
    causes = one.causes[:MOST_CAUSES]
    return {
        "title": one.title,
        "takes": len(one.takes),
        "days": one.days,
        "tempo": tempo_line(one),
        "svgs": [days_picture(drawn_of(row)) for row in one.series],
        "causes": [days_picture(drawn_of(row)) for row in causes],
        "table": _table((*one.series, *causes)),
        "heat": _heat(one, lick),
        "notices": notices(one),
    }


def _heat(one: LickProgress, lick: Lick | None) -> dict[str, Picture]:
    """The same picture for each width of window; none where the lick is not known."""
    if lick is None:
        return {}
    heat, count = one.heat, len(lick)
    first = max(len(heat.weeks) - MOST_WEEKS, 0)
    weeks = range(first, len(heat.weeks))
    shares = [[heat.share(week, k) for k in range(count)] for week in weeks]
    return {
        name: heat_picture(lick, heat.weeks[first:], shares, width)
        for name, width in LAYOUTS.items()
    }


def _table(rows: Sequence[Series]) -> Table:
    """Every point as a number."""
    cells = tuple(
        (
            row.name,
            f"{point.day}",
            f"{point.value:.4g} {row.unit}",
            f"{point.uncertainty:.2g}" if point.uncertainty else "",
            str(point.takes),
            "yes" if point.comparable else "no",
        )
        for row in rows
        for point in row.points
    )
    head = ("Reading", "Day", "Median", "±", "Takes", "Comparable")
    return Table(head, cells)
