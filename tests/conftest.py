"""What holds for every test."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from threadpoolctl import threadpool_limits


@pytest.fixture(autouse=True, scope="session")
def _one_blas_thread() -> Iterator[None]:
    """Compute stages called one by one as `assess` computes them together."""
    with threadpool_limits(limits=1, user_api="blas"):
        yield
