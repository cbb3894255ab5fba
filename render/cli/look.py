"""`dropkiln look`: what can be heard of records."""

from pathlib import Path
from typing import Annotated

import typer

from render.cli.options import Json
from render.faults import EXIT_SOME_FAILED, SourceError


def look(
    tracks: Annotated[list[Path], typer.Argument(help="Recordings.", show_default=False)],
    as_json: Json = False,
) -> None:
    """Measure records: tempo, bars, drops, key, voice.

    A stated fact in a recipe always wins; recipes do not take measured facts by themselves yet.

    Example: dropkiln look out/demo/tracks/lanterns.flac
    """
    from render.night.ears import listened
    from render.publish.look import look_json, look_text

    looked, failed = [], False
    for track in tracks:
        try:
            looked.append(listened(track))
        except SourceError as error:
            failed = True
            typer.echo(str(error), err=True)
    typer.echo(look_json(looked) if as_json else "\n\n".join(look_text(*one) for one in looked))
    if failed:
        raise typer.Exit(EXIT_SOME_FAILED)
