"""One batch: orders in, outcomes out."""

import os
from collections.abc import Generator, Sequence
from contextlib import closing

from render.faults import EXIT_ALL_MADE, EXIT_SOME_FAILED
from render.files.engines import EngineChoice
from render.files.whole_file import make_folder
from render.make import Order, Refused
from render.night.outcome import Failed, Outcome
from render.night.pool import processes
from render.night.progress import shown
from render.night.run import carry_out, outcomes

CLIPS = "clips"
"""The folder of the clips within the output folder."""


def run(orders: Sequence[Order], jobs: int, choice: EngineChoice, plain: bool) -> list[Outcome]:
    """Make what is ordered, `jobs` clips at once (0: one for each core); outcomes in the order of the orders.

    Raises OutputError where the output folder cannot be made.
    """
    if not orders:
        return []
    for folder in {order.folder for order in orders}:
        make_folder(folder)
    count = min(jobs or os.cpu_count() or 1, len(orders))
    if count == 1:  # in this process, which starts sooner
        came: Generator[Outcome] = (carry_out(order, choice) for order in orders)
    else:
        came = outcomes(orders, choice, count, processes)
    with closing(came), closing(shown(came, len(orders), plain)) as seen:
        done = {outcome.name: outcome for outcome in seen}
    return [done[order.plan.name] for order in orders]


def exit_status(outcomes: Sequence[Outcome]) -> int:
    """0 where every clip is there, 1 where one failed or was refused."""
    return EXIT_SOME_FAILED if any(isinstance(o, Failed | Refused) for o in outcomes) else EXIT_ALL_MADE
