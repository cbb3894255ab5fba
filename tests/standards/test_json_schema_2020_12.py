"""JSON Schema, draft 2020-12 (Core and Validation): what `dropkiln schema` prints is a valid schema.

Published: the meta-schema and its vocabularies, as the packages jsonschema 4 and jsonschema-specifications carry them.
From memory: Core, 6.4, asks for patterns of ECMA-262, and 6.5 has unknown keywords ignored, so that a keyword that is
mistyped is no error of the meta-schema's; and what ECMA-262's RegExp with the flag `u` takes.
"""

import contextlib
import copy
import io
import json
import re
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from jsonschema import Draft202012Validator
from jsonschema.exceptions import SchemaError
from jsonschema_specifications import REGISTRY

from render.cli.app import app
from render.recipe.schema import json_schema

DIALECT = "https://json-schema.org/draft/2020-12/schema"

ONE = ("additionalProperties", "items", "contains", "propertyNames", "not", "if", "then", "else")
LISTED = ("allOf", "anyOf", "oneOf", "prefixItems")
NAMED = ("properties", "patternProperties", "$defs", "dependentSchemas")
"""Keywords whose value is a schema, a list of schemas, schemas by name (Core, 8.2.4 and 10)."""


def printed() -> Any:
    """What the command writes, as another program reads it."""
    with contextlib.redirect_stdout(io.StringIO()) as out:
        app(["schema"], standalone_mode=False)
    return json.loads(out.getvalue())


SCHEMA = printed()


def subschemas(schema: Any) -> Iterator[dict[str, Any]]:
    if not isinstance(schema, dict):
        return
    yield schema
    for key, value in schema.items():
        if key in ONE:
            yield from subschemas(value)
        elif key in (*LISTED, *NAMED):
            for inner in value if key in LISTED else value.values():
                yield from subschemas(inner)


def vocabulary() -> set[str]:
    """Every keyword that the vocabularies of the dialect define."""
    dialect = REGISTRY.resolver(DIALECT)
    parts = (dialect.lookup(part["$ref"]).contents for part in dialect.lookup("").contents["allOf"])
    return {keyword for part in parts for keyword in part["properties"]}


def unknown_keywords(schema: Any) -> set[str]:
    return {keyword for part in subschemas(schema) for keyword in part} - vocabulary()


def dangling(schema: Any) -> list[str]:
    """References that lead nowhere; all of ours lead to a definition."""
    references = [part["$ref"] for part in subschemas(schema) if "$ref" in part]
    return [one for one in references if one.removeprefix("#/$defs/") not in schema["$defs"]]


ESCAPE = re.compile(
    r"\\(?:[dDwWsSbBfnrtv0]|[\^$\\.*+?()\[\]{}|/]|u[0-9A-Fa-f]{4}|x[0-9A-Fa-f]{2})|\\(?P<wrong>.?)"
)
GROUP = re.compile(r"\(\?(?![:=!]|<[=!])(?P<wrong>.{0,2})")


def foreign(pattern: str) -> list[str]:
    """What Python takes in a pattern and ECMA-262 with `u` does not: other escapes, other groups."""
    escapes = [found["wrong"] for found in ESCAPE.finditer(pattern) if found["wrong"] is not None]
    return escapes + [found["wrong"] for found in GROUP.finditer(ESCAPE.sub("", pattern))]


def patterns(schema: Any) -> list[str]:
    return [part["pattern"] for part in subschemas(schema) if "pattern" in part]


def test_what_is_printed_is_a_valid_schema() -> None:
    assert SCHEMA["$schema"] == DIALECT
    Draft202012Validator.check_schema(SCHEMA, format_checker=Draft202012Validator.FORMAT_CHECKER)
    assert json_schema() == SCHEMA


def test_every_keyword_is_one_of_the_dialect() -> None:
    assert unknown_keywords(SCHEMA) == set()
    assert len(list(subschemas(SCHEMA))) > 50


def test_every_reference_leads_somewhere() -> None:
    assert dangling(SCHEMA) == []


@pytest.mark.parametrize("pattern", sorted(set(patterns(SCHEMA))))
def test_a_pattern_is_one_of_ecma_262(pattern: str) -> None:
    assert foreign(pattern) == []
    assert re.compile(pattern)


WRONG: dict[str, Callable[[Any], Any]] = {
    "a type that is none": lambda s: s["properties"]["title"].update(type="text"),
    "a number as text": lambda s: s["properties"]["tracks"].update(minProperties="2"),
    "fewer than none": lambda s: s["$defs"]["LowCut"]["properties"]["keep"].update(minItems=-1),
    "one name, not a list": lambda s: s["$defs"]["Track"].update(required="file"),
    "a list of items, as older drafts have it": lambda s: s["$defs"]["LowCut"]["properties"]["keep"].update(
        items=[{}]
    ),
    "a pattern that is none": lambda s: s["$defs"]["Clip"]["properties"]["ceiling"].update(pattern="("),
}


@pytest.mark.parametrize("wrong", WRONG)
def test_a_schema_that_is_wrong_somewhere_is_refused(wrong: str) -> None:
    broken = copy.deepcopy(SCHEMA)
    WRONG[wrong](broken)
    assert broken != SCHEMA
    with pytest.raises(SchemaError):
        Draft202012Validator.check_schema(broken, format_checker=Draft202012Validator.FORMAT_CHECKER)


def test_a_mistyped_keyword_and_a_reference_to_nothing_would_be_noticed() -> None:
    """The meta-schema notices neither."""
    broken = copy.deepcopy(SCHEMA)
    broken["$defs"]["LowCut"]["properties"]["keep"] |= {"minItem": 1, "items": {"$ref": "#/$defs/Keeper"}}
    Draft202012Validator.check_schema(broken)
    assert unknown_keywords(broken) == {"minItem"}
    assert dangling(broken) == ["#/$defs/Keeper"]


@pytest.mark.parametrize("pattern", [r"(?P<bar>\d+)", r"^x\Z", r"(?i)bar", r"a\-b", r"\Abar", r"(?#no)"])
def test_a_pattern_of_python_alone_would_be_noticed(pattern: str) -> None:
    assert foreign(pattern)
