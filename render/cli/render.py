"""`dropkiln render`: the main job, recipes to clips."""

from pathlib import Path
from typing import Annotated, Literal

import typer

from render.cli.options import Jobs, Json, Out, Paths, Plain
from render.faults import RecipeFaults


def render(
    paths: Paths,
    out: Out = Path("out"),
    jobs: Jobs = 0,
    form: Annotated[
        Literal["mp3", "opus", "flac", "wav"] | None,
        typer.Option("--format", help="Instead of the recipes' own.", show_default=False),
    ] = None,
    engine: Annotated[
        Literal["auto", "rubberband", "signalsmith"],
        typer.Option(help="What stretches; auto: the best there is."),
    ] = "auto",
    force: Annotated[bool, typer.Option("--force", help="Make clips again that are there already.")] = False,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Only list the clips that are asked for.")
    ] = False,
    plain: Plain = False,
    as_json: Json = False,
) -> None:
    """Make the clips of recipes, in OUT/clips.

    Each clip gets its receipt and its picture beside it. A clip that is there already is kept while its recipe
    and its records are the same.

    Exit status: 0 all made, 1 some failed, 2 a recipe or the usage in error.

    Example: dropkiln render recipes/
    """
    from render.night.job import read_work
    from render.night.night import CLIPS, exit_status, run
    from render.night.report import dry_run_json, dry_run_lines, results_json

    work = read_work(paths, form, jobs)
    if work.faults:
        raise RecipeFaults(work.faults)
    orders = work.orders(out / CLIPS, force)
    if dry_run:
        typer.echo(dry_run_json(orders) if as_json else "\n".join(dry_run_lines(orders)))
        return
    outcomes = run(orders, jobs, engine, plain)
    if as_json:
        typer.echo(results_json(outcomes))
    raise typer.Exit(exit_status(outcomes))
