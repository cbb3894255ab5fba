"""What a person is told of a recipe in error: all of it at once, in one line each, at its place; none of it is made."""

import pytest
from desk import RECIPE, Desk

BAD: dict[str, tuple[str | bytes, list[str]]] = {
    "a key twice": (
        RECIPE + "title: Again\n",
        ["18:1: 'title' is written twice, first in line 2; keep one of them"],
    ),
    "a tab": (
        RECIPE.replace("    bpm: 140\n    first_beat: 0.25", "\tbpm: 140\n    first_beat: 0.25"),
        [
            "9:1: a tab; write spaces instead",
        ],
    ),
    "aliases of aliases": (
        "recipe: 1\na: &a [x, x, x]\nb: &b [*a, *a, *a]\nc: [*b, *b, *b]\n",
        ["2:4: an anchor, &a; write the value out, for a recipe has no anchors, aliases or tags"],
    ),
    "a megabyte of nesting": (
        "recipe: " + "[" * 500_000 + "]" * 500_000,
        ["1:1: the file is larger than 64 KiB; a recipe is a page of YAML at the most"],
    ),
    "nesting on a page": (
        "recipe: " + "[" * 20_000 + "]" * 20_000,
        ["1:25: nested deeper than 16 levels; a recipe needs seven"],
    ),
    "nothing": ("", ["1:1: the file holds no recipe; begin with `recipe: 1`"]),
    "another encoding": (
        RECIPE.replace("Test", "Tést").encode("latin-1"),
        ["2:9: this is not UTF-8 text; save the recipe as UTF-8"],
    ),
    "no text at all": (bytes(range(256)) * 4, ["2:118: this is not UTF-8 text; save the recipe as UTF-8"]),
    "values of other kinds": (
        RECIPE.replace("title: Test", "title: 3")
        .replace("tempo: 140", "tempo: {a: b}")
        .replace("lead: 4 beats", "lead: [4]")
        .replace("bpm: 140\n    first_beat: 0.25 s", "bpm: fast\n    first_beat: 0.25 s"),
        [
            "2:8: title: a plain number where text belongs; put it in quotes",
            "3:8: tempo: a mapping is not a tempo; write a plain number, as in `174` or `171.5`",
            "4:7: lead: a list where one value belongs; write it like `8 beats`",
            "9:10: bpm: 'fast' is not a tempo; write a plain number, as in `174` or `171.5`",
        ],
    ),
    "a list": (
        "- recipe: 1\n",
        [
            "1:1: this is not a recipe but a list or a single value; "
            "begin with `recipe: 1`, then `title:` and `tracks:`"
        ],
    ),
}


@pytest.mark.parametrize("command", ["check", "render"])
@pytest.mark.parametrize("case", BAD)
def test_a_bad_text_is_told_at_its_place(desk: Desk, command: str, case: str) -> None:
    text, told = BAD[case]
    desk.text("test.yaml", text)
    with desk.nothing_written():
        ended = desk.run(command, "test.yaml")
    assert (ended.status, ended.out.strip()) == (2, "")
    assert ended.told == [f"test.yaml:{line}" for line in told]


SLIPS = {
    "a track's name": (
        ("clip: {format: flac}", "low_cut: {keep: [{from: start, track: embr}]}"),
        "17:39: no track is called 'embr'; did you mean 'ember'?",
    ),
    "a unit": (("lead: 4 beats", "lead: 4"), "4:7: lead: '4' has no unit; write `4 beats`"),
    "a path": (
        ("file: ember.wav", "file: records/ember.wav"),
        "8:11: records/ember.wav: there is no such file; check its name and folder",
    ),
    "a key": (("tail: 4 beats", "tial: 4 beats"), "5:1: there is no key 'tial' here; did you mean 'tail'?"),
}


@pytest.mark.parametrize("slip", SLIPS)
def test_a_slip_of_the_hand_is_told_with_what_was_meant(desk: Desk, slip: str) -> None:
    change, told = SLIPS[slip]
    desk.recipe("test.yaml", change)
    with desk.nothing_written():
        ended = desk.run("render", "test.yaml")
    assert (ended.status, ended.out, ended.told) == (2, "", [f"test.yaml:{told}"])


def test_a_lead_longer_than_the_record_says_how_much_there_is_and_what_would_fit(desk: Desk) -> None:
    """The first beat is at 0.25 s, 7/12 of a beat of 3/7 s, and the drop 8 beats later: 8.583 beats in all."""
    desk.recipe("test.yaml", ("lead: 4 beats", "lead: 16 beats"))
    ended = desk.run("render", "test.yaml")
    assert ended.status == 2
    assert ended.told[0] == (
        "test.yaml:11:21: 'ember' would have to start 7.42 beats before its record does: there are 8.583 beats "
        "before its drop; `enter: landing - 8 beats` or `lead: 8 beats` would fit"
    )


def test_all_faults_of_all_recipes_are_told_at_once(desk: Desk) -> None:
    """From the text, from the recordings and from the plan."""
    desk.recipe(
        "set/bad.yaml",
        ("title: Test", "titel: Test"),
        ("ember.wav", "../gone.wav"),
        ("slate.wav", "../slate.wav"),
        ("first_beat: 0.5 s\n    markers: {drop: bar 3}", "first_beat: 0.5\n    markers: {drop: bar x}"),
        ("{format: flac}", "{format: flac, ceiling: -1}"),
    )
    desk.recipe(
        "set/worse.yaml",
        ("ember.wav", "../ember.wav"),
        ("slate.wav", "../slate.wav"),
        ("tempo: 140", "tempo: 170"),
    )
    with desk.nothing_written():
        ended = desk.run("render", "set")
    assert (ended.status, ended.out) == (2, "")
    places = [line.split(": ")[0] for line in ended.told]
    assert places == [
        "set/bad.yaml:1:1",  # no title: told at the top
        "set/bad.yaml:2:1",
        "set/bad.yaml:8:11",
        "set/bad.yaml:16:21",
        "set/bad.yaml:17:31",
        "set/worse.yaml:9:10",
        "set/worse.yaml:14:10",
    ]
    assert all("; " in line for line in ended.told)


def test_faults_of_a_variant_are_told_with_its_name_and_keep_back_its_recipe(desk: Desk) -> None:
    desk.text("test.yaml", RECIPE + "try:\n  longer:\n    lead: 16 beats\n  same: {tail: 4 beats}\n")
    with desk.nothing_written():
        ended = desk.run("render", "test.yaml")
    assert ended.status == 2
    assert [line.split(" would ")[0] for line in ended.told] == [
        "test.yaml:11:21: in variant 'longer': 'ember'",
        "test.yaml:16:21: in variant 'longer': 'slate'",
    ]
