"""The clips of one recipe, made by one worker: they share what is stretched, and one clip's failure is its own."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from pathlib import Path

from render.clip.looked import looked
from render.clip.order import Kept, Made, Order
from render.files.engines import EngineChoice, engine_of
from render.files.shelf import Shelf, shelf_of
from render.night.outcome import Outcome, failed
from render.sound.engine import EngineName


@dataclass(frozen=True)
class Batch:
    """The orders of one recipe and its variants, at least one."""

    orders: tuple[Order, ...]

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(order.plan.name for order in self.orders)


def batches_of(orders: Sequence[Order]) -> list[Batch]:
    """Orders in batches: neighbours of one recipe that go to one folder; each that comes from a receipt alone."""
    groups = groupby(enumerate(orders), key=lambda numbered: _belongs_to(*numbered))
    return [Batch(tuple(order for _, order in group)) for _, group in groups]


def _belongs_to(number: int, order: Order) -> tuple[Path, str, int | None]:
    return order.folder, order.plan.recipe, None if order.matched is None else number


def carry_out(batch: Batch, choice: EngineChoice) -> list[Outcome]:
    """Make every clip of a batch, equally loud; whatever goes wrong with one comes back as its Failed.

    Of those that the disk became full before, nothing comes.
    """
    from render.make import (
        make_together,  # what computes takes seconds to load: not where nothing has to be made
    )

    names = batch.names
    try:
        came = make_together(batch.orders, engine_of(choice), shelf_for(batch))
    except Exception as error:  # noqa: BLE001 - the border of a batch: the others must go on, and the trace is kept
        return [failed(name, error) for name in names]
    return [_outcome(name, one, s) for name, (one, s) in zip(names, came, strict=True) if one is not None]


def kept_of(batch: Batch, engine: EngineName) -> list[Kept]:
    """Those of its clips that are there already and stay, as far as can be told beforehand.

    Raises UsageError for a cache limit that is none.
    """
    return looked(batch.orders, engine, shelf_for(batch)).kept


def shelf_for(batch: Batch) -> Shelf:
    """Where clips are asked for again in spite of what is there, nothing of an earlier run is trusted."""
    return shelf_of(fresh=any(order.force for order in batch.orders))


def _outcome(name: str, came: Made | Exception, wall_s: float) -> Outcome:
    return replace(failed(name, came) if isinstance(came, Exception) else came, wall_s=wall_s)
