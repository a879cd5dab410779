"""Workers that die, hang or cannot start: each take exactly once, whatever happens."""

from __future__ import annotations

import os
import signal
import socket
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from functools import partial
from pathlib import Path
from types import ModuleType

import made_up_class
import pytest

from assessor.assessment import Settings
from assessor.errors import ReviewError
from assessor.report.class_work import listen
from assessor.review import assignment, planning, running
from assessor.review.books import open_books
from assessor.review.jobs import Job, Outcome
from assessor.review.workers import Processes

ASKED = assignment.of_lick(made_up_class.LICK, Settings()).licks[0]
LIMIT_S = 15.0  # for what does nothing; only what hangs needs it all


def _jobs(count: int, address: str = "") -> list[Job]:
    return [
        Job(f"{k:016x}", address, "tame", ASKED.lick, ASKED.settings)
        for k in range(count)
    ]


def _fine(job: Job) -> Outcome:
    return Outcome.refused(job, "fine")


def _dies_at(job: Job) -> Outcome:
    """Work that is killed each time it meets a take with this name."""
    if job.shown_name == "deadly":
        os.kill(os.getpid(), signal.SIGKILL)
    return _fine(job)


def _dies_once(job: Job) -> Outcome:
    """Work that is killed the first time."""
    mark = Path(job.address)
    if job.shown_name == "once" and not mark.exists():
        mark.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return _fine(job)


def _stops_at(job: Job) -> Outcome:
    """Work whose process stands still, and answers to nothing but SIGKILL."""
    if job.shown_name == "stuck":
        Path(job.address).touch()
        os.kill(os.getpid(), signal.SIGSTOP)
    return _fine(job)


def _fails(job: Job) -> Outcome:
    message = "no such luck"
    raise OSError(message)


def _out_of_time(job: Job) -> Outcome:
    raise TimeoutError


def test_a_killed_worker_loses_no_take(tmp_path: Path) -> None:
    """Every take exactly once, the one that was killed too."""
    jobs = _jobs(12, str(tmp_path / "killed"))
    jobs[5] = replace(jobs[5], shown_name="once")
    found = list(running.run(jobs, _dies_once, Processes, 2))
    assert sorted(one.take_id for one in found) == [job.take_id for job in jobs]
    assert {one.reason for one in found} == {"fine"}
    assert (tmp_path / "killed").exists()


def test_a_take_that_kills_is_given_up_alone() -> None:
    """Its neighbours are not blamed, and the run ends."""
    jobs = _jobs(12)
    jobs[5] = replace(jobs[5], shown_name="deadly")
    found = list(running.run(jobs, _dies_at, Processes, 2))
    assert sorted(one.take_id for one in found) == [job.take_id for job in jobs]
    blamed = [one for one in found if one.reason != "fine"]
    assert [one.take_id for one in blamed] == [jobs[5].take_id]
    assert "was killed each time" in blamed[0].reason


def test_a_take_that_hangs_is_given_up_alone(tmp_path: Path) -> None:
    """The only worker is killed and replaced, and goes on with the others."""
    jobs = _jobs(4, str(tmp_path / "stands still"))
    jobs[1] = replace(jobs[1], shown_name="stuck")
    make = partial(Processes, limit_s=LIMIT_S)
    found = {one.take_id: one for one in running.run(jobs, _stops_at, make, 1)}
    assert list(found) == [job.take_id for job in jobs]
    reasons = [one.reason for one in found.values()]
    assert [reason for reason in reasons if reason != "fine"] == [reasons[1]]
    assert "took more than 15 s" in reasons[1]


@contextmanager
def _silent_server() -> Iterator[str]:
    """Where a take might lie, but nobody ever says a word."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        yield f"ftp://127.0.0.1:{server.getsockname()[1]}/take.wav"


def test_a_take_that_never_comes_is_tried_again_next_time(tmp_path: Path) -> None:
    """A share that hangs: a row with its reason now, and another chance later."""
    pytest.importorskip("fsspec")
    made_up_class.write_class(tmp_path / "in", 1, shorter=4)
    books = open_books(tmp_path / "out", create=True)
    of_lick = assignment.of_lick(made_up_class.LICK, Settings())
    planning.plan(books, of_lick, str(tmp_path / "in"), planning.Options())
    (job,) = planning.jobs(books)
    with _silent_server() as address:
        lost = replace(job, address=address)
        make = partial(Processes, limit_s=2.0)
        (outcome,) = running.run([lost], listen, make, 1)
    assert "took more than 2 s" in outcome.reason
    assert "127.0.0.1" not in outcome.reason
    books.write_outcome(job, outcome, "P1")
    record = books.read_record(job.take_id)
    assert record is not None
    assert record.reason == outcome.reason
    assert planning.undone(books, [job]) == [job]


def test_who_stops_does_not_wait_for_what_hangs(tmp_path: Path) -> None:
    """Ctrl-C ends a run at once."""
    mark = tmp_path / "stands still"
    job = replace(_jobs(1, str(mark))[0], shown_name="stuck")

    def interrupted() -> None:
        with Processes(1) as executor:
            executor.submit(_stops_at, job)
            while not mark.exists():
                time.sleep(0.01)
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        interrupted()


@pytest.mark.parametrize(
    ("work", "name"), [(_fails, "OSError"), (_out_of_time, "TimeoutError")]
)
def test_work_that_raises_is_a_row(work: running.Work, name: str) -> None:
    """Also where a cluster that went away would raise the like."""
    found = list(running.run(_jobs(2), work, Processes, 1))
    assert [one.reason for one in found] == [f"could not be listened to ({name})"] * 2


def test_workers_that_cannot_start_end_the_run(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """With words, and not for ever: here the work is nowhere to be imported from."""
    module = ModuleType("nowhere_on_disk")
    monkeypatch.setitem(sys.modules, module.__name__, module)
    exec("def work(job): pass", module.__dict__)
    with pytest.raises(ReviewError, match="no worker can be started"):
        list(running.run(_jobs(2), module.work, Processes, 1))
