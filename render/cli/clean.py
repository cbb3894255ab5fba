"""`dropkiln clean`: what is held, and clips whose recipe is gone."""

import sys
from pathlib import Path
from typing import Annotated

import typer

from render.cli.options import Json, Out


def clean(
    out: Out = Path("out"),
    recipes: Annotated[
        list[Path] | None,
        typer.Option(
            metavar="<path>",
            help="Recipes, or a folder of recipes, whose clips stay; may be given again. Left out: recipes/.",
            show_default=False,
        ),
    ] = None,
    cache: Annotated[
        bool, typer.Option("--cache", help="Empty the cache instead, and leave the clips alone.")
    ] = False,
    yes: Annotated[bool, typer.Option("--yes", help="Remove without asking.")] = False,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Only tell what is there and what would go.")
    ] = False,
    as_json: Json = False,
) -> None:
    """Tell what the cache and OUT hold, and remove the clips in OUT whose recipe is gone.

    With a clip go its receipt, its picture, its log and its card, and nothing else. It is asked first. A recipe in
    error keeps its clips. What the cache holds only saves time; what it is full of, it forgets by itself.

    Example: dropkiln clean --dry-run
    """
    import json

    from render.night.clean import Gone, asked_by, gone_from, remove
    from render.night.holdings import as_data, cache_stores, in_cache, in_output, told, told_gone
    from render.night.paths import RECIPES
    from render.night.words import plural, sized

    asked = asked_by([] if cache else recipes or [RECIPES])
    gone: list[Gone] = [] if cache else gone_from(out, asked)
    held, there = in_cache(), in_output(out)
    if not as_json:
        for line in (*told(out, held, there), *told_gone(gone)):
            typer.echo(line)
    removed: list[Gone] = []
    if cache:
        size_bytes = sum(one.size_bytes for one in held)
        if size_bytes and _agreed(f"empty the cache of {sized(size_bytes)}?", yes, dry_run):
            for store in cache_stores().values():
                store.clear()
            _say(f"emptied   the cache, {sized(size_bytes)}", as_json)
    elif gone:
        them, size = "it" if len(gone) == 1 else "them", sized(sum(one.size_bytes for one in gone))
        what = f"{plural(len(gone), 'clip')} with what belongs to {them}, {size}"
        if _agreed(f"remove {what}?", yes, dry_run):
            removed = remove(out, gone, asked)
            _say(
                f"removed   {plural(len(removed), 'clip')}, {sized(sum(o.size_bytes for o in removed))}",
                as_json,
            )
    if as_json:
        typer.echo(json.dumps(as_data(out, held, there, gone, removed), indent=2, ensure_ascii=False))


def _agreed(question: str, yes: bool, dry_run: bool) -> bool:
    """Whether it may be done: by --yes, else by asking whoever is there."""
    if dry_run or yes:
        return yes and not dry_run
    if not sys.stdin or not sys.stdin.isatty():
        typer.echo("nothing was removed; --yes removes without asking", err=True)
        return False
    try:
        return typer.confirm(question, err=True)
    except typer.Abort:  # no answer is none
        return False


def _say(line: str, as_json: bool) -> None:
    typer.echo(line, err=as_json)
