"""A recipe file's text to the recipes in it: the one as written and its variants.

All faults of a file are found in one reading. What is broken is taken out, so that the rest can still be
checked against itself and, later, against the recordings; nothing is ever rendered from a broken recipe.
"""

import copy
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError

from render.faults import Fault
from render.recipe.nodes import Path, Problem, Tree, read_tree
from render.recipe.patch import patched
from render.recipe.references import (
    EVERYBODY,
    MAX_VARIANTS,
    NAMELESS,
    reference_problems,
    variant_problems,
)
from render.recipe.schema import JumpBack, Keep, LowCut, Part, Recipe, Track
from render.recipe.wording import keys_of, part_at, problems_of

_STAND_INS: dict[type[Part], dict[str, Any]] = {
    Recipe: {"recipe": 1, "title": "untitled", "tracks": {}},
    Track: {"file": "-"},
    Keep: {"from": "start", "track": EVERYBODY},
    LowCut: {"keep": [{"from": "start", "track": EVERYBODY}]},
    JumpBack: {"track": NAMELESS, "at": "landing", "to": 0},
}
_HARMLESS = ("title", "recipe", "clip", "try")
"""Top-level parts that decide nothing about what plays when."""
MAX_PROBLEMS = 500
"""Where a file has more of them, no further variants are read: they would only repeat what nobody reads."""


@dataclass(frozen=True)
class Reading:
    """One recipe of a file, as far as it could be read. `variant` is empty for the recipe as written."""

    file: str
    variant: str
    recipe: Recipe | None
    tree: Tree
    problems: tuple[Problem, ...]

    @property
    def plannable(self) -> bool:
        """Whether everything outside the tracks that decides the plan could be read."""
        broken = (p.path[0] for p in self.problems if p.path)
        return self.recipe is not None and all(top == "tracks" or top in _HARMLESS for top in broken)

    def is_whole(self, track: str) -> bool:
        """Whether everything of a track could be read."""
        return not any(p.path[:2] == ("tracks", track) for p in self.problems)

    def fault(self, problem: Problem) -> Fault:
        line, column = self.tree.place_of(problem)
        return Fault(self.file, line, column, problem.code, problem.wrong, problem.right)


def read(text: str, file: str) -> list[Reading]:
    """Every recipe of a file's text, the one as written first. `file` is the name that faults show."""
    tree, problems = read_tree(text.removeprefix("\N{ZERO WIDTH NO-BREAK SPACE}"))
    if tree.data is None:
        problems = problems or [Problem((), "empty", "the file holds no recipe", "begin with `recipe: 1`")]
        return [Reading(file, "", None, tree, tuple(problems))]
    base = Tree(without_nothing(tree.data), tree.values, tree.keys)
    readings = [_reading(file, "", base, problems)]
    variants = base.data.get("try") if isinstance(base.data, dict) else None
    for name, patch in list(variants.items())[:MAX_VARIANTS] if isinstance(variants, dict) else ():
        if sum(len(reading.problems) for reading in readings) > MAX_PROBLEMS:
            break
        if isinstance(patch, dict):
            variant = patched(base, ("try", name))
            variant.data.pop("try", None)
            variant.data = without_nothing(variant.data)
            readings.append(_reading(file, name, variant, []))
    return readings


def faults_of(readings: Iterable[Reading], found: Iterable[tuple[Reading, Problem]] = ()) -> list[Fault]:
    """All faults of one file's readings, each once; what only a variant has wrong says so.

    `found` adds problems that the recordings or the plan brought up.
    """
    by_reading = [(reading, problem) for reading in readings for problem in reading.problems]
    faults: dict[Fault, None] = {}
    for reading, problem in [*by_reading, *found]:
        fault = reading.fault(problem)
        if reading.variant and fault not in faults:
            fault = reading.fault(
                Problem(
                    problem.path,
                    problem.code,
                    f"in variant '{reading.variant}': {problem.wrong}",
                    problem.right,
                    problem.at_key,
                    problem.place,
                )
            )
        faults[fault] = None
    return sorted(faults)


def _reading(file: str, variant: str, tree: Tree, problems: list[Problem]) -> Reading:
    found = list(problems)
    recipe = None
    if isinstance(tree.data, dict):
        recipe = _as_recipe(tree, found)
        if recipe is not None:
            found.extend(reference_problems(recipe, tree.data))
        if not variant and isinstance(tree.data.get("try"), dict):
            found.extend(variant_problems(tree.data["try"]))
    else:
        right = "begin with `recipe: 1`, then `title:` and `tracks:`"
        found.append(Problem((), "wrong-type", "this is not a recipe but a list or a single value", right))
    return Reading(file, variant, recipe, tree, tuple(found))


def without_nothing(data: Any, path: Path = ()) -> Any:
    """The data without the known keys that nothing is written for: `fade_in:` alone is `fade_in` left out."""
    if isinstance(data, list):
        return [without_nothing(item, (*path, index)) for index, item in enumerate(data)]
    if not isinstance(data, dict):
        return data
    part = part_at(path)
    known = keys_of(part) if part else ()
    return {
        key: without_nothing(value, (*path, key))
        for key, value in data.items()
        if value is not None or key not in known
    }


def _as_recipe(tree: Tree, found: list[Problem]) -> Recipe | None:
    """The recipe without its broken parts; what is broken is added to `found`."""
    try:
        return Recipe.model_validate(tree.data)
    except ValidationError as error:
        found.extend(problems_of(error, tree.keys))
        return _remainder(tree.data, error)


def _remainder(data: dict[str, Any], error: ValidationError) -> Recipe | None:
    """What stays valid with broken values left out, and with stand-ins where a value is needed.

    The stand-ins only let the other values be checked: a recipe with a problem is never planned from them.
    """
    kept = copy.deepcopy(data)
    for found in error.errors(include_url=False):
        path = found["loc"]
        holder = _holder(kept, path)
        stand_in = _STAND_INS.get(part_at(path[:-1]) or Part, {}).get(str(path[-1]))
        if isinstance(holder, dict):
            holder.pop(str(path[-1]), None)
            if stand_in is not None:
                holder[str(path[-1])] = stand_in
        elif isinstance(holder, list):
            holder[int(path[-1])] = _STAND_INS[part_at(path) or Part]
    try:
        return Recipe.model_validate(kept)
    except ValidationError:
        return None


def _holder(data: Any, path: Path) -> Any:
    """The mapping or list that holds the last step of a path; None where an outer fault took it away."""
    for step in path[:-1]:
        if isinstance(data, dict) and step in data:
            data = data[str(step)]
        elif isinstance(data, list) and isinstance(step, int):
            data = data[step]
        else:
            return None
    return data
