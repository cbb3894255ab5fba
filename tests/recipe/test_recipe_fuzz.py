"""Whatever stands in a file: reading ends soon, never raises, and every fault is one line at a place in the file."""

import copy
import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from kinds import KINDS, RIGHT_KINDS, dumped
from ruamel.yaml import YAML
from test_recipe_faults import LEAKS
from written import FILE, FULL, LEAST, faults

from render.recipe.nodes import read_tree
from render.recipe.reader import read

EXAMPLES = settings.default.max_examples
SOON_S = 3.0
"""Texts of this size are read in milliseconds; processor time, whatever else the machine does."""


def assert_read(text: str) -> None:
    began_s = time.process_time()
    found = faults(text)
    assert time.process_time() - began_s < SOON_S
    lines = text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n").split("\n")
    for one in found:
        assert one.file == FILE
        assert 1 <= one.line <= len(lines)
        assert 1 <= one.column <= len(lines[one.line - 1]) + 1
        assert len(str(one).splitlines()) == 1
        assert len(str(one)) < 1000
        assert one.wrong
        assert one.right
    assert found == sorted(set(found))
    # A recipe that cannot be read says why; one that says nothing can be read.
    assert found or all(reading.recipe is not None for reading in read(text, FILE))


@given(st.text())
def test_any_text(text):
    assert_read(text)


@given(st.text(alphabet="ab1:-? {}[],\"'#&*!|>%@`\\~<=.\n\t\r", max_size=40))
@settings(max_examples=7 * EXAMPLES)
def test_text_of_the_signs_that_yaml_knows(text):
    assert_read(text)


@given(st.lists(st.sampled_from(FULL.split()), max_size=30), st.data())
def test_the_words_of_a_recipe_in_any_order(words, data):
    gaps = st.sampled_from([" ", "\n", "\n  ", "\n    ", ": ", "\n  - ", ", "])
    assert_read("".join(word + data.draw(gaps) for word in words))


@st.composite
def mutated(draw, base):
    """A good recipe after a few slips of the hand: signs or lines deleted, doubled, swapped or replaced."""
    text = draw(st.sampled_from(base))
    for _ in range(draw(st.integers(1, 4))):
        parts = text.splitlines(keepends=True) if draw(st.booleans()) else list(text)
        if not parts:
            break
        at = draw(st.integers(0, len(parts) - 1))
        other = draw(st.integers(0, len(parts) - 1))
        match draw(st.sampled_from(["delete", "double", "swap", "replace", "insert", "cut"])):
            case "delete":
                del parts[at]
            case "double":
                parts.insert(at, parts[at])
            case "swap":
                parts[at], parts[other] = parts[other], parts[at]
            case "replace":
                parts[at] = draw(st.characters() | st.sampled_from(": -#\t\n{}[]&*'\""))
            case "insert":
                parts.insert(
                    at,
                    draw(st.sampled_from(["  ", "\t", "- ", ": ", "{", "]", "'", '"', "&a ", "\r", "\x85"])),
                )
            case _:
                parts = parts[:at]
        text = "".join(parts)
    return text


@given(mutated([FULL, LEAST]))
@settings(max_examples=7 * EXAMPLES)
def test_a_good_recipe_after_slips_of_the_hand(text):
    assert_read(text)
    for one in faults(text):
        # Words of the performer's own may come in by a slip, those of the libraries may not.
        assert not LEAKS.search(one.wrong.split("'")[0]), one


values = st.recursive(
    st.sampled_from([*KINDS.values()])
    | st.text(max_size=8)
    | st.integers()
    | st.floats()
    | st.sampled_from(FULL.split()),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            st.sampled_from([str(path[-1]) for path in RIGHT_KINDS]) | st.text(max_size=5), inner, max_size=3
        )
    ),
    max_leaves=8,
)
GOOD = YAML(typ="safe", pure=True).load(FULL)


def put(data, path, value):
    """Write a value at a path, making the way to it, unless something else is in that way."""
    *way, last = path
    for step in way:
        if isinstance(step, int):
            if not isinstance(data, list) or step >= len(data):
                return
            data = data[step]
        elif isinstance(data, dict):
            data = data.setdefault(step, {})
        else:
            return
    if isinstance(data, dict) or (isinstance(data, list) and isinstance(last, int) and last < len(data)):
        data[last] = copy.deepcopy(value)


@pytest.mark.parametrize("at", [(), ("try", "short")], ids=["recipe", "variant"])
@given(changes=st.lists(st.tuples(st.sampled_from(list(RIGHT_KINDS)), values), min_size=1, max_size=3))
def test_any_data_anywhere_in_a_recipe_and_in_a_variant_of_it(at, changes):
    data = copy.deepcopy(GOOD)
    for path, value in changes:
        put(data, (*at, *path), value)
    assert_read(dumped(data))


@given(st.text(alphabet=":-? {}[],\"'#&*!|>%@`\\\n\tab", max_size=30))
@settings(max_examples=5 * EXAMPLES)
def test_no_word_of_the_parser_reaches_the_performer(text):
    """The explanation of last resort is never needed for what one can type."""
    _, problems = read_tree(text)
    for problem in problems:
        assert problem.wrong != "this is not YAML", text
        assert not LEAKS.search(problem.wrong), problem
