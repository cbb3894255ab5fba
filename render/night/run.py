"""Carrying out orders: one clip's failure is its own."""

import traceback
from collections.abc import Generator, Sequence
from contextlib import closing
from functools import partial

from render.faults import DropkilnError
from render.files.engines import EngineChoice, engine_of
from render.make import Order, make
from render.night.outcome import Failed, Outcome
from render.night.tasks import KILLED, LESS_MEMORY, Workers, results


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
    """What comes of each order, as they are finished, `jobs` of them at work at once."""
    with closing(results(orders, partial(carry_out, choice=choice), jobs, workers)) as came:
        for order, outcome in came:
            yield outcome or Failed(order.plan.name, f"{KILLED}; {LESS_MEMORY}", "", ours=False)
