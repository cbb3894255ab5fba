"""RFC 7396, JSON Merge Patch (October 2014): the variants of a recipe.

Second-hand: the fifteen cases of appendix A stand in the tests of the Go library json-patch 5.2.0, as Debian has it
(golang-github-evanphx-json-patch-dev), where they are said to be those of RFC 7386, which this one replaces; the
eleventh and the twelfth are commented out there, as the library takes no such patch. All but the tenth, and the
example of section 3, stand in the tests of json-merge-patch 0.3.0 (PyPI). From memory: the pseudocode of section 2.
"""

import copy
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from render.publish.drafting.choice import patch_between
from render.recipe.patch import merge_patch

APPENDIX_A = [
    ({"a": "b"}, {"a": "c"}, {"a": "c"}),
    ({"a": "b"}, {"b": "c"}, {"a": "b", "b": "c"}),
    ({"a": "b"}, {"a": None}, {}),
    ({"a": "b", "b": "c"}, {"a": None}, {"b": "c"}),
    ({"a": ["b"]}, {"a": "c"}, {"a": "c"}),
    ({"a": "c"}, {"a": ["b"]}, {"a": ["b"]}),
    ({"a": {"b": "c"}}, {"a": {"b": "d", "c": None}}, {"a": {"b": "d"}}),
    ({"a": [{"b": "c"}]}, {"a": [1]}, {"a": [1]}),
    (["a", "b"], ["c", "d"], ["c", "d"]),
    ({"a": "b"}, ["c"], ["c"]),
    ({"a": "foo"}, None, None),
    ({"a": "foo"}, "bar", "bar"),
    ({"e": None}, {"a": 1}, {"e": None, "a": 1}),
    ([1, 2], {"a": "b", "c": None}, {"a": "b"}),
    ({}, {"a": {"bb": {"ccc": None}}}, {"a": {"bb": {}}}),
]
"""Original, patch, result; in the order of the table."""


@pytest.mark.parametrize(("target", "patch", "result"), APPENDIX_A)
def test_appendix_a(target: Any, patch: Any, result: Any) -> None:
    assert merge_patch(target, patch) == result


def test_section_3() -> None:
    target = {
        "title": "Goodbye!",
        "author": {"givenName": "John", "familyName": "Doe"},
        "tags": ["example", "sample"],
        "content": "This will be unchanged",
    }
    patch = {
        "title": "Hello!",
        "phoneNumber": "+01-123-456-7890",
        "author": {"familyName": None},
        "tags": ["example"],
    }
    assert merge_patch(target, patch) == {
        "title": "Hello!",
        "author": {"givenName": "John"},
        "tags": ["example"],
        "content": "This will be unchanged",
        "phoneNumber": "+01-123-456-7890",
    }


keys = st.sampled_from("abc")
json = st.recursive(
    st.none() | st.booleans() | st.integers(-9, 9) | st.text(max_size=3),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(keys, inner, max_size=3),
    max_leaves=12,
)


def by_the_letter(target: Any, patch: Any) -> Any:
    """The pseudocode of section 2, line by line; it changes its target."""
    if isinstance(patch, dict):
        if not isinstance(target, dict):
            target = {}
        for name, value in patch.items():
            if value is None:
                if name in target:
                    del target[name]
            else:
                target[name] = by_the_letter(target.get(name), value)
        return target
    return patch


@given(json, json)
def test_merging_does_what_the_standards_pseudocode_does(target: Any, patch: Any) -> None:
    assert merge_patch(target, patch) == by_the_letter(copy.deepcopy(target), copy.deepcopy(patch))


@given(json, json)
def test_merging_changes_neither_of_its_inputs(target: Any, patch: Any) -> None:
    before = copy.deepcopy((target, patch))
    merge_patch(target, patch)
    assert (target, patch) == before


@given(json, json)
def test_a_patch_applied_twice_changes_nothing_more(target: Any, patch: Any) -> None:
    once = merge_patch(target, patch)
    assert merge_patch(once, patch) == once


def shallow(target: Any, patch: Any) -> Any:
    """Only the outermost names are merged."""
    if not (isinstance(target, dict) and isinstance(patch, dict)):
        return patch
    return {key: value for key, value in {**target, **patch}.items() if patch.get(key, 0) is not None}


def keeping_nulls(target: Any, patch: Any) -> Any:
    """A null is a value like any other."""
    if not isinstance(patch, dict):
        return patch
    merged = dict(target) if isinstance(target, dict) else {}
    return merged | {key: keeping_nulls(merged.get(key), value) for key, value in patch.items()}


def without_any_null(target: Any, patch: Any) -> Any:
    """A null is taken out wherever it stands, also where the patch does not speak of it."""
    merged = by_the_letter(target, patch)
    return (
        {key: value for key, value in merged.items() if value is not None}
        if isinstance(merged, dict)
        else merged
    )


def taking_new_parts_whole(target: Any, patch: Any) -> Any:
    """Where there is nothing to merge with, the patch is taken with its nulls."""
    if not (isinstance(target, dict) and isinstance(patch, dict)):
        return patch
    merged = {key: value for key, value in target.items() if patch.get(key, 0) is not None}
    stated = {key: value for key, value in patch.items() if value is not None}
    return merged | {key: taking_new_parts_whole(merged.get(key), value) for key, value in stated.items()}


def merging_lists(target: Any, patch: Any) -> Any:
    """Lists are joined, not replaced."""
    if isinstance(target, list) and isinstance(patch, list):
        return target + patch
    if isinstance(target, dict) and isinstance(patch, dict):
        merged = {key: value for key, value in target.items() if patch.get(key, 0) is not None}
        return merged | {
            key: merging_lists(target.get(key), value) for key, value in patch.items() if value is not None
        }
    return by_the_letter(target, patch)


BROKEN: list[Callable[[Any, Any], Any]] = [
    shallow, keeping_nulls, without_any_null, taking_new_parts_whole, merging_lists,
]  # fmt: skip


@pytest.mark.parametrize("broken", BROKEN)
def test_a_merge_that_is_wrong_somewhere_fails_a_case(broken: Callable[[Any, Any], Any]) -> None:
    cases = copy.deepcopy(APPENDIX_A)
    assert [case for case in cases if by_the_letter(copy.deepcopy(case[0]), case[1]) != case[2]] == []
    wrong = [case for case in cases if broken(copy.deepcopy(case[0]), case[1]) != case[2]]
    assert 0 < len(wrong) < len(cases) / 2


@pytest.mark.parametrize(
    ("target", "result"),
    [
        (target, result)
        for target, _, result in APPENDIX_A
        if isinstance(target, dict) and isinstance(result, dict)
    ],
)
def test_a_patch_can_be_found_for_every_result(target: Any, result: Any) -> None:
    """As a draft does for its variants."""
    assert merge_patch(target, patch_between(target, result)) == result
