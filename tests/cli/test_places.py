"""Which files are taken for recipes, what clips may be called, and where they may go."""

import os
import re
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
from desk import Desk, Ended

posix = pytest.mark.skipif(os.name != "posix", reason="only POSIX knows such files")


def assert_refused(ended: Ended, told: str) -> None:
    assert (ended.status, ended.out, ended.told) == (2, "", [told])


# --- what a person names ---


@pytest.mark.parametrize("command", ["check", "render"])
def test_a_path_that_cannot_be_taken_is_told_in_one_line(desk: Desk, command: str) -> None:
    (desk.folder / "empty").mkdir()
    desk.recipe("test.yaml")
    long = "x" * 300 + ".yaml"
    with desk.nothing_written():
        for path, told in {
            "gone.yaml": "no such file or folder; name a recipe or a folder of recipes",
            "test.yaml/inside.yaml": "no such file or folder; name a recipe or a folder of recipes",
            "empty": "no recipe in this folder; a recipe ends in .yaml",
            "ember.wav": "not a recipe by its name; a recipe ends in .yaml",
            long: "it cannot be read (File name too long); check its name and allow reading it",
        }.items():
            assert_refused(desk.run(command, "test.yaml", path), f"{path}: {told}")


@posix
@pytest.mark.parametrize("kind", ["a folder", "a pipe", "a link to nothing", "a link to itself"])
def test_what_is_no_file_behind_a_recipe_s_name_is_told_and_not_waited_for(desk: Desk, kind: str) -> None:
    desk.recipe("set/good.yaml", ("ember.wav", "../ember.wav"), ("slate.wav", "../slate.wav"))
    path = desk.folder / "set" / "odd.yaml"
    match kind:
        case "a folder":
            path.mkdir()
        case "a pipe":
            os.mkfifo(path)
        case "a link to nothing":
            path.symlink_to("gone.yaml")
        case _:
            path.symlink_to(path)
    ended = desk.run("render", "set")
    assert ended.status == 2
    assert (
        "set/odd.yaml:1:1: there is no file behind this name; remove it or put a recipe there" in ended.told
    )
    desk.assert_whole("good")


def test_a_folder_stands_for_the_recipes_in_it_and_for_nothing_else(desk: Desk) -> None:
    for name in ("a.yaml", "b.yml", "C.YAML", "inner/d.yaml", ".hidden.yaml"):
        desk.recipe(name)
    desk.text("notes.txt", "no recipe")
    ended = desk.run("render", ".", "a.yaml", "--dry-run")
    assert ended.status == 0
    assert [line.split()[0] for line in ended.out.splitlines()] == ["C.flac", "a.flac", "b.flac", "to"]


def test_two_clips_of_one_name_are_refused(desk: Desk) -> None:
    desk.recipe("one/test.yaml", ("ember.wav", "../ember.wav"), ("slate.wav", "../slate.wav"))
    desk.recipe("two/Test.yml", ("ember.wav", "../ember.wav"), ("slate.wav", "../slate.wav"))
    with desk.nothing_written():
        ended = desk.run("render", "one", "two")
    told = "two/Test.yml: would overwrite the clip 'Test' of one/test.yaml; give one of them another name"
    assert_refused(ended, told)


def test_a_recipe_named_like_another_one_s_variant_is_refused(desk: Desk) -> None:
    desk.recipe("test.yaml", ("clip:", "try: {dry: {tail: 2 beats}}\nclip:"))
    desk.recipe("test--dry.yaml")
    with desk.nothing_written():
        ended = desk.run("render", ".")
    told = "test.yaml: would overwrite the clip 'test--dry' of test--dry.yaml; give one of them another name"
    assert_refused(ended, told)


# --- what clips are called ---


@posix
@pytest.mark.parametrize(
    "name", ["two words", "Ünïcode 鼓", "dots.in.name", 'it\'s "quoted"', "-dash", "--force", "$(rm) `x` *?"]
)
def test_a_recipe_of_an_unusual_name_gives_a_clip_of_the_same_name(desk: Desk, name: str) -> None:
    desk.recipe(f"set/{name}.yaml", ("ember.wav", "../ember.wav"), ("slate.wav", "../slate.wav"))
    ended = desk.run("render", "set", "--plain")
    assert ended.status == 0
    assert ended.told == [f"made      {name}  {Path('out/clips')}/{name}.flac"]
    assert desk.clips() == sorted(f"{name}.{ending}" for ending in ("flac", "json", "svg"))
    desk.assert_whole(name)
    assert desk.receipt(name)["recipe"] == name


@posix
def test_a_recipe_with_a_leading_dash_is_named_after_two_dashes_or_by_its_folder(desk: Desk) -> None:
    desk.recipe("-dash.yaml")
    for named in (["--", "-dash.yaml"], ["./-dash.yaml"]):
        out = desk.run("render", "--dry-run", *named).out
        assert out.startswith("-dash.flac  3.4 s at 140 BPM")
        assert "\nto make: 1 clip, " in out


@posix
@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("a:b", "a:b"),
        ("back\\slash", "back\\slash"),
        ("new\nline", "new\\nline"),
        ("\x1b[31mred", "\\x1b[31mred"),
        (os.fsdecode(b"na\xefve"), "na\\udcefve"),
    ],
)
def test_a_recipe_s_name_that_no_clip_can_have_is_refused_on_one_line(
    desk: Desk, name: str, shown: str
) -> None:
    desk.recipe(f"{name}.yaml")
    with desk.nothing_written():
        ended = desk.run("render", ".")
    right = "rename it without / \\ : line breaks and other hidden characters"
    assert_refused(ended, f"{shown}.yaml: no clip can be called like this recipe; {right}")


# --- where clips go ---


def assert_failed_folder(desk: Desk, ended: Ended, told: str) -> None:
    assert (ended.status, ended.out, len(ended.told)) == (1, "", 1)
    assert ended.told[0].startswith("out")
    assert ended.told[0].endswith(told)
    assert desk.clips() == []


def test_an_output_folder_that_is_a_file(desk: Desk) -> None:
    desk.recipe("test.yaml")
    desk.text("out", "a file")
    with desk.nothing_written():
        ended = desk.run("render", "test.yaml")
    assert (ended.status, ended.out, len(ended.told)) == (1, "", 1)
    assert ended.told[0].endswith("is not a folder; create it or choose another output folder")


def test_an_output_folder_that_may_not_be_written(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    desk.recipe("test.yaml")
    out = desk.folder / "out"
    out.mkdir(mode=0o555)
    if os.access(out, os.W_OK):  # the superuser may write everywhere

        def denied(self: Path, *_: object, **__: object) -> None:
            raise PermissionError(13, "Permission denied", str(self))

        monkeypatch.setattr(Path, "mkdir", denied)
    with desk.nothing_written():
        ended = desk.run("render", "test.yaml")
    assert_failed_folder(desk, ended, "may not be written; choose an output folder that can be written")


def test_an_output_folder_on_a_read_only_disk(desk: Desk, mounted: Callable[[str], None]) -> None:
    desk.recipe("test.yaml")
    mounted("ro")
    with desk.nothing_written():
        ended = desk.run("render", "test.yaml")
    assert_failed_folder(desk, ended, "the disk is read-only; choose an output folder that can be written")


def short_and_long_clips(desk: Desk) -> None:
    """8 beats of 24-bit stereo at 44.1 kHz are 0.9 MB, 2 beats a quarter of it; 600 kB hold no more than short ones."""
    for name, beats in (("a", 1), ("b", 4), ("c", 1), ("d", 4)):
        desk.recipe(
            f"{name}.yaml",
            ("lead: 4", f"lead: {beats}"),
            ("tail: 4", f"tail: {beats}"),
            ("format: flac", "format: wav"),
        )


def test_a_full_disk_ends_the_run_and_leaves_no_part_of_what_does_not_fit(
    desk: Desk, mounted: Callable[[str], None]
) -> None:
    short_and_long_clips(desk)
    mounted("size=600k")
    ended = desk.run("render", ".", "--plain")
    assert (ended.status, ended.out) == (1, "")
    assert ended.told[0] == "made      a  out/clips/a.wav"
    full = r"the disk is full \(0\.9 MB needed, 0\.\d MB free\); make room or choose another output folder"
    assert re.fullmatch(f"failed    b  out/clips/b.wav: {full}", ended.told[1])
    room = r"out: stopped, for the disk is full: 3 clips not made need about \d\.\d MB, 0\.\d MB are free; make room "
    assert re.match(room, ended.told[2])
    assert len(ended.told) == 3
    assert [name for name in desk.clips() if name != "b.log"] == ["a.json", "a.svg", "a.wav"]
    desk.assert_whole("a")


@pytest.mark.slow
def test_workers_stop_at_a_full_disk_and_the_next_run_goes_on_where_there_is_room(
    desk: Desk, mounted: Callable[[str], None]
) -> None:
    short_and_long_clips(desk)
    mounted("size=600k")
    ended = desk.run("render", ".", "--plain", "--jobs", "2")
    assert (ended.status, ended.out) == (1, "")
    assert any("b.wav: the disk is full" in line or "d.wav: the disk is full" in line for line in ended.told)
    whole = {name.removesuffix(".wav") for name in desk.clips() if name.endswith(".wav")}
    assert whole <= {"a", "c"}
    for name in whole:
        desk.assert_whole(name)
    subprocess.run(["mount", "-o", "remount,size=8m", desk.folder / "out"], check=True)
    again = desk.run("render", ".", "--plain", "--jobs", "2")
    assert again.status == 0
    assert again.outcomes == {name: "kept" if name in whole else "made" for name in "abcd"}


def test_a_disk_that_fills_up_among_the_variants_of_a_recipe_ends_the_run_once(
    desk: Desk, mounted: Callable[[str], None]
) -> None:
    """Each is 0.9 MB: 1.5 MB hold one of them and its receipt."""
    desk.recipe(
        "test.yaml", ("format: flac", "format: wav"), ("clip:", "try: {1: {}, 2: {}, 3: {}, 4: {}}\nclip:")
    )
    mounted("size=1500k")
    ended = desk.run("render", "test.yaml", "--plain")
    assert (ended.status, ended.out) == (1, "")
    made, failed, need = ended.told
    assert made == "made      test  out/clips/test.wav"
    assert re.match(r"failed    test--1  out/clips/test--1.wav: the disk is full \(0\.9 MB needed, ", failed)
    assert need.startswith("out: stopped, for the disk is full: 4 clips not made need about ")
    assert [name for name in desk.clips() if name != "test--1.log"] == ["test.json", "test.svg", "test.wav"]
    desk.assert_whole("test")


@posix
@pytest.mark.parametrize("there", [True, False])
def test_a_clip_s_name_that_is_a_link_out_of_the_folder_is_not_followed(desk: Desk, there: bool) -> None:
    desk.recipe("test.yaml")
    outside = desk.folder / "outside.flac"
    if there:
        desk.text("outside.flac", "somebody's")
    (desk.folder / "out" / "clips").mkdir(parents=True)
    (desk.folder / "out" / "clips" / "test.flac").symlink_to(outside)
    ended = desk.run("render", "test.yaml")
    assert (ended.status, ended.out) == (1, "")
    assert ended.told == [f"failed    test  out/clips/test.flac: it is a link to {outside}; remove the link"]
    assert desk.clips() == ["test.flac", "test.log"]
    assert (outside.read_text() == "somebody's") if there else not outside.exists()


@posix
@pytest.mark.parametrize("ending", ["json", "svg"])
def test_a_link_in_the_place_of_a_receipt_or_picture_is_replaced_and_not_followed(
    desk: Desk, ending: str
) -> None:
    desk.recipe("test.yaml")
    outside = desk.text("outside", "somebody's")
    (desk.folder / "out" / "clips").mkdir(parents=True)
    link = desk.folder / "out" / "clips" / f"test.{ending}"
    link.symlink_to(outside)
    assert desk.run("render", "test.yaml").status == 0
    assert outside.read_text() == "somebody's"
    assert not link.is_symlink()
    desk.assert_whole("test")
