"""Playlists against extended M3U, which is common practice: no standard was ever written for it.

RFC 8216 (HTTP Live Streaming, 2017) builds upon it. Its sections 4.1, 4.3.1.1 and 4.3.2.1 are cited for what the two
have in common; of the rest, such as an end mark and a longest duration, a list of records has nothing.
"""

import re

import m3u8 as m3u8_reader
import pytest
from hypothesis import given
from hypothesis import strategies as st

from render.publish.lettering import cleaned
from render.publish.playlists import UNKNOWN_S, Playlist, Record, UnfitPath, m3u8

LISTED = Playlist(
    "Kilns & <Lanterns>, “two”",
    (
        Record("../demo/a b.flac", "A & B", 22.0694),
        Record("../démo/50% #1?.flac", "Ti,tle – 2", 180.5),
        Record("c:d/e.flac", "emoji 🏮", 0.0),
    ),
)

ENTRY = re.compile(r"#EXTINF:(-1|[0-9]+),(.*)")
"""`#EXTINF:<duration>,<title>` (RFC 8216, 4.3.2.1, published), with whole seconds (common practice)."""


def entries(text: str) -> list[tuple[int, str, str]]:
    """Length, title and place of each record, by the rules alone."""
    assert not text.startswith(
        "\ufeff"
    )  # RFC 8216, 4.1 (published): UTF-8 that MUST NOT hold a byte order mark
    assert "\r" not in text
    assert text.endswith("\n")
    first, *lines = text.removesuffix("\n").split("\n")
    assert first == "#EXTM3U"  # RFC 8216, 4.3.1.1 (published): it MUST be the first line
    found = []
    while lines:
        line = lines.pop(0)
        if line.startswith("#PLAYLIST:"):  # common practice
            continue
        read = ENTRY.fullmatch(line)
        assert read, line
        place = lines.pop(0)
        assert place and not place.startswith("#")  # RFC 8216, 4.1 (published): `#` begins a tag or a comment
        found.append((int(read[1]), read[2], place))
    return found


BREAKS = {
    "a byte order mark": ("#EXTM3U", "\ufeff#EXTM3U"),
    "no first line": ("#EXTM3U\n", ""),
    "a blank line": ("#EXTINF:22", "\n#EXTINF:22"),
    "a length with a fraction": ("#EXTINF:22,", "#EXTINF:22.07,"),
    "no comma": ("#EXTINF:22,", "#EXTINF:22 "),
    "a title of two lines": ("A & B", "A &\nB"),
    "a path that is a comment": ("../demo/a b.flac", "#a b.flac"),
    "carriage returns": ("\n", "\r\n"),
}


@pytest.mark.parametrize("case", BREAKS)
def test_the_rules_refuse_what_breaks_them(case: str) -> None:
    good, bad = BREAKS[case]
    text = m3u8(LISTED)
    assert good in text
    with pytest.raises(AssertionError):
        entries(text.replace(good, bad, 1))


def test_a_playlist_keeps_the_rules() -> None:
    assert UNKNOWN_S == -1  # common practice
    assert entries(m3u8(LISTED)) == [
        (22, "A & B", "../demo/a b.flac"),
        (181, "Ti,tle – 2", "../démo/50% #1?.flac"),
        (-1, "emoji 🏮", "c:d/e.flac"),
    ]


def test_the_playlist_has_its_title_before_its_records() -> None:
    assert m3u8(LISTED).split("\n")[:2] == ["#EXTM3U", "#PLAYLIST:Kilns & <Lanterns>, “two”"]


def test_an_empty_playlist_is_one() -> None:
    assert entries(m3u8(Playlist("", ()))) == []


def test_an_independent_reader_finds_the_same() -> None:
    """The library m3u8, which divides at the first comma."""
    read = m3u8_reader.loads(m3u8(LISTED))
    assert [(one.duration, one.title, one.uri) for one in read.segments] == [
        (22, "A & B", "../demo/a b.flac"),
        (181, "Ti,tle – 2", "../démo/50% #1?.flac"),
        (-1, "emoji 🏮", "c:d/e.flac"),
    ]


PATHS = st.text(st.characters(exclude_categories=("Cs",), exclude_characters="\0/"), min_size=1, max_size=20)


@given(PATHS, st.text(max_size=30))
def test_whatever_things_are_called_the_rules_are_kept(path: str, title: str) -> None:
    records = (Record(f"../{path}", title, 10.0), Record(path, "b", 20.0))
    try:
        text = m3u8(Playlist(title, records))
    except UnfitPath:
        assert path.splitlines() != [path] or path != path.rstrip()
        return
    (_, first_title, first), (_, _, second) = entries(text)
    assert (first_title, first) == (cleaned(title), f"../{path}")
    assert second in (path, f"./{path}")
    text.encode()
