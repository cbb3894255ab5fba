"""Variants are merge patches: RFC 7396 by the letter, with the place where each value was written."""

import copy

import pytest
from hypothesis import given
from hypothesis import strategies as st

from render.recipe.nodes import read_tree
from render.recipe.patch import merge_patch, patched

# RFC 7396 (JSON Merge Patch, October 2014), Appendix A, all of its test cases in their order; from memory.
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


@pytest.mark.parametrize(("target", "patch", "result"), APPENDIX_A)
def test_rfc_7396_appendix_a(target, patch, result):
    assert merge_patch(target, patch) == result


def test_rfc_7396_section_3():
    """The worked example in the text of the standard; from memory."""
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


def by_the_letter(target, patch):
    """The pseudocode of RFC 7396, section 2, line by line; it changes its target."""
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
def test_merging_does_what_the_standards_pseudocode_does(target, patch):
    assert merge_patch(target, patch) == by_the_letter(copy.deepcopy(target), copy.deepcopy(patch))


@given(json, json)
def test_merging_changes_neither_of_its_inputs(target, patch):
    before = copy.deepcopy((target, patch))
    merge_patch(target, patch)
    assert (target, patch) == before


@given(json, json)
def test_a_patch_applied_twice_changes_nothing_more(target, patch):
    once = merge_patch(target, patch)
    assert merge_patch(once, patch) == once


TEXT = """\
lead: 64 beats
tracks:
  one: {file: a.wav, gain: 1 dB}
jump_back:
  - {track: one, at: landing, to: drums}
try:
  later:
    lead: 32 beats
    tracks: {one: {gain: null}}
    jump_back: [{track: one}]
"""


@pytest.fixture
def later():
    tree, problems = read_tree(TEXT)
    assert not problems
    return patched(tree, ("try", "later"))


def test_what_a_variant_sets_stands_where_the_variant_writes_it(later):
    assert later.data["lead"] == "32 beats"
    assert later.keys["lead",] == (8, 5)
    assert later.values["lead",] == (8, 11)
    assert later.values["jump_back", 0, "track"] == (10, 25)


def test_what_a_variant_leaves_alone_stands_where_it_stood(later):
    assert later.data["tracks"]["one"] == {"file": "a.wav"}
    assert later.values["tracks", "one", "file"] == (3, 15)


def test_what_a_variant_removes_is_placed_at_its_null(later):
    assert "gain" not in later.data["tracks"]["one"]
    assert later.keys["tracks", "one", "gain"] == (9, 20)


def test_of_a_list_that_a_variant_replaces_no_place_is_left(later):
    assert later.data["jump_back"] == [{"track": "one"}]
    assert ("jump_back", 0, "to") not in later.keys
    assert ("jump_back", 0, "to") not in later.values


def test_the_recipe_itself_is_not_changed_by_its_variants():
    tree, _ = read_tree(TEXT)
    before = copy.deepcopy(tree)
    patched(tree, ("try", "later"))
    assert tree == before
