"""What the schema found, in the performer's words: each finding becomes a `Problem` with both halves."""

import difflib
from collections.abc import Container, Iterable, Mapping
from typing import Any

from pydantic import ValidationError

from render.recipe.nodes import Path, Problem
from render.recipe.quantities import shown
from render.recipe.schema import LANDING_MARKER, Clip, JumpBack, Keep, LowCut, Part, Recipe, Track

MAX_LISTED = 24
"""Names that a message lists; more of them help nobody."""
MAX_COMPARED = 200
"""Names that a misspelt one is compared with: comparing takes time, and no page of YAML has more."""

_EXAMPLES = {
    "recipe": "write `recipe: 1` as the first line",
    "title": "write `title:` and what the combination is called",
    "tracks": "write `tracks:` with two or more records",
    "file": "write `file:` and where the recording lies",
    "keep": "write `keep:` with a list such as `- {from: start, track: …}`",
    "from": "write `from: start`, or another moment of the clip",
    "track": "write `track:` and one of the recipe's tracks",
    "at": "write `at: landing`, or another moment of the clip",
    "to": "write `to:` and a marker of the track",
}
_HOMES: dict[type[Part], str] = {
    Recipe: "at the left margin, not in here",
    Track: "to a track, under 'tracks' and its name",
    LowCut: "under 'low_cut'",
    Keep: "to an entry of 'keep', under 'low_cut'",
    JumpBack: "to an entry of 'jump_back'",
    Clip: "under 'clip'",
}


def part_at(path: Path) -> type[Part] | None:
    """The model of the mapping that stands at a path of the recipe."""
    match path:
        case ():
            return Recipe
        case ("tracks", _):
            return Track
        case ("low_cut",):
            return LowCut
        case ("low_cut", "keep", _):
            return Keep
        case ("jump_back", _):
            return JumpBack
        case ("clip",):
            return Clip
        case _:
            return None


def keys_of(part: type[Part]) -> list[str]:
    return [info.alias or name for name, info in part.model_fields.items()]


def nearest(word: str, known: Iterable[str], cutoff: float = 0.6) -> str | None:
    """The known word that was probably meant; `cutoff` is how alike they must be, from 0 to 1."""
    close = difflib.get_close_matches(word.lower(), list(known)[:MAX_COMPARED], n=1, cutoff=cutoff)
    return close[0] if close else None


def listed(words: Iterable[str]) -> str:
    words = list(words)
    more = f" and {len(words) - MAX_LISTED} more" if len(words) > MAX_LISTED else ""
    return ", ".join(map(shown, words[:MAX_LISTED])) + more


def did_you_mean(word: str, known: Iterable[str], kind: str) -> str:
    known = list(known)
    if close := nearest(word, known):
        return f"did you mean {shown(close)}?"
    return f"{kind}: {listed(known) or 'none'}"


def problems_of(error: ValidationError, written: Container[Path]) -> list[Problem]:
    """A problem for each finding; `written` are the paths of the keys that stand in the file."""
    return [
        _missing(found["loc"], found["loc"] in written) if found["type"] == "missing" else _problem(found)
        for found in error.errors(include_url=False)
        # A list whose entries are all broken counts as short, but is told of at its entries.
        if found["type"] != "too_short" or not found["input"]
    ]


def _problem(found: Mapping[str, Any]) -> Problem:
    path: Path = found["loc"]
    raw, context = found["input"], found.get("ctx", {})
    name = _named(path)
    match found["type"]:
        case "extra_forbidden":
            right = _where_it_belongs(path)
            return Problem(path, "unknown-key", f"there is no key {shown(path[-1])} here", right, at_key=True)
        case "model_type" | "dict_type":
            wrong = f"{shown(raw)} where {name} needs `name: value` lines"
            return Problem(path, "wrong-type", wrong, _form(path))
        case "tuple_type":
            wrong = f"{shown(raw)} where {name} needs a list"
            return Problem(path, "wrong-type", wrong, "begin each entry with `- `")
        case "literal_error":
            right = f"use {context['expected'].replace(chr(39), '')}"
            return Problem(path, "unknown-choice", f"{shown(raw)} is not a choice for {name}", right)
        case "too_short":
            return Problem(path, "empty", f"{name} is an empty list", "write one entry or leave the key out")
        case "too_long":
            wrong = f"{name} has {context['actual_length']} entries"
            return Problem(path, "too-many", wrong, f"{context['max_length']} are the most")
        case "int_type" | "int_from_float" | "greater_than_equal" | "less_than_equal":
            wrong = f"{shown(raw)} is not a count for {name}"
            return Problem(path, "not-a-count", wrong, "write a whole number from 1 to 32")
        case code if "what" in context:
            key = path[-1]
            return Problem(path, code, f"{key}: {context['what']}", context["right"])
        case code:
            wrong = f"{shown(raw)} does not fit {name}"
            return Problem(path, code, wrong, "see the recipe's format in the README")


def _form(path: Path) -> str:
    """How the mapping at a path is written."""
    match path:
        case ("tracks",) | ("try",):
            return "write one name after the other below it, indented"
        case ("tracks", _, "markers"):
            return "write them below it, indented, as in `drop: 1:29.614`"
        case ("tracks", _):
            return "write them below it, indented, as in `file: lanterns.flac`"
        case ("low_cut",):
            return "write `keep:` and its list below it, indented"
        case ("low_cut", "keep", _):
            return "write it like `- {from: landing, track: lanterns}`"
        case ("jump_back", _):
            return "write it like `- {track: lanterns, at: landing, to: loop}`"
        case ("clip",):
            return "write it like `{format: mp3, ceiling: -1 dBTP}`"
        case _:
            return "write what the variant changes, as in `{lead: 32 beats}`"


def _named(path: Path) -> str:
    """What stands at a path, for a sentence."""
    if isinstance(path[-1], int):
        return f"entry {path[-1] + 1} of {shown(path[-2])}"
    return shown(path[-1])


def _missing(path: Path, empty: bool) -> Problem:
    key, parent = str(path[-1]), path[:-1]
    where = _named(parent) if parent else "the recipe"
    wrong = f"nothing is written for '{key}'" if empty else f"{where} has no '{key}'"
    return Problem(path, "missing", wrong, _EXAMPLES[key], at_key=True)


def _where_it_belongs(path: Path) -> str:
    """What to do with a key that is unknown where it stands."""
    key, part = str(path[-1]), part_at(path[:-1])
    here = keys_of(part) if part else []
    if not nearest(key, here, cutoff=0.85):
        for other, place in _HOMES.items():
            if key in keys_of(other):
                return f"it belongs {place}"
        if part is Track and key == LANDING_MARKER:
            return "it belongs under 'markers'"
    return did_you_mean(key, here, "the keys here are")
