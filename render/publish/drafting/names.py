"""Names in a draft: of tracks, of the recipe's file, of variants, and the title."""

import re
import unicodedata
from collections.abc import Iterable, Sequence
from pathlib import PurePath

from render.publish.lettering import spoken
from render.recipe.references import EVERYBODY, NOBODY

LONGEST = 24
"""Characters of a track's name: it is repeated on many lines."""
LONGEST_FILE_BYTES = 160
"""Leaves room for a variant's name and a suffix in the 255 bytes that file systems take."""
_MEANT_OTHERWISE = {EVERYBODY, NOBODY, "null", "true", "false", "yes", "no", "on", "off", "y", "n"}
"""Words of the recipe, and of YAML 1.1 and 1.2: other programs read some of them as no text."""
_NUMBER_OF_A_SIDE = re.compile(r"^[\d.]{1,4}[\s._-]+(?=[^\W\d])")
"""`03 - ` before a title, as rips and albums have it."""


def track_names(paths: Iterable[PurePath]) -> list[str]:
    """A name for each record, distinct also without capitals, made of its file's name."""
    names: list[str] = []
    for path in paths:
        names.append(distinct(_word(path.stem), names))
    return names


def recipe_stem(names: Sequence[str]) -> str:
    """The recipe's file name without its suffix: `lanterns-over-ironworks`."""
    first, second, *others = names
    more = {0: "", 1: f"-and-{others[0]}" if others else ""}.get(len(others), f"-and-{len(others)}-more")
    stem = f"{first}-over-{second}{more}"
    return stem.encode()[:LONGEST_FILE_BYTES].decode(errors="ignore")


def title(paths: Sequence[PurePath]) -> str:
    """`Lanterns over Ironworks`; with more records `Lanterns, Ironworks and Wickergauge`."""
    words = [_titled(path.stem) for path in paths]
    return " over ".join(words) if len(words) == 2 else spoken(words)


def variant_name(track: str, number: int, what: str) -> str:
    """`lanterns-gives-way`; variants are named in ASCII, so a track with other letters goes by its number."""
    return f"{track if track.isascii() else f'track-{number}'}-{what}"


def _word(stem: str) -> str:
    text = _NUMBER_OF_A_SIDE.sub("", unicodedata.normalize("NFC", stem)).lower()
    text = re.sub(r"[\W_]+", "-", text).strip("-")[:LONGEST].strip("-")
    if not text or not text[0].isalpha() or text in _MEANT_OTHERWISE:
        return f"track-{text}".strip("-")
    return text


def distinct(name: str, taken: Sequence[str]) -> str:
    """The name, with a number where it is taken, be it in other capitals."""
    folded = {one.casefold() for one in taken}
    number, free = 2, name
    while free.casefold() in folded:
        free, number = f"{name}-{number}", number + 1
    return free


def _titled(stem: str) -> str:
    words = " ".join(_NUMBER_OF_A_SIDE.sub("", stem).replace("_", " ").split()) or stem
    return words[:1].upper() + words[1:] if words == words.lower() else words
