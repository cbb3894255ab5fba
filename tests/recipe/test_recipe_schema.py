"""The exported schema agrees with the reader.

The schema is laxer on purpose where a pattern cannot know: names that must exist or are taken, the ranges of
quantities that carry a unit, the grammar of positions in a track, what a variant's patch makes of the recipe. It is
stricter in one thing: a key with nothing behind it is read as left out, and an editor points it out as unfinished.
"""

import json
import re
from pathlib import Path

import pytest
from hypothesis import given
from jsonschema import Draft202012Validator
from kinds import KINDS, NOTHING, RIGHT_KINDS, TEXT, WRONG, dumped, with_value
from ruamel.yaml import YAML
from spellings import written_bases, written_offsets
from written import FULL, LEAST, changed, faults, recipe

from render.recipe.nodes import read_tree
from render.recipe.schema import json_schema

SCHEMA = json_schema()
EDITOR = Draft202012Validator(SCHEMA)
RECIPES = Path(__file__).parents[2] / "recipes"


def complaints(text: str) -> list[str]:
    """What an editor with the schema says of a text, read by ruamel.yaml's YAML 1.2 loader."""
    return [error.message for error in EDITOR.iter_errors(YAML(typ="safe", pure=True).load(text))]


def test_the_schema_says_what_it_is_a_schema_of():
    assert SCHEMA["title"] == "Dropkiln recipe"


def parts():
    return [SCHEMA, *SCHEMA["$defs"].values()]


def properties():
    return [
        pytest.param(value, id=f"{part['title']}: {key}")
        for part in parts()
        for key, value in part["properties"].items()
    ]


def within(subschema):
    """A validator of one key's values, which may refer to the definitions of the whole."""
    return Draft202012Validator({**subschema, "$defs": SCHEMA["$defs"]})


@pytest.mark.parametrize("subschema", properties())
def test_a_default_or_an_example_is_itself_allowed(subschema):
    """Editors write the default into the file."""
    alternatives = [subschema, *subschema.get("anyOf", ())]
    for value in [
        *(alternative["default"] for alternative in alternatives if "default" in alternative),
        *(example for alternative in alternatives for example in alternative.get("examples", ())),
    ]:
        assert within(subschema).is_valid(value), value


def test_every_key_has_a_description_and_no_part_allows_others():
    for part in parts():
        assert part["additionalProperties"] is False
        for key, value in part["properties"].items():
            assert value.get("description") or "$ref" in value, key
        assert part["description"]


def test_the_defaults_of_the_schema_are_those_of_the_reader():
    """The least recipe with every default written out reads the same as without."""
    track = {
        key: value["default"]
        for key, value in SCHEMA["$defs"]["Track"]["properties"].items()
        if value.get("default") is not None
    }
    head = {
        key: value["default"]
        for key, value in SCHEMA["properties"].items()
        if value.get("default") is not None
    }
    assert len(track) == 8
    assert len(head) == 3
    written = LEAST.replace("bpm: 170", f"bpm: 170, {json.dumps(track)[1:-1]}") + json.dumps(head)[
        1:-1
    ].replace(', "', '\n"')
    assert recipe(written + "\n") == recipe(LEAST)


@pytest.mark.parametrize("text", [FULL, LEAST])
def test_a_good_recipe_passes_both(text):
    assert complaints(text) == faults(text) == []


def test_there_are_recipes_to_begin_with():
    assert list(RECIPES.glob("*.yaml"))


@pytest.mark.parametrize("file", sorted(RECIPES.glob("*.yaml")), ids=lambda file: file.stem)
def test_the_recipes_that_come_with_the_program_pass_both(file):
    text = file.read_text(encoding="utf-8")
    assert complaints(text) == faults(text) == []
    tree, _ = read_tree(text)
    assert tree.data["title"]


TAKEN = [
    ("tempo: 174\n", "tempo: ironworks\n"),
    ("tempo: 174\n", "tempo: 171.5\n"),
    ("lead: 64 beats", "lead: 16bars"),
    ("lead: 64 beats", "lead: +1 beat"),
    ("title: Lanterns over Ironworks", "title: ÆØÅ 🥁"),
    ("first_beat: 0.312 s", "first_beat: −0.1s"),
    ("first_beat: 0.312 s", "first_beat: 0:00.312"),
    ("first_beat: 0.312 s", "first_beat: -0.1"),
    ("first_beat: 0.312 s", "first_beat: '7'"),
    ("key: F minor", "key: F# minor"),
    ("key: F minor", "key: Bb major"),
    ("offset: 25 ms", "offset: −25.06 ms"),
    ("drop: 1:29.614", "drop: 89.614"),
    ("drop: 1:29.614", "drop: 0"),
    ("loop: drop - 128 beats", "loop: bar 65.3 − 4 bars"),
    ("gain: -1.5 dB", "gain: .5dB"),
    ("pitch: +1 semitone", "pitch: follow"),
    ("pitch: +1 semitone", "pitch: 0"),
    ("pitch: +1 semitone", "pitch: '0'"),
    ("pitch: +1 semitone", "pitch: −2 semitones"),
    ("enter: landing - 32 beats", "enter: start"),
    ("enter: landing - 32 beats", "enter: end−2.5bars"),
    ("track:\n        - ironworks", "track: none"),
    ("track:\n        - ironworks", "track: [lanterns, ironworks]"),
    ("below: 120 Hz", "below: 99.5Hz"),
    ("ceiling: -1.5 dBTP", "ceiling: 0 dBTP"),
    ("format: opus", "format: wav"),
    ("  both-drop:", "  Both_2-drop:"),
]


@pytest.mark.parametrize(("old", "new"), TAKEN)
def test_what_the_reader_takes_the_schema_takes(old, new):
    text = changed(old, new)
    assert (faults(text), complaints(text)) == ([], [])


@given(written_bases(), written_offsets())
def test_every_spelling_of_a_track_position_passes_the_schema(base, offset):
    assert within(SCHEMA["$defs"]["JumpBack"]["properties"]["to"]).is_valid(base[0] + offset[0])


@given(written_offsets())
def test_every_spelling_of_a_clip_position_passes_the_schema(offset):
    for base in ("start", "landing", "end"):
        assert within(SCHEMA["$defs"]["JumpBack"]["properties"]["at"]).is_valid(base + offset[0])


@pytest.mark.parametrize("name", ["Außentür", "käfer-2", "ドロップ", "_a", "a1"])
def test_a_name_in_any_alphabet_passes_also_where_w_is_ascii(name):
    """ECMA-262, CharacterClassEscape (from memory): `\\w` is ASCII in the patterns of editors; so with re.ASCII."""
    pattern = SCHEMA["properties"]["tracks"]["propertyNames"]["pattern"]
    assert re.search(pattern, name, re.ASCII)
    assert faults(changed("one:", f"{name}:", LEAST)) == []


@pytest.mark.parametrize("name", ["2nd", "-x", "a b", "x!", "a.b", ""])
def test_a_bad_name_passes_neither(name):
    text = changed("one:", f"'{name}':", LEAST)
    assert complaints(text)
    assert faults(text)


REFUSED = [
    ("recipe: 1 ", "recipe: 2 "),
    ("lead: 64 beats", "leed: 64 beats"),
    ("title: Lanterns over Ironworks\n", ""),
    ("lead: 64 beats", "lead: 64"),
    ("lead: 64 beats", "lead: -64 beats"),
    ("lead: 64 beats", "lead: 64 s"),
    ("bpm: 172\n", "bpm: 400\n"),
    ("bpm: 172\n", "bpm: 172 BPM\n"),
    ("tempo: 174\n", "tempo: 174 BPM\n"),
    ("beats_per_bar: 4", "beats_per_bar: 33"),
    ("beats_per_bar: 4", "beats_per_bar: 3.5"),
    ("first_beat: 0.312 s", "first_beat: soon"),
    ("first_beat: 0.312 s", "first_beat: 1:72"),
    ("first_beat: 0.312 s", "first_beat: 0.3 ms"),
    ("key: F minor", "key: Fm"),
    ("offset: 25 ms", "offset: 25"),
    ("drop: 1:29.614", "drop: -5"),
    ("gain: -1.5 dB", "gain: loud"),
    ("pitch: +1 semitone", "pitch: 1"),
    ("pitch: +1 semitone", "pitch: up"),
    ("enter: landing - 32 beats", "enter: landing - 32"),
    ("enter: landing - 32 beats", "enter: drop"),
    ("track:\n        - ironworks", "track: []"),
    ("below: 120 Hz", "below: 120"),
    ("format: opus", "format: aac"),
    ("ceiling: -1.5 dBTP", "ceiling: -1.5 dB"),
    ("    gain: -1.5 dB", "    volume: 3 dB"),
    ("    to: loop\n", ""),
    ("  both-drop:", "  both drop:"),
]


@pytest.mark.parametrize(("old", "new"), REFUSED)
def test_what_the_schema_refuses_the_reader_refuses(old, new):
    text = changed(old, new)
    assert complaints(text)
    assert faults(text)


LEFT_TO_THE_READER = [
    ("tempo: 174\n", "tempo: lantern\n"),
    ("gain: -1.5 dB", "gain: 90 dB"),
    ("loop: drop - 128 beats", "loop: dorp"),
    ("loop: drop - 128 beats", "loop: drop - 128"),
    ("loop: drop - 128 beats", "loop: loop"),
    ("loop: drop - 128 beats", "loop: bar 65.9"),
    ("        - ironworks", "        - nobody"),
    ("    tail: 32 beats", "    tale: 32 beats"),
    ("  ironworks:", "  all:"),
]


@pytest.mark.parametrize(("old", "new"), LEFT_TO_THE_READER)
def test_what_no_pattern_can_know_is_left_to_the_reader(old, new):
    text = changed(old, new)
    assert complaints(text) == []
    assert faults(text)


LAXER = {
    # Positions in a track and names are any text; variants may patch anything.
    ("tracks", "lanterns", "markers", "drop"): (TEXT,),
    ("tracks", "lanterns", "markers", "loop"): (TEXT,),
    ("low_cut", "keep", 1, "track"): (TEXT,),
    ("jump_back", 0, "track"): (TEXT,),
    ("jump_back", 0, "to"): (TEXT,),
}


@pytest.mark.parametrize(("path", "kind"), WRONG)
def test_a_value_of_the_wrong_kind_is_refused_by_the_schema_too(path, kind):
    refused = bool(complaints(dumped(with_value(path, KINDS[kind]))))
    assert refused is (kind not in LAXER.get(path, ()))


OPEN_TO_NOTHING = (
    "tempo", "bpm", "count", "first_beat", "phrase", "key", "tonal_weight", "voice",
    "enter", "leave", "low_cut", "loop",
)  # fmt: skip


@pytest.mark.parametrize("path", [path for path, right in RIGHT_KINDS.items() if NOTHING in right])
def test_nothing_behind_a_key_is_left_out_though_an_editor_may_point_it_out(path):
    """The one thing in which the schema is stricter."""
    text = dumped(with_value(path, None))
    assert faults(text) == []
    assert bool(complaints(text)) is (path[-1] not in OPEN_TO_NOTHING)
