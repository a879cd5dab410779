"""What is made of every take of a class, and of the class when one of them changes."""

from __future__ import annotations

import json
import time
from collections.abc import Iterable, Sequence
from dataclasses import replace

from threadpoolctl import threadpool_limits

from assessor import recording
from assessor.assessment import Assessment, assess
from assessor.capture.slate import read_slate
from assessor.errors import AssessorError
from assessor.measures.clock import Click
from assessor.passes import TEMPO_RATIOS
from assessor.recording import Recording
from assessor.report.class_page import class_page
from assessor.report.class_table import class_csv
from assessor.report.page import page
from assessor.report.remarks import remarks_of
from assessor.report.result import result
from assessor.review import corrections, planning
from assessor.review.books import Books, one_at_a_time
from assessor.review.changes import write_counted
from assessor.review.corrections import Correction
from assessor.review.finding import finding_of
from assessor.review.jobs import Job, Outcome
from assessor.review.overruling import overrule, with_readings
from assessor.review.places import at_hand
from assessor.review.summary import ClassReview, read_class

CLASS_PAGE, CLASS_TABLE = "class.html", "class.csv"
PATIENCE_S = 5.0  # for another correction of the same class


def listen(job: Job) -> Outcome:
    """Assess one take of a class, draw its report, and never raise.

    Parameters
    ----------
    job : Job

    Returns
    -------
    Outcome
        A take that cannot be used has a reason; nothing in it names a file or a player.
    """
    start_s = time.process_time()
    try:
        # one take a core: more threads for one of them only take turns
        with threadpool_limits(limits=1, user_api="blas"):
            outcome = _listened(job)
    except AssessorError as problem:
        outcome = Outcome.refused(job, str(getattr(problem, "message", problem)))
    except Exception as problem:  # one bad file must not stop the others
        reason = f"this take brought the program down ({type(problem).__name__})"
        outcome = Outcome.refused(job, f"{reason}; please report it")
    return replace(outcome, cpu_s=time.process_time() - start_s)


def _listened(job: Job) -> Outcome:
    heard, tool = assessed(job)
    shown, left_over = overrule(tool, job.corrections)
    files = {f"{job.take_id}.json": _json(shown)}
    if job.report:
        said = remarks_of(tool, job.corrections, left_over)
        sound = heard if job.sound else None
        files[f"{job.take_id}.html"] = page(shown, sound, teacher=said).encode()
    return Outcome(
        job.take_id,
        finding_of(tool),
        with_readings(finding_of(shown), job.corrections),
        unfit=len(left_over),
        files=files,
    )


def assessed(job: Job) -> tuple[Recording, Assessment]:
    """Recording of a take, named as it is shown, and what the tool finds in it.

    A take that says itself to which click it was played is held against that click,
    where the assignment names none.
    """
    asked, settings = job.lick, job.settings
    # nothing shorter than its first note, played as fast as is looked for, can hold it
    shortest_s = float(asked.ends_s()[0]) / max(TEMPO_RATIOS)
    with at_hand(job.address) as file:
        heard = recording.read(file, shortest_s=shortest_s)
        slate = read_slate(file)
    heard = replace(heard, name=job.shown_name)
    if slate is not None and settings.click is None:
        heard = replace(heard, flags=(*heard.flags, *slate.flags()))
        found = slate.click_in_take
        settings = replace(settings, click=None if found is None else Click(*found))
    return heard, assess(heard, asked, settings)


def _json(assessment: Assessment) -> bytes:
    text = json.dumps(result(assessment), ensure_ascii=False, separators=(",", ":"))
    return text.encode()


def correct(books: Books, said: Sequence[Correction]) -> ClassReview:
    """Say something of takes, and have everything that is shown follow.

    Parameters
    ----------
    books : Books
    said : sequence of Correction
        Of takes of this review, each with the whole name of its take.

    Returns
    -------
    ClassReview
        As it is now.

    Raises
    ------
    ReviewError
        When a take is not of this review, when nothing can be written, or while the
        folder is being reviewed.
    """
    with one_at_a_time(books, PATIENCE_S):
        review = read_class(books)
        takes = {
            correction.take_id: review.take(correction.take_id) for correction in said
        }
        corrections.append(books.corrections, said)
        # what was refused stays so, and must not be waited for where it hangs
        renew(books, {take_id for take_id, take in takes.items() if take.found})
        return write_class(books)


def renew(books: Books, take_ids: Iterable[str]) -> None:
    """Assess some takes of the plan again, here and now."""
    wanted = set(take_ids)
    players = {one.take_id: one.player for one in books.planned()}
    for job in planning.jobs(books):
        if job.take_id in wanted:
            books.write_outcome(job, listen(job), players[job.take_id])


def write_class(books: Books, *, names: bool = False) -> ClassReview:
    """Write the class page and table, and keep what counted.

    Parameters
    ----------
    books : Books
    names : bool
        Write names beside pseudonyms: for the teacher's own eyes.
    """
    review = read_class(books)
    books.write_shown(CLASS_PAGE, class_page(review, names=names))
    books.write_shown(CLASS_TABLE, class_csv(review, names=names))
    write_counted(books, review)
    return review
