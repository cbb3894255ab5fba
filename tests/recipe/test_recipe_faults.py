"""Every fault is one line, at the word a performer has to change, told once, with what would be right."""

import re
from pathlib import Path

import pytest
from kinds import KINDS, LIST, MAPPING, NOTHING, RIGHT_KINDS, WRONG, dumped, with_value
from ruamel.yaml import YAML
from written import FILE, FULL, LEAST, changed, fault, faults, place, place_of, readings

from render.faults import Fault
from render.recipe.nodes import Problem
from render.recipe.reader import faults_of, read
from render.recipe.schema import json_schema

LEAKS = re.compile(
    r"input should|pydantic|validation|valid |type=|errors\.|None|True|False|NoneType|\bdict\b|\bstr\b|\bint\b|tuple|"
    r"block (end|mapping)|scalar|token|stream|codec|\bmapping values\b",
)
"""Words of the libraries and of the language underneath, none of which a performer has to know."""


def assert_plain(found: Fault) -> None:
    """One line, `file:line:column: wrong; right`, in plain words and not too long to read."""
    line = str(found)
    assert line == f"{FILE}:{found.line}:{found.column}: {found.wrong}; {found.right}"
    assert line.isprintable(), line
    assert not LEAKS.search(line), line
    assert found.wrong.strip() == found.wrong != ""
    assert found.right.strip() == found.right != ""
    assert "; " not in found.wrong + found.right, line
    assert not found.wrong.endswith("."), line
    assert len(line) < 320, line


def test_a_fault_reads_file_line_column_wrong_right():
    text = changed("lead: 64 beats", "leed: 64 beats")
    assert str(fault(text)) == f"{FILE}:4:1: there is no key 'leed' here; did you mean 'lead'?"


def test_a_good_recipe_has_no_fault():
    assert faults(FULL) == []
    assert faults(LEAST) == []


TOLD = YAML(typ="safe", pure=True).load(Path(__file__).with_name("told.yaml"))


@pytest.mark.parametrize("case", TOLD, ids=lambda case: case["says"])
def test_a_fault_stands_at_the_word_to_change_and_says_what_would_be_right(case):
    text = changed(case["change"], case["to"])
    only = fault(text)
    assert_plain(only)
    assert f"{only.wrong}; {only.right}" == case["says"]
    assert (only.code, place_of(only)) == (case["code"], place(text, case["at"]))


def test_a_missing_title_is_told_at_the_first_key():
    assert place_of(fault(changed("title: Lanterns over Ironworks\n", ""))) == (1, 1)


@pytest.mark.parametrize("tracks", ["tracks: {}\n", LEAST[LEAST.index("tracks") : LEAST.index("  two")]])
def test_fewer_than_two_tracks_are_refused(tracks):
    text = LEAST[: LEAST.index("tracks")] + tracks
    only = fault(text)
    assert_plain(only)
    assert (only.code, place_of(only)) == ("too-few-tracks", (3, 1))


BAD_NAMES = ["2nd", "-x", "a b", "all", "none", "x!", "x" * 65]


@pytest.mark.parametrize("name", BAD_NAMES)
def test_a_track_cannot_have_a_name_that_reads_as_something_else(name):
    text = LEAST.replace("one:", f"'{name}':")
    only = fault(text)
    assert_plain(only)
    assert (only.code, place_of(only)) == ("bad-name", (4, 3))


@pytest.mark.parametrize("name", ["2nd", "-x", "a b", "bar", "x!", "x" * 65, "pre-2beats", "x-99999999bars"])
def test_a_marker_cannot_have_a_name_that_reads_as_something_else(name):
    text = changed("loop: drop - 128 beats", f"'{name}': drop - 128 beats").replace("to: loop", "to: drop")
    only = fault(text)
    assert_plain(only)
    assert (only.code, place_of(only)) == ("bad-name", place(text, f"'{name}'"))


def test_a_circle_of_markers_is_told_once_at_its_first():
    text = changed("loop: drop - 128 beats", "loop: a\n      a: b + 1 beat\n      b: c\n      c: a")
    only = fault(text)
    assert (only.wrong, place_of(only)) == (
        "markers defined by one another: a → b → c → a",
        place(text, "b + 1"),
    )


def test_a_marker_that_leads_to_a_misspelt_one_is_not_blamed():
    text = changed("loop: drop - 128 beats", "loop: b\n      b: dorp")
    assert place_of(fault(text)) == place(text, "dorp")


def test_all_faults_of_a_file_are_told_at_once_in_the_order_of_their_places():
    text = FULL
    for old, new in [
        ("tempo: 174\n", "tempo: 500\n"),
        ("bpm: 172\n", "bpm: fast\nx"),
        ("loop: drop - 128 beats", "loop: dorp"),
        ("below: 120 Hz", "below: 120"),
        ("    at: landing\n", "    at: drop\n"),
        ("    tail: 32 beats", "    tale: 32 beats"),
        ("format: opus", "format: ogg"),
    ]:
        text = changed(old, new.replace("\nx", "\n    x: 1\n"), text)
    found = faults(text)
    assert [(one.code, place_of(one)) for one in found] == [
        ("out-of-range", place(text, "500")),
        ("not-a-tempo", place(text, "fast")),
        ("unknown-key", place(text, "x: 1")),
        ("unknown-marker", place(text, "dorp")),
        ("no-unit", place(text, "120")),
        ("bad-position", place(text, "drop\n")),
        ("unknown-key", place(text, "tale")),
        ("unknown-choice", place(text, "ogg")),
    ]
    assert found == sorted(found)
    for one in found:
        assert_plain(one)


def test_faults_of_the_text_and_of_its_meaning_are_told_together():
    text = changed("bpm: 172\n", "bpm: 172\n    bpm: 174\n    gian: 3 dB\n")
    assert [(one.code, one.line) for one in faults(text)] == [("duplicate-key", 10), ("unknown-key", 11)]


def test_a_broken_part_brings_no_faults_of_what_leans_on_it():
    """A track whose markers are broken still has a drop, and a broken list of tracks still has names."""
    assert fault(changed("      drop: 1:29.614\n      loop: drop - 128 beats", "      - drop")).line == 15
    assert fault(changed("drop: 1:29.614", "drop: [1]")).code == "wrong-type"
    assert fault(LEAST + "low_cut: {keep: [one]}\n").code == "wrong-type"
    assert fault(changed("loop: drop - 128 beats", "loop: soon - 1 s")).code == "wrong-unit"


VARIANT = "  wrong: {%s}\n"


@pytest.mark.parametrize(
    ("patch", "word", "wrong"),
    [
        ("leed: 3 beats", "leed", "there is no key 'leed' here"),
        ("lead: 3", "3}", "lead: '3' has no unit"),
        ("tempo: lantern", "lantern}", "'lantern' is neither a tempo nor a track"),
        ("title: null", "title: null", "nothing is written for 'title'"),
        ("tracks: {lanterns: {gain: loud}}", "loud", "gain: 'loud' is not a number with a unit"),
        ("tracks: {lanterns: {markers: {loop: dorp}}}", "dorp", "no marker of 'lanterns' is called 'dorp'"),
        ("tracks: {third: {gain: 0 dB}}", "third", "'third' has no 'file'"),
        ("jump_back: [{track: lanterns, at: landing}]", "{track", "entry 1 of 'jump_back' has no 'to'"),
        ("low_cut: {keep: null}", "keep: null", "nothing is written for 'keep'"),
        ("low_cut: {keep: [{from: start, track: me}]}", "me}", "no track is called 'me'"),
        ("clip: {format: aac}", "aac", "'aac' is not a choice for 'format'"),
        ("tracks: 5", "5}", "'5' where 'tracks' needs `name: value` lines"),
    ],
)
def test_a_variants_own_fault_says_which_variant_at_its_own_place(patch, word, wrong):
    text = changed("try:\n", "try:\n" + VARIANT % patch)
    found = next(one for one in faults(text) if wrong in one.wrong)
    assert_plain(found)
    assert found.wrong.startswith("in variant 'wrong': ")
    assert found.wrong.startswith(f"in variant 'wrong': {wrong}")
    assert place_of(found) == place(text, word)


def test_what_a_variant_breaks_elsewhere_is_told_there_and_names_the_variant():
    text = changed("try:\n", "try:\n  alone: {tracks: {lanterns: null, wickergauge: null}}\n")
    assert [(one.wrong, place_of(one)) for one in faults(text)] == [
        ("in variant 'alone': no track is called 'lanterns'", place(text, "lanterns\n    - from")),
        ("in variant 'alone': no track is called 'lanterns'", place(text, "lanterns\n    at")),
        ("in variant 'alone': the recipe has one track", place(text, "tracks: {")),
    ]


def test_a_fault_of_the_recipe_itself_is_told_once_whatever_its_variants():
    text = changed("bpm: 172\n", "bpm: fast\n")
    assert [reading.problems != () for reading in read(text, FILE)] == [True, True, True]
    only = fault(text)
    assert place_of(only) == place(text, "fast")
    assert "variant" not in only.wrong


def test_a_variant_that_mends_the_recipe_does_not_excuse_it():
    text = changed("tail: 16 bars", "tail: 16")
    assert readings(text)["short"].problems == ()
    assert fault(text).line == 5


def test_a_variant_that_breaks_twice_what_is_broken_is_told_too():
    text = changed("tail: 16 bars", "tail: 16").replace("    tail: 32 beats", "    tail: 32 bats")
    assert [(one.line, one.wrong.split(":")[0]) for one in faults(text)] == [
        (5, "tail"),
        (place(text, "tail: 32")[0], "in variant 'short'"),
    ]


def test_two_variants_with_the_same_fault_are_told_each():
    text = changed("try:\n", "try:\n  a: {leed: 1}\n  b: {leed: 1}\n")
    assert [one.wrong[:14] for one in faults(text)] == ["in variant 'a'", "in variant 'b'"]


def test_problems_found_later_are_told_among_the_others_and_once():
    recipe, both, short = read(changed("tempo: 174\n", "tempo: 500\n"), FILE)
    missing = Problem(("tracks", "lanterns", "file"), "source", "no such file", "check its name")
    late = Problem(("tail",), "no-tail", "too short", "one beat or more")
    found = faults_of([recipe, both, short], [(recipe, missing), (both, missing), (short, late)])
    assert [(one.line, one.wrong) for one in found] == [
        (3, "tempo: '500' is out of range"),
        (8, "no such file"),
        (place(FULL, "tail: 32")[0], "in variant 'short': too short"),
    ]


def test_a_problem_of_something_that_is_not_written_is_placed_at_what_is():
    reading = readings(FULL)[""]

    def at(*path):
        return place_of(reading.fault(Problem(path, "", "w", "r")))

    assert at("tracks", "ironworks", "gain") == place(FULL, "ironworks:")
    assert at("jump_back", 7) == place(FULL, "- track: lanterns\n    at")
    assert at("nothing", "at", "all") == (1, 1)


def test_every_key_of_the_format_is_among_those_given_wrong_values():
    """Against the schema that editors get."""
    schema = json_schema()
    named = {path[-1] for path in RIGHT_KINDS if isinstance(path[-1], str)}
    keys = set(schema["properties"]).union(*(part["properties"] for part in schema["$defs"].values()))
    assert keys <= named


@pytest.mark.parametrize(("path", "kind"), WRONG)
def test_a_value_of_the_wrong_kind_is_one_fault_at_that_value(path, kind):
    """The place is the one that ruamel.yaml's round-trip loader gives for the value; nothing has its key's."""
    text = dumped(with_value(path, KINDS[kind]))
    only = fault(text)
    assert_plain(only)
    holder = YAML().load(text)
    for step in path[:-1]:
        holder = holder[step]
    if isinstance(path[-1], int):
        at = holder.lc.item(path[-1])
    else:
        at = holder.lc.key(path[-1]) if kind == NOTHING else holder.lc.value(path[-1])
    assert place_of(only) == (at[0] + 1, at[1] + 1)


@pytest.mark.parametrize(
    ("path", "kind"),
    [(path, kind) for path, right in RIGHT_KINDS.items() for kind in right if kind not in (MAPPING, LIST)],
)
def test_a_value_of_a_right_kind_is_no_fault(path, kind):
    assert faults(dumped(with_value(path, KINDS[kind]))) == []
