"""What can come of an order."""

import traceback
from dataclasses import dataclass
from typing import Literal

from render.clip.order import Done, Kept, Refused
from render.faults import DropkilnError, ToolStopped
from render.files.whole_file import tells_full_disk

Cause = Literal["lasting", "passing", "full"]
"""Whether the next try would fail alike; `passing`: perhaps not; `full`: neither would any other clip fit."""


@dataclass(frozen=True)
class Failed:
    """A clip that could not be made. `ours` is True where the fault is this program's."""

    name: str
    reason: str
    trace: str
    ours: bool
    cause: Cause = "lasting"
    wall_s: float = 0.0


Outcome = Done | Kept | Refused | Failed


def failed(name: str, error: Exception) -> Failed:
    """What an error comes to that ends a clip; its trace is kept."""
    trace = "".join(traceback.format_exception(error))
    match error:
        case DropkilnError():
            return Failed(name, str(error), trace, ours=False, cause=_cause_of(error))
        case OSError() if tells_full_disk(error):
            return Failed(
                name, f"{error.filename or name}: the disk is full; make room", trace, False, "full"
            )
        case MemoryError():
            return Failed(name, "there is not enough memory; close other programs", trace, False, "passing")
        case _:
            return Failed(name, f"{type(error).__name__}: {error}; please report this", trace, ours=True)


def _cause_of(error: DropkilnError) -> Cause:
    if tells_full_disk(error):
        return "full"
    return "passing" if isinstance(error, ToolStopped) else "lasting"
