"""The clips that the book speaks well of, from the disk."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from render.night.books import book_at, book_path
from render.night.made_clips import MadeClip, Unreadable, made_clips
from render.publish.book import Book, keepers


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
