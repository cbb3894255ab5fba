"""What the cache and an output folder hold: how many files, how large, and since when."""

import time
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from render.files.facts_store import facts_store
from render.files.shelf import shelf_of
from render.files.store import Store, cache_folder
from render.night.clean import Gone, is_file
from render.night.paths import CARDS, CLIPS
from render.night.words import plural, sized

DAY_S = 86_400.0


@dataclass(frozen=True)
class Holding:
    """What lies in one place."""

    name: str
    files: int
    size_bytes: int
    oldest_s: float | None
    """When the oldest of it was made, or in the cache was last used, in seconds since 1970; None of nothing."""


def cache_stores() -> dict[str, Store]:
    """The parts of the cache by their names. Raises UsageError for a cache limit that is none."""
    shelf = shelf_of()
    return {"sounds": shelf.sounds, "readings": shelf.readings, "facts": facts_store()}


def in_cache() -> list[Holding]:
    """Raises UsageError, and OutputError where it cannot be listed."""
    held = {name: store.entries() for name, store in cache_stores().items()}
    return [_holding(name, ((e.size_bytes, e.used_s) for e in entries)) for name, entries in held.items()]


def in_output(out: Path) -> list[Holding]:
    """The clips with all that lies beside them, the cards, and the rest of an output folder; links are left out."""
    places = {"clips": out / CLIPS, "cards": out / CARDS, "the rest": out}
    return [
        _holding(name, _states(path) if not path.is_symlink() or path == out else ())
        for name, path in places.items()
    ]


def told(out: Path, cache: Sequence[Holding], output: Sequence[Holding]) -> Iterator[str]:
    """What is held, for a person, a line each."""
    for place, holdings, since in ((cache_folder(), cache, "last used"), (out, output, "made")):
        yield f"{place or 'no cache'}: {sized(sum(one.size_bytes for one in holdings))}"
        for one in holdings:
            age = "" if one.oldest_s is None else f", the oldest {since} {_ago(one.oldest_s)}"
            yield f"  {one.name:<9} {plural(one.files, 'file')}, {sized(one.size_bytes)}{age}"


def told_gone(gone: Sequence[Gone]) -> Iterator[str]:
    for one in gone:
        yield f"gone      {one.name}  {one.why}; made {_ago(one.made_s)}, {sized(one.size_bytes)}"


def as_data(
    out: Path,
    cache: Sequence[Holding],
    output: Sequence[Holding],
    gone: Sequence[Gone],
    removed: Sequence[Gone],
) -> dict[str, Any]:
    """The same for scripts: sizes in bytes, times in seconds since 1970."""
    return {
        "cache": {"folder": str(cache_folder() or ""), "holds": [asdict(one) for one in cache]},
        "output": {"folder": str(out), "holds": [asdict(one) for one in output]},
        "gone": [asdict(one) | {"files": [str(path) for path in one.files]} for one in gone],
        "removed": [one.name for one in removed],
    }


def _holding(name: str, files: Iterable[tuple[int, float]]) -> Holding:
    found = list(files)
    oldest_s = min((made_s for _, made_s in found), default=None)
    return Holding(name, len(found), sum(size for size, _ in found), oldest_s)


def _states(folder: Path) -> Iterator[tuple[int, float]]:
    for path in folder.iterdir() if folder.is_dir() else ():
        if is_file(path):
            state = path.lstat()
            yield state.st_size, state.st_mtime


def _ago(then_s: float) -> str:
    days = int((time.time() - then_s) / DAY_S)
    return f"{plural(days, 'day')} ago" if days >= 1 else "today"  # also where the clock was set back
