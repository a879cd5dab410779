"""A cluster of machines as an executor: dask.distributed, an extra."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import Executor
from contextlib import contextmanager
from typing import Any

from assessor.errors import ReviewError

PATIENCE_S = 15  # for the scheduler, and for its first worker


@contextmanager
def cluster(address: str) -> Iterator[tuple[Executor, int]]:
    """Connect to a scheduler; its executor, and how many takes it does at once.

    A worker that dies has its takes done by another one; a take that kills every worker
    it is given to is named, and given up.

    Parameters
    ----------
    address : str
        Such as ``tcp://127.0.0.1:8786``.

    Raises
    ------
    ReviewError
        When dask is not installed, nobody answers, or the cluster has no worker.
    """
    client = _client(address)
    try:
        try:
            client.wait_for_workers(1, timeout=PATIENCE_S)
        except TimeoutError as problem:
            message = "the cluster has no worker; start one with: dask worker ADDRESS"
            raise ReviewError(message, address) from problem
        threads = sum(client.nthreads().values())
        yield client.get_executor(pure=False), max(threads, 1)
    finally:
        client.close()


def _client(address: str) -> Any:
    try:
        import distributed
    except ModuleNotFoundError as problem:
        message = "a cluster needs one more package: pip install 'assessor[cluster]'"
        raise ReviewError(message, address) from problem
    try:
        connect: Any = distributed.Client
        return connect(address, timeout=PATIENCE_S, set_as_default=False)
    except (OSError, ValueError, TimeoutError) as problem:
        message = "no scheduler answers there; start one with: dask scheduler"
        raise ReviewError(message, address) from problem
