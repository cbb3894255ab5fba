"""Carrying out orders: one clip's failure is its own."""

import traceback
from collections.abc import Iterable, Iterator
from concurrent.futures import BrokenExecutor, Executor, as_completed

from render.faults import DropkilnError
from render.files.engines import EngineChoice, engine_of
from render.make import Order, make
from render.night.outcome import Failed, Outcome


def carry_out(order: Order, choice: EngineChoice) -> Outcome:
    """Make one clip; whatever goes wrong comes back as a Failed with its reason and trace."""
    try:
        return make(order, engine_of(choice))
    except DropkilnError as error:
        return Failed(order.plan.name, str(error), traceback.format_exc(), ours=False)
    except Exception as error:  # noqa: BLE001 - the border of a clip: the others must go on, and the trace is kept
        reason = f"{type(error).__name__}: {error}; please report this"
        return Failed(order.plan.name, reason, traceback.format_exc(), ours=True)


def outcomes(orders: Iterable[Order], choice: EngineChoice, pool: Executor) -> Iterator[Outcome]:
    """What comes of each order, as they are finished."""
    pending = {pool.submit(carry_out, order, choice): order for order in orders}
    for future in as_completed(pending):
        name = pending[future].plan.name
        try:
            yield future.result()
        except BrokenExecutor:
            reason = (
                f"{name}: a worker was killed, perhaps for want of memory; render again with fewer --jobs"
            )
            yield Failed(name, reason, traceback.format_exc(), ours=False)
