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

from render.recipe.syntax import explained

MAX_TEXT_BYTES = 64 * 1024
"""A recipe is a page; whatever is larger is not one."""
MAX_DEPTH = 16
"""The format itself needs seven levels."""
MAX_SHOWN = 48
"""Characters of somebody's text that a message repeats."""

Path = tuple[str | int, ...]

_NULL = re.compile(r"~|null|Null|NULL|")
_TRUE = re.compile(r"true|True|TRUE")
_FALSE = re.compile(r"false|False|FALSE")
_INT = re.compile(r"[-+]?[0-9]{1,18}")
_FLOAT = re.compile(r"[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]{1,4})?")
_HIDDEN = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ud800-\udfff]"
)
"""Characters that no recipe needs, and that would garble the line a fault is told on: controls, line ends, half
characters, and what turns the direction of writing (Unicode Standard Annex 9, sections 2.1 to 2.4)."""


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
        path = problem.path
        if problem.at_key and path in self.keys:
            return self.keys[path]
        if path in self.values:
            return self.values[path]
        while path:
            path, step = path[:-1], path[-1]
            # A missing key is told at the name of what lacks it, an entry of a list at the list.
            for places in (self.values, self.keys) if isinstance(step, int) else (self.keys, self.values):
                if path in places:
                    return places[path]
        return TOP


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
        return Tree(), [*problems, _character_problem(text, error.position)]
    except (ValueError, OverflowError):
        # The parser meets a number that is out of range in an escape or a directive.
        found = re.search(r"\\[xuU]|^%", text, re.MULTILINE)
        return Tree(), [*problems, _character_problem(text, found.start() if found else 0)]
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
            return self.scalar(event, path)
        if isinstance(event, SequenceStartEvent):
            items: list[Any] = []
            for inner in events:
                if isinstance(inner, SequenceEndEvent):
                    break
                items.append(self.node(inner, events, (*path, len(items))))
            return items
        return self.mapping(events, path)

    def scalar(self, event: Any, path: Path) -> Any:
        text, hidden = _HIDDEN.subn("\N{REPLACEMENT CHARACTER}", event.value)
        if hidden:
            self.problem(path, "character", "a control character in this text", "retype it", event)
        return text if event.style else plain_scalar(text)

    def mapping(self, events: Iterator[Any], path: Path) -> dict[str, Any]:
        found: dict[str, Any] = {}
        for key_event in events:
            if isinstance(key_event, MappingEndEvent):
                break
            key = self.key(key_event, events, path)
            value_event = next(events)
            if not key or key in found:
                if key:
                    wrong = f"'{shortened(key)}' is written twice, first in line {self.tree.keys[*path, key].line}"
                    self.problem((*path, key), "duplicate-key", wrong, "keep one of them", key_event)
                # Read over, so that the rest of the file is checked too.
                self.node(value_event, events, (*path, "\0skipped"))
                continue
            inner = (*path, key)
            self.tree.keys[inner] = _place(key_event)
            found[key] = self.node(value_event, events, inner)
            if found[key] is None and not value_event.value:
                # Where nothing is written the parser is already at the next word.
                self.tree.values[inner] = self.tree.keys[inner]
        return found

    def key(self, event: Any, events: Iterator[Any], path: Path) -> str:
        """A mapping's key; empty, and a problem, where it is not a word on one line."""
        self._refuse_yaml_extras(event)
        key = str(event.value) if isinstance(event, ScalarEvent) else ""
        if not key or " ".join(key.split()) != key or _HIDDEN.search(key):
            self.problem(path, "bad-key", "a key that is not a plain word", "write `name: value`", event)
            if not isinstance(event, ScalarEvent):
                self.node(event, events, (*path, "\0skipped"))
            return ""
        return key

    def problem(self, path: Path, code: str, wrong: str, right: str, event: Any) -> None:
        self.problems.append(Problem(path, code, wrong, right, place=_place(event)))

    @staticmethod
    def _refuse_yaml_extras(event: Any) -> None:
        if isinstance(event, AliasEvent):
            extra, name = "an alias", f"*{event.anchor}"
        elif event.anchor is not None:
            extra, name = "an anchor", f"&{event.anchor}"
        elif event.tag is not None:
            extra, name = "a tag", str(event.tag).replace("tag:yaml.org,2002:", "!!")
        else:
            return
        wrong = f"{extra}, {shortened(name)}"
        right = "write the value out, for a recipe has no anchors, aliases or tags"
        raise _Stop(Problem((), "yaml-extra", wrong, right, place=_place(event)))


def shortened(text: str) -> str:
    """At most a few words of a text, on one line."""
    line = " ".join(text.split())
    return line if len(line) <= MAX_SHOWN else f"{line[: MAX_SHOWN - 1]}…"


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
    said = explained(error)
    mark = error.context_mark if said.at_opening else error.problem_mark
    mark = mark or error.problem_mark or error.context_mark
    place = Place(mark.line + 1, mark.column + 1) if mark else TOP
    return Problem((), said.code, said.wrong, said.right, place=place)


def _character_problem(text: str, position: int) -> Problem:
    lines = re.split(r"\r\n?|\n", text[:position])
    place = Place(len(lines), len(lines[-1]) + 1)
    wrong = "a character that cannot stand in a recipe"
    return Problem((), "character", wrong, "remove it or retype the line", place=place)
