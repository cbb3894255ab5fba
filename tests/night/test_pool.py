"""Workers compute on one core each. What loaded libraries compute with is told by threadpoolctl."""

import os
from typing import Any

import pytest
from threadpoolctl import threadpool_info

from render.night.pool import processes

VARIABLES = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS")
"""By the documentation of OpenMP (4.0, section 4.2), OpenBLAS, oneMKL and Numba. From memory."""


def computing() -> tuple[list[dict[str, Any]], int]:
    """In a worker: its libraries with threads of their own, numpy's and scipy's BLAS, and how many Numba has."""
    import numba
    import scipy.linalg  # noqa: F401 - brings its own BLAS

    return threadpool_info(), numba.get_num_threads()


@pytest.mark.skipif(os.cpu_count() == 1, reason="on one core libraries have one thread anyway")
def test_a_worker_has_one_thread_of_each_library_whatever_its_user_computes_with(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    for name in VARIABLES:
        monkeypatch.setenv(name, "4")
    with processes(1) as pool:
        libraries, numba_threads = pool.submit(computing).result()
    assert {library["user_api"] for library in libraries} >= {"blas"}
    assert [library for library in libraries if library["num_threads"] != 1] == []
    assert numba_threads == 1
