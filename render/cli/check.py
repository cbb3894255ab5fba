"""`dropkiln check`: validate recipes and print their plans."""

import typer

from render.cli.options import Json, Paths, tell_faults
from render.faults import EXIT_IN_ERROR


def check(paths: Paths, as_json: Json = False) -> None:
    """Validate recipes and print what would play when.

    Example: dropkiln check recipes/
    """
    from render.night.job import read_work
    from render.plan.explain import explain
    from render.publish.plans import plans_json

    work = read_work(paths, jobs=0)
    if as_json:
        typer.echo(plans_json([(one.plan, one.facts) for one in work.planned], work.faults))
    else:
        typer.echo("\n\n".join(explain(one.plan, one.facts) for one in work.planned))
        tell_faults(work.faults)
    if work.faults:
        raise typer.Exit(EXIT_IN_ERROR)
