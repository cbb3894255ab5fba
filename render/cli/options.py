"""What several commands share: arguments, and how faults are told."""

from collections.abc import Iterable
from pathlib import Path
from typing import Annotated

import typer

from render.faults import Fault


def _count(written: str) -> int:
    if not str(written).isdecimal():
        raise typer.BadParameter(f"'{written}' is not a number of clips, such as 2")
    return int(written)


Paths = Annotated[list[Path], typer.Argument(help="Recipes, or folders of recipes.", show_default=False)]
Out = Annotated[Path, typer.Option(help="The folder for everything that is made.")]
Jobs = Annotated[
    int,
    typer.Option(
        parser=_count,
        metavar="<number>",
        help="Clips made at once; 0: one for each core.",
        show_default=False,
    ),
]
Json = Annotated[bool, typer.Option("--json", help="Print facts as JSON on standard output.")]
BookFile = Annotated[
    Path | None,
    typer.Option(
        "--book",
        metavar="<file>",
        help="The book; left out: book.yaml beside the recipes, in recipes/ if there is such a folder here.",
        show_default=False,
    ),
]
Plain = Annotated[
    bool, typer.Option("--plain", help="One line for each clip and the table at the end, no moving display.")
]


def tell_faults(faults: Iterable[Fault]) -> None:
    """Say on standard error what is wrong with recipes, a line each."""
    for fault in faults:
        typer.echo(str(fault), err=True)
