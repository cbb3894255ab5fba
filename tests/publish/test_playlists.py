"""Playlists, read by the rules of their formats and by independent readers."""

import re
from pathlib import Path, PurePosixPath
from urllib.parse import unquote, urljoin
from xml.etree import ElementTree

import m3u8 as m3u8_reader
import pytest
import xspf_lib
from hypothesis import given
from hypothesis import strategies as st

from render.publish.lettering import cleaned
from render.publish.playlists import Playlist, Record, UnfitPath, m3u8, together, uri, xspf

XSPF = "{http://xspf.org/ns/0/}"
LISTED = Playlist(
    "Kilns & <Lanterns>, “two”",
    (
        Record("../demo/a b.flac", "A & B", 22.0694, "172 BPM, F minor"),
        Record("../démo/50% #1?.flac", "Ti,tle – 2", 180.5),
        Record("c:d/e.flac", "emoji 🏮", 0.0),
    ),
    "174 BPM together",
)

_ONCE = {"title", "creator", "annotation", "info", "image", "album", "trackNum", "duration"}
_OFTEN = {"location", "identifier", "link", "meta", "extension"}
_OF_PLAYLIST = {
    "title",
    "creator",
    "annotation",
    "info",
    "location",
    "identifier",
    "image",
    "date",
    "license",
}
_OF_PLAYLIST |= {"attribution", "link", "meta", "extension", "trackList"}
_URI_REFERENCE = re.compile(r"(?:[A-Za-z0-9._~!$&'()*+,;=:@/-]|%[0-9A-Fa-f]{2})*")
"""RFC 3986: what may stand in a path, and percent-encoded bytes."""


def assert_valid(text: str) -> ElementTree.Element:
    """The rules of XSPF Version 1 (https://xspf.org/spec), sections 4.1.1 and 4.1.1.2; read from its conformance
    tests and validator."""
    root = ElementTree.fromstring(text.encode())
    assert root.tag == f"{XSPF}playlist"
    assert root.attrib == {"version": "1"}
    names = [child.tag.removeprefix(XSPF) for child in root]
    assert set(names) <= _OF_PLAYLIST
    assert names.count("trackList") == 1
    assert all(names.count(name) <= 1 for name in _OF_PLAYLIST - {"link", "meta", "extension", "attribution"})
    for track in root.iterfind(f"{XSPF}trackList/*"):
        assert track.tag == f"{XSPF}track"
        inner = [child.tag.removeprefix(XSPF) for child in track]
        assert set(inner) <= _ONCE | _OFTEN
        assert all(inner.count(name) <= 1 for name in _ONCE)
        for child in track:
            assert not child.attrib and child.text
        for location in track.iterfind(f"{XSPF}location"):
            assert _URI_REFERENCE.fullmatch(location.text or "")
        for length in track.iterfind(f"{XSPF}duration"):
            assert re.fullmatch(r"[0-9]+", length.text or "")
    return root


@pytest.mark.parametrize(
    ("good", "bad"),
    [
        ('version="1"', 'version="2"'),
        ('version="1" ', ""),
        ("http://xspf.org/ns/0/", "http://xspf.org/ns/1/"),
        ("</trackList>", "</trackList><trackList/>"),
        ("a%20b", "a b"),
        ("<duration>22069</duration>", "<duration>22.07</duration>"),
        ("<annotation>172 BPM, F minor</annotation>", "<bpm>172</bpm>"),
        ("&amp;", "&"),
    ],
)
def test_the_check_refuses_what_the_specification_forbids(good: str, bad: str) -> None:
    text = xspf(LISTED)
    assert good in text
    with pytest.raises((AssertionError, ElementTree.ParseError)):
        assert_valid(text.replace(good, bad, 1))


def test_an_xspf_playlist_keeps_to_the_specification() -> None:
    assert_valid(xspf(LISTED))
    assert_valid(xspf(Playlist("", ())))


def test_an_independent_reader_finds_the_same_in_xspf(tmp_path: Path) -> None:
    """xspf-lib; it gives locations back percent-decoded."""
    path = tmp_path / "list.xspf"
    path.write_text(xspf(LISTED), encoding="utf-8")
    read = xspf_lib.Playlist.parse(path)
    assert (read.title, read.annotation) == (LISTED.title, LISTED.remark)
    assert [(list(map(unquote, track.location)), track.title, track.duration) for track in read] == [
        (["../demo/a b.flac"], "A & B", 22_069),
        (["../démo/50% #1?.flac"], "Ti,tle – 2", 180_500),
        (["c:d/e.flac"], "emoji 🏮", None),
    ]


def test_an_independent_reader_finds_the_same_in_m3u8() -> None:
    """The library m3u8, which reads what RFC 8216 shares with the extended M3U of common practice."""
    read = m3u8_reader.loads(m3u8(LISTED))
    assert [(one.duration, one.title, one.uri) for one in read.segments] == [
        (22, "A & B", "../demo/a b.flac"),
        (181, "Ti,tle – 2", "../démo/50% #1?.flac"),
        (-1, "emoji 🏮", "c:d/e.flac"),
    ]


def test_an_m3u8_playlist_has_its_lines_in_order() -> None:
    """RFC 8216, 4.1: UTF-8 without a byte order mark; 4.3.1.1: #EXTM3U first; common practice for the rest."""
    lines = m3u8(LISTED).split("\n")
    assert lines[:4] == [
        "#EXTM3U",
        "#PLAYLIST:Kilns & <Lanterns>, “two”",
        "#EXTINF:22,A & B",
        "../demo/a b.flac",
    ]
    assert lines[-1] == ""


PATHS = st.text(st.characters(exclude_categories=("Cs",), exclude_characters="\0/"), min_size=1, max_size=20)


@given(st.lists(PATHS.filter(lambda part: part not in (".", "..")), min_size=1, max_size=3).map("/".join))
def test_a_location_leads_back_to_the_path(path: str) -> None:
    """RFC 3986, 5.2: resolved against the playlist's own URI by Python's urllib."""
    location = uri(path)
    assert _URI_REFERENCE.fullmatch(location)
    resolved = urljoin("file:///music/lists/keepers.xspf", location)
    assert unquote(resolved.removeprefix("file://")) == str(PurePosixPath("/music/lists") / path)


@given(PATHS, st.text(max_size=30), st.text(max_size=30))
def test_whatever_things_are_called_both_playlists_stay_valid(path: str, title: str, remark: str) -> None:
    playlist = Playlist(
        title, (Record(f"../{path}", title, 10.0, remark), Record("../b.flac", "b", 20.0)), remark
    )
    root = assert_valid(xspf(playlist))
    titles = [one.findtext(f"{XSPF}title") for one in root.iterfind(f"{XSPF}trackList/{XSPF}track")]
    assert titles == [cleaned(title) or None, "b"]
    try:
        text = m3u8(playlist)
    except UnfitPath:
        assert path.splitlines() != [path] or path != path.rstrip()
        return
    places = [line for line in text.split("\n") if line and not line.startswith("#")]
    assert places == [f"../{path}", "../b.flac"]


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
