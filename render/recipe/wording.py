"""What the schema found, in the performer's words: each finding becomes a `Problem` with both halves."""

import difflib
from collections.abc import Iterable, Mapping
from typing import Any

from pydantic import ValidationError

from render.recipe.nodes import Path, Problem
from render.recipe.schema import Clip, JumpBack, Keep, LowCut, Part, Recipe, Track

_NOT_MEASURED = {
    "bpm": "state its tempo, as in `bpm: 174`",
    "first_beat": "state when bar 1 beat 1 sounds, as in `first_beat: 0.312 s`",
    "markers": "state at least where it drops, as in `markers: {drop: 1:29.614}`",
}
_EXAMPLES = {
    "recipe": "`recipe: 1` as the first line",
    "title": "`title:` and what the combination is called",
    "tracks": "`tracks:` with two or more records",
    "file": "`file:` and where the recording lies",
    "keep": "`keep:` with a list such as `- {from: start, track: …}`",
    "from": "`from: start`, `landing` or `end`",
    "track": "`track:` and one of the recipe's tracks",
    "at": "`at: landing` or another place in the clip",
    "to": "`to:` and a marker of the track",
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


def nearest(word: str, known: Iterable[str]) -> str | None:
    """The known word that was probably meant."""
    close = difflib.get_close_matches(word.lower(), list(known), n=1, cutoff=0.6)
    return close[0] if close else None


def listed(words: Iterable[str]) -> str:
    return ", ".join(f"'{word}'" for word in words)


def did_you_mean(word: str, known: Iterable[str], kind: str) -> str:
    known = list(known)
    if close := nearest(word, known):
        return f"did you mean '{close}'?"
    return f"{kind}: {listed(known)}" if known else f"there are no {kind}"


def problems_of(error: ValidationError) -> list[Problem]:
    return [_problem(found) for found in error.errors(include_url=False)]


def _problem(found: Mapping[str, Any]) -> Problem:
    path: Path = found["loc"]
    key = str(path[-1]) if path else ""
    raw, context = found["input"], found.get("ctx", {})
    match found["type"]:
        case "missing":
            return _missing(path, key)
        case "extra_forbidden":
            part = part_at(path[:-1])
            right = did_you_mean(key, keys_of(part) if part else (), "the keys here are")
            return Problem(path, "unknown-key", f"there is no key '{key}' here", right, at_key=True)
        case "model_type" | "dict_type" | "mapping_type":
            wrong = (
                f"{_kind(raw)} where '{key}' needs a mapping" if path else f"{_kind(raw)} instead of a recipe"
            )
            return Problem(path, "wrong-type", wrong, "write `name: value` lines, indented, below it")
        case "tuple_type" | "list_type":
            return Problem(
                path, "wrong-type", f"{_kind(raw)} where '{key}' needs a list", "begin each entry with `- `"
            )
        case "literal_error" if path == ("recipe",):
            return Problem(
                path, "version", f"recipe format '{raw}' is not known", "this program reads `recipe: 1`"
            )
        case "literal_error":
            return Problem(
                path,
                "unknown-choice",
                f"'{raw}' is not a choice for '{key}'",
                f"use {context['expected'].replace(chr(39), '')}",
            )
        case "too_short":
            return Problem(path, "empty", f"'{key}' is an empty list", "write one entry or leave the key out")
        case "int_type" | "int_from_float" | "greater_than_equal" | "less_than_equal":
            return Problem(
                path,
                "not-a-count",
                f"{_shown(raw)} is not a count for '{key}'",
                "write a whole number from 1 to 32",
            )
        case code if "what" in context:
            return Problem(
                path, code, f"{key}: {context['what']}" if key else context["what"], context["right"]
            )
        case code:
            return Problem(
                path, code, f"{key}: {found['msg'].lower()}", "see the recipe's format in the README"
            )


def _missing(path: Path, key: str) -> Problem:
    parent = path[:-1]
    if len(path) == 3 and path[0] == "tracks" and key in _NOT_MEASURED:
        wrong = f"track '{path[1]}' has no '{key}', which is not measured yet"
        return Problem(parent, "missing", wrong, _NOT_MEASURED[key], at_key=True)
    where = (
        f"'{parent[-1]}'"
        if parent and isinstance(parent[-1], str)
        else "this entry"
        if parent
        else "the recipe"
    )
    return Problem(
        parent, "missing", f"{where} has no '{key}'", f"write {_EXAMPLES.get(key, f'`{key}:`')}", at_key=True
    )


def _kind(raw: Any) -> str:
    match raw:
        case None:
            return "nothing"
        case dict():
            return "a mapping"
        case list() | tuple():
            return "a list"
        case _:
            return _shown(raw)


def _shown(raw: Any) -> str:
    text = str(raw)
    return f"'{text}'" if len(text) <= 40 else f"'{text[:39]}…'"
