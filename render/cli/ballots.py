"""`dropkiln ballots`: what listeners sent back, into the book."""

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from render.cli.options import BookFile, Out
from render.faults import EXIT_SOME_FAILED, SourceError

if TYPE_CHECKING:
    from render.publish.ballots import Ballot
    from render.publish.bookkeeping import Tally

MOST_NAMED = 3
"""Unknown clips of a ballot that are named."""
STANDARD_INPUT = "-"


def ballots(
    given: Annotated[
        list[str],
        typer.Argument(
            metavar="file|text",
            help="Ballots: files, or the texts that begin with dropkiln-ballot-1: (`-` reads standard input).",
            show_default=False,
        ),
    ],
    out: Out = Path("out"),
    book: BookFile = None,
) -> None:
    """Check ballots and write their ratings into the book.

    A ballot that was merged before changes nothing. Ratings of clips that are neither in OUT nor in the book are
    told of and left out.

    Exit status: 0 all merged, 1 some ballots are damaged, 2 the book or the usage in error.

    Example: dropkiln ballots ~/Downloads/ballot-mara.json
    """
    from render.night.books import book_path, merge_into
    from render.night.made_clips import Unreadable, made_clips

    read: list[tuple[str, Ballot]] = []
    damaged = False
    for one in given:
        try:
            read.append(_read(one))
        except SourceError as error:
            damaged = True
            typer.echo(str(error), err=True)
    clips = []
    for clip in made_clips(out):
        if isinstance(clip, Unreadable):
            typer.echo(str(clip), err=True)
        else:
            clips.append(clip)
    path = book_path(book)
    if read:
        tallies, changed = merge_into(path, [ballot for _, ballot in read], clips)
        for (name, ballot), tally in zip(read, tallies, strict=True):
            _tell(name, ballot, tally)
        typer.echo(f"book      {path}{'' if changed else ', unchanged'}")
    if damaged:
        raise typer.Exit(EXIT_SOME_FAILED)


def _read(given: str) -> "tuple[str, Ballot]":
    """What to call a ballot, and the ballot. Raises SourceError."""
    from render.publish.ballots import MAX_TEXT_BYTES, TEXT_PREFIX, BadBallot, read_ballot

    if TEXT_PREFIX in given:
        name, content = "text", given.encode("utf-8", "surrogateescape")
    elif given == STANDARD_INPUT:
        name, content = "standard input", typer.get_binary_stream("stdin").read(MAX_TEXT_BYTES + 1)
    else:
        name = "".join(sign if sign.isprintable() else "\N{REPLACEMENT CHARACTER}" for sign in given)
        content = _content(Path(given), name, MAX_TEXT_BYTES + 1)
    try:
        return name, read_ballot(content, datetime.now(UTC))
    except BadBallot as error:
        raise SourceError(name, error.wrong, error.right) from error


def _content(path: Path, name: str, most_bytes: int) -> bytes:
    try:
        if path.exists() and not path.is_file():  # opening a pipe would wait for somebody to write
            raise SourceError(name, "this is no file", "name a ballot")
        with path.open("rb") as file:
            return file.read(most_bytes)
    except FileNotFoundError as error:
        wrong = "no such file, and no text of a ballot"
        raise SourceError(name, wrong, "name a ballot's file, or paste its text whole, in quotes") from error
    except (OSError, ValueError) as error:  # ValueError: a name that no file can have
        raise SourceError(name, "it cannot be read", "name a ballot's file, and allow reading it") from error


def _tell(name: str, ballot: "Ballot", tally: "Tally") -> None:
    from render.publish.book import NAMELESS
    from render.publish.lettering import cleaned

    listener = ballot.listener or NAMELESS
    earlier = f" ({tally.earlier} of an earlier rendering)" if tally.earlier else ""
    typer.echo(f"ballot    {name}: {listener}, {tally.new} new{earlier}, {tally.known} known already")
    if tally.unknown:
        names = ", ".join(cleaned(clip)[:64] or "(no name)" for clip in tally.unknown[:MOST_NAMED])
        more = f" and {len(tally.unknown) - MOST_NAMED} more" if len(tally.unknown) > MOST_NAMED else ""
        typer.echo(f"left out  {name}: no clip here is called {names}{more}", err=True)
