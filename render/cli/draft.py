"""`dropkiln draft`: a recipe from what is heard of records."""

import os
import shlex
from collections.abc import Sequence
from pathlib import Path, PurePath
from typing import TYPE_CHECKING, Annotated

import typer

from render.faults import EXIT_SOME_FAILED, SourceError, UsageError

if TYPE_CHECKING:
    from render.night.ears import Wanted
    from render.publish.draft import Heard


def draft(
    tracks: Annotated[
        list[Path],
        typer.Argument(help="Two recordings or more.", show_default=False),
    ],
    to: Annotated[
        Path | None,
        typer.Option(
            metavar="<file>",
            help="The recipe to write; left out: named after the tracks, in recipes/ if there is such a folder here.",
            show_default=False,
        ),
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Write over a recipe that is there.")] = False,
) -> None:
    """Measure records and write a recipe for them.

    It is complete, and says why each thing is as it is and what was a close call.

    Example: dropkiln draft lanterns.flac ironworks.flac
    """
    from render.files.whole_file import write_whole
    from render.publish import draft as drafted

    _refuse_count(tracks)
    recipe = to or _named_after(tracks)
    _refuse_place(recipe, force)
    files = [_as_named_in(recipe.parent, track) for track in tracks]
    write_whole(recipe, drafted.draft(_heard(tracks, files)))
    typer.echo(f"recipe    {recipe}")
    typer.echo(f"next      dropkiln render {shlex.quote(str(recipe))}")


def _refuse_count(tracks: Sequence[Path]) -> None:
    from render.recipe.references import MAX_TRACKS

    if len(tracks) < 2:
        raise UsageError("draft", "one track alone", "two or more are layered")
    if len(tracks) > MAX_TRACKS:
        raise UsageError("draft", f"{len(tracks)} tracks", f"{MAX_TRACKS} are the most")


def _named_after(tracks: Sequence[Path]) -> Path:
    from render.night.paths import RECIPES
    from render.publish.drafting.names import recipe_stem, track_names

    name = f"{recipe_stem(track_names(tracks))}.yaml"
    return RECIPES / name if RECIPES.is_dir() else Path(name)


def _refuse_place(recipe: Path, force: bool) -> None:
    """Raises UsageError before anything is listened to, for that takes a while."""
    from render.night.paths import RECIPE_SUFFIXES, unfit_for_a_name

    if recipe.suffix.lower() not in RECIPE_SUFFIXES:
        raise UsageError(str(recipe), "not a recipe by its name", "a recipe ends in .yaml")
    if unfit_for_a_name(recipe.stem):
        raise UsageError(ascii(str(recipe)), "no clip can be called like this recipe", "choose a plain name")
    if recipe.is_dir():
        raise UsageError(str(recipe), "this is a folder", "name a file in it")
    if not recipe.parent.is_dir():
        raise UsageError(
            str(recipe.parent), "there is no such folder", "make it, or choose another with --to"
        )
    if os.path.lexists(recipe) and not force:
        right = "choose another name with --to, or write over it with --force"
        raise UsageError(str(recipe), "it is there already", right)


def _as_named_in(folder: Path, track: Path) -> str:
    """A recording's path as a recipe in `folder` names it: relative, or absolute from another drive."""
    from render.night.paths import CONTROL

    path, start = os.path.abspath(track), os.path.abspath(folder)  # noqa: PTH100 - links stay as they are named
    try:
        file = PurePath(os.path.relpath(path, start)).as_posix()
    except ValueError:  # on Windows, from one drive to another
        file = PurePath(path).as_posix()
    if CONTROL.search(file):
        wrong = "a name with line breaks or other hidden characters cannot stand in a recipe"
        raise UsageError(ascii(str(track)), wrong, "rename it")
    # A recipe's ~ is somebody's home, also after ./
    return f"../{PurePath(start).name}/{file}" if file.startswith("~") else file


def _heard(tracks: Sequence[Path], files: Sequence[str]) -> "list[Heard]":
    """What is heard of each record. Where one cannot be drafted, every such one is told of, and nothing returns."""
    from render.night.ears import facts_of_records
    from render.publish.draft import Heard, unfit

    opened = [_opened(track) for track in tracks]
    wanted = [one for one in opened if not isinstance(one, SourceError)]
    found = dict(zip(wanted, facts_of_records(wanted, jobs=0), strict=True))
    heard, told = [], dict[str, None]()
    for track, file, one in zip(tracks, files, opened, strict=True):
        facts = one if isinstance(one, SourceError) else found[one]
        error = facts if isinstance(facts, SourceError) else unfit(Heard(str(track), facts))
        if error:
            told[str(error)] = None
        elif not isinstance(facts, SourceError):
            heard.append(Heard(file, facts))
    for line in told:
        typer.echo(line, err=True)
    if told:
        raise typer.Exit(EXIT_SOME_FAILED)
    return heard


def _opened(track: Path) -> "Wanted | SourceError":
    from render.night.ears import wanted_of

    try:
        return wanted_of(track)
    except SourceError as error:
        return error
