"""A decided recipe as YAML that a person likes to edit: remarks beside what they are about, in one column.

The data is plain: mappings, lists, text, numbers, None. Remarks are given by the path of what they stand beside.
"""

import json
import re
import textwrap
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

Path = tuple[str | int, ...]

WIDTH = 110
"""Columns of a line, as far as it can be broken."""
REMARK_COLUMN = 36
_INDENT = "  "
_PLAIN = re.compile(
    r"(?!.* #)(?!(?:null|true|false|yes|no|on|off)$)(?:\.\.?/)*[^\W\d](?:[\w ./+#-]*[\w])?", re.IGNORECASE
)
"""Text that needs no quotes anywhere: it begins with a letter, and holds no sign that YAML reads."""
_QUANTITY = re.compile(r"\d+:\d\d\.\d+|[+-]?[\d.]+ [A-Za-z]+")


@dataclass
class Remarks:
    """What is said beside values, on lines of its own below them, and above everything."""

    above: list[str] = field(default_factory=list)
    """Paragraphs; an empty one is an empty comment line."""
    beside: dict[Path, str] = field(default_factory=dict)
    below: dict[Path, list[tuple[str, str]]] = field(default_factory=dict)
    """Lines that are commented out, each with its remark."""


def yaml_text(data: Mapping[str, Any], remarks: Remarks) -> str:
    """The text, ending with a line break."""
    lines: list[str] = []
    for paragraph in remarks.above:
        lines += [f"# {line}".rstrip() for line in textwrap.wrap(paragraph, WIDTH - 2) or [""]]
    lines += _mapping(data, remarks, ())
    return "\n".join(lines) + "\n"


def _mapping(data: Mapping[str, Any], remarks: Remarks, path: Path) -> Iterator[str]:
    indent = _INDENT * len(path)
    for place, (key, value) in enumerate(data.items()):
        here = (*path, key)
        if _apart(path, place, value):
            yield ""
        remark = remarks.beside.get(here, "")
        if isinstance(value, Mapping) and not _on_one_line(here, value):
            yield from _line(f"{indent}{scalar(key)}:", remark)
            yield from _mapping(value, remarks, here)
        elif isinstance(value, Sequence) and not isinstance(value, str) and _goes_below(here, value):
            yield from _line(f"{indent}{scalar(key)}:", remark)
            items = [f"{indent}{_INDENT}- {flow(item)}" for item in value]
            start = max(len(item) for item in items) + 2
            for index, item in enumerate(items):
                yield from _line(item, remarks.beside.get((*here, index), ""), start)
        else:
            yield from _line(f"{indent}{scalar(key)}: {flow(value)}", remark)
        for text, beside in remarks.below.get(here, ()):
            yield from _line(f"{indent}# {text}", beside)


def _apart(path: Path, place: int, value: Any) -> bool:
    """Whether an empty line comes before: parts of the recipe stand apart, and so do tracks."""
    return (not path and isinstance(value, Mapping | list)) or (path == ("tracks",) and place > 0)


def _on_one_line(path: Path, value: Mapping[str, Any]) -> bool:
    """What fits a line of a variant is written on one, and a variant that leaves room for its remark."""
    if path[0] != "try" or len(path) < 2 or _lists(value):
        return False
    indented = len(_INDENT) * (len(path) - 1) + len(str(path[-1])) + 2
    return indented + len(flow(value)) <= (WIDTH // 2 if len(path) == 2 else WIDTH)


def _lists(value: Any) -> bool:
    """Whether there is a list of more than one entry in a value."""
    if isinstance(value, Mapping):
        return any(map(_lists, value.values()))
    return isinstance(value, list) and len(value) > 1


def _goes_below(path: Path, value: Sequence[Any]) -> bool:
    """A list of moments gets a line for each; words stay together while they fit."""
    return any(isinstance(item, Mapping) for item in value) or len(flow(value)) > WIDTH // 2


def _line(text: str, remark: str, column: int = 0) -> Iterator[str]:
    """A line with its remark, from a column on or further right; it goes on below itself where it is long."""
    if not remark:
        yield text
        return
    start = max(REMARK_COLUMN, column, len(text) + 2)
    parts = textwrap.wrap(remark, max(WIDTH - start - 2, 40), break_long_words=False)
    yield f"{text:<{start}}# {parts[0]}"
    for part in parts[1:]:
        yield f"{'':<{start}}# {part}"


def flow(value: Any) -> str:
    """A value on one line."""
    match value:
        case None:
            return "null"
        case Mapping():
            return "{" + ", ".join(f"{scalar(key)}: {flow(one)}" for key, one in value.items()) + "}"
        case list() | tuple():
            return "[" + ", ".join(map(flow, value)) + "]"
        case _:
            return scalar(value)


def scalar(value: str | int | float) -> str:
    """One value, in quotes where YAML would read it as something else or break on it."""
    if not isinstance(value, str):
        return f"{value:.10g}"
    if _PLAIN.fullmatch(value) or _QUANTITY.fullmatch(value):
        return value
    return "".join(map(_escaped, json.dumps(value, ensure_ascii=False)))


def _escaped(character: str) -> str:
    """A character as a double-quoted YAML text holds it (YAML 1.2.2, 5.7)."""
    if character.isprintable():
        return character
    code = ord(character)
    return f"\\u{code:04x}" if code <= 0xFFFF else f"\\U{code:08x}"
