"""Which clips are there already, as a run would keep them."""

from collections.abc import Iterable

from render.files.engines import EngineChoice
from render.night.batch import Batch, kept_of


def kept_clips(batches: Iterable[Batch], choice: EngineChoice) -> set[str]:
    """The names of the clips that are there and need not be made again."""
    return {one.name for batch in batches for one in kept_of(batch, choice)}
