"""What a person or a log sees while clips are made."""

import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Protocol

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

from render.make import Done, Kept, Refused
from render.night.batch import Batch
from render.night.outcome import Failed, Outcome
from render.night.words import lasting, plural, say


class Watch(Protocol):
    """Whoever looks on while a run is at work."""

    def say(self, line: str) -> None: ...

    def began(self, batch: Batch) -> None: ...

    def came(self, outcome: Outcome) -> None: ...

    def ended(self, lines: Sequence[str]) -> None:
        """The run is over, and what there is to say of it as a whole."""


@contextmanager
def watched(batches: Sequence[Batch], plain: bool) -> Iterator[Watch]:
    """Show a run on standard error: a line for each clip, and on a screen what is at work below them."""
    console = Console(stderr=True, highlight=False)
    if plain or not console.is_terminal:
        yield _Lines()
        return
    columns = (
        *(BarColumn(20), MofNCompleteColumn(), TextColumn("clips"), TimeElapsedColumn()),
        TextColumn("{task.description}", markup=False),
    )
    with Progress(*columns, console=console) as progress:
        yield _Screen(console, progress, batches)


def line_of(outcome: Outcome) -> str:
    """One line: the clip's name and what came of it."""
    match outcome:
        case Done(name, clip, findings):
            warnings = sum(finding.level == "warning" for finding in findings)
            return f"made      {name}  {clip}" + (f"  ({plural(warnings, 'warning')})" if warnings else "")
        case Kept(name, clip):
            return f"kept      {name}  {clip}"
        case Refused(name) as refused:
            return f"refused   {name}  {refused.reason}"
        case Failed(name, reason):
            return f"failed    {name}  {reason}"


class Pace:
    """How fast clips are made, and how long the rest will take; what was there already counts for neither."""

    def __init__(self, sound_s: float) -> None:
        self._left_s, self._made_s, self._made = sound_s, 0.0, 0
        self._began_s = time.monotonic()

    def came(self, sound_s: float, kept: bool) -> None:
        """A clip of this length is there."""
        self._left_s -= sound_s
        if not kept:
            self._made_s += sound_s
            self._made += 1

    def __str__(self) -> str:
        spent_s = time.monotonic() - self._began_s
        if not self._made or not spent_s:
            return ""
        rate, left_s = self._made / spent_s * 60, self._left_s * spent_s / self._made_s
        return f"{rate:.1f} a minute, about {lasting(left_s)} left"


class _Lines:
    """For a log: what has come of each clip, and no more."""

    def say(self, line: str) -> None:
        say(line)

    def began(self, batch: Batch) -> None:
        pass

    def came(self, outcome: Outcome) -> None:
        say(line_of(outcome))

    def ended(self, lines: Sequence[str]) -> None:
        pass


class _Screen:
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
