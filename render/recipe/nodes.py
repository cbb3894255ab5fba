"""YAML text to plain data that remembers where each piece was written.

The reader takes the parser's events, not its objects: so `1:32` stays text and is not read as sixty-based 92,
`no` stays a word (YAML 1.2 core schema), duplicate keys are seen, and nothing is ever expanded or nested
beyond a bound.
"""

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from ruamel.yaml import YAML
from ruamel.yaml.error import MarkedYAMLError
from ruamel.yaml.events import (
    AliasEvent,
    DocumentStartEvent,
    MappingEndEvent,
    MappingStartEvent,
    ScalarEvent,
    SequenceEndEvent,
    SequenceStartEvent,
)
from ruamel.yaml.reader import ReaderError

MAX_TEXT_BYTES = 64 * 1024
"""A recipe is a page; whatever is larger is not one."""
MAX_DEPTH = 16
"""The format itself needs seven levels."""

Path = tuple[str | int, ...]

_NULL = re.compile(r"~|null|Null|NULL|")
_TRUE = re.compile(r"true|True|TRUE")
_FALSE = re.compile(r"false|False|FALSE")
_INT = re.compile(r"[-+]?[0-9]{1,400}")
_FLOAT = re.compile(r"[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]{1,4})?")


class Place(NamedTuple):
    """Line and column in the file, both from 1."""

    line: int
    column: int


TOP = Place(1, 1)


@dataclass
class Problem:
    """A fault before it knows its file and line: where it is in the recipe's tree, or the place itself."""

    path: Path
    code: str
    wrong: str
    right: str
    at_key: bool = False
    place: Place | None = None


@dataclass
class Tree:
    """Plain data (dict, list, str, int, float, bool, None) with the place of every key and value."""

    data: Any = None
    values: dict[Path, Place] = field(default_factory=dict)
    keys: dict[Path, Place] = field(default_factory=dict)

    def place_of(self, problem: Problem) -> Place:
        """The place to show for a problem: its own, or that of the nearest part that was written."""
        if problem.place:
            return problem.place
        if problem.at_key and problem.path in self.keys:
            return self.keys[problem.path]
        path = problem.path
        if path in self.values:
            return self.values[path]
        while path and path not in self.keys and path not in self.values:
            path = path[:-1]
        return self.keys.get(path) or self.values.get(path) or TOP


class _Stop(Exception):
    def __init__(self, problem: Problem) -> None:
        self.problem = problem


def read_tree(text: str) -> tuple[Tree, list[Problem]]:
    """The tree of a YAML text and what is wrong with it as YAML; the tree is empty where it cannot be read."""
    tree = Tree()
    problems: list[Problem] = []
    if len(text.encode("utf-8", "surrogatepass")) > MAX_TEXT_BYTES:
        wrong = f"the file is larger than {MAX_TEXT_BYTES // 1024} KiB"
        return tree, [Problem((), "too-large", wrong, "a recipe is a page of YAML at the most", place=TOP)]
    try:
        _Builder(tree, problems).build(iter(YAML(typ="safe", pure=True).parse(text)))
    except _Stop as stop:
        return Tree(), [*problems, stop.problem]
    except MarkedYAMLError as error:
        return Tree(), [*problems, _syntax_problem(error)]
    except ReaderError as error:
        return Tree(), [*problems, _character_problem(text, error)]
    except ValueError:
        # The parser refuses a malformed directive or escape with a bare ValueError.
        wrong = "not readable as YAML: a malformed number, escape or directive"
        return Tree(), [
            *problems,
            Problem((), "yaml", wrong, "write plain values as in the README", place=TOP),
        ]
    return tree, problems


class _Builder:
    """One pass over the events of one document."""

    def __init__(self, tree: Tree, problems: list[Problem]) -> None:
        self.tree, self.problems = tree, problems
        self.documents = 0

    def build(self, events: Iterator[Any]) -> None:
        for event in events:
            if isinstance(event, DocumentStartEvent):
                self.documents += 1
                if self.documents > 1:
                    raise _Stop(
                        Problem(
                            (),
                            "documents",
                            "a second document starts here",
                            "one recipe a file",
                            place=_place(event),
                        )
                    )
            elif isinstance(event, (ScalarEvent, MappingStartEvent, SequenceStartEvent, AliasEvent)):
                self.tree.data = self.node(event, events, ())

    def node(self, event: Any, events: Iterator[Any], path: Path) -> Any:
        self._refuse_yaml_extras(event)
        if len(path) > MAX_DEPTH:
            wrong = f"nested deeper than {MAX_DEPTH} levels"
            raise _Stop(Problem(path, "too-deep", wrong, "a recipe needs seven", place=_place(event)))
        self.tree.values[path] = _place(event)
        if isinstance(event, ScalarEvent):
            return event.value if event.style else plain_scalar(event.value)
        if isinstance(event, SequenceStartEvent):
            items: list[Any] = []
            for inner in events:
                if isinstance(inner, SequenceEndEvent):
                    break
                items.append(self.node(inner, events, (*path, len(items))))
            return items
        return self.mapping(events, path)

    def mapping(self, events: Iterator[Any], path: Path) -> dict[str, Any]:
        found: dict[str, Any] = {}
        for key_event in events:
            if isinstance(key_event, MappingEndEvent):
                break
            self._refuse_yaml_extras(key_event)
            if not isinstance(key_event, ScalarEvent):
                wrong = "a key that is not a plain word"
                raise _Stop(Problem(path, "bad-key", wrong, "write `name: value`", place=_place(key_event)))
            key, place = str(key_event.value), _place(key_event)
            inner = (*path, key)
            if key in found:
                first = self.tree.keys[inner].line
                self.problems.append(
                    Problem(
                        inner,
                        "duplicate-key",
                        f"'{key}' is written twice, first in line {first}",
                        "keep one of them",
                        place=place,
                    )
                )
                # Read over, so that the rest of the file is checked too.
                self.node(next(events), events, (*path, f"{key}\0again"))
                continue
            self.tree.keys[inner] = place
            found[key] = self.node(next(events), events, inner)
        return found

    @staticmethod
    def _refuse_yaml_extras(event: Any) -> None:
        if isinstance(event, AliasEvent):
            extra, name = "an alias", f"*{event.anchor}"
        elif event.anchor is not None:
            extra, name = "an anchor", f"&{event.anchor}"
        elif event.tag is not None:
            extra, name = "a tag", str(event.tag)
        else:
            return
        wrong = f"{extra} ({name})"
        right = "write the value out; a recipe has no anchors, aliases or tags"
        raise _Stop(Problem((), "yaml-extra", wrong, right, place=_place(event)))


def plain_scalar(text: str) -> Any:
    """An unquoted scalar by the YAML 1.2 core schema (YAML 1.2.2, section 10.3.2), without octal and hex."""
    if _NULL.fullmatch(text):
        return None
    if _TRUE.fullmatch(text):
        return True
    if _FALSE.fullmatch(text):
        return False
    if _INT.fullmatch(text):
        return int(text)
    if _FLOAT.fullmatch(text):
        number = float(text)
        return number if math.isfinite(number) else text
    return text


def _place(event: Any) -> Place:
    return Place(event.start_mark.line + 1, event.start_mark.column + 1)


def _syntax_problem(error: MarkedYAMLError) -> Problem:
    mark = error.problem_mark or error.context_mark
    place = Place(mark.line + 1, mark.column + 1) if mark else TOP
    said = " ".join(str(error.problem or error.context or "it cannot be read").split())
    if "'\\t'" in said:
        return Problem((), "tab", "a tab", "indent with spaces", place=place)
    return Problem(
        (), "yaml", f"not readable as YAML: {said}", "write `name: value`, indented with spaces", place=place
    )


def _character_problem(text: str, error: ReaderError) -> Problem:
    position = min(error.position, len(text))
    before = text[:position]
    place = Place(before.count("\n") + 1, position - before.rfind("\n"))
    return Problem(
        (), "character", "a character that YAML does not allow", "remove it or retype the line", place=place
    )
