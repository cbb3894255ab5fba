"""A receipt makes its clip again, and can do nothing else, whoever wrote it."""

import copy
import json
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from desk import EMBER, STRETCHED, Desk

Receipt = dict[str, Any]
DAMAGED = "its plan or its facts are damaged"
NAME_ONE = "name a recipe, or the .json beside a clip"


def make_clip(desk: Desk) -> Receipt:
    """A clip with a loop, a fade, a cut low end and a stretched track; its receipt."""
    desk.recipe(
        "test.yaml",
        STRETCHED,
        ("clip:", "low_cut: {keep: [{from: start, track: ember}, {from: landing, track: slate}]}\nclip:"),
        ("clip:", "jump_back: [{track: ember, at: landing, to: 0.25 s, loop: 2 beats}]\nclip:"),
        ("{drop: bar 3}\n  slate:", "{drop: bar 3}\n    fade_in: 2 beats\n  slate:"),
    )
    assert desk.run("render", "test.yaml").status == 0
    return desk.receipt("test")


@pytest.fixture
def made(desk: Desk) -> Receipt:
    return make_clip(desk)


@pytest.fixture(scope="module")
def once(tmp_path_factory: pytest.TempPathFactory) -> Desk:
    """A desk with the clip made, for tests that leave it as it is."""
    folder = tmp_path_factory.mktemp("once") / "desk"
    folder.mkdir()
    desk = Desk(folder)
    make_clip(desk)
    return desk


def at(*path: str | int, value: Any) -> Callable[[Receipt], None]:
    """A change of one value of a receipt."""

    def change(receipt: Receipt) -> None:
        part: Any = receipt
        for step in path[:-1]:
            part = part[step]
        part[path[-1]] = value

    return change


def test_a_receipt_makes_the_same_samples_again(desk: Desk, made: Receipt) -> None:
    ended = desk.run("render", "out/clips/test.json", "--out", "again")
    assert (ended.status, ended.told) == (0, ["made      test  again/clips/test.flac"])
    assert desk.receipt("test", "again")["pcm_sha256"] == made["pcm_sha256"]
    desk.assert_whole("test", "again")


def test_a_receipt_beside_its_clip_keeps_it(desk: Desk, made: Receipt) -> None:
    assert desk.run("render", "out/clips/test.json").outcomes == {"test": "kept"}


def test_a_receipt_s_clip_comes_in_another_format_where_that_is_asked_for(desk: Desk, made: Receipt) -> None:
    assert desk.run("render", "out/clips/test.json", "--out", "again", "--format", "wav").status == 0
    assert desk.clips("again") == ["test.json", "test.svg", "test.wav"]
    assert desk.receipt("test", "again")["pcm_sha256"] == made["pcm_sha256"]


def test_a_receipt_and_its_recipe_in_one_run_are_two_clips_of_one_name(desk: Desk, made: Receipt) -> None:
    with desk.nothing_written():
        ended = desk.run("render", "test.yaml", "out/clips/test.json")
    assert ended.status == 2
    assert ended.told == [
        "out/clips/test.json: would overwrite the clip 'test' of test.yaml; give one of them another name"
    ]


def test_a_record_that_is_not_the_one_any_more_is_told(desk: Desk, made: Receipt) -> None:
    """Of the same length and size: only its content tells."""
    desk.sound("ember.wav", EMBER * 0.9)
    with desk.nothing_written():
        ended = desk.run("render", "out/clips/test.json", "--out", "again")
    assert (ended.status, ended.out) == (2, "")
    assert ended.told == [
        f"out/clips/test.json: its record {desk.folder / 'ember.wav'} is not the one it was made from; "
        "render the recipe, or bring the record back"
    ]


def test_a_record_that_is_gone_is_told(desk: Desk, made: Receipt) -> None:
    (desk.folder / "ember.wav").unlink()
    ended = desk.run("render", "out/clips/test.json", "--out", "again")
    assert (ended.status, ended.out) == (2, "")
    path = desk.folder / "ember.wav"
    assert ended.told == [f"out/clips/test.json: {path}: there is no such file; check its name and folder"]


TEXTS = {
    "nothing": (b"", "it is not JSON"),
    "another text": (b"A list of records.", "it is not JSON"),
    "other JSON": (b'[{"title": "Test"}]', "it is not a receipt of a clip"),
    "no UTF-8": (b'{"plan": "\xe9"}', "it is damaged"),
    "nesting": (b"[" * 200_000, "it is not JSON"),
    "a number of 5,000 digits": (b'{"plan": ' + b"1" * 5_000 + b"}", "it is damaged"),
    "17 MB": (b" " * 17_000_000 + b"{}", "it is too large for one"),
}


@pytest.mark.parametrize("command", ["check", "render"])
@pytest.mark.parametrize("case", TEXTS)
def test_what_is_no_receipt_is_told_in_one_line(desk: Desk, command: str, case: str) -> None:
    text, why = TEXTS[case]
    desk.text("other.json", text)
    with desk.nothing_written():
        ended = desk.run(command, "other.json")
    assert (ended.status, ended.out) == (2, "")
    assert ended.told == [f"other.json: not a receipt: {why}; {NAME_ONE}"]


PASSAGE = ("plan", "lanes", 0, "passages", 0)
HOSTILE: dict[str, tuple[Callable[[Receipt], None], str]] = {
    "another version": (at("format_version", value=2), "its format is 2, this program knows 1"),
    "a path for a recipe": (at("plan", "recipe", value="../../outside"), DAMAGED),
    "a rooted recipe": (at("plan", "recipe", value="/tmp/outside"), DAMAGED),
    "a path for a variant": (at("plan", "variant", value="/../../outside"), DAMAGED),
    "no name": (at("plan", "recipe", value=""), DAMAGED),
    "a path for a format": (at("plan", "format", value="flac/../../x"), DAMAGED),
    "a title of two lines": (at("plan", "title", value="Test\nmade      all"), DAMAGED),
    "a title that colours the screen": (at("plan", "title", value="\x1b[31mTest"), DAMAGED),
    "half a character": (at("plan", "title", value="\ud800"), DAMAGED),
    "an endless clip": (at("plan", "clock", "tail_beats", value=1e300), DAMAGED),
    "a clip of no tempo": (at("plan", "clock", "tempo_bpm", value=0), DAMAGED),
    "a tempo that is no number": (at("plan", "clock", "tempo_bpm", value=float("nan")), DAMAGED),
    "a rate of nothing": (at("plan", "clock", "rate_hz", value=0), DAMAGED),
    "no tracks": (at("plan", "lanes", value=[]), DAMAGED),
    "a track that is not known": (at("plan", "lanes", 0, "track", value="nobody"), DAMAGED),
    "a track without a passage": (at("plan", "lanes", 0, "passages", value=[]), DAMAGED),
    "a passage of a million hours": (at(*PASSAGE, "clip_end_frames", value=10**15), DAMAGED),
    "a million hours of a record": (at(*PASSAGE, "source_end_frames", value=1e15), DAMAGED),
    "a stop": (at(*PASSAGE, "speed", value=0.0), DAMAGED),
    "a word for a number": (at(*PASSAGE, "speed", value="fast"), DAMAGED),
    "a huge gain": (at("plan", "lanes", 0, "gain_db", value=1e6), DAMAGED),
    "no facts": (at("facts", value={}), DAMAGED),
    "facts that are none": (at("facts", value=7), DAMAGED),
    "no tracks to compare": (at("tracks", value=None), "it is damaged"),
}


@pytest.mark.parametrize("case", HOSTILE)
def test_a_hostile_receipt_is_told_in_one_line_and_writes_nothing(once: Desk, case: str) -> None:
    change, why = HOSTILE[case]
    receipt = once.receipt("test")
    change(receipt)
    once.text("hostile.json", json.dumps(receipt))
    with once.nothing_written():
        ended = once.run("render", "hostile.json", "--out", "again")
    assert (ended.status, ended.out) == (2, "")
    assert ended.told == [f"hostile.json: not a receipt: {why}; {NAME_ONE}"]
    assert not (once.folder.parent / "outside.flac").exists()


def test_a_receipt_that_names_a_device_does_not_read_it(once: Desk) -> None:
    receipt = once.receipt("test")
    at("facts", "ember", "recording", "path", value="/dev/zero")(receipt)
    once.text("hostile.json", json.dumps(receipt))
    ended = once.run("render", "hostile.json")
    assert (ended.status, ended.out, len(ended.told)) == (2, "", 1)
    assert ended.told[0].startswith("hostile.json: /dev/zero: it is a device or a pipe")


def places(part: Any, path: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    """Every place in a JSON value, inner ones too."""
    items = part.items() if isinstance(part, dict) else enumerate(part) if isinstance(part, list) else ()
    for step, inner in items:
        yield (*path, step)
        yield from places(inner, (*path, step))


WRONG: tuple[Any, ...] = (None, "", "../x", -1, 10**40, 1e300, [], {}, [[]], True)


@pytest.mark.slow
def test_no_single_wrong_value_anywhere_in_a_receipt_breaks_the_program(once: Desk) -> None:
    """Every value of the plan and the facts, each as two others: it still is a plan, or is refused in one line."""
    receipt = once.receipt("test")
    refused = 0
    for part in ("plan", "facts"):
        for number, place in enumerate(places(receipt[part])):
            for value in (WRONG[(number + step) % len(WRONG)] for step in (0, 4)):
                changed = copy.deepcopy(receipt)
                at(part, *place, value=value)(changed)
                ended = once.run("check", once.text("hostile.json", json.dumps(changed)))
                assert ended.status in (0, 2)
                assert len(ended.told) == (1 if ended.status else 0)
                refused += ended.status == 2
    assert refused > 150
