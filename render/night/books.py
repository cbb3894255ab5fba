"""The book and the clips it speaks of, from the disk."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from render.faults import UsageError
from render.files.book_file import BOOK, change_book, read_book_file
from render.night.made_clips import MadeClip, Unreadable, made_clips
from render.publish.ballots import Ballot
from render.publish.book import Book, keepers
from render.publish.book_yaml import BadBook, read_book
from render.publish.bookkeeping import Rendered, Tally, merged

RECIPES = Path("recipes")


def book_path(given: Path | None) -> Path:
    """The book that is meant: as named, else beside the recipes, where there is such a folder here."""
    return given or (RECIPES / BOOK if RECIPES.is_dir() else Path(BOOK))


def book_at(path: Path) -> Book:
    """The book's entries; none where there is no book yet. Raises UsageError."""
    with _placed(path):
        return read_book(read_book_file(path))


def merge_into(path: Path, ballots: list[Ballot], clips: list[MadeClip]) -> tuple[tuple[Tally, ...], bool]:
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


@dataclass(frozen=True)
class KeptClips:
    """The clips that have a verdict, in the book's order; `told` is why others of them are missing."""

    clips: tuple[MadeClip, ...]
    told: tuple[str, ...]


def kept_clips_of(book: Path | None, out: Path, choose: Callable[[Book], Book] = keepers) -> KeptClips:
    """The clips of the book's keepers, or of what else is chosen from it. Raises UsageError."""
    wanted = choose(book_at(book_path(book)))
    there, told = {}, []
    for clip in made_clips(out):
        if isinstance(clip, Unreadable):
            told.append(str(clip))
        else:
            there[clip.name] = clip
    told += [
        f"{one.clip}: it has no clip in {out}; render its recipe" for one in wanted if one.clip not in there
    ]
    return KeptClips(tuple(there[one.clip] for one in wanted if one.clip in there), tuple(told))


@contextmanager
def _placed(path: Path) -> Iterator[None]:
    try:
        yield
    except BadBook as error:
        place = f"{path}:{error.line}:{error.column}"
        raise UsageError(place, error.wrong, f"{error.right} (the book stays as it is)") from error
