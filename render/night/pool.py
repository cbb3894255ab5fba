"""The workers of a run."""

import multiprocessing
import os
from concurrent.futures import Executor, ProcessPoolExecutor, ThreadPoolExecutor

_THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS")


def workers(jobs: int) -> Executor:
    """`jobs` processes, each computing on one core; a single job runs in this process.

    Processes are spawned, not forked: the libraries start threads, and a fork would copy their locks.
    """
    if jobs == 1:
        return ThreadPoolExecutor(1)
    for name in _THREADS:
        os.environ.setdefault(name, "1")
    return ProcessPoolExecutor(jobs, mp_context=multiprocessing.get_context("spawn"))
