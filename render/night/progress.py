"""What a person or a log sees while clips are made."""

import sys
from collections.abc import Generator, Iterable

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

from render.make import Done, Kept, Refused
from render.night.outcome import Failed, Outcome


def line_of(outcome: Outcome) -> str:
    """One line: the clip's name and what came of it."""
    match outcome:
        case Done(name, clip, findings):
            warnings = sum(finding.level == "warning" for finding in findings)
            plural = "s" if warnings != 1 else ""
            return f"made      {name}  {clip}" + (f"  ({warnings} warning{plural})" if warnings else "")
        case Kept(name, clip):
            return f"kept      {name}  {clip}"
        case Refused(name, findings):
            why = " ".join(finding.text for finding in findings if finding.level == "failure")
            return f"refused   {name}  {why}"
        case Failed(name, reason):
            return f"failed    {name}  {reason}"


def shown(outcomes: Iterable[Outcome], total: int, plain: bool) -> Generator[Outcome]:
    """Pass outcomes on while showing them on standard error: a line each, and on a screen a bar below them."""
    console = Console(stderr=True, highlight=False)
    if plain or not console.is_terminal:
        for outcome in outcomes:
            print(line_of(outcome), file=sys.stderr, flush=True)  # noqa: T201 - the log is the point
            yield outcome
        return
    columns = (BarColumn(), MofNCompleteColumn(), TextColumn("clips"), TimeElapsedColumn())
    with Progress(*columns, console=console) as progress:
        task = progress.add_task("clips", total=total)
        for outcome in outcomes:
            console.print(line_of(outcome), markup=False, soft_wrap=True)
            progress.advance(task)
            yield outcome
