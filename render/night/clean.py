"""Clips that no recipe asks for any more, and their removal.

Ours is what a receipt is about: the receipt itself, and the clip, the picture, the log and the card that bear its
name; and the log of a clip that has failed, which says itself what it is. Everything else stays, and so does what a
link leads to. A recipe in error is one that is being worked on: all of its clips stay.
"""

import stat
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from render.faults import UsageError
from render.files.run_lock import held
from render.files.whole_file import output_error
from render.night.listening import PAGE, write_page
from render.night.log import LOG_SUFFIX, recipe_of_log
from render.night.made_clips import MadeClip, made_clips
from render.night.paths import CARDS, CLIPS, RECEIPT_SUFFIX, content_of, recipe_files
from render.night.words import say
from render.recipe.nodes import MAX_TEXT_BYTES
from render.recipe.reader import faults_of, read


@dataclass(frozen=True)
class Asked:
    """What recipes ask for, in small letters, as capitals make no other file on some disks."""

    clips: frozenset[str]
    recipes: frozenset[str]
    in_error: frozenset[str]
    """Recipes of which nobody knows what they ask for."""

    def why_gone(self, clip: str, recipe: str) -> str | None:
        """Why nothing asks for a clip of a recipe; None where something does."""
        clip, recipe = clip.casefold(), recipe.casefold()
        if clip in self.clips or recipe in self.in_error:
            return None
        return "its variant is gone" if recipe in self.recipes else "its recipe is gone"


@dataclass(frozen=True)
class Gone:
    """A clip, or the log of one, that nothing asks for. Its receipt comes last: until it goes, the rest is known."""

    name: str
    why: str
    files: tuple[Path, ...]
    size_bytes: int
    made_s: float
    """When, in seconds since 1970."""


def asked_by(paths: Iterable[Path]) -> Asked:
    """What recipes, folders of recipes and receipts ask for. Raises UsageError where a path cannot be taken."""
    clips, recipes, in_error = set(), set(), set()
    for path in recipe_files(paths):
        stem = path.stem.casefold()
        if path.suffix == RECEIPT_SUFFIX:
            clips.add(stem)
            continue
        recipes.add(stem)
        text = content_of(path, MAX_TEXT_BYTES + 1).decode(errors="replace")
        readings = read(text, str(path))
        if faults_of(readings, []):
            in_error.add(stem)
        clips |= {f"{stem}--{one.variant.casefold()}" if one.variant else stem for one in readings}
    return Asked(frozenset(clips), frozenset(recipes), frozenset(in_error))


def gone_from(out: Path, asked: Asked) -> list[Gone]:
    """The clips and logs in an output folder that nothing asks for, by name. Raises UsageError."""
    folder = out / CLIPS
    if folder.is_symlink():
        wrong = f"it is a link to {folder.resolve()}"
        raise UsageError(str(folder), wrong, "put the clips themselves there; links are not followed")
    found: dict[str, Gone] = {}
    for clip in made_clips(out):
        if isinstance(clip, MadeClip) and (why := asked.why_gone(clip.name, clip.plan.recipe)):
            receipt = folder / f"{clip.name}{RECEIPT_SUFFIX}"
            if is_file(receipt):
                found[clip.name] = _gone(clip.name, why, [*_beside(out, clip), receipt])
    for path in folder.glob(f"*{LOG_SUFFIX}"):
        recipe = recipe_of_log(path) if path.stem not in found and is_file(path) else None
        if recipe is not None and (why := asked.why_gone(path.stem, recipe)):
            found[path.stem] = _gone(path.stem, why, [path])
    return [found[name] for name in sorted(found)]


def remove(out: Path, gone: Sequence[Gone], asked: Asked) -> list[Gone]:
    """Remove what is gone, as far as it still is; what was removed. The listening page is made anew.

    Raises OutputError where another run is at work in the folder, and where a file may not be removed.
    """
    names = {one.name for one in gone}
    removed = []
    with held(out):
        for one in gone_from(out, asked):  # as it is now that nobody else is at work here
            if one.name in names:
                for path in one.files:
                    _unlink(path)
                removed.append(one)
        if removed and is_file(out / PAGE):
            write_page(out, out / CLIPS, say)
    return removed


def is_file(path: Path) -> bool:
    """Whether a file itself lies there, and no link to one."""
    try:
        return stat.S_ISREG(path.lstat().st_mode)
    except OSError:
        return False


def _beside(out: Path, clip: MadeClip) -> list[Path]:
    """What belongs to a clip besides its receipt."""
    folder, name = out / CLIPS, clip.name
    paths = [folder / f"{name}{suffix}" for suffix in (f".{clip.plan.format}", ".svg", LOG_SUFFIX)]
    if not (out / CARDS).is_symlink():
        paths.append(out / CARDS / f"{name}.html")
    return [path for path in paths if is_file(path)]


def _gone(name: str, why: str, files: list[Path]) -> Gone:
    found = [path.lstat() for path in files]
    return Gone(
        name, why, tuple(files), sum(one.st_size for one in found), max(one.st_mtime for one in found)
    )


def _unlink(path: Path) -> None:
    try:
        path.unlink(missing_ok=True)
    except OSError as error:
        raise output_error(path, error) from error
