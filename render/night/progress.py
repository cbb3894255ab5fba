"""What a person or a log sees while clips are made."""

import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from multiprocessing.connection import Connection
from typing import Protocol

from render.clip.order import Done, Kept, Refused
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
def watched(batches: Sequence[Batch], plain: bool, stages: Connection) -> Iterator[Watch]:
    """Show a run on standard error: a line for each clip, and on a screen what is at work below them.

    `stages` is where the stages of clips are read.
    """
    if plain or not sys.stderr.isatty():
        yield _Lines()
        return
    from render.night.screen import on_screen  # what draws there takes a while to load

    with on_screen(batches, stages) as screen:
        yield screen


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
    """For a log: what has come of each clip, and the table at the end."""

    def say(self, line: str) -> None:
        say(line)

    def began(self, batch: Batch) -> None:
        pass

    def came(self, outcome: Outcome) -> None:
        say(line_of(outcome))

    def ended(self, lines: Sequence[str]) -> None:
        for line in lines:
            say(line)
