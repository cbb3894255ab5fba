"""The workers of a run: processes, each computing on one core.

They are spawned, not forked: the libraries start threads, and a fork would copy their locks.

Who ends them
-------------
A Ctrl-C reaches every process at the terminal. Workers do not heed it: the run does, and tells them to end. Told
so (SIGTERM, from the run, or from the pool whose other worker died), a worker unwinds first, and leaves neither a
half-written file nor an outside program behind. When the run itself is killed, they notice and end too.
"""

import contextlib
import multiprocessing
import os
import signal
import sys
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from multiprocessing.connection import Connection
from typing import ParamSpec, TypeVar

from render.night.stages import tell, told

P = ParamSpec("P")
T = TypeVar("T")

_THREADS = (
    "OMP_NUM_THREADS",
    "OPENBLAS_NUM_THREADS",
    "MKL_NUM_THREADS",
    "VECLIB_MAXIMUM_THREADS",
    "NUMBA_NUM_THREADS",
)
"""What numeric libraries read once, as they are loaded. Whatever stands there, a worker has one thread: there is a
worker for each core, and sums in another order differ in their last digits."""

GRACE_S = 1.0
"""For a worker to unwind in: removing a file and killing an outside program take a moment. One that is in a long
calculation is killed after that; it has started no program, and the next run removes the file it leaves behind."""

_at_work = threading.Event()
"""In a worker: whether it carries something out, and is not between two clips, where the pool takes any exception."""


@contextlib.contextmanager
def processes(count: int, stages: Connection | None = None) -> Iterator[Executor]:
    """A pool of `count` processes, which are gone afterwards; an exception ends them in the middle of their work.

    They tell of their stages where there is somewhere to.
    """
    for name in _THREADS:
        os.environ[name] = "1"
    spawned = multiprocessing.get_context("spawn")
    pool = _Processes(count, mp_context=spawned, initializer=_begin, initargs=(stages,))
    try:
        yield pool
    except BaseException:
        pool.shutdown(wait=False, cancel_futures=True)
        _end_workers()
        raise
    pool.shutdown()


@contextlib.contextmanager
def here(_: int, stages: Connection | None = None) -> Iterator[Executor]:
    """No workers: what is submitted is carried out at once, in this process, which starts sooner."""
    with told(stages):
        yield _Here()


class _Here(Executor):
    def submit(self, fn: Callable[P, T], /, *args: P.args, **kwargs: P.kwargs) -> Future[T]:
        future: Future[T] = Future()
        future.set_result(fn(*args, **kwargs))
        return future


class _Processes(ProcessPoolExecutor):
    def submit(self, fn: Callable[P, T], /, *args: P.args, **kwargs: P.kwargs) -> Future[T]:
        with _deaf_to_ctrl_c():  # a worker inherits it, and until `_begin` has nothing else
            return super().submit(_leaving_at_once, fn, *args, **kwargs)


@contextlib.contextmanager
def _deaf_to_ctrl_c() -> Iterator[None]:
    """What is started here is deaf to Ctrl-C from its first moment; for this process the key only waits."""
    if sys.platform == "win32":
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _end_workers() -> None:
    workers = multiprocessing.active_children()
    for worker in workers:
        worker.terminate()
    ends_at_s = time.monotonic() + GRACE_S
    for worker in workers:
        worker.join(max(0.0, ends_at_s - time.monotonic()))
    for worker in workers:
        worker.kill()
        worker.join()


def _begin(stages: Connection | None) -> None:
    """The first thing a worker does."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, _leave)
    threading.Thread(target=_end_with_the_run, daemon=True).start()
    if stages is not None:
        tell(stages)


def _leave(*_: object) -> None:
    """End; in the middle of a clip, unwind first, and be ended where that takes too long."""
    signal.signal(signal.SIGTERM, signal.SIG_IGN)
    if not _at_work.is_set():
        os._exit(1)
    if sys.platform != "win32":  # where a worker is ended without being told
        signal.setitimer(signal.ITIMER_REAL, GRACE_S)
    sys.unraisablehook = lambda _: os._exit(1)  # a compiled library's callback would swallow the exception
    raise SystemExit(1)


def _leaving_at_once(fn: Callable[P, T], /, *args: P.args, **kwargs: P.kwargs) -> T:
    """Call `fn`; where it is left by `_leave`, end the process, which would report and wait for more work."""
    try:
        _at_work.set()
        return fn(*args, **kwargs)
    except SystemExit:
        os._exit(1)
    finally:
        _at_work.clear()


def _end_with_the_run() -> None:
    if run := multiprocessing.parent_process():
        run.join()
        os.kill(os.getpid(), signal.SIGTERM)
