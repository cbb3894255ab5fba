"""What a person at a screen sees while clips are made: it moves, and ends with a table."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

from render.clip.order import Kept
from render.night.batch import Batch
from render.night.outcome import Outcome
from render.night.progress import Pace, line_of


@contextmanager
def on_screen(batches: Sequence[Batch]) -> Iterator["Screen"]:
    """Show a run on the terminal behind standard error."""
    console = Console(stderr=True, highlight=False)
    columns = (
        *(BarColumn(20), MofNCompleteColumn(), TextColumn("clips"), TimeElapsedColumn()),
        TextColumn("{task.description}", markup=False),
    )
    with Progress(*columns, console=console) as progress:
        yield Screen(console, progress, batches)


class Screen:
    """For a person: the same lines, with a moving one below them and a table at the end."""

    def __init__(self, console: Console, progress: Progress, batches: Sequence[Batch]) -> None:
        self._console, self._progress = console, progress
        orders = [order for batch in batches for order in batch.orders]
        self._sound_s = {order.plan.name: order.plan.clock.duration_s for order in orders}
        self._pace = Pace(sum(self._sound_s.values()))
        self._at_work: dict[str, set[str]] = {}
        self._task = progress.add_task("", total=len(orders))

    def say(self, line: str) -> None:
        self._console.print(line, markup=False, soft_wrap=True)

    def began(self, batch: Batch) -> None:
        self._at_work[batch.names[0]] = set(batch.names)
        self._show()

    def came(self, outcome: Outcome) -> None:
        self.say(line_of(outcome))
        self._pace.came(self._sound_s[outcome.name], isinstance(outcome, Kept))
        for first, names in list(self._at_work.items()):
            names.discard(outcome.name)
            if not names:
                del self._at_work[first]
        self._progress.advance(self._task)
        self._show()

    def ended(self, lines: Sequence[str]) -> None:
        self._progress.stop()
        for line in lines:
            self.say(line)

    def _show(self) -> None:
        now = "  ".join(part for part in (str(self._pace), ", ".join(self._at_work)) if part)
        self._progress.update(self._task, description=now)
