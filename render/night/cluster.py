"""Workers on other machines: a Dask cluster that is there already, and carries out the same work.

Nothing is sent but orders and outcomes. Records and the output folder are read and written by the workers where they
lie, so every machine has to see them under the same paths; each worker looks for a file that this run has written,
at the start and before each of its batches.

What Dask cannot do: a task that is at work cannot be taken back. Where it has to be (a second Ctrl-C, a batch over
its limit), its worker is begun again, which takes a nanny; `dask worker` gives every worker one unless told otherwise.
"""

# mypy: disable-error-code="no-untyped-call"
# (distributed marks itself as typed, but most of its calls are not)

import contextlib
import importlib.util
import secrets
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import BrokenExecutor, Executor, Future
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any, ParamSpec, TypeVar

from threadpoolctl import threadpool_limits

from render.faults import ToolError, UsageError
from render.files.whole_file import TEMPORARY_PREFIX, write_whole
from render.night.tasks import Workers
from render.night.words import say

if TYPE_CHECKING:
    from distributed import Client
    from distributed import Future as DaskFuture

P = ParamSpec("P")
T = TypeVar("T")

ANSWER_S = 10.0
"""For a scheduler to answer in, and for its first worker to be there."""
RESTART_S = 20.0
"""For workers to begin again in: they load Python and its libraries."""
START_IT = "start `dask scheduler` and `dask worker ADDRESS`, and give the address they tell"

_turn = threading.Lock()
"""In a worker of several threads: one batch at a time, as its memory and its outside programs want it."""


@dataclass(frozen=True)
class Mark:
    """A file that is there for the length of a run, and what stands in it."""

    path: Path
    text: str

    def require(self) -> None:
        """Raises ToolError where this machine does not see it."""
        try:
            seen = self.path.read_text(encoding="utf-8") == self.text
        except OSError:
            seen = False
        if not seen:
            wrong = "a worker of the cluster does not see what is written here"
            right = "choose an output folder that all machines share under one path"
            raise ToolError(str(self.path.parent), wrong, right)


@dataclass(frozen=True)
class Cluster:
    """A cluster that has answered. `count` is how many workers it had then."""

    client: "Client"
    address: str
    count: int

    @contextlib.contextmanager
    def in_folder(self, out: Path) -> Iterator[Workers]:
        """Its workers, for clips in an absolute folder that this run holds.

        Raises ToolError where one of them does not see it, or cannot make clips.
        """
        mark = Mark(out / f"{TEMPORARY_PREFIX}{secrets.token_hex(6)}.shared", secrets.token_hex(16))
        write_whole(mark.path, mark.text)
        try:
            self._look(mark)
            yield lambda _: self._pool(mark)
        finally:
            mark.path.unlink(missing_ok=True)

    def _look(self, mark: Mark) -> None:
        own = version("dropkiln")
        for worker, there in self.client.run(_version_there, mark, on_error="return").items():
            if isinstance(there, ToolError):
                raise there
            if isinstance(there, Exception):
                wrong = f"its worker {worker} cannot make clips ({type(there).__name__}: {there})"
                raise ToolError(self.address, wrong, f"install dropkiln {own} on every machine")
            if there != own:
                wrong = f"its worker {worker} has dropkiln {there}, this is {own}"
                raise ToolError(self.address, wrong, "install the same version on every machine")

    @contextlib.contextmanager
    def _pool(self, mark: Mark) -> Iterator[Executor]:
        pool = _Pool(self.client, self.address, mark)
        try:
            yield pool
        except BaseException:
            self._end(pool)
            raise
        pool.shutdown()

    def _end(self, pool: Executor) -> None:
        """End what is at work: begin those workers again that carry out something of this run."""
        if self.client.status != "running":
            return
        left = "what is at work there goes on to its end"
        try:
            ours = set(self.client.futures)
            busy = [worker for worker, keys in self.client.processing().items() if ours.intersection(keys)]
            pool.shutdown(wait=False)
            watched = self.client.run(_has_nanny, workers=busy)
            again = [worker for worker, has_nanny in watched.items() if has_nanny]
            if again:
                self.client.restart_workers(again, timeout=RESTART_S, raise_for_error=False)
        except (OSError, TimeoutError) as error:
            say(f"{self.address}: its workers cannot be ended ({error}); {left}")
            return
        if len(again) < len(busy):
            say(f"{self.address}: its workers have no nanny to end them; {left}")


@contextlib.contextmanager
def connected(address: str) -> Iterator[Cluster]:
    """A cluster by its scheduler's address, such as `tcp://desk:8786`.

    Raises UsageError for what is no address, ToolError where Dask is not installed or no worker is there.
    """
    if importlib.util.find_spec("distributed") is None:
        wrong = "it needs Dask, which is not installed"
        raise ToolError("--scheduler", wrong, "install it with `pip install 'dropkiln[cluster]'`")
    from distributed import Client

    try:
        client = Client(address, timeout=ANSWER_S, set_as_default=False)
    except (ValueError, TypeError) as error:
        right = "give the address of a scheduler, such as tcp://desk:8786"
        raise UsageError("--scheduler", f"{address!r} is not an address", right) from error
    except OSError as error:  # a time-out among them
        raise ToolError(address, "no scheduler answers there", START_IT) from error
    with client:
        try:
            client.wait_for_workers(1, timeout=ANSWER_S)
        except TimeoutError as error:
            raise ToolError(address, "its scheduler has no worker", START_IT) from error
        yield Cluster(client, address, len(client.nthreads()))


class _Pool(Executor):
    """Dask's futures as those of any pool of processes, also in what a worker that died reads as.

    Dask has an executor of its own. Where a result is lost on its way from the worker to here, as by the death of
    either, its futures wait for ever.
    """

    def __init__(self, client: "Client", address: str, mark: Mark) -> None:
        self._client, self._address, self._mark = client, address, mark
        self._at_work: set[DaskFuture[Any]] = set()

    def submit(self, fn: Callable[P, T], /, *args: P.args, **kwargs: P.kwargs) -> Future[T]:
        from distributed.client import ClosedClientError

        told: Future[T] = Future()
        try:
            # The same work once more is work: its result is what lies on the disk.
            future: DaskFuture[T] = self._client.submit(_in_turn, self._mark, fn, *args, **kwargs, pure=False)
        except ClosedClientError:
            raise self._gone() from None
        self._at_work.add(future)
        future.add_done_callback(lambda ended: self._tell(ended, told))
        return told

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """Whoever wants to wait has waited for what it submitted."""
        if not wait:
            self._client.cancel(list(self._at_work))

    def _tell(self, ended: "DaskFuture[T]", told: Future[T]) -> None:
        try:
            told.set_result(ended.result())
        except BaseException as error:  # noqa: BLE001 - whatever it is, somebody waits for it
            told.set_exception(self._read(error, raised_there=ended.status == "error"))
        finally:
            self._at_work.discard(ended)

    def _read(self, error: BaseException, raised_there: bool) -> Exception:
        from distributed import KilledWorker

        if isinstance(error, ToolError):
            return error
        if isinstance(error, KilledWorker):
            return BrokenExecutor(str(error))
        if not raised_there:  # not carried out, or not brought here
            return self._gone()
        # Work hands its own errors on as its result: this is a machine on which it cannot even begin.
        wrong = f"one of its workers cannot make clips ({type(error).__name__}: {error})"
        return ToolError(self._address, wrong, "install the same dropkiln on every machine")

    def _gone(self) -> ToolError:
        return ToolError(self._address, "its scheduler is gone", "start it and run again")


def _in_turn(mark: Mark, fn: Callable[P, T], /, *args: P.args, **kwargs: P.kwargs) -> T:
    """On a worker: carry something out on one core. Raises ToolError where it does not see the output folder."""
    mark.require()
    with _turn, threadpool_limits(1):
        return fn(*args, **kwargs)


def _version_there(mark: Mark) -> str:
    """On a worker: its version of this program. Raises ToolError where it does not see the output folder."""
    import render.make  # noqa: F401 - all that is needed for making clips

    mark.require()
    return version("dropkiln")


def _has_nanny(dask_worker: object) -> bool:
    """On a worker, which Dask hands over by this name: whether its process is begun again when it ends."""
    return getattr(dask_worker, "nanny", None) is not None
