"""Which clips are there already, as a run would keep them."""

from collections.abc import Iterable

from render.clip.order import Kept
from render.faults import ToolError
from render.files.engines import EngineChoice, serving
from render.night.batch import Batch, kept_of


def kept_in(batch: Batch, choice: EngineChoice) -> list[Kept]:
    """Those of a batch's clips that are there; none where the engine is missing, as making them will say."""
    try:
        return kept_of(batch, serving(choice))
    except ToolError:
        return []


def told_apart(batches: Iterable[Batch], choice: EngineChoice) -> tuple[list[Kept], list[Batch]]:
    """The clips of those batches in which nothing has to be made, and the others.

    Looking takes milliseconds, and starting workers seconds. Where the engine is missing, nothing is told apart:
    making the clips says so.
    """
    kept: list[Kept] = []
    to_make: list[Batch] = []
    try:
        engine = serving(choice)
    except ToolError:
        return kept, list(batches)
    for batch in batches:
        there = kept_of(batch, engine)
        if len(there) == len(batch.orders):
            kept += there
        else:
            to_make.append(batch)
    return kept, to_make
