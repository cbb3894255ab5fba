"""What all benchmarks share: a row of the table they make, and how busy the machine was.

Every benchmark is a module with `rows(quick)`. Ratios within one run are what counts: seconds depend on the machine
and on what else it does, which is why the load stands in every row.
"""

import os
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

HEAD = "| what | measured | asked | load |\n|---|---|---|---|"


@dataclass
class Load:
    """The system's own average over a minute, before and after something is measured on its two cores or so."""

    before: float = field(default_factory=lambda: os.getloadavg()[0])
    after: float | None = None

    def __str__(self) -> str:
        return f"{self.before:.1f}" if self.after is None else f"{self.before:.1f} to {self.after:.1f}"


@contextmanager
def load() -> Iterator[Load]:
    during = Load()
    yield during
    during.after = os.getloadavg()[0]


@dataclass(frozen=True)
class Row:
    """What was measured, what is asked of it (nothing: it is only told), and how busy the machine was meanwhile."""

    what: str
    measured: str
    asked: str
    load: Load

    def __str__(self) -> str:
        cells = (str(cell).replace("|", "\\|").replace("\n", " ") for cell in vars(self).values())
        return f"| {' | '.join(cells)} |"


class CannotRun(Exception):
    """A benchmark misses something that this machine does not have."""


def without(what: str, missing: str) -> Row:
    """What one part of a benchmark misses."""
    return Row(what, f"not measured: {missing}", "", Load())


def tell(rows: Iterable[Row]) -> None:
    """Print the table, each row as it comes."""
    print(HEAD, flush=True)
    for row in rows:
        print(row, flush=True)
