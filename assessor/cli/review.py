"""``assessor review``: a class of takes, assessed, corrected and answered."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager, nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from assessor.cli.terminal import Number, bad_files, show

if TYPE_CHECKING:
    from concurrent.futures import Executor

    from assessor.review.assignment import Assignment
    from assessor.review.books import Books
    from assessor.review.jobs import Job, Outcome
    from assessor.review.summary import ClassReview

TELL_EVERY_S = 10.0  # where the output is no terminal
FIRST_GUESS = 3  # takes done before time left is told


class WithDefault(click.Group):
    """A group whose first word may be left out: then it is ``run``."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Put ``run`` before what is no command of the group."""
        if args and args[0] not in self.commands and args[0] not in ("-h", "--help"):
            args = ["run", *args]
        return super().parse_args(ctx, args)


@click.group(cls=WithDefault)
def review() -> None:
    """Assess a class of takes, correct what was found, and answer.

    assessor review FOLDER --lick LICK -o OUT assesses every take in FOLDER and writes
    OUT/class.html.  (A folder called like a command is given as ./correct.)
    """


@review.command()
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
@click.option("--tempo", "tempo_bpm", metavar="BPM", type=Number(20, 400))
@click.option(
    "--tolerance",
    "tolerance_text",
    metavar="NAME[,NUMBERS]",
    default="usual",
    show_default=True,
    help="As for assessor check.",
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
def run(
    folder: str,
    lick_path: str | None,
    assignment_path: str | None,
    out: str,
    jobs: int | None,
    address: str | None,
    tempo_bpm: float | None,
    tolerance_text: str,
    without_reports: bool,
    without_sound: bool,
    names: bool,
    store_text: str | None,
) -> None:
    """Assess every take in FOLDER and below, in parallel.

    What is done is kept: after an interruption the same command goes on, and a take
    that did not change is not assessed again.  FOLDER may be a URL that fsspec knows.
    """
    if (lick_path is None) == (assignment_path is None):
        message = "say what was asked for: --lick LICK, or --assignment FILE.toml"
        raise click.UsageError(message)
    with bad_files():
        from assessor.report import tool_version
        from assessor.report.class_work import write_class
        from assessor.review import planning
        from assessor.review.books import one_at_a_time, open_books

        asked = _assignment(lick_path, assignment_path, tempo_bpm, tolerance_text)
        books = open_books(out, create=True)
        options = planning.Options(
            not without_reports, not without_sound, tool_version()
        )
        with one_at_a_time(books):
            planning.plan(books, asked, folder, options)
            every = planning.jobs(books)
            todo = planning.undone(books, every)
            _listen_to(books, todo, jobs, address)
            found = write_class(books, names=names)
        if store_text is not None:
            _keep(found, books, store_text)
    show(_told(found, books, len(every) - len(todo)))


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
    try:
        tolerance = parse_tolerance(tolerance_text)
    except ValueError as problem:
        raise click.BadParameter(str(problem), param_hint="--tolerance") from problem
    return assignment.of_lick(lick_path or "", Settings(tempo_bpm, tolerance=tolerance))


# ------------------------------------------------------------------- many takes


def _listen_to(
    books: Books, todo: Sequence[Job], jobs: int | None, address: str | None
) -> None:
    """Assess takes, keep each as it gets done, and tell how long it will take."""
    from assessor.report.class_work import listen
    from assessor.review.running import cores, processes, run

    if not todo:
        return
    by_id = {job.take_id: job for job in todo}
    players = {one.take_id: one.player for one in books.planned()}
    with _executors(address) as (executor, threads):

        def make(workers: int) -> AbstractContextManager[Executor]:
            return nullcontext(executor) if executor else processes(workers)

        workers = threads or min(jobs or cores(), len(todo))
        outcomes = run(todo, listen, make, workers)
        for outcome in _timed(outcomes, len(todo)):
            job = by_id[outcome.take_id]
            books.write_outcome(job, outcome, players[job.take_id])


@contextmanager
def _executors(address: str | None) -> Iterator[tuple[Executor | None, int]]:
    """The cluster's executor and its threads; nothing for this machine alone."""
    if address is None:
        yield None, 0
        return
    from assessor.review.cluster import cluster

    with cluster(address) as found:
        yield found


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
        f"{found.title}: {len(found.takes)} takes of {len(found.players)} players"
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
    doubtful = summary.doubtful(found)
    if doubtful:
        lines.append(f"{len(doubtful)} to hear yourself first; they lead the page")
    lines.append(f"Class page: {books.out / 'class.html'}")
    return "\n".join(lines) + "\n"


def _keep(found: ClassReview, books: Books, store_text: str) -> None:
    """Put every result into a history, by pseudonym."""
    from assessor.cli.review_keeping import keep_all

    show(keep_all(found, books, store_text))


# ------------------------------------------------------------------ one by one


@review.command("list")
@click.argument("out", metavar="OUT")
def list_takes(out: str) -> None:
    """List the takes of a review with the names to correct them by."""
    with bad_files():
        from assessor.report.class_rows import why_doubtful
        from assessor.review.summary import read_class

        found = read_class(out)
        lines = [
            f"{take.take_id[:8]}  {take.player:10}  {_mark(take)}  "
            f"{take.planned.name}  {why_doubtful(take) if take.record else 'waiting'}"
            for take in found.takes
        ]
    show("\n".join(lines) + "\n")


def _mark(take: Any) -> str:
    mark = take.shown.mark if take.shown else None
    return "  –" if mark is None else f"{mark:3.0f}"


@review.command()
@click.argument("out", metavar="OUT")
@click.argument("take_id", metavar="TAKE")
@click.option("--note", metavar="N", type=click.IntRange(1), help="Which note, from 1.")
@click.option("--pass", "number", metavar="N", type=click.IntRange(1))
@click.option(
    "--verdict",
    type=click.Choice(["right", "wrong", "missed", "unsure", "tool"]),
    help="What the note is; tool takes that back.",
)
@click.option(
    "--inside",
    type=click.Choice(["time", "bend", "slur", "pitch"]),
    help="This is inside the tolerance at the note.",
)
@click.option(
    "--outside",
    type=click.Choice(["time", "bend", "slur", "pitch"]),
    help="This is outside the tolerance at the note.",
)
@click.option(
    "--no-extra",
    metavar="N",
    type=click.IntRange(1),
    help="The Nth extra note was none.",
)
@click.option("--mark", metavar="POINTS", type=Number(0, 100), help="Of the pass.")
@click.option(
    "--reading",
    "readings",
    metavar="NAME=NUMBER",
    multiple=True,
    help="Of the pass: notes, tempo, spread, bends, pitch, 'slur spread'.",
)
@click.option("--remark", metavar="TEXT", help="On the take, or on the note.")
@click.option("--reason", metavar="TEXT", default="", help="Why.")
@click.option("--author", metavar="NAME", help="Who says so; else your login name.")
@click.option(
    "--blind",
    is_flag=True,
    help="You have not seen what was found; counts for the agreement.",
)
def correct(out: str, take_id: str, author: str | None, **said: Any) -> None:
    """Say what a take is instead of what was found.

    OUT is a review's folder, TAKE the beginning of a name that assessor review list
    shows.  What was found is kept beside it, and everything shown follows.
    """
    with bad_files():
        from assessor.report.class_work import correct as correct_take
        from assessor.review.books import environment_author, open_books
        from assessor.review.summary import read_class

        books = open_books(out)
        take = read_class(books).take(take_id)
        corrections = _corrections(take.take_id, author or environment_author(), said)
        now = correct_take(books, corrections).take(take.take_id)
    before, after = (_mark_of(one) for one in (take.shown, now.shown))
    count = f"{len(corrections)} correction{'s' * (len(corrections) != 1)}"
    show(f"{take.player}: {count} kept; mark {before}, now {after}\n")


def _mark_of(finding: Any) -> str:
    return "–" if finding is None or finding.mark is None else f"{finding.mark:.0f}"


def _corrections(take_id: str, author: str, said: dict[str, Any]) -> list[Any]:
    """Corrections from options; wrong ones end the program."""
    from assessor.review.corrections import Correction, What

    note = None if said["note"] is None else said["note"] - 1
    number = None if said["number"] is None else said["number"] - 1
    shared = {
        "author": author,
        "reason": said["reason"],
        "number": number,
        "blind": said["blind"],
    }
    wanted: list[dict[str, Any]] = []
    if said["verdict"]:
        wanted.append({"what": What.VERDICT, "value": said["verdict"], "note": note})
    for judgement in ("inside", "outside"):
        if said[judgement]:
            area = {"name": said[judgement], "note": note}
            wanted.append({"what": What.JUDGEMENT, "value": judgement, **area})
    if said["no_extra"]:
        extra = said["no_extra"] - 1
        wanted.append({"what": What.EXTRA, "value": "none", "note": extra})
    if said["mark"] is not None:
        wanted.append({"what": What.READING, "value": said["mark"], "name": "mark"})
    for text in said["readings"]:
        name, _, value = text.partition("=")
        wanted.append(
            {"what": What.READING, "value": _float(value, text), "name": name.strip()}
        )
    if said["remark"] is not None:
        wanted.append({"what": What.REMARK, "value": said["remark"], "note": note})
    if not wanted:
        message = (
            "say what: --verdict, --inside, --outside, --no-extra, --mark, --reading "
            "or --remark"
        )
        raise click.UsageError(message)
    try:
        return [Correction(take_id=take_id, **shared, **one) for one in wanted]
    except ValueError as problem:
        raise click.UsageError(str(problem)) from problem


def _float(value: str, text: str) -> float:
    try:
        return float(value)
    except ValueError as problem:
        message = f"{text!r} is no NAME=NUMBER"
        raise click.BadParameter(message, param_hint="--reading") from problem


@review.command()
@click.argument("out", metavar="OUT")
def agree(out: str) -> None:
    """Say how far tool and teacher agree on takes judged blind."""
    with bad_files():
        from assessor.report.class_agreement import agreement_lines
        from assessor.review.summary import read_class

        lines = agreement_lines(read_class(Path(out)))
    nothing = ["No take was judged blind yet: assessor review correct … --blind"]
    show("\n".join(lines or nothing) + "\n")
