"""`dropkiln look`: what can be heard of records."""

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer

from render.cli.options import Json
from render.faults import EXIT_SOME_FAILED, SourceError, UsageError


def look(
    tracks: Annotated[list[Path], typer.Argument(help="Recordings.", show_default=False)],
    picture: Annotated[
        Path | None,
        typer.Option(
            metavar="<file>",
            help="Draw what was heard, too: a .svg or a .png file. Of several tracks, each gets one of its own, "
            "with the track's name before the ending.",
            show_default=False,
        ),
    ] = None,
    as_json: Json = False,
) -> None:
    """Measure records: tempo, bars, drops, key, voice.

    Recipes take from these what they leave out; what a recipe states wins.

    Example: dropkiln look out/demo/tracks/lanterns.flac --picture look.svg
    """
    pictures = _pictures(picture, tracks) if picture else [None] * len(tracks)

    from render.night.ears import listened
    from render.publish.look.text import look_json, look_text

    looked, to_draw, failed = [], [], False
    for track, drawn in zip(tracks, pictures, strict=True):
        try:
            looked.append(listened(track))
        except SourceError as error:
            failed = True
            typer.echo(str(error), err=True)
        else:
            to_draw.append(drawn)
    typer.echo(look_json(looked) if as_json else "\n\n".join(look_text(*one) for one in looked))
    for one, drawn in zip(looked, to_draw, strict=True):
        if drawn:
            from render.files.whole_file import make_folder, write_whole
            from render.publish.look.picture import look_picture

            make_folder(drawn.parent)
            write_whole(drawn, look_picture(*one, "png" if drawn.suffix.lower() == ".png" else "svg"))
            typer.echo(f"picture   {drawn}", err=True)
    if failed:
        raise typer.Exit(EXIT_SOME_FAILED)


def _pictures(asked: Path, tracks: Sequence[Path]) -> list[Path]:
    """The picture of each track; no two are the same file, nor is any of them a track. Raises UsageError."""
    if asked.suffix.lower() not in (".svg", ".png"):
        ending = f"ends in {asked.suffix}" if asked.suffix else "has no ending"
        raise UsageError(str(asked), f"the picture {ending}", "name it .svg or .png")
    pictures = [asked]
    if len(tracks) > 1:
        pictures, taken = [], set[str]()
        for track in tracks:
            stem, again = f"{asked.stem}-{track.stem}", 1
            name = stem
            while name.casefold() in taken:  # some disks do not tell A from a
                again += 1
                name = f"{stem}-{again}"
            taken.add(name.casefold())
            pictures.append(asked.with_name(f"{name}{asked.suffix}"))
    sources = {track.resolve() for track in tracks}
    for picture in pictures:
        if picture.resolve() in sources:
            raise UsageError(str(picture), "the picture would take the place of a track", "name it otherwise")
    return pictures
