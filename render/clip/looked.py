"""What the clips of a recipe would be made from, and which of them are there already.

Nothing that computes is loaded for this, so that a folder in which all is there is recognised at once.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

from render.clip.identity import Identity, Standing, group_of, identity_of, standing
from render.clip.order import Kept, Order
from render.files.shelf import Shelf
from render.sound.engine import EngineName


@dataclass
class Looked:
    """Clips that belong together, by their names: those that can be made, those that cannot, and those that stand."""

    known: dict[str, tuple[Order, Identity]] = field(default_factory=dict)
    failed: dict[str, Exception] = field(default_factory=dict)
    there: dict[str, Standing] = field(default_factory=dict)
    group_sha256: str | None = None

    @property
    def kept(self) -> list[Kept]:
        """Those that are there and, as far as can be told before the others are made, stay."""
        return [Kept(name, self.known[name][1].clip) for name in self.there]


def looked(orders: Sequence[Order], engine: EngineName, shelf: Shelf) -> Looked:
    """What there is to know of clips before anything is made; one that cannot be made is no other's failure."""
    found = Looked()
    for order in orders:
        name = order.plan.name
        try:
            found.known[name] = order, identity_of(order, engine, shelf)
        except Exception as error:  # noqa: BLE001 - the border of a clip: it is handed on to whoever asked
            found.failed[name] = error
    found.group_sha256 = group_of(orders, [identity for _, identity in found.known.values()])
    for name, (order, identity) in found.known.items():
        there = None if order.force else standing(identity, found.group_sha256, shelf)
        if there:
            found.there[name] = there
    return found
