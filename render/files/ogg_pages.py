"""The pages of an Ogg file, each of which carries a checksum and a number (RFC 3533, section 6).

A decoder leaves out a page that is damaged and goes on with the next, so that all later sound is heard too early by
what the page held. The pages themselves say where that begins.
"""

import struct
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO, NamedTuple

_HEAD = struct.Struct("<4sBBqIIIB")
_CHECKSUM = slice(22, 26)
_FIRST_PAGE = 0x02
_LAST_PAGE = 0x04

_MIRRORED = bytes(int(f"{byte:08b}"[::-1], 2) for byte in range(256))

OPUS_CLOCK_HZ = 48_000
"""RFC 7845, section 4: positions count at this rate, whatever the record's."""


class _Page(NamedTuple):
    starts_stream: bool
    ends_stream: bool
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
        yield _Page(bool(mark & _FIRST_PAGE), ended, position, stream, number, body)


def _checksum(data: bytes) -> int:
    """RFC 3533, section 6: CRC-32 with the polynomial 04C11DB7, begun at 0, highest bit first.

    zlib's has the same polynomial, lowest bit first, and inverts before and after: both are undone here.
    """
    mirrored = zlib.crc32(data.translate(_MIRRORED), 0xFFFF_FFFF) ^ 0xFFFF_FFFF
    return int.from_bytes(mirrored.to_bytes(4, "little").translate(_MIRRORED), "big")


def _pre_skip(body: bytes) -> int:
    """RFC 7845, section 5.1: how much of an Opus stream is thrown away at its beginning; 0 for any other."""
    return int.from_bytes(body[10:12], "little") if body.startswith(b"OpusHead") else 0
