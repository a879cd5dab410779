"""A review on a cluster: scheduler and two workers on loopback, one of them killed."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import nullcontext
from pathlib import Path
from typing import Any

import made_up_class
import pytest
from click.testing import CliRunner

from assessor.assessment import Settings
from assessor.cli import main
from assessor.errors import ReviewError
from assessor.report.class_work import listen
from assessor.review import assignment, planning, running
from assessor.review.books import open_books
from assessor.review.cluster import cluster
from assessor.review.jobs import Job, Outcome

if not os.environ.get("CI"):
    pytest.importorskip("distributed")

PATIENCE_S = 60.0
HERE = Path(__file__).parent


class Cluster:
    """A scheduler and workers, as processes of their own."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.started: list[subprocess.Popen[bytes]] = []
        file = folder / "scheduler.json"
        self._start("scheduler", "--port", "0", "--scheduler-file", str(file))
        deadline_s = time.monotonic() + PATIENCE_S
        while not file.exists() or not file.read_text():
            assert time.monotonic() < deadline_s
            time.sleep(0.1)
        import json

        self.address = json.loads(file.read_text())["address"]

    def _start(self, what: str, *words: str) -> subprocess.Popen[bytes]:
        command = [sys.executable, "-m", f"distributed.cli.dask_{what}", *words]
        # workers import the project, and this file for the work of its tests
        path = os.pathsep.join([str(HERE.parent), str(HERE)])
        log = (self.folder / f"{what}.log").open("ab")
        process = subprocess.Popen(
            [*command, "--host", "127.0.0.1", "--no-dashboard"],
            env={**os.environ, "PYTHONPATH": path, "OPENBLAS_NUM_THREADS": "1"},
            stdout=log,
            stderr=log,
            cwd=self.folder,
        )
        log.close()
        self.started.append(process)
        return process

    def worker(self) -> subprocess.Popen[bytes]:
        """One process of one thread, which nobody starts again."""
        words = ["--nthreads", "1", "--no-nanny", "--death-timeout", "15"]
        return self._start("worker", self.address, *words)

    def stop(self) -> None:
        """End what was started here."""
        for process in reversed(self.started):
            process.terminate()
        for process in self.started:
            try:
                process.wait(20)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()


@pytest.fixture
def loopback(tmp_path: Path) -> Iterator[Cluster]:
    """A cluster without workers."""
    made = Cluster(tmp_path)
    yield made
    made.stop()


def _slowly(job: Job) -> Outcome:
    """Work long enough that a worker can be killed in the midst of it."""
    time.sleep(0.2)
    return listen(job)


def test_a_worker_killed_in_mid_run_costs_no_take(
    loopback: Cluster, tmp_path: Path
) -> None:
    """Every take exactly once, with the results a single machine has."""
    folder = tmp_path / "class"
    asked = made_up_class.write_class(folder, 10, shorter=8)
    made_up_class.write_sheet(folder / "short.lick", asked)
    books = open_books(tmp_path / "out", create=True)
    options = planning.Options(report=False, sound=False)
    of_lick = assignment.of_lick(folder / "short.lick", Settings())
    planning.plan(books, of_lick, str(folder), options)
    jobs = planning.jobs(books)
    first, _ = loopback.worker(), loopback.worker()
    found: list[Outcome] = []
    with cluster(loopback.address) as (executor, threads):
        client: Any = executor._client
        client.wait_for_workers(2, timeout=PATIENCE_S)
        for outcome in running.run(
            jobs, _slowly, lambda _: nullcontext(executor), max(threads, 2)
        ):
            found.append(outcome)
            if len(found) == 3:
                first.send_signal(signal.SIGKILL)
        assert len(client.scheduler_info()["workers"]) == 1
    assert sorted(one.take_id for one in found) == sorted(j.take_id for j in jobs)
    assert {one.take_id: one for one in found} == {
        job.take_id: listen(job) for job in jobs
    }


def test_the_command_uses_a_cluster(loopback: Cluster, tmp_path: Path) -> None:
    """Takes given by a URL; the same table as on this machine alone."""
    folder = tmp_path / "class"
    asked = made_up_class.write_class(folder, 2, shorter=8)
    made_up_class.write_sheet(tmp_path / "short.lick", asked)
    loopback.worker()
    words = ["--lick", str(tmp_path / "short.lick"), "--without-reports"]
    marks = []
    for where, more in (
        (folder.as_uri(), ["--cluster", loopback.address]),
        (str(folder), []),
    ):
        out = tmp_path / f"out {len(more)}"
        done = CliRunner().invoke(
            main, ["review", where, "-o", str(out), *words, *more]
        )
        assert done.exit_code == 0, done.output
        rows = (out / "class.csv").read_text(encoding="utf-8").splitlines()[1:]
        marks.append(sorted(row.split(",")[7:16] for row in rows))
    assert marks[0] == marks[1]
    assert len(marks[0]) == 2


def test_a_cluster_without_workers_is_told(
    loopback: Cluster, monkeypatch: pytest.MonkeyPatch
) -> None:
    """And how to start one."""
    monkeypatch.setattr("assessor.review.cluster.PATIENCE_S", 1)
    with pytest.raises(ReviewError, match="no worker"), cluster(loopback.address):
        pass


def test_nobody_at_the_address_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """And an address that is none."""
    monkeypatch.setattr("assessor.review.cluster.PATIENCE_S", 1)
    for address in ("tcp://127.0.0.1:1", "nonsense://x"):
        with pytest.raises(ReviewError, match="no scheduler"), cluster(address):
            pass


def test_a_cluster_that_goes_away_blames_no_take(
    loopback: Cluster, tmp_path: Path
) -> None:
    """What was done is kept; the rest is for another run."""
    asked = assignment.of_lick(made_up_class.LICK, Settings()).licks[0]
    jobs = [
        Job(f"{k:016x}", str(tmp_path / "none"), "x", asked.lick, asked.settings)
        for k in range(20)
    ]
    loopback.worker()
    done: list[Outcome] = []
    stopper = threading.Thread(target=loopback.stop)

    def listen_to_all() -> None:
        with cluster(loopback.address) as (executor, _):
            for outcome in running.run(
                jobs, _slowly, lambda _: nullcontext(executor), 1
            ):
                done.append(outcome)
                if len(done) == 2:
                    stopper.start()

    with pytest.raises(ReviewError, match="went away"):
        listen_to_all()
    stopper.join()
    assert 2 <= len(done) < len(jobs)
