"""What a person at a screen sees while clips are made: it moves, and ends with a table."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from multiprocessing.connection import Connection

from rich.console import Console
from rich.progress import (
    BarColumn,
    MofNCompleteColumn,
    Progress,
    ProgressColumn,
    Task,
    TextColumn,
    TimeElapsedColumn,
)
from rich.text import Text

from render.clip.order import Kept
from render.night.batch import Batch
from render.night.outcome import Outcome
from render.night.progress import Pace, line_of
from render.night.stages import read


@contextmanager
def on_screen(batches: Sequence[Batch], stages: Connection) -> Iterator["Screen"]:
    """Show a run on the terminal behind standard error."""
    console = Console(stderr=True, highlight=False)
    columns = (
        *(BarColumn(20), MofNCompleteColumn(), TextColumn("clips"), TimeElapsedColumn()),
        _AtWork(),
    )
    with Progress(*columns, console=console) as progress:
        yield Screen(console, progress, batches, stages)


class _AtWork(ProgressColumn):
    """What is at work as this is drawn, ten times a second."""

    def render(self, task: Task) -> Text:
        return Text(str(task.fields["at_work"]))


class Screen:
    """For a person: the same lines, with a moving one below them and a table at the end."""

    def __init__(
        self, console: Console, progress: Progress, batches: Sequence[Batch], stages: Connection
    ) -> None:
        self._console, self._progress, self._stages = console, progress, stages
        orders = [order for batch in batches for order in batch.orders]
        self._sound_s = {order.plan.name: order.plan.clock.duration_s for order in orders}
        self._pace = Pace(sum(self._sound_s.values()))
        self._at_work: dict[str, set[str]] = {}
        self._stage: dict[str, str] = {}
        self._task = progress.add_task("", total=len(orders), at_work=self)

    def say(self, line: str) -> None:
        self._console.print(line, markup=False, soft_wrap=True)

    def began(self, batch: Batch) -> None:
        self._at_work[batch.names[0]] = set(batch.names)

    def came(self, outcome: Outcome) -> None:
        self.say(line_of(outcome))
        self._pace.came(self._sound_s[outcome.name], isinstance(outcome, Kept))
        for first, names in list(self._at_work.items()):
            names.discard(outcome.name)
            if not names:
                del self._at_work[first]
                self._stage.pop(first, None)
        self._progress.advance(self._task)

    def ended(self, lines: Sequence[str]) -> None:
        self._progress.stop()
        for line in lines:
            self.say(line)

    def __str__(self) -> str:
        """How fast it goes, and of each batch at work the clip and the stage that were told of last."""
        at_work = dict(self._at_work)  # this is drawn by a thread of its own
        for clip, what in read(self._stages):
            self._stage |= {first: f"{clip}: {what}" for first, names in at_work.items() if clip in names}
        now = ", ".join(self._stage.get(first, first) for first in at_work)
        return "  ".join(part for part in (str(self._pace), now) if part)
