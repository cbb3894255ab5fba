"""What `dropkiln clean` tells, what it removes, and above all what it leaves alone."""

import json
import os
import shutil
import sys
from contextlib import nullcontext
from pathlib import Path
from typing import Any

import pytest
from desk import SLATE, STRETCHED, Desk

from render.files.run_lock import held
from render.files.store import CACHE_VARIABLE

SET = (("ember.wav", "../ember.wav"), ("slate.wav", "../slate.wav"))
TRY = ("clip:", "try:\n  short: {tail: 3 beats}\n  long: {tail: 5 beats}\nclip:")


@pytest.fixture(autouse=True)
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A cache of the test's own."""
    monkeypatch.setenv(CACHE_VARIABLE, str(tmp_path / "cache"))
    return tmp_path / "cache"


@pytest.fixture(scope="module")
def once_rendered(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three recipes with their clips: a, b with two variants, and c."""
    desk = Desk(tmp_path_factory.mktemp("rendered"))
    desk.recipe("recipes/a.yaml", *SET)
    desk.recipe("recipes/b.yaml", *SET, TRY)
    desk.recipe("recipes/c.yaml", *SET)
    assert desk.run("render", "recipes").status == 0
    return desk.folder


@pytest.fixture
def rendered(desk: Desk, once_rendered: Path) -> Desk:
    """A copy of them for each test."""
    shutil.copytree(once_rendered, desk.folder, dirs_exist_ok=True)
    return desk


def recipe(desk: Desk, name: str) -> Path:
    return desk.folder / "recipes" / f"{name}.yaml"


def names(desk: Desk) -> list[str]:
    return sorted(name.removesuffix(".json") for name in desk.clips() if name.endswith(".json"))


def removed(desk: Desk, *more: str) -> list[str]:
    ended = desk.run("clean", "--yes", "--json", *more)
    assert ended.status == 0
    found: list[str] = json.loads(ended.out)["removed"]
    return found


def test_nothing_goes_while_every_recipe_is_there(rendered: Desk) -> None:
    with rendered.nothing_written():
        assert removed(rendered) == []


def test_the_clips_of_a_recipe_that_is_gone_go_with_all_that_bears_their_name(rendered: Desk) -> None:
    recipe(rendered, "b").unlink()
    rendered.text("out/cards/b.html", "a card")
    rendered.text("out/cards/a.html", "another")
    assert removed(rendered) == ["b", "b--long", "b--short"]
    assert names(rendered) == ["a", "c"]
    assert rendered.clips() == [f"{name}.{ending}" for name in "ac" for ending in ("flac", "json", "svg")]
    assert [path.name for path in (rendered.folder / "out" / "cards").iterdir()] == ["a.html"]
    page = (rendered.folder / "out" / "index.html").read_text(encoding="utf-8")
    assert "a.flac" in page
    assert "b--long" not in page
    for name in "ac":
        rendered.assert_whole(name)


def test_a_variant_that_a_recipe_no_longer_has_goes_alone(rendered: Desk) -> None:
    rendered.recipe("recipes/b.yaml", *SET, ("clip:", "try: {short: {tail: 3 beats}}\nclip:"))
    assert removed(rendered) == ["b--long"]
    assert names(rendered) == ["a", "b", "b--short", "c"]


@pytest.mark.parametrize(
    "broken",
    ["recipe: 1\ntitle: B", "", "try: [", "\xff\xfe", "x" * 70_000],
    ids=["a part", "empty", "not whole", "odd", "too long"],
)
def test_a_recipe_in_error_keeps_its_clips(rendered: Desk, broken: str) -> None:
    rendered.text("recipes/b.yaml", broken.encode("latin-1"))
    with rendered.nothing_written():
        assert removed(rendered) == []


def test_a_recipe_whose_record_is_away_keeps_its_clips(rendered: Desk) -> None:
    (rendered.folder / "slate.wav").unlink()
    assert removed(rendered) == []


def test_recipes_are_looked_for_where_it_is_said(rendered: Desk) -> None:
    assert removed(rendered, "--recipes", "recipes/a.yaml", "--recipes", "recipes/c.yaml") == [
        "b",
        "b--long",
        "b--short",
    ]


@pytest.mark.parametrize(
    ("folder", "told"),
    [("recipes", "no such file or folder"), ("empty", "no recipe in this folder")],
)
def test_without_any_recipe_nothing_is_taken_for_gone(desk: Desk, folder: str, told: str) -> None:
    desk.recipe("a.yaml")
    desk.run("render", "a.yaml")
    (desk.folder / "empty").mkdir()
    with desk.nothing_written():
        ended = desk.run("clean", "--yes", "--recipes", folder)
    assert (ended.status, ended.out, len(ended.told)) == (2, "", 1)
    assert ended.told[0].startswith(f"{folder}: {told}; ")


def test_the_log_of_a_clip_that_failed_goes_with_its_recipe_and_other_texts_stay(desk: Desk) -> None:
    broken = desk.sound("oak.flac", SLATE)
    broken.write_bytes(broken.read_bytes()[:20_000])
    for name in "ab":
        desk.recipe(f"recipes/{name}.yaml", SET[0], ("slate.wav", "../oak.flac"))
    assert desk.run("render", "recipes").status == 1
    desk.text("out/clips/mine.log", "mine: not a clip's")
    desk.text("out/clips/theirs.log", (desk.folder / "out/clips/a.log").read_bytes())
    recipe(desk, "b").unlink()
    assert removed(desk) == ["b"]
    assert desk.clips() == ["a.log", "mine.log", "theirs.log"]


# --- what is not ours ---


def test_what_is_no_receipt_or_that_of_another_clip_stays_with_all_beside_it(rendered: Desk) -> None:
    folder = rendered.folder / "out" / "clips"
    receipt = (folder / "b.json").read_bytes()
    rendered.text("out/clips/notes.json", '{"plan": "none"}')
    rendered.text("out/clips/copied.json", receipt)
    rendered.text("out/clips/copied.flac", "mine")
    rendered.text("out/clips/b.txt", "mine")
    rendered.text("out/clips/b.wav", "mine")
    recipe(rendered, "b").unlink()
    before = rendered.contents()
    assert removed(rendered) == ["b", "b--long", "b--short"]
    for name in ("notes.json", "copied.json", "copied.flac", "b.txt", "b.wav"):
        assert rendered.contents()[f"out/clips/{name}"] == before[f"out/clips/{name}"]


@pytest.mark.skipif(os.name != "posix", reason="links as POSIX has them")
@pytest.mark.parametrize("linked", ["clip", "receipt", "cards", "clips"])
def test_links_are_not_followed(rendered: Desk, linked: str) -> None:
    outside = rendered.folder / "elsewhere"
    outside.mkdir()
    place = {"clip": "clips/b.flac", "receipt": "clips/b.json", "cards": "cards", "clips": "clips"}[linked]
    path = rendered.folder / "out" / place
    if linked == "cards":
        rendered.text("out/cards/b.html", "somebody's")
    path.rename(outside / "there")
    path.symlink_to(outside / "there")
    recipe(rendered, "b").unlink()
    before = {name: digest for name, digest in rendered.contents().items() if name.startswith("elsewhere")}
    ended = rendered.run("clean", "--yes")
    after = {name: digest for name, digest in rendered.contents().items() if name.startswith("elsewhere")}
    assert after == before
    assert path.is_symlink()
    assert (ended.status, "it is a link to" in ended.err) == ((2, True) if linked == "clips" else (0, False))
    assert ("b" in names(rendered)) == (linked in ("receipt", "clips"))


def test_while_a_run_is_at_work_nothing_is_removed(rendered: Desk) -> None:
    recipe(rendered, "b").unlink()
    with held(rendered.folder / "out"):
        before = rendered.contents()
        ended = rendered.run("clean", "--yes")
        assert (ended.status, len(ended.told)) == (1, 1)
        assert ended.told[0].startswith("out: another run is at work here (process ")
        assert rendered.contents() == before


# --- asking ---


class Answers:
    """Somebody at a terminal."""

    def __init__(self, *lines: str) -> None:
        self._lines = list(lines)

    def isatty(self) -> bool:
        return True

    def readline(self, *_: Any) -> str:
        return self._lines.pop(0) if self._lines else ""


@pytest.mark.parametrize(("answer", "goes"), [("y\n", True), ("n\n", False), ("\n", False), ("", False)])
def test_it_is_asked_first(rendered: Desk, monkeypatch: pytest.MonkeyPatch, answer: str, goes: bool) -> None:
    recipe(rendered, "c").unlink()
    monkeypatch.setattr(sys, "stdin", Answers(*([answer] if answer else [])))
    with nullcontext() if goes else rendered.nothing_written():
        ended = rendered.run("clean")
    assert ended.status == 0
    assert "remove 1 clip with what belongs to it, " in ended.err
    assert ("c" not in names(rendered)) == goes


@pytest.mark.parametrize("more", [["--dry-run"], ["--dry-run", "--yes"], []])
def test_a_dry_run_and_one_that_cannot_ask_only_tell(rendered: Desk, more: list[str]) -> None:
    recipe(rendered, "c").unlink()
    with rendered.nothing_written():
        ended = rendered.run("clean", *more)
    assert ended.status == 0
    assert ended.told == ([] if more else ["nothing was removed; --yes removes without asking"])
    assert "gone      c  its recipe is gone; made today, " in ended.out


# --- the cache ---


def test_what_is_held_is_told_in_files_and_bytes(rendered: Desk, cache: Path) -> None:
    rendered.run("render", "recipes/a.yaml", "--force")
    facts = json.loads(rendered.run("clean", "--dry-run", "--json").out)
    assert facts["cache"]["folder"] == str(cache)
    for place in facts["cache"]["holds"]:
        there = list((cache / place["name"]).glob("[0-9a-f]*"))
        assert (place["files"], place["size_bytes"]) == (len(there), sum(p.stat().st_size for p in there))
    clips = list((rendered.folder / "out" / "clips").iterdir())
    told = {place["name"]: (place["files"], place["size_bytes"]) for place in facts["output"]["holds"]}
    assert told["clips"] == (len(clips), sum(path.stat().st_size for path in clips))
    assert (facts["gone"], facts["removed"]) == ([], [])


@pytest.mark.slow
def test_an_emptied_cache_costs_time_and_nothing_else(desk: Desk, cache: Path) -> None:
    desk.recipe("test.yaml", STRETCHED)
    desk.run("render", "test.yaml")
    before = desk.receipt("test")
    mine = cache / "sounds" / "mine.txt"
    mine.write_text("not of the cache")
    assert (
        json.loads(desk.run("clean", "--cache", "--dry-run", "--json").out)["cache"]["holds"][0]["files"] > 0
    )
    with desk.nothing_written():
        ended = desk.run("clean", "--cache", "--yes")
    assert (ended.status, ended.err) == (0, "")
    assert "emptied   the cache, " in ended.out
    assert [path for path in cache.rglob("*") if path.is_file()] == [mine]
    assert desk.run("render", "test.yaml", "--force").outcomes == {"test": "made"}
    assert desk.receipt("test")["pcm_sha256"] == before["pcm_sha256"]


def test_a_folder_that_is_not_there_holds_nothing(desk: Desk) -> None:
    desk.recipe("recipes/a.yaml", *SET)
    with desk.nothing_written():
        ended = desk.run("clean", "--out", "nowhere")
    assert (ended.status, ended.err) == (0, "")
    assert "nowhere: 0.0 MB\n  clips     0 files, 0.0 MB\n" in ended.out
