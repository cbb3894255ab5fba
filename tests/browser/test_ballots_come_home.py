"""A ballot's whole way: said on a page that `dropkiln` has made, sent back, and found again in the book."""

import json
import re
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import expect
from ruamel.yaml import YAML
from watched import Open

from render.publish.ballots import TEXT_PREFIX
from tests.cli.desk import Desk

TITLE = "<script>alert(1)</script> \"Ash\" & 'kiln' 🏮 שלום"
NOTE = 'lifts <b>twice</b>, "yes" 🔥 שלום: # no'
BOOK = "recipes/book.yaml"


@pytest.fixture
def kiln(tmp_path: Path) -> Desk:
    """A desk with a clip and a variant of it, and their page."""
    (tmp_path / "desk").mkdir()
    desk = Desk(tmp_path / "desk")
    desk.recipe(
        "recipes/duo.yaml",
        ("file: ember.wav", "file: ../ember.wav"),
        ("file: slate.wav", "file: ../slate.wav"),
        ("title: Test", f"title: {json.dumps(TITLE, ensure_ascii=False)}"),  # what JSON quotes, YAML reads
        ("clip: {format: flac}", "try:\n  early: {tail: 3 beats}\nclip: {format: mp3}"),
    )
    assert desk.run("render", "recipes").status == 0
    return desk


def told(kiln: Desk, *arguments: str) -> list[str]:
    """What `dropkiln` prints, run by itself as a person runs it."""
    ended = kiln.run_apart(*arguments)
    assert (ended.status, ended.err) == (0, "")
    return ended.out.splitlines()


def ratings_in_book(kiln: Desk) -> dict[str, list[tuple[str, str, str]]]:
    """By the book's own text, read as plain YAML: of each clip, who said what of which sound."""
    book: dict[str, Any] = YAML(typ="safe").load((kiln.folder / BOOK).read_text(encoding="utf-8"))
    for name, entry in book["clips"].items():
        assert [one["pcm"] for one in entry["ratings"]] == [kiln.receipt(name)["pcm_sha256"][:12]]
    return {
        name: [(one["who"], one["verdict"], one.get("note", "")) for one in entry["ratings"]]
        for name, entry in book["clips"].items()
    }


def expect_in_book(kiln: Desk) -> None:
    assert ratings_in_book(kiln) == {
        "duo": [("Mara", "works", NOTE)],
        "duo--early": [("Mara", "no", "")],
    }
    assert [re.sub(r"\d{4}-\d\d-\d\d", "WHEN", line) for line in told(kiln, "book", "works")] == [
        f"works     duo  {TITLE}",
        f"            WHEN  works   Mara: {NOTE}",
    ]


@pytest.mark.slow
def test_what_is_rated_by_keys_on_the_page_is_in_the_book(kiln: Desk, opened: Open) -> None:
    page = opened((kiln.folder / "out/index.html").as_uri())
    for key in ("w", "m"):
        page.keyboard.press(key)
    page.keyboard.type(NOTE)
    for key in ("Escape", "v", "n"):
        page.keyboard.press(key)
    expect(page.locator("#ballot-count")).to_have_text("2 of 2 clips rated.")
    page.locator("#listener").focus()
    page.keyboard.type("Mara")
    page.keyboard.press("Tab")
    expect(page.locator("#save")).to_be_focused()
    with page.expect_download() as saving:
        page.keyboard.press("Enter")
    saving.value.save_as(kiln.folder / "ballot.json")
    assert told(kiln, "ballots", "ballot.json") == [
        "ballot    ballot.json: Mara, 2 new, 0 known already",
        f"book      {BOOK}",
    ]
    expect_in_book(kiln)


@pytest.mark.slow
def test_what_a_friend_pastes_from_the_shared_file_is_in_the_book(kiln: Desk, opened: Open) -> None:
    assert kiln.run_apart("share", "duo", "duo--early").status == 0
    page = opened((kiln.folder / "out/share.html").as_uri())
    for number, key in ((0, "works"), (1, "no")):
        button = page.locator(".shared-clip").nth(number).get_by_role("button", name=key, exact=True)
        button.press("Enter")
    page.get_by_label("Note").first.fill(NOTE)
    page.get_by_label("Your name").fill("Mara")
    text = page.get_by_label("The ballot as a text")
    expect(text).to_have_value(re.compile(f"^{TEXT_PREFIX}"))
    pasted = text.input_value()
    assert told(kiln, "ballots", pasted) == [
        "ballot    text: Mara, 2 new, 0 known already",
        f"book      {BOOK}",
    ]
    assert told(kiln, "ballots", pasted)[-1] == f"book      {BOOK}, unchanged"
    expect_in_book(kiln)
