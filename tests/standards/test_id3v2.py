"""The tags of MP3 and WAV clips against ID3v2, byte by byte and without an ID3 library.

- ID3 tag version 2.3.0 (M. Nilsson, 3 February 1999): header and frames (3.1, 3.3), text (4.2), comments (4.11);
  `from memory`.
- ID3 tag version 2.4.0, Native Frames (1 November 2000): 4.2.3, TBPM, `published`. Its synchsafe frame sizes are not
  those of 2.3.
- ID3v2 Chapter Frame Addendum, version 1.0 (2 December 2005): CHAP (3.1), `published`; CTOC (3.2), `from memory`. The
  meaning of CTOC's two flag bits was read in two implementations that agree; the frames written out by hand below were
  read back by independent libraries.
"""

import struct
from collections.abc import Iterator
from pathlib import Path

import pytest
from tagged_clips import CHAPTERS, TAGS, tagged_clip

IGNORED = 0xFFFF_FFFF
"""Addendum, 3.1: an offset of all ones is to be ignored, and the time used."""

TOP_LEVEL, ORDERED = 0b10, 0b01
"""Addendum, 3.2: %000000ab, a: top-level, b: ordered."""


def frames(data: bytes) -> Iterator[tuple[str, bytes]]:
    """2.3.0, 3.3: four letters, a plain size of 32 bits, two bytes of flags, the content."""
    at = 0
    while at + 10 <= len(data) and data[at]:
        name, size, flags = struct.unpack_from(">4sIH", data, at)
        assert name.decode().isalnum() and name.decode().isupper()
        assert flags == 0
        assert 0 < size <= len(data) - at - 10
        yield name.decode(), data[at + 10 : at + 10 + size]
        at += 10 + size
    assert not any(data[at:])  # 3.2: padding is zeros


def tag_of(path: Path) -> list[tuple[str, bytes]]:
    data = path.read_bytes()
    if path.suffix == ".wav":
        at = data.index(b"id3 ")
        data = data[at + 8 : at + 8 + int.from_bytes(data[at + 4 : at + 8], "little")]
    name, major, revision, flags, *size = struct.unpack_from(">3sBBB4B", data)
    assert (name, major, revision, flags) == (b"ID3", 3, 0, 0)  # 3.1
    assert max(size) < 0x80  # 3.1: four times seven bits
    length = size[0] << 21 | size[1] << 14 | size[2] << 7 | size[3]
    return list(frames(data[10 : 10 + length]))


def text_of(content: bytes) -> str:
    """2.3.0, 3.3: $01 is 16-bit Unicode with a byte order mark, which holds every writing; it may end in $00 00."""
    assert content[0] == 1
    assert content[1:3] in (b"\xff\xfe", b"\xfe\xff")
    return content[1:].decode("utf-16").removesuffix("\0")


@pytest.fixture(scope="module", params=["mp3", "wav"])
def tag(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> list[tuple[str, bytes]]:
    return tag_of(tagged_clip(tmp_path_factory.mktemp("clips"), request.param))


def only(tag: list[tuple[str, bytes]], name: str) -> bytes:
    (content,) = [content for one, content in tag if one == name]
    return content


def test_title_and_tracks_are_text_frames(tag: list[tuple[str, bytes]]) -> None:
    assert text_of(only(tag, "TIT2")) == TAGS.title
    assert text_of(only(tag, "TPE1")) == "lanterns, ironworks"


def test_a_comment_has_a_language_and_a_description(tag: list[tuple[str, bytes]]) -> None:
    """2.3.0, 4.11: encoding, three letters of ISO 639-2, description ended by $00 00, text."""
    content = only(tag, "COMM")
    assert content[:4] == b"\x01eng"
    description, text = content[4:].split(b"\0\0", 1)
    assert description in (b"\xff\xfe", b"\xfe\xff")  # an empty one, of which the byte order mark is left
    assert text.decode("utf-16").removesuffix("\0") == TAGS.comment


def test_a_tempo_is_whole_and_its_fraction_stands_beside_it(tag: list[tuple[str, bytes]]) -> None:
    """2.4.0, 4.2.3: TBPM is an integer represented as a numerical string; 2.3.0, 4.2.2: TXXX is for the rest."""
    assert text_of(only(tag, "TBPM")) == "172"
    assert [text for name, text in tag if name == "TXXX"] == [only(tag, "TXXX")]
    content = only(tag, "TXXX")
    assert content[1:].decode("utf-16").split("\0")[0] == "tempo"
    assert "171.5".encode("utf-16-le") in content


def chapters_of(tag: list[tuple[str, bytes]]) -> dict[str, tuple[int, int, int, int, str]]:
    """Addendum, 3.1: element ID and $00, four numbers of 32 bits, highest byte first, then frames."""
    found = {}
    for name, content in tag:
        if name == "CHAP":
            element, rest = content.split(b"\0", 1)
            (inner,) = frames(rest[16:])
            assert inner[0] == "TIT2"
            assert element.decode("latin-1") not in found  # unique in the file
            found[element.decode("latin-1")] = (*struct.unpack_from(">4I", rest), text_of(inner[1]))
    return found


def contents_of(tag: list[tuple[str, bytes]]) -> tuple[str, int, list[str]]:
    """Addendum, 3.2: element ID and $00, flags, how many entries, the IDs with a $00 each."""
    element, rest = only(tag, "CTOC").split(b"\0", 1)
    flags, count = rest[0], rest[1]
    *entries, behind = rest[2:].split(b"\0")
    assert (len(entries), behind) == (count, b"")
    return element.decode("latin-1"), flags, [entry.decode("latin-1") for entry in entries]


def test_a_chapter_is_placed_in_milliseconds_and_not_in_bytes(tag: list[tuple[str, bytes]]) -> None:
    assert sorted(chapters_of(tag).values()) == [
        (0, 2069, IGNORED, IGNORED, CHAPTERS[0].title),
        (2069, 4137, IGNORED, IGNORED, CHAPTERS[1].title),
        (4137, 6000, IGNORED, IGNORED, CHAPTERS[2].title),
    ]


def test_the_contents_are_at_the_top(tag: list[tuple[str, bytes]]) -> None:
    assert contents_of(tag)[1] & TOP_LEVEL


def test_the_contents_are_ordered(tag: list[tuple[str, bytes]]) -> None:
    assert contents_of(tag)[1] & ORDERED


def test_no_other_bit_of_the_contents_is_set(tag: list[tuple[str, bytes]]) -> None:
    assert not contents_of(tag)[1] & ~(TOP_LEVEL | ORDERED)


def test_the_contents_list_every_chapter_in_order_of_time(tag: list[tuple[str, bytes]]) -> None:
    element, _, entries = contents_of(tag)
    chapters = chapters_of(tag)
    assert element not in chapters  # 3.2: unique among both kinds
    assert sorted(entries) == sorted(chapters)
    assert [chapters[entry][4] for entry in entries] == [chapter.title for chapter in CHAPTERS]


def test_the_addendums_layout_is_read_as_it_was_written_by_hand() -> None:
    """A CHAP frame and a CTOC frame that independent readers agree on."""
    chap = bytes.fromhex(
        "43484150 0000002a 0000 63687031 00 00002710 00005634 ffffffff ffffffff"
        "54495432 0000000b 0000 01 fffe 4d0069007800 0000"
    )
    ctoc = bytes.fromhex("43544f43 00000015 0000 746f6300 03 03 6368703000 6368703100 6368703200")
    tag = list(frames(chap + ctoc))
    assert chapters_of(tag) == {"chp1": (10_000, 22_068, IGNORED, IGNORED, "Mix")}
    assert contents_of(tag) == ("toc", 3, ["chp0", "chp1", "chp2"])
