"""Playlists against XSPF Version 1 (Xiph, https://xspf.org/spec), rule by rule.

Readers of XSPF are lenient: xspf-lib takes a space in a location, and an element that does not exist. So each rule is
tested by itself, and each test by something that breaks it.

`published`: the namespace, the attribute `version`, which elements there may be and how often, and the types of
`location` and `duration` (4.1.1 and below; read from Xiph's conformance tests, https://wiki.xiph.org/XSPF_Conformance_Tests,
and from the source of its validator). `from memory`: that `duration` counts milliseconds (4.1.1.2.14.1.1.10).
"""

import re
from pathlib import Path, PurePosixPath
from urllib.parse import unquote, urljoin, urlsplit
from xml.etree import ElementTree

import pytest
import xspf_lib
from hypothesis import given
from hypothesis import strategies as st

from render.publish.lettering import cleaned
from render.publish.playlists import Playlist, Record, uri, xspf

NAMESPACE = "http://xspf.org/ns/0/"
"""0 also in version 1."""

XSPF = f"{{{NAMESPACE}}}"
LISTED = Playlist(
    "Kilns & <Lanterns>, “two”",
    (
        Record("../demo/a b.flac", "A & B", 22.0694, "172 BPM, F minor"),
        Record("../démo/50% #1?.flac", "Ti,tle – 2", 180.5),
        Record("c:d/e.flac", "emoji 🏮", 0.0),
    ),
    "174 BPM together",
)

AT_MOST_ONCE_IN_TRACK = {"title", "creator", "annotation", "info", "image", "album", "trackNum", "duration"}
IN_TRACK = AT_MOST_ONCE_IN_TRACK | {"location", "identifier", "link", "meta", "extension"}
AT_MOST_ONCE = {
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
AT_MOST_ONCE |= {"attribution"}
IN_PLAYLIST = AT_MOST_ONCE | {"link", "meta", "extension", "trackList"}

URI_REFERENCE = re.compile(r"(?:[A-Za-z][A-Za-z0-9+.-]*:)?(?:[A-Za-z0-9._~!$&'()*+,;=:@/-]|%[0-9A-Fa-f]{2})*")
"""RFC 3986, sections 2 to 4 (published): what may stand in a reference without query and fragment."""


def assert_valid(text: str) -> ElementTree.Element:
    """All the rules; names are told apart by case."""
    assert not text.startswith("\ufeff")
    root = ElementTree.fromstring(text.encode())
    assert root.tag == f"{XSPF}playlist"
    assert root.attrib.pop("version", None) == "1"
    assert set(root.attrib) <= {"{http://www.w3.org/XML/1998/namespace}base"}
    names = [child.tag.removeprefix(XSPF) for child in root]
    assert set(names) <= IN_PLAYLIST
    assert names.count("trackList") == 1  # may be empty
    assert all(names.count(name) <= 1 for name in AT_MOST_ONCE)
    for track in root.iterfind(f"{XSPF}trackList/*"):
        assert track.tag == f"{XSPF}track"
        inner = [child.tag.removeprefix(XSPF) for child in track]
        assert set(inner) <= IN_TRACK
        assert all(inner.count(name) <= 1 for name in AT_MOST_ONCE_IN_TRACK)
        for child in track:
            assert not child.attrib and child.text
        for location in track.iterfind(f"{XSPF}location"):
            assert URI_REFERENCE.fullmatch(location.text or "")
        for length in track.iterfind(f"{XSPF}duration"):
            assert re.fullmatch(r"[0-9]+", length.text or "")
    return root


BREAKS = {
    "no version": ('version="1" ', ""),
    "another version": ('version="1"', 'version="2"'),
    "another namespace": (NAMESPACE, "http://xspf.org/ns/1/"),
    "no namespace": (f' xmlns="{NAMESPACE}"', ""),
    "two track lists": ("</trackList>", "</trackList><trackList/>"),
    "two titles": ("<trackList>", "<title>again</title><trackList>"),
    "a space in a location": ("a%20b", "a b"),
    "a letter beyond ASCII in a location": ("d%C3%A9mo", "démo"),
    "a percent sign that begins nothing": ("50%25", "50%"),
    "a duration that is no whole number": ("<duration>22069</duration>", "<duration>22.07</duration>"),
    "a negative duration": ("<duration>22069</duration>", "<duration>-1</duration>"),
    "an element that XSPF has not": (
        "<annotation>172 BPM, F minor</annotation>",
        "<bpm>172</bpm>",
    ),
    "a name in capitals": ("<annotation>172 BPM, F minor</annotation>", "<Annotation>x</Annotation>"),
    "a bare ampersand": ("&amp;", "&"),
}


@pytest.mark.parametrize("case", BREAKS)
def test_the_rules_refuse_what_breaks_them(case: str) -> None:
    good, bad = BREAKS[case]
    text = xspf(LISTED)
    assert good in text
    with pytest.raises((AssertionError, ElementTree.ParseError)):
        assert_valid(text.replace(good, bad, 1))


def test_no_track_list_is_refused() -> None:
    text = re.sub("<trackList>.*</trackList>", "", xspf(LISTED), flags=re.DOTALL)
    with pytest.raises(AssertionError):
        assert_valid(text)


def test_a_playlist_keeps_the_rules() -> None:
    assert_valid(xspf(LISTED))


def test_an_empty_playlist_has_an_empty_track_list() -> None:
    """4.1.1.2.14 (published): exactly one, which may be empty."""
    root = assert_valid(xspf(Playlist("", ())))
    assert [child.tag for child in root] == [f"{XSPF}trackList"]


def test_a_document_says_its_encoding() -> None:
    """XML 1.0, 4.3.3 (published)."""
    assert xspf(LISTED).startswith('<?xml version="1.0" encoding="UTF-8"?>\n')


def test_durations_are_whole_milliseconds() -> None:
    root = assert_valid(xspf(LISTED))
    lengths = [track.findtext(f"{XSPF}duration") for track in root.iterfind(f"{XSPF}trackList/{XSPF}track")]
    assert lengths == ["22069", "180500", None]  # 22.0694 s, 180.5 s, and one that is not known


def test_no_part_of_a_path_is_taken_for_a_scheme() -> None:
    """RFC 3986, 4.2 (published): the first segment of a relative reference holds no colon."""
    locations = [node.text or "" for node in assert_valid(xspf(LISTED)).iter(f"{XSPF}location")]
    assert [urlsplit(location).scheme for location in locations] == ["", "", ""]
    assert locations[2] == "c%3Ad/e.flac"


def test_an_independent_reader_finds_the_same(tmp_path: Path) -> None:
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


PATHS = st.text(st.characters(exclude_categories=("Cs",), exclude_characters="\0/"), min_size=1, max_size=20)


@given(st.lists(PATHS.filter(lambda part: part not in (".", "..")), min_size=1, max_size=3).map("/".join))
def test_a_location_leads_back_to_the_path(path: str) -> None:
    """RFC 3986, 5.2 (published): resolved against the playlist's own URI by Python's urllib."""
    location = uri(path)
    assert URI_REFERENCE.fullmatch(location)
    resolved = urljoin("file:///music/lists/keepers.xspf", location)
    assert unquote(resolved.removeprefix("file://")) == str(PurePosixPath("/music/lists") / path)


@given(PATHS, st.text(max_size=30), st.text(max_size=30))
def test_whatever_things_are_called_the_rules_are_kept(path: str, title: str, remark: str) -> None:
    records = (Record(f"../{path}", title, 10.0, remark), Record("../b.flac", "b", 20.0))
    root = assert_valid(xspf(Playlist(title, records, remark)))
    titles = [one.findtext(f"{XSPF}title") for one in root.iterfind(f"{XSPF}trackList/{XSPF}track")]
    assert titles == [cleaned(title) or None, "b"]
