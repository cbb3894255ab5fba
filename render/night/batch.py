"""The clips of one recipe, made by one worker: they share what is stretched, and one clip's failure is its own."""

import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import groupby

from render.files.engines import EngineChoice, engine_of
from render.make import Order, make
from render.night.outcome import Outcome, failed


@dataclass(frozen=True)
class Batch:
    """The orders of one recipe and its variants, at least one."""

    orders: tuple[Order, ...]

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(order.plan.name for order in self.orders)


def batches_of(orders: Sequence[Order]) -> list[Batch]:
    """Orders in batches: neighbours of one recipe that go to one folder."""
    groups = groupby(orders, key=lambda order: (order.folder, order.plan.recipe))
    return [Batch(tuple(group)) for _, group in groups]


def carry_out(batch: Batch, choice: EngineChoice) -> list[Outcome]:
    """Make every clip of a batch, in order; whatever goes wrong with one comes back as its Failed."""
    return [_timed(order, choice) for order in batch.orders]


def _timed(order: Order, choice: EngineChoice) -> Outcome:
    began_s = time.monotonic()
    outcome = _made(order, choice)
    return replace(outcome, wall_s=time.monotonic() - began_s)


def _made(order: Order, choice: EngineChoice) -> Outcome:
    try:
        return make(order, engine_of(choice))
    except Exception as error:  # noqa: BLE001 - the border of a clip: the others must go on, and the trace is kept
        return failed(order.plan.name, error)
