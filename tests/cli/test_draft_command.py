"""`dropkiln draft`: two short songs, made at known tempi with known drops, become a recipe that can be rendered."""

import os
import re
from pathlib import Path

import numpy as np
import pytest
import soundfile
from desk import RATE_HZ, Desk
from ruamel.yaml import YAML

from tests.ground_truth.instruments import RATE_HZ as SONG_RATE_HZ
from tests.ground_truth.songs import Song, draw_song
from tests.ground_truth.sounding import sound_of

SONGS = {
    "ember": draw_song(7, "two-step", length_s=50, tempo_bpm=168.0, drums_only=False),
    "slate": draw_song(8, "four-on-the-floor", length_s=50, tempo_bpm=160.5, drums_only=False),
}


@pytest.fixture(scope="module")
def songs(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("songs")
    for name, song in SONGS.items():
        soundfile.write(folder / f"{name}.flac", sound_of(song), SONG_RATE_HZ)
    return {name: folder / f"{name}.flac" for name in SONGS}


@pytest.fixture
def shelf(desk: Desk, songs: dict[str, Path]) -> Desk:
    """A desk with the two songs in a folder `records`."""
    for name, path in songs.items():
        put(path, desk.folder / "records" / f"{name}.flac")
    return desk


def put(song: Path, place: Path) -> Path:
    place.parent.mkdir(parents=True, exist_ok=True)
    os.link(song, place)
    return place


def data_in(path: Path) -> dict:
    return YAML(typ="safe", pure=True).load(path.read_text(encoding="utf-8"))


@pytest.mark.slow
def test_a_draft_goes_into_the_folder_of_recipes_and_says_what_is_next(shelf: Desk) -> None:
    (shelf.folder / "recipes").mkdir()
    ended = shelf.run("draft", "records/ember.flac", "records/slate.flac")
    assert (ended.status, ended.err) == (0, "")
    assert ended.out.splitlines() == [
        "recipe    recipes/ember-over-slate.yaml",
        "next      dropkiln render recipes/ember-over-slate.yaml",
    ]
    files = [
        track["file"] for track in data_in(shelf.folder / "recipes/ember-over-slate.yaml")["tracks"].values()
    ]
    assert files == ["../records/ember.flac", "../records/slate.flac"]


def test_without_such_a_folder_a_draft_is_written_here(shelf: Desk) -> None:
    assert shelf.run("draft", "records/ember.flac", "records/slate.flac").status == 0
    assert (shelf.folder / "ember-over-slate.yaml").is_file()


def test_a_draft_states_what_the_records_were_made_with(shelf: Desk) -> None:
    """0.02 BPM is what a performer reads; half a beat would be another beat."""
    shelf.run("draft", "records/ember.flac", "records/slate.flac", "--to", "draft.yaml")
    tracks = data_in(shelf.folder / "draft.yaml")["tracks"]
    for name, song in SONGS.items():
        assert tracks[name]["bpm"] == pytest.approx(song.tempo_bpm, abs=0.02)
        assert dropping_s(tracks[name]) == pytest.approx(true_drop_s(song), abs=0.5 * song.beat_s)


def true_drop_s(song: Song) -> float:
    return float(song.beats()[(song.drop_bars[0] - 1) * 4])


def dropping_s(track: dict) -> float:
    bar = int(re.fullmatch(r"bar (\d+)", track["markers"]["drop"])[1])
    return float(track["first_beat"].removesuffix(" s")) + (bar - 1) * 4 * 60 / track["bpm"]


def test_check_has_nothing_against_a_draft(shelf: Desk) -> None:
    shelf.run("draft", "records/ember.flac", "records/slate.flac")
    ended = shelf.run("check", "ember-over-slate.yaml")
    assert (ended.status, ended.err) == (0, "")
    assert "ember-over-slate--short: " in ended.out


@pytest.mark.slow
def test_a_draft_and_its_variants_can_be_rendered_without_editing(shelf: Desk) -> None:
    shelf.run("draft", "records/ember.flac", "records/slate.flac")
    ended = shelf.run("render", "ember-over-slate.yaml", "--format", "flac")
    assert ended.status == 0
    variants = data_in(shelf.folder / "ember-over-slate.yaml")["try"]
    for name in ("ember-over-slate", *(f"ember-over-slate--{variant}" for variant in variants)):
        shelf.assert_whole(name)


AWKWARD = [
    ('01 - Ember ("live").flac', "It's #1: {ash}, 100 %.flac"),
    ("~ember.flac", "- ember ✓ é 火.flac"),
    ("same.flac", "elsewhere/same.flac"),
    ("  spaces  .flac", "1999.flac"),
]


@pytest.mark.parametrize("names", AWKWARD, ids=["signs", "home", "twins", "numbers"])
def test_records_with_awkward_names_come_through(
    desk: Desk, songs: dict[str, Path], names: tuple[str, str]
) -> None:
    for name, song in zip(names, songs.values(), strict=True):
        put(song, desk.folder / name)
    drafted = desk.run("draft", "--to", "awkward.yaml", "--", *names)
    assert (drafted.status, drafted.err) == (0, "")
    checked = desk.run("check", "awkward.yaml")
    assert (checked.status, checked.err) == (0, "")
    assert len(data_in(desk.folder / "awkward.yaml")["tracks"]) == 2


def test_a_recipe_that_is_there_stays_as_it_is(shelf: Desk) -> None:
    recipe = shelf.text("ember-over-slate.yaml", "mine")
    with shelf.nothing_written():
        ended = shelf.run("draft", "records/ember.flac", "records/slate.flac")
    assert (ended.status, ended.out) == (2, "")
    assert ended.told == [
        "ember-over-slate.yaml: it is there already; choose another name with --to, or write over it with --force"
    ]
    assert shelf.run("draft", "records/ember.flac", "records/slate.flac", "--force").status == 0
    assert data_in(recipe)["recipe"] == 1


def test_records_without_a_beat_are_told_of_one_by_one(shelf: Desk) -> None:
    shelf.sound("rain.wav", np.zeros((20 * RATE_HZ, 2)))
    (shelf.folder / "recipes").mkdir()  # where a draft would name them otherwise than they were here
    with shelf.nothing_written():
        ended = shelf.run("draft", "rain.wav", "records/ember.flac", "gone.wav")
    assert (ended.status, ended.out) == (1, "")
    by_hand = "write a recipe by hand, and state `bpm`, `first_beat` and the marker `drop`"
    assert ended.told[0] == f"rain.wav: no beat was found; {by_hand}"
    assert [line.split(":")[0] for line in ended.told] == ["rain.wav", "gone.wav"]


@pytest.mark.parametrize(
    "arguments, told",
    [
        (["a.wav"], "draft: one track alone; two or more are layered"),
        (["a.wav"] * 9, "draft: 9 tracks; 8 are the most"),
        (["a.wav", "b.wav", "--to", "draft.txt"], "draft.txt: not a recipe by its name; a recipe ends in .yaml"),
        (["a.wav", "b.wav", "--to", "no/a.yaml"], "no: there is no such folder; make it, or choose another with --to"),
        (["a\nb.wav", "b.wav"], "'a\\nb.wav': a name with line breaks or other hidden characters cannot stand in "
         "a recipe; rename it"),
    ],
)  # fmt: skip
def test_what_cannot_be_drafted_is_told_before_anything_is_heard(
    desk: Desk, arguments: list[str], told: str
) -> None:
    with desk.nothing_written():
        ended = desk.run("draft", *arguments)
    assert (ended.status, ended.out, ended.told) == (2, "", [told])


def test_a_folder_is_no_recipe(shelf: Desk) -> None:
    (shelf.folder / "a.yaml").mkdir()
    ended = shelf.run("draft", "records/ember.flac", "records/slate.flac", "--to", "a.yaml")
    assert (ended.status, ended.told) == (2, ["a.yaml: this is a folder; name a file in it"])
