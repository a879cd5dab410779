"""What a review costs: CPU time of many takes in parallel against that of one.

    python benchmarks/review.py --takes 120 --jobs 2

A take is 10 s of the demo with faults and noise in it.  Printed are the CPU time of one
take, done alone in a process that is warm; that of the whole review, workers, their
start, and the parent together; and the ratio of the two.  The ratio of wall times is
the same where no core has anything else to do.
"""

from __future__ import annotations

import argparse
import resource
import statistics
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

TOP = Path(__file__).parents[1]
sys.path += [str(TOP), str(TOP / "tests")]

import made_up_class  # noqa: E402

from assessor import lick  # noqa: E402
from assessor.assessment import Settings  # noqa: E402
from assessor.report.class_work import listen, write_class  # noqa: E402
from assessor.review import assignment, planning, running  # noqa: E402
from assessor.review.books import open_books  # noqa: E402
from assessor.review.workers import Processes  # noqa: E402

ALONE = 40  # takes that are timed one by one
WARM = 2
TAKE_S = 10.0


def main() -> None:
    """Make takes, review them, print what it cost."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--takes", type=int, default=120)
    parser.add_argument("--jobs", type=int, default=running.cores())
    parser.add_argument("--without-reports", action="store_true")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        _measure(Path(folder), asked.takes, asked.jobs, not asked.without_reports)


def _measure(folder: Path, takes: int, workers: int, report: bool) -> None:
    sheet = folder / "lick.lick"
    made_up_class.write_sheet(sheet, _ten_seconds())
    made_up_class.write_class(folder / "in", takes, of=lick.read(sheet))
    books = open_books(folder / "out", create=True)
    of_lick = assignment.of_lick(sheet, Settings())
    planning.plan(books, of_lick, str(folder / "in"), planning.Options(report=report))
    jobs = planning.jobs(books)
    for job in jobs[:WARM]:
        listen(job)
    alone_s = statistics.mean(listen(job).cpu_s for job in jobs[:ALONE])
    players = {one.take_id: one.player for one in books.planned()}
    by_id = {job.take_id: job for job in jobs}
    start_s, before_s = time.monotonic(), _used_s()
    refused = 0
    for outcome in running.run(jobs, listen, Processes, workers):
        job = by_id[outcome.take_id]
        books.write_outcome(job, outcome, players[job.take_id])
        refused += bool(outcome.reason)
    write_class(books)
    used_s, wall_s = _used_s() - before_s, time.monotonic() - start_s
    print(f"{takes} takes of {TAKE_S:g} s, {workers} workers, {refused} refused")
    print(f"one take alone        {alone_s:.3f} s of CPU")
    print(f"the review            {used_s:.1f} s of CPU, {wall_s:.1f} s of wall time")
    ideal_s = takes * alone_s
    print(f"CPU against takes x alone           {used_s / ideal_s:.3f}")
    print(f"wall against takes x alone / workers {wall_s * workers / ideal_s:.3f}")
    start_s = time.process_time()
    write_class(books)
    print(f"class page and table  {time.process_time() - start_s:.2f} s of CPU")


def _ten_seconds() -> lick.Lick:
    """A shipped lick at the tempo at which it lasts ten seconds."""
    found = lick.read(made_up_class.LICK)
    return replace(found, tempo_bpm=found.tempo_bpm * found.ends_s()[-1] / TAKE_S)


def _used_s() -> float:
    """CPU time of this process and of those that ended."""
    found = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, _CHILDREN)]
    return sum(one.ru_utime + one.ru_stime for one in found)


_CHILDREN = resource.RUSAGE_CHILDREN

if __name__ == "__main__":
    main()
