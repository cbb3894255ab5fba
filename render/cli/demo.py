"""`dropkiln demo`: invented records and the recipes over them, end to end."""

from pathlib import Path

import typer

from render.cli.options import Jobs, Plain, tell_faults
from render.faults import UsageError


def demo(jobs: Jobs = 0, plain: Plain = False) -> None:
    """Invent five records and make clips of them.

    The recipes are those in recipes/, so run it in the project's folder. The records go to out/demo/tracks, the
    clips to out/clips.

    Example: dropkiln demo
    """
    from render.demo.records import write_records
    from render.files.whole_file import make_folder
    from render.night.job import read_work
    from render.night.listening import PAGE
    from render.night.night import Wishes, exit_status, run
    from render.night.paths import RECIPES

    recipes, out = RECIPES, Path("out")
    if not recipes.is_dir():
        raise UsageError("demo", "there is no folder 'recipes' here", "run it in the project's folder")
    tracks = out / "demo" / "tracks"
    make_folder(tracks)
    write_records(tracks, lambda path: typer.echo(f"record    {path.stem}  {path}", err=True))
    work = read_work([recipes], jobs=jobs, plain=plain)
    tell_faults(work.faults)
    status = exit_status(run(work, out, Wishes(jobs=jobs, plain=plain)))
    typer.echo(f"Open {out / PAGE} to listen. Start quiet: loud playback harms hearing.")
    raise typer.Exit(status)
