"""The paths a person names, to the recipes and receipts that are meant by them."""

import os
import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path

from render.faults import UsageError
from render.files.book_file import BOOK

RECIPES = Path("recipes")
"""Where the recipes lie, if there is such a folder here."""
CLIPS = "clips"
"""The folder of the clips within the output folder."""
CARDS = "cards"
"""That of the stage cards."""
RECIPE_SUFFIXES = (".yaml", ".yml")
RECEIPT_SUFFIX = ".json"

CONTROL = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029\ud800-\udfff]")
"""Characters that garble the line they are told on, and half characters, which no UTF-8 text can hold."""


def unfit_for_a_name(name: str) -> bool:
    """Whether no clip can be called so: clips lie in one folder, and are told of in one line each."""
    return bool(CONTROL.search(name) or set(name) & set("/\\:") or not name.strip("."))


def recipe_files(paths: Iterable[Path]) -> list[Path]:
    """The recipes and receipts meant by paths, each once: files as named, folders by the recipes in them.

    The book, which may lie among the recipes, is known by its name and left out of a folder. Raises UsageError for
    what is not there, holds no recipe, or has a name that no clip can have.
    """
    files: dict[Path, None] = {}
    for path in paths:
        with _told(path):
            if path.is_dir():
                names = (p for p in path.iterdir() if p.name != BOOK and not p.name.startswith("."))
                found = sorted(p for p in names if _is_recipe(p))
                if not found:
                    raise UsageError(str(path), "no recipe in this folder", "a recipe ends in .yaml")
                files |= dict.fromkeys(found)
            elif not path.exists():
                raise UsageError(str(path), "no such file or folder", "name a recipe or a folder of recipes")
            elif not _is_recipe(path) and path.suffix != RECEIPT_SUFFIX:
                raise UsageError(str(path), "not a recipe by its name", "a recipe ends in .yaml")
            else:
                files[path] = None
    for file in files:
        if unfit_for_a_name(file.stem):
            shown = "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in str(file))
            wrong = "no clip can be called like this recipe"
            raise UsageError(shown, wrong, "rename it without / \\ : line breaks and other hidden characters")
    return list(files)


def content_of(path: Path, most_bytes: int) -> bytes:
    """The first bytes of a recipe or receipt. Raises UsageError where it is no file that can be read."""
    with _told(path):
        if not path.is_file():  # opening a pipe would wait for somebody to write
            raise UsageError(
                str(path), "there is no file behind this name", "remove it or put a recipe there"
            )
        with path.open("rb") as file:
            return file.read(most_bytes)


def _is_recipe(path: Path) -> bool:
    return path.suffix.lower() in RECIPE_SUFFIXES


@contextmanager
def _told(path: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        wrong = f"it cannot be read ({os.strerror(error.errno or 0)})"
        raise UsageError(str(path), wrong, "check its name and allow reading it") from error
