"""Tasks for many processes, where one that kills its worker, or does not end, is given up alone."""

import time
from collections import deque
from collections.abc import Callable, Generator, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, Executor, Future, wait
from contextlib import AbstractContextManager
from dataclasses import dataclass
from enum import Enum, auto
from typing import Generic, TypeVar

Task = TypeVar("Task")
Result = TypeVar("Result")

Workers = Callable[[int], AbstractContextManager[Executor]]
"""So many workers at once, for the length of a `with`, which an exception ends in the middle of their work."""

KILLED = "its worker was killed twice, perhaps for want of memory"
LESS_MEMORY = "close other programs"


class Lost(Enum):
    """Why a task came to nothing."""

    KILLED = auto()
    """Its worker died, or that of a task beside it, which breaks the whole pool."""
    LATE = auto()
    """It did not end within its limit, and was ended."""


@dataclass(frozen=True)
class Rules(Generic[Task]):
    """How tasks are watched while they are at work."""

    limit_s: Callable[[Task], float] = lambda _: float("inf")
    began: Callable[[Task], None] = lambda _: None
    stopping: Callable[[], bool] = lambda: False
    """Whether no more tasks are to be begun; those at work go on to their end."""


def results(
    tasks: Sequence[Task], work: Callable[[Task], Result], jobs: int, workers: Workers
) -> Generator[tuple[Task, Result | None]]:
    """What `work` makes of each task, as they are finished, `jobs` of them at work at once.

    Whatever was at work when a worker was killed (as for want of memory) is tried again, each task alone, and comes
    to None where its worker dies once more.
    """
    rules: Rules[Task] = Rules()
    suspects: list[Task] = []
    for task, result in attempts(tasks, work, jobs, workers, rules):
        if isinstance(result, Lost):
            suspects.append(task)
        else:
            yield task, result
    for suspect in suspects:
        for task, result in attempts([suspect], work, 1, workers, rules):
            yield task, None if isinstance(result, Lost) else result


def attempts(
    tasks: Sequence[Task], work: Callable[[Task], Result], jobs: int, workers: Workers, rules: Rules[Task]
) -> Generator[tuple[Task, Result | Lost]]:
    """What comes of each task at the first try, as they are finished, `jobs` of them at work at once.

    A worker that is killed breaks its whole pool: all that was at work there is lost, the rest goes on in a new one.
    A task over its limit is lost alone: its pool is ended, and what was at work beside it begins once more.
    """
    waiting = deque(tasks)
    while waiting and not rules.stopping():
        count = min(jobs, len(waiting))
        at_work: dict[Future[Result], _AtWork[Task]] = {}
        try:
            with workers(count) as pool:
                yield from _until_broken(waiting, at_work, work, count, pool, rules)
        except _Overdue as overdue:
            left = at_work.values()
            waiting.extendleft(reversed([one.task for one in left if one.ends_at_s > overdue.at_s]))
            for late in [one.task for one in left if one.ends_at_s <= overdue.at_s]:
                yield late, Lost.LATE


class _Overdue(Exception):
    """Leaves a pool in which something is over its limit, at `at_s` by the monotonic clock."""

    def __init__(self, at_s: float) -> None:
        super().__init__(at_s)
        self.at_s = at_s


@dataclass(frozen=True)
class _AtWork(Generic[Task]):
    task: Task
    ends_at_s: float
    """By the monotonic clock, which nobody sets and which stands still while the machine sleeps."""


def _until_broken(
    waiting: deque[Task],
    at_work: dict[Future[Result], _AtWork[Task]],
    work: Callable[[Task], Result],
    count: int,
    pool: Executor,
    rules: Rules[Task],
) -> Generator[tuple[Task, Result | Lost]]:
    """Take from `waiting` what the pool carries out, until it breaks. Raises _Overdue and leaves `at_work` as it is."""
    broken = False
    while at_work or (waiting and not broken and not rules.stopping()):
        while waiting and not broken and not rules.stopping() and len(at_work) < count:
            task = waiting.popleft()
            rules.began(task)
            ends_at_s = time.monotonic() + rules.limit_s(task)
            try:
                at_work[pool.submit(work, task)] = _AtWork(task, ends_at_s)
            except BrokenExecutor:
                broken = True
                yield task, Lost.KILLED
        for future in _ended(at_work):
            task = at_work.pop(future).task
            try:
                result = future.result()
            except BrokenExecutor:
                broken = True
                yield task, Lost.KILLED
            else:
                yield task, result


def _ended(at_work: Mapping[Future[Result], _AtWork[Task]]) -> set[Future[Result]]:
    """Wait until something ends. Raises _Overdue where nothing does before its limit."""
    if not at_work:
        return set()
    soonest_s = min(one.ends_at_s for one in at_work.values())
    left_s = None if soonest_s == float("inf") else max(0.0, soonest_s - time.monotonic())
    done = wait(at_work, timeout=left_s, return_when=FIRST_COMPLETED).done
    if not done and (now_s := time.monotonic()) >= soonest_s:
        raise _Overdue(now_s)
    return done
