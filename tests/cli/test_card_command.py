"""`dropkiln card`: where cards go, what they are made of, and what is told where there can be none."""

import json
import re

import pytest
from desk import Desk

VARIANT = ("clip: {format: flac}", "clip: {format: flac}\ntry: {short: {tail: 2 beats}}")


def headroom(text: str) -> str:
    line = re.search(r"^headroom to leave: (.*)$", text, re.M)
    assert line, text
    return line[1]


def test_a_card_lies_in_the_folder_of_cards(desk: Desk) -> None:
    desk.recipe("test.yaml")
    ended = desk.run("card", "test.yaml")
    assert (ended.status, ended.out, ended.err) == (0, "card      out/cards/test.html\n", "")
    page = (desk.folder / "out/cards/test.html").read_text(encoding="utf-8")
    # Bar 3 is 8 beats of 60/140 s after 0.25 s and 0.5 s.
    assert "0:03.679" in page
    assert "0:03.929" in page


def test_a_card_can_be_named_and_printed(desk: Desk) -> None:
    desk.recipe("test.yaml", VARIANT)
    assert desk.run("card", "test.yaml", "--to", "paper/mine.html").out == "card      paper/mine.html\n"
    assert (desk.folder / "paper/mine.html").is_file()
    with desk.nothing_written():
        text = desk.run("card", "test.yaml", "--text", "--variant", "short")
    assert (text.status, text.err) == (0, "")
    assert text.out.startswith(
        "Test · short\n140 BPM, 4 beats to the bar: 4 beats to the landing, 2 beats after it\n"
    )


def test_headroom_comes_from_the_clip_and_only_from_one_that_does_the_same(desk: Desk) -> None:
    recipe = desk.recipe("test.yaml")
    assert headroom(desk.run("card", "test.yaml", "--text").out).startswith("not known yet")
    assert desk.run("render", "test.yaml").status == 0
    needed_db = desk.receipt("test")["headroom_needed_db"]
    for asked in ("test.yaml", "out/clips/test.json"):
        said = headroom(desk.run("card", asked, "--text").out)
        assert (
            said == "none, together they stay below full scale"
            if needed_db <= 0
            else float(said[:-3]) >= needed_db
        )
    recipe.write_text(recipe.read_text().replace("tail: 4 beats", "tail: 3 beats"))
    changed = desk.run("card", "test.yaml", "--text")
    assert changed.status == 0
    assert headroom(changed.out).startswith("not known yet")
    assert changed.told == [
        "out/clips/test.json: this is not of a clip that does what the card says; render the recipe again"
    ]


def test_a_damaged_receipt_costs_the_headroom_and_nothing_else(desk: Desk) -> None:
    desk.recipe("test.yaml")
    desk.text("out/clips/test.json", '{"format_version": 1, "plan": {}}')
    ended = desk.run("card", "test.yaml", "--text")
    assert ended.status == 0
    assert headroom(ended.out).startswith("not known yet")


def test_every_keeper_gets_a_card(desk: Desk) -> None:
    desk.recipe("test.yaml", VARIANT)
    assert desk.run("render", "test.yaml").status == 0
    book = {"book": 1, "clips": {"test--short": {"verdict": "works"}, "test": {"verdict": "no"}}}
    desk.text("book.yaml", json.dumps(book))
    ended = desk.run("card", "--keepers")
    assert (ended.status, ended.out, ended.err) == (0, "card      out/cards/test--short.html\n", "")
    assert "not known yet" not in (desk.folder / "out/cards/test--short.html").read_text(encoding="utf-8")


def test_a_keeper_without_a_clip_is_told_of(desk: Desk) -> None:
    desk.text("book.yaml", json.dumps({"book": 1, "clips": {"gone": {"verdict": "works"}}}))
    ended = desk.run("card", "--keepers")
    assert ended.status == 1
    assert "gone: it has no clip in out; render its recipe" in ended.told


def test_good_recipes_get_cards_also_where_others_are_in_error(desk: Desk) -> None:
    desk.recipe("recipes/bad.yaml", ("lead: 4 beats", "lead: 4"), ("ember.wav", "../ember.wav"))
    desk.recipe("recipes/good.yaml", ("ember.wav", "../ember.wav"), ("slate.wav", "../slate.wav"))
    ended = desk.run("card", "recipes")
    assert ended.status == 2
    assert ended.out == "card      out/cards/good.html\n"
    assert any("recipes/bad.yaml:4:7: lead: '4' has no unit" in line for line in ended.told)


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        ((), "card: name recipes, or ask for --keepers, one of the two; see `dropkiln card --help`"),
        (("test.yaml", "--keepers"), "card: name recipes, or ask for --keepers, one of the two; see"),
        (("test.yaml", "--variant", "sort"), "test.yaml: it has no variant 'sort'; it has short"),
        (
            ("--keepers", "--variant", "short"),
            "card: --variant and --keepers; the book says which variants work",
        ),
        (("test.yaml", "--to", "a.html", "--text"), "card: --to and --text; --text prints"),
        (
            ("test.yaml", "other.yaml", "--to", "a.html"),
            "a.html: 2 cards do not go into one file; leave --to out",
        ),
        (("none.yaml",), "none.yaml: no such file or folder; name a recipe"),
    ],
)
def test_a_call_that_cannot_be_meant_is_one_line(desk: Desk, arguments: tuple[str, ...], told: str) -> None:
    desk.recipe("test.yaml", VARIANT)
    desk.recipe("other.yaml")
    with desk.nothing_written():
        ended = desk.run("card", *arguments)
    assert (ended.status, ended.out) == (2, "")
    (line,) = ended.told
    assert line.startswith(told)
