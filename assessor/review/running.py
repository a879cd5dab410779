"""Many jobs on any executor: each take exactly once, whatever dies.

A pool that breaks (`BrokenExecutor`: a worker was killed) fails every take it had in
work, the guilty one and its neighbours alike.  Those are done again one at a time, each
in a pool of its own, so that only the take that kills its worker once more is given up,
as a row with its reason.  A cluster tries again by itself and says which take it was.
"""

from __future__ import annotations

import os
import signal
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import (
    FIRST_COMPLETED,
    BrokenExecutor,
    CancelledError,
    Executor,
    Future,
    ProcessPoolExecutor,
    wait,
)
from contextlib import AbstractContextManager, contextmanager
from multiprocessing import get_context

from assessor.errors import ReviewError
from assessor.review.jobs import Job, Outcome, Work

AHEAD = 4  # jobs waiting for each worker; more would only sit in memory
KILLED = (
    "the program that listened to it was killed twice, perhaps for want of memory; "
    "check that file alone with assessor check"
)

MakeExecutor = Callable[[int], AbstractContextManager[Executor]]


def run(
    jobs: Sequence[Job],
    work: Work,
    make_executor: MakeExecutor,
    workers: int,
) -> Iterator[Outcome]:
    """Do jobs, in the order they get done; each exactly once.

    Parameters
    ----------
    jobs : sequence of Job
    work : callable
        Of a module's top level; what it raises becomes a row with the reason.
    make_executor : callable
        Gives an executor for a number of workers, as a context.
    workers : int
        At least one.

    Yields
    ------
    Outcome
    """
    waiting, lost = deque(jobs), deque[Job]()
    while waiting:
        left = len(waiting)
        yield from _until_broken(waiting, lost, work, make_executor, workers)
        if len(waiting) == left:
            message = "no worker can be started; what was done is kept, try again"
            raise ReviewError(message)
    for job in lost:
        yield _alone(job, work, make_executor)


def _until_broken(
    waiting: deque[Job],
    lost: deque[Job],
    work: Work,
    make_executor: MakeExecutor,
    workers: int,
) -> Iterator[Outcome]:
    """Do jobs until none is left, or the executor breaks; its own go to `lost`."""
    in_work: dict[Future[Outcome], Job] = {}
    broken = False
    with make_executor(workers) as executor, _cancelled_at_once(in_work):
        while (waiting or in_work) and not broken:
            broken = _fill(executor, waiting, in_work, work, AHEAD * workers)
            for future in wait(in_work, return_when=FIRST_COMPLETED).done:
                job = in_work.pop(future)
                try:
                    outcome = _outcome(future, job)
                except BrokenExecutor:
                    lost.append(job)
                    broken = True
                    continue
                yield outcome
    lost.extend(in_work.values())


def _fill(
    executor: Executor,
    waiting: deque[Job],
    in_work: dict[Future[Outcome], Job],
    work: Work,
    most: int,
) -> bool:
    """Hand out jobs; True when the executor is broken."""
    while waiting and len(in_work) < most:
        try:
            future = executor.submit(work, waiting[0])
        except BrokenExecutor:
            return True
        in_work[future] = waiting.popleft()
    return False


@contextmanager
def _cancelled_at_once(in_work: dict[Future[Outcome], Job]) -> Iterator[None]:
    """Whoever stops the run does not wait for what has not begun."""
    try:
        yield
    except BaseException:
        for future in in_work:
            future.cancel()
        raise


def _alone(job: Job, work: Work, make_executor: MakeExecutor) -> Outcome:
    """Do one job that was lost in a pool of its own."""
    try:
        with make_executor(1) as executor:
            return _outcome(executor.submit(work, job), job)
    except BrokenExecutor:
        return Outcome.refused(job, KILLED)


def _outcome(future: Future[Outcome], job: Job) -> Outcome:
    """What became of one job.

    Raises
    ------
    BrokenExecutor
        When its pool broke.
    ReviewError
        When a cluster went away.
    """
    try:
        return future.result()
    except BrokenExecutor:
        raise
    except (CancelledError, OSError) as problem:
        message = "the cluster went away; what was done is kept, start it and try again"
        raise ReviewError(message) from problem
    except Exception as problem:
        if type(problem).__name__ == "KilledWorker":  # a cluster's own word for it
            return Outcome.refused(job, KILLED)
        reason = f"could not be listened to ({type(problem).__name__})"
        return Outcome.refused(job, reason)


def processes(workers: int) -> AbstractContextManager[Executor]:
    """So many processes of this machine, started afresh."""
    return ProcessPoolExecutor(
        workers, mp_context=get_context("spawn"), initializer=_ignore_interrupt
    )


def _ignore_interrupt() -> None:
    """Let the parent alone answer Ctrl-C, so that no take is half written."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def cores() -> int:
    """How many this program may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1
