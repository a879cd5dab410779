"""``assessor review FOLDER``: every take of a class assessed, in parallel."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager, nullcontext
from functools import partial
from typing import TYPE_CHECKING

import click

from assessor.cli.desk import refuse_without_web
from assessor.cli.options import tempo_option
from assessor.cli.review.serve import serve
from assessor.cli.terminal import Number, bad_files, show, wrong_value
from assessor.words import plural

if TYPE_CHECKING:
    from assessor.review.assignment import Assignment
    from assessor.review.books import Books
    from assessor.review.jobs import Job, Outcome
    from assessor.review.running import MakeExecutor
    from assessor.review.summary import ClassReview

TELL_EVERY_S = 10.0  # where the output is no terminal
FIRST_GUESS = 3  # takes done before time left is told


@click.command()
@click.argument("folder", metavar="FOLDER")
@click.option("--lick", "lick_path", metavar="LICK", help="The lick all of them play.")
@click.option(
    "--assignment",
    "assignment_path",
    metavar="FILE.toml",
    help="Licks, tempo, due date and roster, instead of --lick.",
)
@click.option("-o", "--out", metavar="OUT", required=True, help="Where it is kept.")
@click.option(
    "--jobs",
    metavar="N",
    type=click.IntRange(1, 1024),
    help="Takes at once; as many as there are cores when left out.",
)
@click.option(
    "--cluster",
    "address",
    metavar="tcp://HOST:PORT",
    help="Have the takes assessed by a dask cluster (extra: cluster).",
)
@click.option(
    "--limit",
    "limit_s",
    metavar="SECONDS",
    type=Number(1, 86400),
    help="Longest one take may need, 600 when left out; then it is given up.",
)
@tempo_option("Tempo that was asked for, where it is not the written one.")
@click.option(
    "--tolerance",
    "tolerance_text",
    metavar="NAME[,NUMBERS]",
    help="As for assessor check; usual when left out.",
)
@click.option("--without-reports", is_flag=True, help="Only the class page and table.")
@click.option("--without-sound", is_flag=True, help="Reports without the takes' sound.")
@click.option("--names", is_flag=True, help="Names on the class page, for your eyes.")
@click.option(
    "--store",
    "store_text",
    metavar="PATH-OR-URL",
    help="Keep every result in this history, too, by pseudonym.",
)
@click.option(
    "--serve",
    "serves",
    is_flag=True,
    help="Then hear takes and overrule in your browser, as assessor review serve does.",
)
@click.pass_context
def run(
    context: click.Context,
    folder: str,
    lick_path: str | None,
    assignment_path: str | None,
    out: str,
    jobs: int | None,
    address: str | None,
    limit_s: float | None,
    tempo_bpm: float | None,
    tolerance_text: str | None,
    without_reports: bool,
    without_sound: bool,
    names: bool,
    store_text: str | None,
    serves: bool,
) -> None:
    """Assess every take in FOLDER and below, in parallel.

    What is done is kept: after an interruption the same command goes on, and a take
    that did not change is not assessed again.  FOLDER may be a URL that fsspec knows.
    """
    if (lick_path is None) == (assignment_path is None):
        message = "say what was asked for: --lick LICK, or --assignment FILE.toml"
        raise click.UsageError(message)
    if assignment_path is not None and (tempo_bpm or tolerance_text):
        message = "--tempo and --tolerance stand in the assignment file"
        raise click.UsageError(message)
    if address is not None and (jobs or limit_s):
        message = "--jobs and --limit are for this machine, not for a cluster"
        raise click.UsageError(message)
    if serves:
        refuse_without_web()
    with bad_files():
        from assessor.report import tool_version
        from assessor.report.class_work import write_class
        from assessor.review import planning
        from assessor.review.books import one_at_a_time, open_books

        tolerance = tolerance_text or "usual"
        asked = _assignment(lick_path, assignment_path, tempo_bpm, tolerance)
        books = open_books(out, create=True)
        options = planning.Options(
            not without_reports, not without_sound, tool_version()
        )
        with one_at_a_time(books):
            planning.plan(books, asked, folder, options)
            every = planning.jobs(books)
            todo = planning.undone(books, every)
            _listen_to(books, todo, _executors(address, jobs, limit_s))
            found = write_class(books, names=names)
        if store_text is not None:
            _keep(found, books, store_text)
    show(_told(found, books, len(every) - len(todo)))
    if serves:
        context.invoke(serve, out=out, names=names, port=0)


def _assignment(
    lick_path: str | None,
    assignment_path: str | None,
    tempo_bpm: float | None,
    tolerance_text: str,
) -> Assignment:
    from assessor.assessment import Settings
    from assessor.measures.tolerance import parse_tolerance
    from assessor.review import assignment

    if assignment_path is not None:
        return assignment.read(assignment_path)
    with wrong_value("--tolerance"):
        tolerance = parse_tolerance(tolerance_text)
    return assignment.of_lick(lick_path or "", Settings(tempo_bpm, tolerance=tolerance))


# ------------------------------------------------------------------- many takes


def _listen_to(
    books: Books,
    todo: Sequence[Job],
    executors: AbstractContextManager[tuple[MakeExecutor, int]],
) -> None:
    """Assess takes, keep each as it gets done, and tell how long it will take."""
    from assessor.report.class_work import listen
    from assessor.review.running import run

    if not todo:
        return
    by_id = {job.take_id: job for job in todo}
    players = {one.take_id: one.player for one in books.planned()}
    with executors as (make, workers):
        outcomes = run(todo, listen, make, min(workers, len(todo)))
        for outcome in _timed(outcomes, len(todo)):
            job = by_id[outcome.take_id]
            books.write_outcome(job, outcome, players[job.take_id])


@contextmanager
def _executors(
    address: str | None, jobs: int | None, limit_s: float | None
) -> Iterator[tuple[MakeExecutor, int]]:
    """What makes an executor, and for how many workers: here, or on a cluster."""
    if address is None:
        from assessor.review.running import cores
        from assessor.review.workers import LIMIT_S, Processes

        yield partial(Processes, limit_s=limit_s or LIMIT_S), jobs or cores()
        return
    from assessor.review.cluster import cluster

    with cluster(address) as (executor, threads):
        yield lambda _: nullcontext(executor), threads


def _timed(outcomes: Iterator[Outcome], total: int) -> Iterator[Outcome]:
    """Pass outcomes on, and say on the way how many there are and how long it takes."""
    start_s = told_s = time.monotonic()
    terminal = sys.stderr.isatty()
    for done, outcome in enumerate(outcomes, 1):
        yield outcome
        now_s = time.monotonic()
        if not terminal and now_s - told_s < TELL_EVERY_S:
            continue
        told_s = now_s
        line = f"{done} of {total} takes{_left(done, total, now_s - start_s)}"
        text = f"\r{line}\x1b[K" if terminal else f"{line}\n"
        print(text, end="", file=sys.stderr, flush=True)
    if terminal:
        print("\r\x1b[K", end="", file=sys.stderr, flush=True)


def _left(done: int, total: int, elapsed_s: float) -> str:
    """Time left in words, once it can be guessed."""
    if done < FIRST_GUESS or done == total:
        return ""
    minutes, seconds = divmod(round(elapsed_s / done * (total - done)), 60)
    return f", {minutes}:{seconds:02d} left"


def _told(found: ClassReview, books: Books, unchanged: int) -> str:
    """What there is now, and what needs a person."""
    from assessor.review import summary

    refused = [t for t in found.takes if t.record and t.record.reason]
    lines = [
        f"{found.title}: {plural(len(found.takes), 'take')} of "
        + plural(len(found.players), "player")
        + (f", {unchanged} unchanged" if unchanged else "")
    ]
    for take in refused:
        lines.append(f"    {take.planned.name}: {take.record and take.record.reason}")
    for number, asked in enumerate(found.licks):
        gone = summary.missing(found, number)
        if gone:
            names = ", ".join(found.names.get(p) or p for p in gone)
            lines.append(f"Missing, {asked.lick.title}: {names}")
    if found.unmatched:
        lines.append("Files that fit nobody:")
        lines += [f"    {name}: {reason}" for name, reason in found.unmatched]
    if not (found.takes or found.unmatched):
        lines.append("There is no file in the folder that may be a take")
    lines += _lost(found)
    doubtful = [take for take in summary.doubtful(found) if take.shown]
    if doubtful:
        lines.append(f"{len(doubtful)} to hear yourself first; they lead the page")
    lines.append(f"Class page: {books.out / 'class.html'}")
    return "\n".join(lines) + "\n"


def _lost(found: ClassReview) -> Iterator[str]:
    """What the teacher said that has no place any more."""
    from assessor.review.corrections import holding

    here = {take.take_id for take in found.takes}
    gone = sum(len(one) for take, one in holding(found.log).items() if take not in here)
    if gone:
        told = plural(gone, "correction")
        yield f"{told} of takes that are gone, or of another lick: kept, not counted"
    unfit = sum(take.record.unfit for take in found.takes if take.record)
    if unfit:
        yield f"{plural(unfit, 'correction')} that fit nothing in their take any more"


def _keep(found: ClassReview, books: Books, store_text: str) -> None:
    """Put every result into a history, by pseudonym."""
    from assessor.cli.review.keeping import keep_all

    show(keep_all(found, books, store_text))
