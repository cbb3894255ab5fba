"""`dropkiln render`: the main job, recipes to clips."""

from pathlib import Path
from typing import Annotated, Literal

import typer

from render.cli.options import Jobs, Json, Out, Paths, Plain, tell_faults
from render.faults import EXIT_ALL_MADE, EXIT_IN_ERROR


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
        bool,
        typer.Option("--dry-run", help="Only list the clips that are asked for, and estimate their cost."),
    ] = False,
    wait: Annotated[
        bool, typer.Option("--wait", help="Where another run is at work in OUT, wait until it has ended.")
    ] = False,
    scheduler: Annotated[
        str | None,
        typer.Option(
            metavar="<address>",
            help="Make the clips on a Dask cluster, whose machines share OUT and the records with this one.",
            show_default=False,
        ),
    ] = None,
    plain: Plain = False,
    as_json: Json = False,
) -> None:
    """Make the clips of recipes, in OUT/clips.

    Each clip gets its receipt and its picture beside it. A clip that is there already is kept while its recipe
    and its records are the same. A recipe in error is told of, and the others are made. What came of it all is
    in OUT/report.json; a clip that failed has a log in its place.

    Ctrl-C finishes the clips that are being made, Ctrl-C again stops at once. The next run goes on from there.

    Exit status: 0 all made, 1 some failed, 2 a recipe or the usage in error.

    Example: dropkiln render recipes/
    """
    from contextlib import nullcontext

    from render.night.cluster import connected
    from render.night.job import read_work
    from render.night.night import Wishes, dry_run_text, exit_status, run
    from render.night.report import results_json

    with connected(scheduler) if scheduler and not dry_run else nullcontext() as cluster:
        work = read_work(paths, form, jobs, plain)
        tell_faults(work.faults)
        wishes = Wishes(jobs, engine, force, plain, wait, cluster)
        if dry_run:
            typer.echo(dry_run_text(work, out, wishes, as_json), nl=False)
            raise typer.Exit(EXIT_IN_ERROR if work.faults else EXIT_ALL_MADE)
        report = run(work, out, wishes)
    if as_json:
        typer.echo(results_json(entry for _, entry in report.told))
    raise typer.Exit(exit_status(report))
