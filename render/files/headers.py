"""What some files say of themselves that their decoder does not pass on.

- WAV and AIFF state how much sound follows. libsndfile quietly takes what is there instead, so a copy that
  broke off would pass for a shorter record (RIFF: IBM and Microsoft, Multimedia Programming Interface and Data
  Specifications 1.0, 1991, "Waveform Audio File Format"; AIFF: Apple, Audio Interchange File Format 1.3, 1989,
  "The Common Chunk").
- An Ogg stream is a row of pages, each with the position reached at its end, the last one marked as the last
  (RFC 3533, section 6). The last page of a Vorbis stream is shortened to end on the exact sample (Vorbis I
  specification, A.2), and libsndfile computes from that shortened end when it is asked to seek into it: it
  lands late by what was cut (8 ms were measured at 44.1 kHz).
"""

import os
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

_UNKNOWN_SIZE = 0xFFFF_FF00
"""Sizes from here on stand for `not known when the header was written`, or for a size kept in RF64's `ds64`."""

_PAGE_HEAD_BYTES = 27
_LAST_PAGE = 0x04
_LONGEST_PAGE_BYTES = _PAGE_HEAD_BYTES + 255 + 255 * 255
"""RFC 3533, section 6: head, segment table and 255 segments of 255 bytes."""


@dataclass(frozen=True)
class OggEnd:
    """The end of an Ogg stream, as far as its pages tell."""

    last_page_start_frames: int
    """Where the last page begins; 0 where there is but one."""
    marked: bool
    """Whether the last page is marked as the last: a copy that broke off has no such page."""


def frames_promised(path: Path) -> int | None:
    """How many frames the header of a PCM WAV or AIFF file states; None where it states none."""
    with path.open("rb") as file:
        order = ">" if file.read(12).startswith(b"FORM") else "<"
        bytes_per_frame = 0
        while len(head := file.read(8)) == 8:
            name, size = struct.unpack(f"{order}4sI", head)
            body_start = file.tell()
            if name == b"COMM":
                return int(struct.unpack(">2xI", file.read(6))[0])
            if name == b"fmt ":
                bytes_per_frame = struct.unpack("<12xH", file.read(14))[0]
            if name == b"data":
                known = bytes_per_frame > 0 and 0 < size < _UNKNOWN_SIZE
                return size // bytes_per_frame if known else None
            file.seek(body_start + size + size % 2)
    return None


def ogg_end(path: Path) -> OggEnd:
    """How an Ogg file ends."""
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
    while 0 <= at <= len(data) - _PAGE_HEAD_BYTES:
        version, mark, position, segments = struct.unpack("<4xBBq12xB", data[at : at + _PAGE_HEAD_BYTES])
        body = at + _PAGE_HEAD_BYTES + segments
        follows = body + sum(data[at + _PAGE_HEAD_BYTES : body])
        if version == 0 and (follows == len(data) or data[follows : follows + 4] == b"OggS"):
            yield position, bool(mark & _LAST_PAGE)
            at = follows
        else:  # those four bytes stood in the sound itself, or the page is not whole
            at = data.find(b"OggS", at + 4)
