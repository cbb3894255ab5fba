"""Playlists beyond their formats' rules, which `tests/standards` holds: what no line can hold, what is put together."""

import pytest

from render.publish.playlists import Playlist, Record, UnfitPath, m3u8, together


@pytest.mark.parametrize("path", ["a\nb.flac", "a\u2028b.flac", "a.flac ", "a\udcff.flac"])
def test_a_path_that_no_line_can_hold_is_refused(path: str) -> None:
    with pytest.raises(UnfitPath):
        m3u8(Playlist("x", (Record(path, "x", 1.0),)))


@pytest.mark.parametrize("path", ["#1.flac", " 1.flac"])
def test_a_path_that_looks_like_a_remark_does_not_become_one(path: str) -> None:
    assert f"\n./{path}\n" in m3u8(Playlist("x", (Record(path, "x", 1.0),)))


def test_together_each_record_stands_once() -> None:
    one, two, three = (Record(name, name, 1.0, f"{name} here") for name in "abc")
    every = together("Keepers", [Playlist("1", (one, two)), Playlist("2", (three, one))])
    assert [record.path for record in every.records] == ["a", "b", "c"]
    assert [record.remark for record in every.records] == ["", "", ""]
