"""Processes of this machine, each with one take at a time and a time limit for it.

Every process has a pool of its own.  One that is killed, or that hangs and has to be,
is replaced, and costs no other take anything.
"""

from __future__ import annotations

import os
import signal
from collections.abc import Callable
from concurrent.futures import Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from functools import partial
from multiprocessing import active_children, get_context, parent_process
from queue import SimpleQueue
from threading import Thread
from types import TracebackType
from typing import Any

LIMIT_S = 600.0  # for a take; an hour of practice needs a tenth of it on a busy machine
TRIES = 2
KILLED = (
    "the program that listened to it was killed each time, perhaps for want of memory; "
    "check that file alone with assessor check"
)


class TakeLost(Exception):
    """A take that cost its process the life; the words say how."""


class Processes(Executor):
    """Processes of this machine.

    A task whose process is killed is done once more in another; one that kills that,
    too, or takes too long, has `TakeLost` as its exception.  Whoever leaves by an
    exception waits for nobody: what is under way is killed.

    Parameters
    ----------
    workers : int
        How many.
    limit_s : float
        Longest a task may take, without its process's start.
    """

    def __init__(self, workers: int, limit_s: float = LIMIT_S) -> None:
        self._limit_s = limit_s
        self._seats = [_Seat() for _ in range(workers)]
        self._free: SimpleQueue[_Seat] = SimpleQueue()
        for seat in self._seats:
            self._free.put(seat)
        self._threads = ThreadPoolExecutor(workers)

    def submit(
        self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any
    ) -> Future[Any]:
        """Have one task done; see `concurrent.futures.Executor.submit`."""
        return self._threads.submit(self._watched, partial(fn, *args, **kwargs))

    def _watched(self, task: partial[Any]) -> Any:
        seat = self._free.get()
        try:
            return seat.do(task, self._limit_s)
        finally:
            self._free.put(seat)

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """End the processes when they are done with what they have."""
        self._threads.shutdown(wait, cancel_futures=cancel_futures)
        for seat in self._seats:
            seat.leave()

    def __exit__(
        self,
        kind: type[BaseException] | None,
        problem: BaseException | None,
        trace: TracebackType | None,
    ) -> bool | None:
        """Wait for what is under way; after an exception kill it."""
        if kind is not None:
            for seat in self._seats:
                seat.stop()
        self.shutdown(cancel_futures=kind is not None)
        return None


class _Seat:
    """A place for one process after another."""

    def __init__(self) -> None:
        self.pool: ProcessPoolExecutor | None = None
        self.pid: int | None = None
        self.stopped = False

    def do(self, task: partial[Any], limit_s: float) -> Any:
        """Have a task done.

        Raises
        ------
        TakeLost
            When it killed two processes, or was not done in time.
        BrokenProcessPool
            When no process can be started, or none is to be any more.
        """
        for _ in range(TRIES):
            pool = self._started(task)
            try:
                return _in_time(pool.submit(task), limit_s)
            except BrokenProcessPool:
                self.leave()
            except TakeLost:
                self._kill()
                self.leave()
                raise
        raise TakeLost(KILLED)

    def _started(self, task: partial[Any]) -> ProcessPoolExecutor:
        if self.stopped:
            raise BrokenProcessPool
        if self.pool is None:
            pool = ProcessPoolExecutor(
                1, mp_context=get_context("spawn"), initializer=_obey_parent
            )
            self.pid = pool.submit(_ready, task.func).result()
            self.pool = pool
        return self.pool

    def stop(self) -> None:
        """Kill what is under way, and start nothing any more."""
        self.stopped = True
        self._kill()

    def _kill(self) -> None:
        for process in active_children():
            if process.pid == self.pid:
                process.kill()

    def leave(self) -> None:
        """Let the process end."""
        if self.pool is not None:
            self.pool.shutdown()
        self.pool = self.pid = None


def _in_time(future: Future[Any], limit_s: float) -> Any:
    try:
        return future.result(limit_s)
    except TimeoutError as problem:
        if future.done():  # it is the task's own
            raise
        message = (
            f"listening to it took more than {limit_s:g} s and was given up; hand in a "
            "shorter take, or allow more time (--limit)"
        )
        raise TakeLost(message) from problem


def _ready(work: Callable[..., Any]) -> int:
    """What a process is asked first: it has imported what the work needs by then."""
    return os.getpid()


def _obey_parent() -> None:
    """Let the parent alone answer Ctrl-C, and go when it is gone, however it went."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    Thread(target=_go_with_parent, daemon=True).start()


def _go_with_parent() -> None:
    parent = parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
