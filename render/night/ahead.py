"""What a run has before it: which clips are not there yet, and how much has to be stretched for them.

Nothing that computes is loaded for this, and no sound is read or written.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from render.clip.identity import Identity
from render.clip.looked import looked
from render.clip.order import Order
from render.clip.source import Source, source_of
from render.files.engines import EngineChoice, serving
from render.files.shelf import shelf_of
from render.night.batch import Batch, shelf_for
from render.sound.engine import EngineName
from render.sound.spans import Span, spans_of


@dataclass(frozen=True)
class Passages:
    """The passages of a clip that is to be made; those that are the same count once."""

    count: int = 0
    cached: int = 0
    """So many of them lie on the shelf."""
    shared: int = 0
    """So many more will lie there, put by clips before this one."""
    stretched_s: float = 0.0
    """How much of the records an engine is given for the others."""


@dataclass(frozen=True)
class Ahead:
    """What a run has before it."""

    orders: Sequence[Order]
    to_make: Mapping[str, Passages]
    """The clips that are not there yet, by their names."""
    engine: str
    cache_bytes: int = 0
    """By how much the cache will grow. Mixes that wait there for their turn are not counted."""


def ahead_of(batches: Sequence[Batch], choice: EngineChoice) -> Ahead:
    """Raises ToolError where the engine is missing, UsageError for a cache limit that is none."""
    engine = serving(choice)
    to_make: dict[str, Passages] = {}
    coming: set[str] = set()
    new_bytes: dict[str, int] = {}
    for batch in batches:
        shelf = shelf_for(batch)
        if shelf.fresh:  # not even what another recipe has put there is trusted
            coming.clear()
        found = looked(batch.orders, engine, shelf)
        for name in [order.plan.name for order in batch.orders if order.plan.name not in found.there]:
            spans = _spans(*found.known[name], engine) if name in found.known else {}
            cached = {key for key in spans if shelf.has_sound(key)}
            shared = (spans.keys() & coming) - cached
            anew = {key: one for key, one in spans.items() if key not in cached | shared}
            stretched_s = sum(source.stretched_s(span) for source, span in anew.values())
            to_make[name] = Passages(len(spans), len(cached), len(shared), stretched_s)
            sizes = {key: source.size_bytes(span) for key, (source, span) in anew.items()}
            kept = {key: size for key, size in sizes.items() if shelf.takes(size)}
            coming |= kept.keys()
            new_bytes |= {key: size for key, size in kept.items() if not shelf.sounds.has(key)}
    orders = [order for batch in batches for order in batch.orders]
    return Ahead(orders, to_make, engine.name, min(sum(new_bytes.values()), shelf_of().room_bytes))


def _spans(order: Order, identity: Identity, engine: EngineName) -> dict[str, tuple[Source, Span]]:
    """The distinct spans of all lanes, by their keys."""
    sources = [(lane, source_of(order, lane, identity, engine)) for lane in order.plan.lanes]
    return {
        source.key(span): (source, span)
        for lane, source in sources
        for span in dict.fromkeys(spans_of(lane, source.recording.rate_hz))
    }
