"""Progress as text, page and picture."""

from __future__ import annotations

import re
from datetime import UTC
from pathlib import Path
from xml.etree import ElementTree

import made_up_weeks
import pytest
import stores
from test_progress import improving, only, take

from assessor.assessment import Settings
from assessor.figures.picture import alone
from assessor.figures.take import LAYOUTS
from assessor.history.licks import digest_of
from assessor.history.progress import Verdict, progress_of
from assessor.history.takes import takes_of
from assessor.measures.clock import Click
from assessor.report.weeks_page import weeks_page, weeks_picture
from assessor.weeks import in_full, overview

SVG = "{http://www.w3.org/2000/svg}"
KNOWN = {digest_of(stores.LICK): stores.LICK}


def test_claims_carry_their_reasons() -> None:
    """Slope with interval and p where better is said; fits into 80 columns."""
    text = in_full(only(improving(12)), stores.LICK)
    (line,) = [one for one in text.splitlines() if one.startswith("timing spread")]
    pattern = r"better: -[\d.]+ a week \(-[\d.]+ to -[\d.]+\), p [<.]"
    assert re.search(pattern, line)
    assert "Mann-Kendall" in text
    assert "Theil-Sen" in text
    assert "Gilbert" in text
    assert max(len(one) for one in text.splitlines()) <= 92  # a long tab line may
    assert "12 takes on 12 days, 2026-11-13 to 2026-11-24" in text


@pytest.mark.parametrize("days", [1, 3, 4])
def test_few_days_tell_where_you_stand_and_no_more(days: int) -> None:
    """Readings and the tempo from the first take on; the reason why no change is."""
    found = only(improving(days))
    for text in (in_full(found, stores.LICK), overview([found])):
        assert "better:" not in text
        assert re.search(r"up to \d+ of|No whole pass", text)
    assert "from 5 days of takes on" in overview([found])
    in_lines = in_full(found, stores.LICK)
    assert re.search(r"^timing spread +[\d.]+ ms$", in_lines, re.M)
    reason = "on four, even a perfect row is chance once in twelve times"
    assert reason in " ".join(in_lines.split())
    assert reason in weeks_page([found], KNOWN)
    assert reason not in " ".join(in_full(only(improving(5)), stores.LICK).split())


def test_least_change_is_named_where_nothing_is_sure() -> None:
    """What could have been told."""
    takes = [take(k, 8 - k, late_ms=20.0) for k in range(8)]
    text = in_full(only(takes), stores.LICK)
    assert re.search(r"timing spread.*no sure change \(one of [\d.]+ ms could", text)


def test_heat_stands_under_its_notes() -> None:
    """The sign of a note is in the column of its fret number."""
    takes = [take(1, 1, missed=(3,)), take(2, 0.5)]
    lines = in_full(only(takes), stores.LICK).splitlines()
    row = next(k for k, line in enumerate(lines) if re.match(r"\d\d-\d\d ", line))
    string = next(line for line in lines[:row] if line.strip().startswith("G|"))
    frets = [m.start() for m in re.finditer(r"\d", string)]
    assert [lines[row][at] for at in frets[:5]] == [".", ".", ".", "5", "."]


def test_lick_without_sheet_has_its_row_all_the_same() -> None:
    """Notes in a row where no tab can be drawn."""
    text = in_full(only([take(1, missed=(3,))]), None)
    assert re.search(r"^\d\d-\d\d +\.\.\.X\.{12}$", text, re.M)


def test_other_versions_are_marked() -> None:
    """With a star, a notice and the command that mends it."""
    takes = improving(6)
    takes = [takes[-1]._replace(tool_version="2", take_id=99), *takes[:-1]]
    takes[0] = takes[0]._replace(recorded_at=stores.NOW)
    text = in_full(only(takes), None)
    assert "versions 1, 2" in text
    assert "assessor history again" in text
    assert "counted over all takes alike" in text
    assert "counted over all" not in in_full(only(improving(6)), None)


@pytest.mark.parametrize(
    ("paces", "words"),
    [
        ((1.3, 1.0), "worse may come"),
        ((1.0, 1.3), "better may come"),
        ((1.0, 1.04), ""),
    ],
)
def test_takes_of_several_tempos_are_told(
    paces: tuple[float, float], words: str
) -> None:
    """With the way that pulls; a step of a metronome is none."""
    takes = [take(k, 8 - k, pace=paces[k >= 4]) for k in range(8)]
    text = " ".join(in_full(only(takes), None).split())
    assert ("slower is easier" in text) == bool(words)
    assert words in text


def test_takes_with_and_without_click_are_told() -> None:
    """And which ones the trends are told from."""
    takes = [take(1, 1), take(2, 0, settings=Settings(click=Click(0.0)))]
    text = " ".join(in_full(only(takes), None).split())
    assert "trends in time are told from those with one" in text


def test_overview_names_every_lick() -> None:
    """Each with its tempo."""
    other = take(2, 0, lick="b" * 64, title="Other", missed=(1, 2, 3))
    text = overview(progress_of([*improving(12), other], UTC))
    assert text.index("Other") < text.index("Sixteen of them")
    assert "No whole pass inside the tolerance yet" in text
    assert "timing spread better: -" in text


def test_page_is_whole_and_safe() -> None:
    """One picture a row, a heat map, no script, nothing that is loaded."""
    title = "<script>alert(1)</script>"
    found = only([one._replace(title=title) for one in improving(12)])
    html = weeks_page([found], KNOWN, ["Mind & body"])
    rows = len(found.series) + len(found.causes)
    assert html.count('class="picture"') == rows + len(LAYOUTS)
    assert "<script" not in html
    assert "&lt;script&gt;" in html
    assert "Mind &amp; body" in html
    assert not re.search(r"(src|href)=", html)


@pytest.mark.parametrize("count", [1, 3, 12])
def test_picture_of_a_row(count: int) -> None:
    """A point for each day; a line only where a change is claimed."""
    svg = alone(weeks_picture(only(improving(count)), "timing spread"))
    root = ElementTree.fromstring(svg)
    assert len(root.findall(f".//{SVG}circle")) == count
    curves = [one for one in root.iter(f"{SVG}path") if one.get("class") == "curve"]
    assert len(curves) == (count == 12)


def test_hollow_points_are_of_other_versions() -> None:
    """Shape, not colour."""
    takes = improving(6)
    takes[-1] = takes[-1]._replace(tool_version="2")
    root = ElementTree.fromstring(weeks_picture(only(takes), "timing spread"))
    looks = [one.get("class") for one in root.findall(f".//{SVG}circle")]
    assert looks == ["open"] * 5 + ["quiet"]


def test_unknown_reading_lists_those_there_are() -> None:
    """A wrong name is a wrong call."""
    with pytest.raises(ValueError, match="'taste'; there are mark, tempo reached"):
        weeks_picture(only(improving(2)), "taste")


def test_the_history_of_the_manual(tmp_path: Path) -> None:
    """What docs/weeks.md prints is told of the history that it names."""
    with stores.new_store("sqlite", tmp_path) as store:
        made_up_weeks.fill(store, stores.NOW)
        (found,) = progress_of(takes_of(store), UTC)
    assert (len(found.takes), found.days) == (24, 12)
    told = {row.name: row.verdict for row in (*found.series, *found.causes)}
    for name in ("mark", "tempo reached", "timing spread", "early notes"):
        assert told[name] is Verdict.BETTER
    assert told["plain pitch"] is Verdict.NOTHING
    manual = (Path(__file__).parents[1] / "docs" / "weeks.md").read_text("utf-8")
    assert "tests/made_up_weeks.py" in manual
    assert f"    {found.title}\n    24 takes on 12 days" in manual
    assert all(re.search(rf"^    {name} ", manual, re.M) for name in told)


def test_axes_end_at_round_numbers() -> None:
    """No share above a hundred; what is allowed is said in words."""
    svg = weeks_picture(only(improving(12)), "right notes")
    said = re.findall(r"<text[^>]*>([^<]+)</text>", svg)
    ends = [float(text) for text in said if re.fullmatch(r"[\d.]+", text)]
    assert ends == [float(round(end)) for end in ends]
    assert max(ends) == 100
    assert "95 allowed" in said
    assert "100 asked" in weeks_picture(only(improving(12)), "tempo reached")
