"""The report as one self-contained HTML page: pictures, sound, and numbers behind.

Nothing is loaded from anywhere.  A Content-Security-Policy lets the page run its own
script and style only, by their hashes; everything else in it is escaped text, SVG that
`assessor.figures` escaped, or sound in a data address.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from assessor.assessment import Assessment, PassAssessment
from assessor.figures import passes as many
from assessor.figures.beats import scene
from assessor.figures.closeups import closeups
from assessor.figures.gauge import gauge
from assessor.figures.picture import COLOURS, SHAPES, Gallery, Picture, Table
from assessor.figures.slurs import slur_pictures
from assessor.figures.take import LAYOUTS, take_picture
from assessor.measures.focus import say_place
from assessor.measures.tolerance import Judgement
from assessor.recording import Recording
from assessor.report.document import shipped, source_hash, template
from assessor.report.home import at_home
from assessor.report.readings import Line, allowed, lines_of, next_step
from assessor.report.remarks import Said
from assessor.report.result import tool_version
from assessor.report.sound import Clip, demo_clip, level_dbfs, take_clips

MOST_DRAWN = 4  # passes drawn in full: the best, the first, the last, the one before
# Areas of the terminal's lines as the page groups them: four questions
QUESTIONS = {"Bends": "Pitch", "Vibrato": "Pitch"}


@dataclass(frozen=True)
class Sound:
    """What can be heard in a page.

    Attributes
    ----------
    take : tuple of Clip
        One of it all, or one for each drawn pass.
    demo : Clip
    demo_line : str
        When each note of the demo starts, and when the last one ends.
    moved : str
        How far from where it is written the demo sounds, as the take does; may be
        empty.
    """

    take: tuple[Clip, ...]
    demo: Clip
    demo_line: str
    moved: str


@dataclass(frozen=True)
class Measured:
    """One line of the summary, with its gauge.

    Attributes
    ----------
    text : str
    judgement : str
        Empty when the line is not judged.
    gauge : str
        SVG; empty when the line is not judged.
    """

    text: str
    judgement: str
    gauge: str


@dataclass(frozen=True)
class DrawnPass:
    """One pass with all its pictures.

    Attributes
    ----------
    number : int
        From 1.
    word : str
        In the chooser.
    layouts : dict of str to Picture
        The same picture for each width of window.
    galleries : tuple of Gallery
        Only those with a picture in them.
    line : str
        When each note of it was due in the take, and the end of the last.
    readings : dict of str to list of Measured
        By area.
    mark, formula : str
    """

    number: int
    word: str
    layouts: dict[str, Picture]
    galleries: tuple[Gallery, ...]
    line: str
    readings: dict[str, list[Measured]]
    mark: str
    formula: str


def page(
    assessment: Assessment,
    recording: Recording | None = None,
    *,
    teacher: Sequence[Said] = (),
) -> str:
    """Report on an assessment as an HTML document.

    Parameters
    ----------
    assessment : Assessment
    recording : Recording or None
        The sound to be embedded; None leaves it out.
    teacher : sequence of Said
        What a teacher says of the take; already counted in the assessment.
    """
    style = COLOURS + SHAPES + shipped("page.css")
    script = shipped("page.js")
    several = len(assessment.passes) > 1
    drawn = _drawn_passes(assessment)
    return template("page.html").render(
        assessment=assessment,
        lick=assessment.lick,
        facts=_facts(assessment),
        style=style,
        style_hash=source_hash(style),
        script=script,
        script_hash=source_hash(script),
        sound=_sound(assessment, recording, drawn),
        passes=[_drawn(assessment, number) for number in drawn],
        best=assessment.best + 1,
        all_passes={
            name: many.passes_picture(assessment, width)
            for name, width in LAYOUTS.items()
            if several
        },
        changes=many.readings_by_pass(assessment) if several else None,
        focus=_focus(assessment),
        next_step=next_step(assessment),
        tolerances=_tolerances(assessment),
        teacher=teacher,
        tool_version=tool_version(),
    )


def _sound(
    assessment: Assessment, recording: Recording | None, drawn: Sequence[int]
) -> Sound | None:
    """The take, and the lick as it should sound at the tempo asked for."""
    if recording is None:
        return None
    spans_s = [_span_s(assessment, number) for number in drawn]
    # as high and as loud as the take, so that the ear compares nothing else
    demo = demo_clip(
        assessment.lick,
        moved_cents=100 * assessment.transposition + assessment.tuning_cents,
        level_dbfs=level_dbfs(recording, _span_s(assessment, assessment.best)),
    )
    clips = take_clips(recording, spans_s)
    return Sound(clips, demo, _seconds(demo.line_s), _moved(assessment.transposition))


def _moved(semitones: int) -> str:
    """How the lick was moved, in words; empty when it was not."""
    if not semitones:
        return ""
    frets = "1 fret" if abs(semitones) == 1 else f"{abs(semitones)} frets"
    return f"{frets} {'higher' if semitones > 0 else 'lower'}"


def _span_s(assessment: Assessment, number: int) -> tuple[float, float]:
    """First and last that is to be heard of a pass."""
    seen = scene(assessment, number)
    played = [n.played for n in seen.found.performed.notes if n.played is not None]
    due_s = seen.line.times_s
    start_s = min([float(due_s[0]), *(n.onset_s for n in played)])
    return start_s, max([float(due_s[-1]), *(n.offset_s for n in played)])


def _seconds(times_s: Iterable[float]) -> str:
    """Times as an attribute."""
    return " ".join(f"{time_s:.3f}" for time_s in times_s)


def _drawn_passes(assessment: Assessment) -> list[int]:
    """Which passes are drawn in full, in order."""
    count = len(assessment.passes)
    if count <= MOST_DRAWN:
        return list(range(count))
    return sorted({assessment.best, 0, count - 2, count - 1})


def _drawn(assessment: Assessment, number: int) -> DrawnPass:
    """Every picture of one pass."""
    seen, found = scene(assessment, number), assessment.passes[number]
    galleries = (closeups(seen), slur_pictures(seen))
    word = f"Pass {number + 1}"
    return DrawnPass(
        number + 1,
        f"{word} (best)" if number == assessment.best else word,
        {name: take_picture(seen, width) for name, width in LAYOUTS.items()},
        tuple(gallery for gallery in galleries if gallery.svgs),
        _seconds(seen.line.times_s),
        _readings(found),
        "" if found.mark.value is None else f"{found.mark.value:.0f}",
        found.mark.formula,
    )


def _readings(found: PassAssessment) -> dict[str, list[Measured]]:
    """Lines of the summary by area."""
    out: dict[str, list[Measured]] = {}
    area = ""
    for line in lines_of(found):
        area = line.area or area
        question = QUESTIONS.get(area, area)
        text = line.text if question == area else f"{area.lower()} {line.text}"
        out.setdefault(question, []).append(_measured(line, text))
    return out


def _measured(line: Line, text: str) -> Measured:
    judged = line.judged
    if judged is None or judged.judgement == Judgement.UNJUDGED:
        return Measured(text, "", "")
    drawn = gauge(judged, f"{allowed(judged)} allowed")
    return Measured(text, str(judged.judgement), drawn)


def _facts(assessment: Assessment) -> list[str]:
    """What was played, in short."""
    lick, recording = assessment.lick, assessment.recording
    facts = [recording.name, f"{recording.duration_s:.1f} s"]
    facts.append(f"{len(lick)} notes, {lick.tempo_bpm:g} bpm asked")
    if lick.parent is not None:
        facts.append(f"a drill of {lick.parent.title}")
    if abs(assessment.tuning_cents) >= 1:
        side = "sharp" if assessment.tuning_cents > 0 else "flat"
        facts.append(f"guitar {abs(assessment.tuning_cents):.0f} cents {side}")
    facts.append(f"tolerance {assessment.settings.tolerance.name}")
    return facts


def _focus(assessment: Assessment) -> dict[str, object] | None:
    """The one thing to work on, and the notes around it."""
    focus = assessment.best_pass.focus
    if focus is None:
        return None
    last = len(assessment.lick) - 1
    place = say_place(assessment.lick, focus.worst)
    return {
        "place": place + at_home(assessment.lick, focus.worst),
        "what": focus.what,
        "cause": str(focus.cause),
        "others": len(focus.indices) - 1,
        "advice": focus.advice,
        "cost": f"{focus.cost:.0f}",
        "from": max(focus.worst - 2, 0),
        "to": min(focus.worst + 1, last),
    }


def _tolerances(assessment: Assessment) -> Table:
    """What is allowed, and who says so."""
    rows = []
    for name, rule in assessment.settings.tolerance.rules.items():
        share = rule.percent_of_ioi
        text = f"{rule.value:g} {rule.unit}"
        if share:
            text += f", or {share:g} % of the interval where that is more"
        rows.append((name, text, rule.source))
    return Table(("Rule", "Allowed", "Source"), tuple(rows))
