"""Takes waiting to be listened to, and the processes that do it, outside this one."""

from __future__ import annotations

import asyncio
import contextlib
import logging
import os
import signal
import sys
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass, field
from pathlib import Path

from assessor.web.listening import Limits
from assessor.web.takes import KeptTake, State, Takes

LOG = logging.getLogger(__name__)
MOST_TRIES = 2
# A process per core; the numerical libraries start no threads of their own in it.
ONE_THREAD = dict.fromkeys(
    ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"), "1"
)


@dataclass
class Workers:
    """A queue of takes, and so many listeners.

    Parameters
    ----------
    takes : Takes
    lick_file : callable
        File of a lick by its name in the catalogue; None when it is gone.
    count : int
        Takes listened to at one time.
    limits : Limits
    """

    takes: Takes
    lick_file: Callable[[str], Path | None]
    count: int = 1
    limits: Limits = field(default_factory=Limits)
    on_answer: Callable[[KeptTake], None] | None = None

    def __post_init__(self) -> None:
        """Nothing waits yet."""
        self._waiting: asyncio.Queue[KeptTake] = asyncio.Queue()
        self._asked: set[str] = set()

    @property
    def length(self) -> int:
        """Takes that wait."""
        return self._waiting.qsize()

    @contextlib.asynccontextmanager
    async def running(self) -> AsyncIterator[None]:
        """Listen while this lasts; what an earlier server left comes first."""
        left = [take for take in self.takes.all() if self._is_left(take)]
        for take in sorted(left, key=lambda take: take.about.began_at):
            self.ask(take)
        listeners = [asyncio.create_task(self._listen()) for _ in range(self.count)]
        try:
            yield
        finally:
            for listener in listeners:
                listener.cancel()
            await asyncio.gather(*listeners, return_exceptions=True)

    def _is_left(self, take: KeptTake) -> bool:
        """Say whether a take has no answer, or one that was not handed in."""
        loose = take.state is State.ANSWERED and take.kept_as is None
        return take.state is State.WAITING or (self.on_answer is not None and loose)

    def hands_in(self, take: KeptTake) -> bool:
        """Say whether a take is still to be handed in, even if it has its answer."""
        to_come = self.on_answer is not None and take.name in self._asked
        return to_come and take.kept_as is None

    def ask(self, take: KeptTake) -> None:
        """Put a take in the queue, once."""
        if take.name not in self._asked:
            self._asked.add(take.name)
            self._waiting.put_nowait(take)

    async def _listen(self) -> None:
        while True:
            take = await self._waiting.get()
            try:
                await self._answer(take)
            except Exception as problem:
                # one take that cannot be written or handed in stops no other
                words = "take %s was not handed in: %s: %s"
                LOG.error(words, take.name, type(problem).__name__, problem)
            finally:
                self._asked.discard(take.name)

    async def _answer(self, take: KeptTake) -> None:
        """See to it that a take gets an answer."""
        lick_file = self.lick_file(take.about.lick)
        problem = "the lick of this take is not here any more"
        todo = lick_file is not None and take.state is not State.ANSWERED
        for _ in range(MOST_TRIES if todo else 0):
            code = await self._run(take, str(lick_file))
            if not take.folder.exists() or take.state is State.ANSWERED:
                break
            problem = words_for(code)
            if code == -signal.SIGXCPU or code is None:
                break
        if take.folder.exists() and take.state is not State.ANSWERED:
            take.write("answer.json", {"problem": problem})
        if self.on_answer is not None and take.folder.exists():
            await asyncio.to_thread(self.on_answer, take)

    async def _run(self, take: KeptTake, lick_file: str) -> int | None:
        """Exit code of one try; None where it took too long."""
        limits = self.limits
        process = await asyncio.create_subprocess_exec(
            sys.executable,
            "-m",
            "assessor.web.listening",
            str(take.folder),
            lick_file,
            str(limits.memory_mb),
            str(limits.cpu_s),
            stdin=asyncio.subprocess.DEVNULL,
            stdout=asyncio.subprocess.DEVNULL,
            stderr=asyncio.subprocess.DEVNULL,
            env={**os.environ, **ONE_THREAD},
        )
        try:
            async with asyncio.timeout(limits.wall_s):
                return await process.wait()
        except TimeoutError:
            return None
        finally:
            if process.returncode is None:
                process.kill()
                await process.wait()


def words_for(code: int | None) -> str:
    """Why there is no assessment, from how the process ended.

    >>> words_for(-9)
    'listening to this file failed: it may be broken; save it as WAV and try that'
    """
    if code is None or code == -signal.SIGXCPU:
        return "listening to this file took longer than it may: record a shorter take"
    return (
        "listening to this file failed: it may be broken; save it as WAV and try that"
    )
