"""What can come of an order."""

from dataclasses import dataclass

from render.make import Done, Kept, Refused


@dataclass(frozen=True)
class Failed:
    """A clip that could not be made. `ours` is True where the fault is this program's."""

    name: str
    reason: str
    trace: str
    ours: bool


Outcome = Done | Kept | Refused | Failed
