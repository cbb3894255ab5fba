"""Variants are merge patches that keep the place where each value was written (RFC 7396: `tests/standards`)."""

import copy

import pytest

from render.recipe.nodes import read_tree
from render.recipe.patch import patched

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
