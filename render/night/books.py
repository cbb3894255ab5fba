"""The book, from the disk."""

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from render.faults import UsageError
from render.files.book_file import BOOK, change_book, read_book_file
from render.night.paths import RECIPES
from render.publish.ballots import Ballot
from render.publish.book import Book
from render.publish.book_yaml import BadBook, read_book
from render.publish.bookkeeping import Rendered, Tally, merged

if TYPE_CHECKING:  # to read the book, no clip need be looked at
    from render.night.made_clips import MadeClip


def book_path(given: Path | None) -> Path:
    """The book that is meant: as named, else beside the recipes, where there is such a folder here."""
    return given or (RECIPES / BOOK if RECIPES.is_dir() else Path(BOOK))


def book_at(path: Path) -> Book:
    """The book's entries; none where there is no book yet. Raises UsageError."""
    with _placed(path):
        return read_book(read_book_file(path))


def merge_into(
    path: Path, ballots: list[Ballot], clips: "Iterable[MadeClip]"
) -> tuple[tuple[Tally, ...], bool]:
    """What came of each ballot, and whether the book changed. Raises UsageError and OutputError."""
    rendered = {
        clip.name: Rendered(clip.plan.title, tuple(clip.facts), clip.receipt["pcm_sha256"]) for clip in clips
    }
    tallies: tuple[Tally, ...] = ()

    def change(text: str) -> str:
        nonlocal tallies
        result = merged(text, ballots, rendered)
        tallies = result.tallies
        return result.text

    with _placed(path):
        changed = change_book(path, change)
    return tallies, changed


@contextmanager
def _placed(path: Path) -> Iterator[None]:
    try:
        yield
    except BadBook as error:
        place = f"{path}:{error.line}:{error.column}"
        raise UsageError(place, error.wrong, f"{error.right} (the book stays as it is)") from error
