"""Orders, pools and work that stand in for real ones, where what is tested is who is at work when."""

from collections.abc import Callable, Iterator
from concurrent.futures import BrokenExecutor, Executor, Future
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from types import SimpleNamespace
from typing import Any

from render.make import Done, Order
from render.night.batch import Batch
from render.night.outcome import Outcome


def order(name: str, force: bool = False) -> Order:
    """An order of a clip of two lanes and ten seconds, which nobody can carry out."""
    plan: Any = SimpleNamespace(
        name=name,
        recipe=name.partition("--")[0],
        lanes=("a", "b"),
        clock=SimpleNamespace(duration_s=10.0, tempo_bpm=140.0),
        format="flac",
    )
    return Order(plan, {}, Path("clips"), force)


def batch(*names: str, force: bool = False) -> Batch:
    return Batch(tuple(order(name, force) for name in names))


def made(name: str) -> Done:
    return Done(name, Path(f"{name}.flac"), ())


@dataclass
class Pools:
    """Workers that carry out at once. What is in `deadly` kills its worker so many times, and never ends in `endless`.

    `given` has what each pool was asked to carry out, by the names of its clips; `ended` is which pools were ended in
    the middle of their work.
    """

    deadly: dict[str, int] = field(default_factory=dict)
    endless: dict[str, int] = field(default_factory=dict)
    given: list[list[tuple[str, ...]]] = field(default_factory=list)
    sizes: list[int] = field(default_factory=list)
    ended: list[int] = field(default_factory=list)

    @contextmanager
    def workers(self, count: int) -> Iterator[Executor]:
        self.given.append([])
        self.sizes.append(count)
        number = len(self.given) - 1
        try:
            yield _Pool(self)
        except BaseException:
            self.ended.append(number)
            raise


class _Pool(Executor):
    def __init__(self, pools: Pools) -> None:
        self._pools, self._broken = pools, False

    def submit(self, fn: Callable[..., Any], /, *arguments: Any, **options: Any) -> Future[Any]:
        if self._broken:
            raise BrokenExecutor
        names = arguments[0].names
        self._pools.given[-1].append(names)
        future: Future[Any] = Future()
        if any(_spent(self._pools.deadly, name) for name in names):
            self._broken = True
            future.set_exception(BrokenExecutor())
        elif not any(_spent(self._pools.endless, name) for name in names):
            future.set_result(fn(*arguments, **options))
        return future


def _spent(times: dict[str, int], name: str) -> bool:
    left = times.get(name, 0)
    times[name] = left - 1
    return left > 0


def all_made(batch: Batch, choice: str) -> list[Outcome]:
    return [made(name) for name in batch.names]
