"""Many jobs on any executor, each exactly once.

What becomes of a job whose worker dies is the executor's to know: `workers.Processes`
tries again, and so does a cluster.  One that cannot go on ends the run with words; what
was done is kept, and the next run goes on from there.
"""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import (
    FIRST_COMPLETED,
    BrokenExecutor,
    CancelledError,
    Executor,
    Future,
    wait,
)
from contextlib import AbstractContextManager, contextmanager

from assessor.errors import ReviewError
from assessor.review.jobs import Job, Outcome, Work
from assessor.review.workers import KILLED, TakeLost

AHEAD = 4  # jobs waiting for each worker; more would only sit in memory

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

    Raises
    ------
    ReviewError
        When no worker can be started, or a cluster went away.
    """
    waiting = deque(jobs)
    in_work: dict[Future[Outcome], Job] = {}
    with make_executor(workers) as executor, _stopped_with_words(in_work):
        while waiting or in_work:
            while waiting and len(in_work) < AHEAD * workers:
                job = waiting.popleft()
                in_work[executor.submit(work, job)] = job
            for future in wait(in_work, return_when=FIRST_COMPLETED).done:
                yield _outcome(future, in_work.pop(future))


@contextmanager
def _stopped_with_words(in_work: dict[Future[Outcome], Job]) -> Iterator[None]:
    """Say what ended the run; nobody waits for what has not begun."""
    try:
        yield
    except BaseException as problem:
        for future in in_work:
            future.cancel()
        if isinstance(problem, BrokenExecutor):
            message = "no worker can be started; what was done is kept, try again"
            raise ReviewError(message) from problem
        if _is_cluster_gone(problem):
            message = "the cluster went away; what was done is kept, try again"
            raise ReviewError(message) from problem
        raise


def _is_cluster_gone(problem: BaseException) -> bool:
    """Its own word for it is known by name: a review needs no cluster."""
    return (
        isinstance(problem, CancelledError)
        or type(problem).__name__ == "CommClosedError"
    )


def _outcome(future: Future[Outcome], job: Job) -> Outcome:
    """What became of one job; raises what is the executor's fault."""
    try:
        return future.result()
    except BrokenExecutor:
        raise
    except TakeLost as problem:
        return Outcome.given_up(job, str(problem))
    except Exception as problem:
        if _is_cluster_gone(problem):
            raise
        if type(problem).__name__ == "KilledWorker":  # a cluster's own word for it
            return Outcome.given_up(job, KILLED)
        reason = f"could not be listened to ({type(problem).__name__})"
        return Outcome.given_up(job, reason)


def cores() -> int:
    """How many this program may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1
