"""`dropkiln playlist`: the records of what works, found from where the playlist lies."""

import os
from pathlib import Path

import m3u8
import pytest
import xspf_lib
from desk import EMBER, Desk

WORKS = "book: 1\nclips:\n  duo: {verdict: works}\n  duo--short: {verdict: works}\n  other: {verdict: no}\n"


@pytest.fixture
def kiln(desk: Desk) -> Desk:
    """A desk with records in a folder with an awkward name, and clips of two recipes."""
    folder = desk.folder / "réc ords #1"
    folder.mkdir()
    for name in ("ember", "slate"):
        (desk.folder / f"{name}.wav").rename(folder / f"{name}.wav")
    files = [(f"file: {name}.wav", f'file: "réc ords #1/{name}.wav"') for name in ("ember", "slate")]
    desk.recipe("duo.yaml", *files, ("clip:", "try:\n  short: {tail: 2 beats}\nclip:"))
    desk.recipe("other.yaml", *files)
    assert desk.run("render", "duo.yaml", "other.yaml").status == 0
    return desk


def files_in(playlist: Path) -> list[Path]:
    """What a playlist leads to, by an independent reader of its format."""
    if playlist.suffix == ".m3u8":
        places = [segment.uri for segment in m3u8.load(str(playlist)).segments]
    else:
        places = [track.location[0] for track in xspf_lib.Playlist.parse(playlist)]
    return [Path(os.path.normpath(playlist.parent / str(place))) for place in places]


@pytest.mark.parametrize("to", [None, "elsewhere/lists"])
@pytest.mark.parametrize("ending", [".m3u8", ".xspf"])
def test_each_combination_and_all_of_them_lead_to_the_records(
    kiln: Desk, to: str | None, ending: str
) -> None:
    kiln.text("book.yaml", WORKS)
    ended = kiln.run("playlist", *(["--to", to] if to else []))
    assert (ended.status, ended.err) == (0, "")
    folder = kiln.folder / (to or "out/playlists")
    assert sorted(path.name for path in folder.iterdir()) == [
        "duo.m3u8",
        "duo.xspf",
        "keepers.m3u8",
        "keepers.xspf",
    ]
    records = [kiln.folder / "réc ords #1" / f"{name}.wav" for name in ("ember", "slate")]
    for name in ("duo", "keepers"):
        assert files_in(folder / f"{name}{ending}") == records
        assert str(kiln.folder) not in (folder / f"{name}{ending}").read_text(encoding="utf-8")


@pytest.mark.parametrize("ending", [".m3u8", ".xspf"])
def test_each_of_two_combinations_has_its_own_records_and_all_together_each_record_once(
    kiln: Desk, ending: str
) -> None:
    folder = kiln.folder / "réc ords #1"
    kiln.sound("réc ords #1/tallow.wav", EMBER)
    kiln.recipe(
        "third.yaml",
        ("  ember:\n    file: ember.wav", '  tallow:\n    file: "réc ords #1/tallow.wav"'),
        ("file: slate.wav", 'file: "réc ords #1/slate.wav"'),
    )
    assert kiln.run("render", "third.yaml").status == 0
    kiln.text("book.yaml", "book: 1\nclips: {duo: {verdict: works}, third: {verdict: works}}\n")
    ended = kiln.run("playlist")
    assert (ended.status, ended.err) == (0, "")
    ember, slate, tallow = (folder / f"{name}.wav" for name in ("ember", "slate", "tallow"))
    lists = kiln.folder / "out/playlists"
    assert files_in(lists / f"duo{ending}") == [ember, slate]
    assert files_in(lists / f"third{ending}") == [tallow, slate]
    assert sorted(files_in(lists / f"keepers{ending}")) == [ember, slate, tallow]


def test_where_nothing_works_nothing_is_written(kiln: Desk) -> None:
    with kiln.nothing_written():
        ended = kiln.run("playlist")
    assert (ended.status, ended.err) == (0, "")
    assert ended.out.startswith("nothing   no clip works yet")


def test_a_record_that_is_gone_is_told_and_the_others_listed(kiln: Desk) -> None:
    kiln.text("book.yaml", WORKS)
    (kiln.folder / "réc ords #1" / "slate.wav").unlink()
    ended = kiln.run("playlist")
    assert ended.status == 1
    assert ended.told == [
        f"{kiln.folder}/réc ords #1/slate.wav: this record is not there; bring it back, or render duo again"
    ]
    assert [path.name for path in files_in(kiln.folder / "out/playlists/duo.m3u8")] == ["ember.wav"]


def test_a_playlist_of_what_no_longer_works_is_told_of_and_left(kiln: Desk) -> None:
    kiln.text("book.yaml", WORKS.replace("other: {verdict: no}", "other: {verdict: works}"))
    assert kiln.run("playlist").status == 0
    kiln.text("book.yaml", WORKS)
    ended = kiln.run("playlist")
    assert ended.status == 0
    assert ended.told == [
        "earlier   out/playlists/other.m3u8 and .xspf are of no keeper now; remove them if nobody needs them"
    ]
    assert (kiln.folder / "out/playlists/other.xspf").exists()


def test_a_recipe_called_keepers_keeps_its_own_playlist(kiln: Desk) -> None:
    kiln.text("keepers.yaml", (kiln.folder / "other.yaml").read_text(encoding="utf-8"))
    assert kiln.run("render", "keepers.yaml").status == 0
    kiln.text("book.yaml", "book: 1\nclips: {keepers: {verdict: works}}\n")
    ended = kiln.run("playlist")
    assert [line.split()[1] for line in ended.out.splitlines()] == [
        "out/playlists/keepers.m3u8",
        "out/playlists/all-keepers.m3u8",
    ]
