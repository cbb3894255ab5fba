"""`dropkiln book`: what works, and who said so."""

from typing import Annotated

import typer

from render.cli.options import BookFile, Json


def book(
    words: Annotated[
        list[str] | None,
        typer.Argument(
            help="Only clips of which all of these are said: a verdict, a tag, a track, or any text.",
            show_default=False,
        ),
    ] = None,
    book_file: BookFile = None,
    as_json: Json = False,
) -> None:
    """List what the book says of each clip, or search it.

    The book is a file that you may edit: your own verdict, tags and notes go below a clip's name.

    Example: dropkiln book works lanterns
    """
    from render.night.books import book_at, book_path
    from render.publish.book import book_json, book_text, found

    path = book_path(book_file)
    entries = book_at(path)
    chosen = found(entries, words or [])
    if as_json:
        typer.echo(book_json(chosen))
    elif chosen:
        typer.echo(book_text(chosen))
    elif entries:
        typer.echo(f"nothing   none of the {len(entries)} clips in {path} is like that", err=True)
    else:
        typer.echo(f"nothing   no ratings in {path} yet; `dropkiln ballots` puts them there", err=True)
