"""A class as one self-contained HTML page without script; pseudonyms unless asked."""

from __future__ import annotations

from collections.abc import Mapping

from assessor.figures.class_heat import class_heat
from assessor.figures.picture import COLOURS, SHAPES, Picture, Table
from assessor.figures.take import MIDDLE_PT, NARROW_PT, WIDE_PT
from assessor.measures.focus import say_place
from assessor.report.class_agreement import agreement_lines
from assessor.report.class_rows import rows_of, say_list, why_doubtful
from assessor.report.document import shipped, source_hash, template
from assessor.report.result import tool_version
from assessor.review import summary
from assessor.review.changes import Changed, changes
from assessor.review.corrections import Correction, What
from assessor.review.summary import ClassReview, HardNote, Take

LAYOUTS = {"wide": WIDE_PT, "middle": MIDDLE_PT, "narrow": NARROW_PT}
# Shown where at least one player has something in it
COLUMNS = {"time": "Time", "bends": "Bends", "slurs": "Slurs"}
OTHER_LICK = "Another lick, or another tempo"
MOST_HARD = 5  # places told in words
LEAST_HARD = 2  # players with a fault at a note before it is called hard
MOST_BEFORE = 10  # earlier assignments in a row


def class_page(review: ClassReview, *, names: bool = False) -> str:
    """Show a class as an HTML document.

    Parameters
    ----------
    review : ClassReview
    names : bool
        Names beside pseudonyms, and the files that fit nobody: for the teacher's eyes.
    """
    style = COLOURS + SHAPES + shipped("page.css") + shipped("class_page.css")
    return template("class_page.html").render(
        review=review,
        facts=_facts(review),
        names=names,
        doubtful=[(t, why_doubtful(t)) for t in summary.doubtful(review) if t.shown],
        refused=[t for t in review.takes if t.record and t.shown is None],
        licks=[_lick(review, number, names) for number in range(len(review.licks))],
        changes=_changes(review),
        by_ear=_by_ear(review),
        unmatched=review.unmatched if names else (),
        unmatched_count=len(review.unmatched),
        agreement=agreement_lines(review),
        style=style,
        style_hash=source_hash(style),
        tool_version=tool_version(),
    )


def _facts(review: ClassReview) -> list[str]:
    """The class in short."""
    players = len(review.players)
    takes = len(review.takes)
    facts = [f"{players} player{'s' * (players != 1)}"]
    facts.append(f"{takes} take{'s' * (takes != 1)}")
    if review.due is not None:
        facts.append(f"due {review.due:%Y-%m-%d %H:%M}")
        late = {take.player for take in review.takes if take.late}
        facts += [f"{len(late)} late"] if late else []
    without = {p for k in range(len(review.licks)) for p in summary.missing(review, k)}
    facts += [f"{len(without)} missing"] if without else []
    refused = sum(bool(t.record and t.record.reason) for t in review.takes)
    facts += [f"{refused} could not be assessed"] if refused else []
    corrected = sum(bool(take.corrections) for take in review.takes)
    facts += [f"{corrected} corrected by ear"] if corrected else []
    return facts


def _lick(review: ClassReview, number: int, names: bool) -> dict[str, object]:
    """Everything about one lick."""
    asked = review.licks[number]
    hard = summary.hard_notes(review, number)
    rows = rows_of(review, number, names=names)
    return {
        "title": asked.lick.title or f"Lick {number + 1}",
        "tempo": f"{asked.tempo_bpm:g} bpm asked",
        "rows": rows,
        "columns": {
            name: word
            for name, word in COLUMNS.items()
            if any(getattr(row, name).text for row in rows)
        },
        "before": [one.title for one in review.earlier[-MOST_BEFORE:]],
        "heat": _heat(review, number, hard),
        "hard": _hard_words(review, number, hard),
        "groups": summary.groups(review, number),
        "missing": summary.missing(review, number),
    }


def _heat(
    review: ClassReview, number: int, hard: list[HardNote]
) -> Mapping[str, Picture] | None:
    if not any(note.played for note in hard):
        return None
    lick = review.licks[number].lick
    counts, played = [one.counts for one in hard], [one.played for one in hard]
    return {
        name: class_heat(lick, counts, played, width) for name, width in LAYOUTS.items()
    }


def _hard_words(
    review: ClassReview, number: int, hard: list[HardNote]
) -> list[tuple[str, str]]:
    """Place and what happens there, the hardest first."""
    worst = [note for note in hard if note.bad >= LEAST_HARD]
    worst.sort(key=lambda note: (-(note.share or 0), note.index))
    return [
        (
            say_place(review.licks[number].lick, note.index),
            f"{note.bad} of {note.played}: "
            + say_list([f"{count} {kind}" for kind, count in note.counts.items()]),
        )
        for note in worst[:MOST_HARD]
    ]


def _by_ear(review: ClassReview) -> Table | None:
    """Corrections that hold; remarks are for their player alone."""
    rows = tuple(
        (
            take.player,
            _place(review, take, said),
            f"{said.name} {said.value}".strip(),
            said.reason,
            said.author,
            said.at[:16].replace("T", " "),
        )
        for take in review.takes
        for said in take.corrections
        if said.what is not What.REMARK
    )
    if not rows:
        return None
    return Table(("Player", "Where", "By ear", "Reason", "Who", "When (UTC)"), rows)


def _place(review: ClassReview, take: Take, said: Correction) -> str:
    lick = review.licks[take.planned.lick].lick
    if said.note is None:
        return "take"
    if said.what is What.EXTRA:
        return f"extra note {said.note + 1}"
    return say_place(lick, said.note) if said.note < len(lick) else "not there"


def _changes(review: ClassReview) -> dict[str, list[str]]:
    """Who got better since the last assignment, and who did not."""
    words = ("Better", "Better and worse", "Worse", OTHER_LICK)
    found: dict[str, list[str]] = {word: [] for word in words}
    for one in changes(review):
        if not one.same_lick:
            found[OTHER_LICK].append(f"{one.player}: {_marks(one)}")
        elif one.better or one.worse:
            more = len(one.better) - len(one.worse)
            word = words[0] if more > 0 else words[2] if more < 0 else words[1]
            found[word].append(f"{one.player}: {_readings(one)}; {_marks(one)}")
    return {word: lines for word, lines in found.items() if lines}


def _readings(one: Changed) -> str:
    parts = [f"better {say_list(one.better)}"] if one.better else []
    parts += [f"worse {say_list(one.worse)}"] if one.worse else []
    return ", ".join(parts)


def _marks(one: Changed) -> str:
    before, now = (
        "–" if mark is None else f"{mark:.0f}"
        for mark in (one.mark_before, one.mark_now)
    )
    return f"mark {before}, then {now}"
