"""The tags of Opus and FLAC clips against the Vorbis I specification, section 5, read byte by byte.

- Section 5.2 (`published`): lengths of 32 bits, lowest byte first; the vendor; the comments; in Ogg Vorbis, but not in
  FLAC (RFC 9639, 8.6, published) and Opus (RFC 7845, 5.2, published), a framing bit behind them.
- Field names are of ASCII 20 to 7D without `=`, in capitals or not; values are UTF-8.
- Chapters: Xiph's chapter extension (https://wiki.xiph.org/Chapter_Extension, from memory):
  `CHAPTERxxx=HH:MM:SS.SSS` and `CHAPTERxxxNAME=`.
"""

import re
import struct
from pathlib import Path

import pytest
from tagged_clips import CHAPTERS, TAGS, tagged_clip


def comment_block(path: Path) -> bytes:
    data = path.read_bytes()
    if path.suffix == ".opus":
        at = data.index(b"OpusTags")
        page = data.rindex(b"OggS", 0, at)
        segments = data[page + 26]
        length = sum(data[page + 27 : page + 27 + segments])
        return data[at + 8 : page + 27 + segments + length]
    at = 4
    while True:  # RFC 9639, 8.1: a bit for the last block, seven for its kind, 24 for its length
        kind, length = data[at] & 0x7F, int.from_bytes(data[at + 1 : at + 4], "big")
        if kind == 4:
            return data[at + 4 : at + 4 + length]
        assert not data[at] & 0x80
        at += 4 + length


def comments(block: bytes) -> list[tuple[str, str]]:
    (vendor_bytes,) = struct.unpack_from("<I", block)
    block[4 : 4 + vendor_bytes].decode()
    (count,) = struct.unpack_from("<I", block, 4 + vendor_bytes)
    at, found = 8 + vendor_bytes, []
    for _ in range(count):
        (length,) = struct.unpack_from("<I", block, at)
        name, value = block[at + 4 : at + 4 + length].split(b"=", 1)
        assert all(0x20 <= letter <= 0x7D for letter in name)
        found.append((name.decode("ascii").upper(), value.decode()))
        at += 4 + length
    assert not any(block[at:])  # nothing behind but padding
    return found


@pytest.fixture(scope="module", params=["opus", "flac"])
def written(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> list[tuple[str, str]]:
    return comments(comment_block(tagged_clip(tmp_path_factory.mktemp("clips"), request.param)))


def test_title_and_comment_are_utf8_and_may_hold_an_equals_sign(written: list[tuple[str, str]]) -> None:
    assert dict(written)["TITLE"] == TAGS.title
    assert dict(written)["COMMENT"] == TAGS.comment


def test_a_name_may_come_again_as_one_for_each_track_does(written: list[tuple[str, str]]) -> None:
    assert [value for name, value in written if name == "ARTIST"] == ["lanterns", "ironworks"]


def test_a_tempo_keeps_its_fraction(written: list[tuple[str, str]]) -> None:
    assert dict(written)["BPM"] == "171.5"


def test_chapters_count_from_one_in_three_digits_with_times_of_day(written: list[tuple[str, str]]) -> None:
    stated = dict(written)
    numbers = [name for name in stated if re.fullmatch(r"CHAPTER[0-9]+", name)]
    assert numbers == ["CHAPTER001", "CHAPTER002", "CHAPTER003"]
    assert [stated[number] for number in numbers] == ["00:00:00.000", "00:00:02.069", "00:00:04.137"]
    assert [stated[f"{number}NAME"] for number in numbers] == [chapter.title for chapter in CHAPTERS]
