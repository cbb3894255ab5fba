"""The pages of an Ogg file: each carries a checksum, a number and the position reached at its end, the last one is
marked as the last (RFC 3533, section 6).

- A decoder leaves out a page that is damaged and goes on with the next, so that all later sound is heard too early by
  what the page held. The pages themselves say where that begins.
- The last page of a Vorbis stream is shortened to end on the exact sample (Vorbis I specification, A.2), and
  libsndfile computes from that shortened end when it is asked to seek into it: it lands late by what was cut (8 ms were
  measured at 44.1 kHz).
"""

import os
import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, NamedTuple

_HEAD = struct.Struct("<4sBBqIIIB")
_CHECKSUM = slice(22, 26)
_FIRST_PAGE = 0x02
_LAST_PAGE = 0x04
_LONGEST_PAGE_BYTES = _HEAD.size + 255 + 255 * 255
"""RFC 3533, section 6: head, segment table and 255 segments of 255 bytes."""

_MIRRORED = bytes(int(f"{byte:08b}"[::-1], 2) for byte in range(256))

OPUS_CLOCK_HZ = 48_000
"""RFC 7845, section 4: positions count at this rate, whatever the record's."""


@dataclass(frozen=True)
class OggEnd:
    """The end of an Ogg stream, as far as its pages tell."""

    last_page_start_frames: int
    """Where the last page begins; 0 where there is but one."""
    marked: bool
    """Whether the last page is marked as the last: a copy that broke off has no such page."""


class _Page(NamedTuple):
    starts_stream: bool
    position: int
    """Where the last packet that ends on this page reaches; -1 where none does."""
    stream: int
    number: int
    body: bytes


class _BadPage(Exception):
    """What follows is no page, or not as its checksum says."""


def first_damage(path: Path) -> int | None:
    """Up to which frame the sound before the first damaged or missing page goes; None where all pages are whole.

    Counted at the rate of the file's own positions, which is 48 kHz for Opus; 0 where the headers are damaged. A page
    that the file ends in is no damage: whatever copy broke off, its end mark is missing.
    """
    reached, run_in = 0, 0
    numbers: dict[int, int] = {}
    try:
        with path.open("rb") as file:
            for page in _pages(file):
                if page.starts_stream:
                    if page.stream not in numbers and numbers and reached:
                        return None  # a second recording in the same file, which no decoder here goes on to
                    run_in = _pre_skip(page.body) or run_in
                elif page.number != numbers.get(page.stream, -1) + 1 and reached:
                    raise _BadPage
                numbers[page.stream] = page.number
                reached = max(reached, page.position)
    except _BadPage:
        return max(0, reached - run_in)
    return None


def _pages(file: BinaryIO) -> Iterator[_Page]:
    """Raises _BadPage."""
    ended = False
    while len(head := file.read(_HEAD.size)) == _HEAD.size:
        capture, version, mark, position, stream, number, checksum, segments = _HEAD.unpack(head)
        if capture != b"OggS" or version != 0:
            if ended:
                return  # what somebody hung behind the stream
            raise _BadPage
        table = file.read(segments)
        body = file.read(sum(table))
        if len(table) < segments or len(body) < sum(table):
            if b"OggS" in table + body:  # its length is wrong: it reaches over others
                raise _BadPage
            return
        blank = head[: _CHECKSUM.start] + bytes(4) + head[_CHECKSUM.stop :]
        if _checksum(blank + table + body) != checksum:
            raise _BadPage
        ended = bool(mark & _LAST_PAGE)
        yield _Page(bool(mark & _FIRST_PAGE), position, stream, number, body)


def _checksum(data: bytes) -> int:
    """RFC 3533, section 6: CRC-32 with the polynomial 04C11DB7, begun at 0, highest bit first.

    zlib's has the same polynomial, lowest bit first, and inverts before and after: both are undone here.
    """
    mirrored = zlib.crc32(data.translate(_MIRRORED), 0xFFFF_FFFF) ^ 0xFFFF_FFFF
    return int.from_bytes(mirrored.to_bytes(4, "little").translate(_MIRRORED), "big")


def _pre_skip(body: bytes) -> int:
    """RFC 7845, section 5.1: how much of an Opus stream is thrown away at its beginning; 0 for any other."""
    return int.from_bytes(body[10:12], "little") if body.startswith(b"OpusHead") else 0


def ogg_end(path: Path) -> OggEnd:
    """How an Ogg file ends; only its end is read."""
    with path.open("rb") as file:
        size = file.seek(0, os.SEEK_END)
        file.seek(max(0, size - 3 * _LONGEST_PAGE_BYTES))
        pages = list(_whole_pages(file.read()))
    ends = [end for end, _ in pages if end >= 0]  # -1: no packet ends on that page
    start = max((end for end in ends if end < max(ends)), default=0)
    return OggEnd(start, marked=bool(pages) and pages[-1][1])


def _whole_pages(data: bytes) -> Iterator[tuple[int, bool]]:
    """The position at the end of each whole page in `data`, and whether it is marked as the last."""
    at = data.find(b"OggS")
    while 0 <= at <= len(data) - _HEAD.size:
        _, version, mark, position, *_, segments = _HEAD.unpack_from(data, at)
        body = at + _HEAD.size + segments
        follows = body + sum(data[at + _HEAD.size : body])
        if version == 0 and (follows == len(data) or data[follows : follows + 4] == b"OggS"):
            yield position, bool(mark & _LAST_PAGE)
            at = follows
        else:  # those four bytes stood in the sound itself, or the page is not whole
            at = data.find(b"OggS", at + 4)
