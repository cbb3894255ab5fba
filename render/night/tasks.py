"""Tasks for many processes, where one that kills its worker is given up alone."""

from collections import deque
from collections.abc import Callable, Generator, Sequence
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, Executor, Future, wait
from contextlib import AbstractContextManager
from typing import TypeVar

Task = TypeVar("Task")
Result = TypeVar("Result")

Workers = Callable[[int], AbstractContextManager[Executor]]
"""So many workers at once, for the length of a `with`."""

KILLED = "its worker was killed twice, perhaps for want of memory"
LESS_MEMORY = "close other programs"


def results(
    tasks: Sequence[Task], work: Callable[[Task], Result], jobs: int, workers: Workers
) -> Generator[tuple[Task, Result | None]]:
    """What `work` makes of each task, as they are finished, `jobs` of them at work at once.

    A worker that is killed (as for want of memory) breaks its whole pool. The others go on in a new one; whatever
    was at work is tried again, each task alone, and comes to None where its worker dies once more.
    """
    waiting = deque(tasks)
    suspects: list[Task] = []
    while waiting:
        count = min(jobs, len(waiting))
        with workers(count) as pool:
            suspects += yield from _until_broken(waiting, work, count, pool)
    for task in suspects:
        with workers(1) as pool:
            if (yield from _until_broken(deque([task]), work, 1, pool)):
                yield task, None


def _until_broken(
    waiting: deque[Task], work: Callable[[Task], Result], count: int, pool: Executor
) -> Generator[tuple[Task, Result], None, list[Task]]:
    """Take from `waiting` what the pool carries out. Returns what was at work when it broke."""
    at_work: dict[Future[Result], Task] = {}
    lost: list[Task] = []
    while (waiting and not lost) or at_work:
        while waiting and not lost and len(at_work) < count:
            task = waiting.popleft()
            try:
                at_work[pool.submit(work, task)] = task
            except BrokenExecutor:
                lost.append(task)
        for future in wait(at_work, return_when=FIRST_COMPLETED).done:
            task = at_work.pop(future)
            try:
                result = future.result()
            except BrokenExecutor:
                lost.append(task)
            else:
                yield task, result
    return lost
