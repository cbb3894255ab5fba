"""Which clips are there already, as a run would keep them."""

from collections.abc import Iterable
from hashlib import sha256
from pathlib import Path

from render.files.audio_files import sha256_of
from render.files.engines import EngineChoice, engine_of
from render.files.whole_file import inside
from render.make import _is_made, versions_of
from render.night.batch import Batch
from render.publish.receipt import inputs_text


def kept_clips(batches: Iterable[Batch], choice: EngineChoice) -> set[str]:
    """The names of the clips that are there and need not be made again."""
    versions = versions_of(engine_of(choice))
    kept = set()
    for order in [order for batch in batches for order in batch.orders if not order.force]:
        plan = order.plan
        hashes = {lane.track: sha256_of(Path(order.facts[lane.track].recording.path)) for lane in plan.lanes}
        inputs = sha256(inputs_text(plan, order.facts, hashes, versions)).hexdigest()
        if _is_made(inside(order.folder, f"{plan.name}.{plan.format}"), inputs):
            kept.add(plan.name)
    return kept
