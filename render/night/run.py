"""Carrying out orders: one clip's failure is its own."""

import traceback
from collections import deque
from collections.abc import Callable, Generator, Sequence
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, Executor, Future, wait
from contextlib import AbstractContextManager

from render.faults import DropkilnError
from render.files.engines import EngineChoice, engine_of
from render.make import Order, make
from render.night.outcome import Failed, Outcome

Workers = Callable[[int], AbstractContextManager[Executor]]
"""So many workers at once, for the length of a `with`."""


def carry_out(order: Order, choice: EngineChoice) -> Outcome:
    """Make one clip; whatever goes wrong comes back as a Failed with its reason and trace."""
    try:
        return make(order, engine_of(choice))
    except DropkilnError as error:
        return Failed(order.plan.name, str(error), traceback.format_exc(), ours=False)
    except Exception as error:  # noqa: BLE001 - the border of a clip: the others must go on, and the trace is kept
        reason = f"{type(error).__name__}: {error}; please report this"
        return Failed(order.plan.name, reason, traceback.format_exc(), ours=True)


def outcomes(
    orders: Sequence[Order], choice: EngineChoice, jobs: int, workers: Workers
) -> Generator[Outcome]:
    """What comes of each order, as they are finished, `jobs` of them at work at once.

    A worker that is killed (as for want of memory) breaks its whole pool. The others go on in a new one; whatever
    was at work is tried again, each clip alone, and fails where its worker dies once more.
    """
    waiting = deque(orders)
    suspects: list[Order] = []
    while waiting:
        count = min(jobs, len(waiting))
        with workers(count) as pool:
            suspects += yield from _until_broken(waiting, choice, count, pool)
    for order in suspects:
        with workers(1) as pool:
            if (yield from _until_broken(deque([order]), choice, 1, pool)):
                reason = "its worker was killed twice, perhaps for want of memory; close other programs"
                yield Failed(order.plan.name, reason, "", ours=False)


def _until_broken(
    waiting: deque[Order], choice: EngineChoice, count: int, pool: Executor
) -> Generator[Outcome, None, list[Order]]:
    """Take from `waiting` what the pool carries out. Returns what was at work when it broke."""
    at_work: dict[Future[Outcome], Order] = {}
    lost: list[Order] = []
    while (waiting and not lost) or at_work:
        while waiting and not lost and len(at_work) < count:
            order = waiting.popleft()
            try:
                at_work[pool.submit(carry_out, order, choice)] = order
            except BrokenExecutor:
                lost.append(order)
        for future in wait(at_work, return_when=FIRST_COMPLETED).done:
            order = at_work.pop(future)
            try:
                outcome = future.result()
            except BrokenExecutor:
                lost.append(order)
            else:
                yield outcome
    return lost
