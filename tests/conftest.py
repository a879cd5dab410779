"""What holds for every test."""

from __future__ import annotations

import gc
from collections.abc import Iterator

import pytest
from threadpoolctl import threadpool_limits


@pytest.fixture(autouse=True, scope="session")
def _one_blas_thread() -> Iterator[None]:
    """Compute stages called one by one as `assess` computes them together."""
    with threadpool_limits(limits=1, user_api="blas"):
        yield


@pytest.fixture(autouse=True)
def _collected_again() -> Iterator[None]:
    """A command hides its records from the collector until the program ends."""
    yield
    gc.unfreeze()
