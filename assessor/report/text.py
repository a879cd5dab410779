"""The report a player reads in a terminal.

From top to bottom: what was played, the tab of the best pass with a row of signs for
each question, the legend, one line for each area, what to work on first, cautions.
Nothing is told by colour alone.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from dataclasses import dataclass, field

from assessor.assessment import Assessment, PassAssessment
from assessor.lick import sheet
from assessor.lick.notation import Parent
from assessor.measures.focus import Cause, say_place
from assessor.measures.marks import Area
from assessor.measures.tolerance import Judgement
from assessor.report.home import HomeNote, at_home, come_home, run_starts
from assessor.report.readings import Line, allowed, amount, lines_of, next_step
from assessor.report.signs import Sign, Tone, rows_of

NARROWEST = 40
LABEL = 8  # columns for the word in front of a row or reading
JUDGED_AT = 50  # column where a reading's judgement stands
MOST_FAULTS = 6  # in words; the rest is in the JSON result

# Blue and orange differ for every kind of colour vision, and in lightness
PAINT = {
    Tone.LOW: "\x1b[38;5;33m",
    Tone.HIGH: "\x1b[38;5;208m",
    Tone.QUIET: "\x1b[38;5;245m",
    Tone.STRONG: "\x1b[1m",
}
PAINT_END = "\x1b[0m"

ASCII = str.maketrans({"±": "+/-", "·": "-", "×": "x", "–": "-", "…": "..."})


@dataclass
class _Page:
    """Lines of text under way, and how they may be written."""

    width: int
    colour: bool
    ascii_only: bool
    lines: list[str] = field(default_factory=list)

    def words(self, text: str) -> str:
        """Text in the characters that may be used."""
        if not self.ascii_only:
            return text
        return text.translate(ASCII).encode("ascii", "replace").decode()

    def shape(self, sign: Sign) -> str:
        return sign.ascii_shape if self.ascii_only else sign.shape

    def paint(self, text: str, tone: Tone) -> str:
        if not self.colour or tone not in PAINT or not text.strip():
            return text
        return f"{PAINT[tone]}{text}{PAINT_END}"

    def gap(self) -> None:
        if self.lines and self.lines[-1]:
            self.lines.append("")

    def line(self, text: str, tone: Tone = Tone.PLAIN) -> None:
        self.lines.append(self.paint(self.words(text).rstrip(), tone))

    def paragraph(self, label: str, text: str) -> None:
        """Wrapped text with a word in front of its first line."""
        lines = textwrap.wrap(
            self.words(text),
            self.width,
            initial_indent=label.ljust(LABEL),
            subsequent_indent=" " * LABEL,
            break_on_hyphens=False,
        )
        self.lines += lines


def terminal(
    assessment: Assessment,
    width: int = 80,
    *,
    colour: bool = False,
    ascii_only: bool = False,
) -> str:
    """Report on an assessment as lines of text.

    Parameters
    ----------
    assessment : Assessment
    width : int
        Columns; at least 40 are used.
    colour : bool
        Paint with ANSI escape codes (256 colours).
    ascii_only : bool
        For a stream whose encoding cannot hold the signs.

    Returns
    -------
    str
        Ends with a line break.
    """
    page = _Page(max(width, NARROWEST), colour, ascii_only)
    _heading(page, assessment)
    _passes(page, assessment)
    _tab(page, assessment)
    page.gap()
    for line in lines_of(assessment.best_pass):
        _reading_line(page, line)
    _mark(page, assessment.best_pass)
    _faults(page, assessment)
    _home(page, assessment)
    _focus(page, assessment)
    if assessment.cautions:
        page.gap()
    for number, caution in enumerate(assessment.cautions):
        page.paragraph("" if number else "Caution", caution.message)
    return "\n".join(page.lines) + "\n"


def _heading(page: _Page, assessment: Assessment) -> None:
    recording, parent = assessment.recording, assessment.lick.parent
    page.line(assessment.lick.title, Tone.STRONG)
    if parent is not None:
        text = f"a drill; the numbers under its tab are notes of {parent.title}"
        page.lines += textwrap.wrap(page.words(text), page.width)
    facts = [recording.name, f"{recording.duration_s:.1f} s"]
    facts.append(f"tolerance {assessment.settings.tolerance.name}")
    if assessment.transposition:
        side = "higher" if assessment.transposition > 0 else "lower"
        frets = abs(assessment.transposition)
        facts.append(f"played {frets} fret{'s' * (frets > 1)} {side}")
    if abs(assessment.tuning_cents) >= 1:
        side = "sharp" if assessment.tuning_cents > 0 else "flat"
        facts.append(f"guitar {abs(assessment.tuning_cents):.0f} cents {side}")
    page.lines += textwrap.wrap(page.words(" · ".join(facts)), page.width)


def _passes(page: _Page, assessment: Assessment) -> None:
    """One line for each of several passes, or for each tenth of the time of many."""
    if len(assessment.passes) == 1:
        return
    page.gap()
    if assessment.stretches:
        _stretches(page, assessment)
        return
    for number, found in enumerate(assessment.passes):
        best = number == assessment.best
        played = [n.played for n in found.performed.notes if n.played is not None]
        facts = [f"at {min(n.onset_s for n in played):.1f} s"] if played else []
        facts.append(f"{len(found.accuracy.right)} of {found.accuracy.judged} right")
        if found.timing.spread is not None:
            facts.append(f"spread {amount(found.timing.spread)}")
        if not found.performed.complete:
            facts.append("broken off")
        if found.mark.value is not None:
            facts.append(f"mark {found.mark.value:.0f}")
        text = ", ".join(facts)
        page.paragraph(f"Pass {number + 1}", f"{text} (best)" if best else text)


def _stretches(page: _Page, assessment: Assessment) -> None:
    """One line for each stretch of a long practice."""
    count, best = len(assessment.passes), assessment.best_pass
    page.paragraph(
        "Passes", f"{count} found, the best at {best.start_s:.0f} s is shown"
    )
    for stretch in assessment.stretches:
        facts = [f"{stretch.passes} passes, {100 * stretch.right_share:.0f} % right"]
        if stretch.spread_ms is not None:
            facts.append(f"spread {stretch.spread_ms:.0f} ms")
        if stretch.tempo_bpm is not None:
            facts.append(f"{stretch.tempo_bpm:.0f} bpm")
        if stretch.mark is not None:
            facts.append(f"mark {stretch.mark:.0f}")
        minutes = f"min {stretch.start_s / 60:.0f}-{stretch.end_s / 60:.0f}"
        page.paragraph("", f"{minutes}: {', '.join(facts)}")


def _tab(page: _Page, assessment: Assessment) -> None:
    """The tab of the lick with what happened in the best pass under each note."""
    found = rows_of(assessment.best_pass)
    parent = assessment.lick.parent
    starts = {} if parent is None else run_starts(parent)
    for system in sheet.tab_systems(assessment.lick, page.width - LABEL):
        page.gap()
        for line in system.lines:
            page.line(" " * LABEL + line)
        for name, row in found.rows.items():
            signs = {system.columns[k]: row[k] for k in system.columns if k in row}
            if name == "notes":
                signs |= _between(system.columns, found.extra)
            _row(page, name, signs)
        if parent is not None:
            _parent_row(page, parent, starts, system.columns)
    page.gap()
    page.lines += _legend(page, found.used())


def _between(columns: dict[int, int], extra: dict[int, Sign]) -> dict[int, Sign]:
    """Signs right of the note after which an extra one sounds."""
    places = {columns[k] + 1: sign for k, sign in extra.items() if k in columns}
    if -1 in extra and 0 in columns:
        places[columns[0] - 1] = extra[-1]
    return places


def _row(page: _Page, name: str, signs: dict[int, Sign]) -> None:
    """One row of signs, by text column; nothing when it is empty."""
    if not signs:
        return
    text, at = name.ljust(LABEL), 0
    for column, sign in sorted(signs.items()):
        text += " " * (column - at) + page.paint(page.shape(sign), sign.tone)
        at = column + 1
    page.lines.append(text)


def _parent_row(
    page: _Page, parent: Parent, starts: dict[int, int], columns: dict[int, int]
) -> None:
    """Numbers of the parent's notes, where a run of them starts or goes on."""
    text = "parent"
    shown = {min(columns): parent.notes[min(columns)]}
    shown |= {k: starts[k] for k in columns if k in starts}
    for index, place in sorted(shown.items()):
        at = columns[index] + LABEL
        if at > len(text):  # else there is no room, and the mark is in the result file
            text = f"{text.ljust(at)}{place + 1}"
    page.lines.append(text)


def _legend(page: _Page, signs: tuple[Sign, ...]) -> Iterator[str]:
    """Signs and their words, on one line where it is wide enough."""
    line, width = "", 0
    for sign in signs:
        entry = f"{page.shape(sign)} {sign.word}"
        if line and width + 2 + len(entry) > page.width:
            yield line
            line, width = "", 0
        gap = "  " if line else ""
        line += f"{gap}{page.paint(page.shape(sign), sign.tone)} {sign.word}"
        width += len(gap + entry)
    yield line


def _reading_line(page: _Page, line: Line) -> None:
    """One reading: its area, its text, and how it is judged."""
    page.paragraph(line.area, line.text)
    if line.judged is None or line.judged.judgement == Judgement.UNJUDGED:
        return
    judgement = line.judged.judgement
    tone = Tone.STRONG if judgement == Judgement.OUTSIDE else Tone.QUIET
    words = page.words(f"{judgement}: {allowed(line.judged)} allowed")
    text = page.lines.pop()
    if max(len(text), JUDGED_AT) + 2 + len(words) > page.width:
        page.lines.append(text)
        text = ""
    at = max(min(JUDGED_AT, page.width - 2 - len(words)), 0)
    page.lines.append(text.ljust(at) + "  " + page.paint(words, tone))


def _mark(page: _Page, found: PassAssessment) -> None:
    if found.mark.value is not None:
        text = f"{found.mark.value:.0f} of 100 = {found.mark.formula}"
        page.paragraph("Mark", text)


def _faults(page: _Page, assessment: Assessment) -> None:
    """What no sign can tell: which note sounded, how far a bend went, a pause."""
    told = (Area.NOTES, Area.BENDS, Area.PITCH)
    found = assessment.best_pass.faults
    faults = [f for f in found if f.area in told or f.cause == Cause.PAUSE]
    if not faults:
        return
    page.gap()
    for fault in faults[:MOST_FAULTS]:
        place = say_place(assessment.lick, fault.index)
        home = at_home(assessment.lick, fault.index)
        page.paragraph("", f"{place}{home}: {fault.what}")
    if len(faults) > MOST_FAULTS:
        page.paragraph("", f"… and {len(faults) - MOST_FAULTS} more")


def _home(page: _Page, assessment: Assessment) -> None:
    """Notes of a drill's parent that were not right or not in time, worst first."""
    parent = assessment.lick.parent
    if parent is None:
        return
    homes = come_home(parent, assessment.best_pass)
    faulty = [note for note in homes if note.causes]
    faulty.sort(key=lambda note: -sum(note.causes.values()))
    page.gap()
    told = [_told_at_home(note) for note in faulty[:MOST_FAULTS]]
    if len(faulty) > MOST_FAULTS:
        told.append(f"{len(faulty) - MOST_FAULTS} more notes")
    text = "; ".join(told) or "no fault on any note of it"
    page.paragraph("Parent", f"{parent.title}: {text}.")


def _told_at_home(note: HomeNote) -> str:
    """One note of the parent: what happened on it, and how often of how many."""
    of = f"of {len(note.indices)}"
    causes = ", ".join(f"{cause} {count} {of}" for cause, count in note.causes.items())
    return f"note {note.index + 1} ({causes} times)"


def _focus(page: _Page, assessment: Assessment) -> None:
    page.gap()
    focus = assessment.best_pass.focus
    if focus is None:
        page.paragraph("Next", next_step(assessment))
        return
    place = say_place(assessment.lick, focus.worst)
    place += at_home(assessment.lick, focus.worst)
    others = len(focus.indices) - 1
    count = f" ({focus.cause}, {others} more)" if others else ""
    points = f"{focus.cost:.0f} point{'' if round(focus.cost) == 1 else 's'}"
    text = f"{place}: {focus.what}{count}. {focus.advice} That cost {points}."
    page.paragraph("Work on", text)
