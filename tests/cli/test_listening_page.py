"""The listening page at the end of every run, and as a command."""

import os

from desk import Desk

from render.faults import EXIT_IN_ERROR


def page(desk: Desk, out: str = "out") -> str:
    return (desk.folder / out / "index.html").read_text(encoding="utf-8")


def test_a_run_leaves_a_page_of_everything_that_is_there(desk: Desk) -> None:
    desk.recipe("a.yaml", ("title: Test", "title: Ash"))
    desk.run("render", "a.yaml")
    assert 'src="clips/a.flac"' in page(desk)
    desk.recipe("b.yaml", ("title: Test", "title: Birch"))
    desk.run("render", "b.yaml")
    assert all(f'src="clips/{name}.flac"' in page(desk) for name in "ab")
    assert str(desk.folder) not in page(desk)


def test_a_clip_that_was_thrown_away_leaves_the_page(desk: Desk) -> None:
    desk.recipe("a.yaml")
    desk.recipe("b.yaml")
    desk.run("render", ".")
    (desk.folder / "out" / "clips" / "a.flac").unlink()
    ended = desk.run("page")
    assert (ended.status, ended.out, ended.err) == (0, "1 clip on out/index.html\n", "")
    assert "clips/b.flac" in page(desk) and "clips/a.flac" not in page(desk)


def test_a_receipt_that_cannot_be_read_is_told_and_the_others_are_shown(desk: Desk) -> None:
    desk.recipe("a.yaml")
    desk.run("render", "a.yaml")
    good = (desk.folder / "out" / "clips" / "a.json").read_text(encoding="utf-8")
    desk.text("out/clips/broken.json", good[:400])
    desk.text("out/clips/other.json", good)
    desk.text("out/clips/bytes.json", b"\xff\xfe")
    os.mkfifo(desk.folder / "out" / "clips" / "pipe.json")
    desk.text("out/clips/.hidden.json", "{")
    ended = desk.run("page", "--out", "out")
    assert (ended.status, ended.out) == (0, "1 clip on out/index.html\n")
    assert ended.told == [
        f"out/clips/{name}.json: not on the page, for {why}; render its recipe again"
        for name, why in {
            "broken": "it is not JSON",
            "bytes": "it is not text",
            "other": "it is the receipt of another clip",
            "pipe": "there is no file behind this name",
        }.items()
    ]


def test_a_folder_that_no_render_has_filled_has_no_page(desk: Desk) -> None:
    with desk.nothing_written():
        ended = desk.run("page", "--out", "nowhere")
    assert ended.status == EXIT_IN_ERROR
    assert ended.told == [
        "nowhere: there is no folder 'clips' in it; name the folder that a render has filled"
    ]


def test_a_page_that_cannot_be_written_does_not_cost_the_clips(desk: Desk) -> None:
    desk.recipe("a.yaml")
    (desk.folder / "out" / "index.html").mkdir(parents=True)
    ended = desk.run("render", "a.yaml")
    assert (ended.status, ended.told[0]) == (0, "made      a  out/clips/a.flac")
    assert (
        ended.told[-1]
        == "out/index.html: a folder of this name is in the way; rename the folder or the recipe"
    )
    desk.assert_whole("a")
