"""What the index of an M4A file says twice, and whether it agrees (ISO/IEC 14496-12).

An M4A file carries no checksum. But its edit list (8.6.6) places within the track (8.4.2) what is heard, its time to
sample table (8.6.1) gives every packet as long as the codec makes it, and its packets lie side by side. A decoder
believes each of these, and a wrong one moves the sound in time.
"""

import itertools
import os
import struct
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, NamedTuple

_FOLDERS = (b"moov", b"trak", b"mdia", b"edts")
_MOST_INDEX_BYTES = 64 * 1024 * 1024

USUAL_RUN_INS_FRAMES = frozenset({0, 1024, 1600, 2048, 2112, 2624, 3072})
"""Packets of 1024, and what encoders are known to put before a record (common practice)."""

MISPLACED = "the index of this M4A file contradicts itself: its sound may lie at the wrong time"
MISINDEXED = "the index of this M4A file does not fit its packets: it is damaged"


@dataclass(frozen=True)
class Packet:
    """Where a packet lies in the file and how long it sounds; None where it does not say."""

    position: int | None
    size_bytes: int
    duration: int | None


class _Box(NamedTuple):
    name: bytes
    start: int
    """Of what it contains, in the file."""
    end: int
    content: bytes
    """Of a box of the index; else empty."""


def doubts(path: Path, packets: Sequence[Packet], packet_duration: float, unit_frames: float) -> list[str]:
    """What there is to be said of the index of an M4A file with one recording in it.

    `packet_duration` is how long the codec makes a packet, in the track's units; `unit_frames` is how many frames
    such a unit has. Of a file with more tracks, or with none that is indexed at its beginning, nothing is said.
    """
    with path.open("rb") as file:
        boxes = list(_boxes(file, 0, file.seek(0, os.SEEK_END)))
    if [box.name for box in boxes].count(b"trak") != 1:
        return []
    found = []
    durations = [packet.duration or 0 for packet in packets[:-1]]
    uneven = any(abs(duration - packet_duration) > 1 for duration in durations)
    if uneven or not _edit_fits({box.name: box.content for box in boxes}, packet_duration, unit_frames):
        found.append(MISPLACED)
    if not _lie_side_by_side(path, packets) or not _ends_with_its_data(packets, boxes):
        found.append(MISINDEXED)
    return found


def _edit_fits(boxes: Mapping[bytes, bytes], packet_duration: float, unit_frames: float) -> bool:
    movie, track, edits = boxes.get(b"mvhd"), boxes.get(b"mdhd"), boxes.get(b"elst")
    if movie is None or track is None or edits is None or len(edits) < 16:
        return True
    movie_scale, _ = _scale_and_length(movie)
    track_scale, track_length = _scale_and_length(track)
    long = edits[0] == 1
    (count,) = struct.unpack_from(">I", edits, 4)
    if count != 1 or not movie_scale or not track_scale or len(edits) < (28 if long else 20):
        return True  # an edit that is more than the run-in's
    heard, start = (int(number) for number in struct.unpack_from(">Qq" if long else ">Ii", edits, 8))
    if heard == 0 or start < 0:  # fragments, whose length is not known beforehand; a pause before the record
        return True
    left = track_length - start - heard * track_scale / movie_scale
    coarse = 1 + track_scale / movie_scale
    exact = abs(left) <= coarse
    usual = min(abs(start * unit_frames - run_in) for run_in in USUAL_RUN_INS_FRAMES) <= 1
    return exact or (usual and -coarse <= left <= 3 * packet_duration)


def _scale_and_length(header: bytes) -> tuple[int, int]:
    """Units a second, and the length in them, of `mvhd` or `mdhd` (8.2.2, 8.4.2); zeros where it is too short."""
    form, at = (">IQ", 20) if header[:1] == b"\x01" else (">II", 12)
    if len(header) < at + struct.calcsize(form):
        return 0, 0
    scale, length = struct.unpack_from(form, header, at)
    return scale, length


def _ends_with_its_data(packets: Sequence[Packet], boxes: Sequence[_Box]) -> bool:
    """Whether the last packet ends where its `mdat` (8.1.1) does, or so far before that something else may follow."""
    last = packets[-1] if packets else None
    if last is None or last.position is None:
        return True
    for box in boxes:
        if box.name == b"mdat" and box.start <= last.position < box.end:
            left = box.end - last.position - last.size_bytes
            return left == 0 or left >= 8
    return False


def _boxes(file: BinaryIO, at: int, end: int) -> Iterator[_Box]:
    """The boxes (4.2) that say where sound lies, those of the index with what they contain."""
    while at + 8 <= end:
        file.seek(at)
        size, name = struct.unpack(">I4s", file.read(8))
        body = at + 8
        if size == 1:
            size = int.from_bytes(file.read(8), "big")
            body += 8
        size = size or end - at
        if size < body - at:
            return
        if name in _FOLDERS:
            yield _Box(name, body, at + size, b"")
            yield from _boxes(file, body, min(at + size, end))
        elif name == b"mdat":
            yield _Box(name, body, at + size, b"")
        elif name in (b"mvhd", b"mdhd", b"elst"):
            yield _Box(name, body, at + size, file.read(min(size - (body - at), _MOST_INDEX_BYTES)))
        at += size


def _lie_side_by_side(path: Path, packets: Sequence[Packet]) -> bool:
    """Whether no packet reaches over the next, and only whole boxes lie between any two."""
    with path.open("rb") as file:
        for one, following in itertools.pairwise(packets):
            if one.position is None or following.position is None:
                continue
            gap = following.position - one.position - one.size_bytes
            if gap == 0:
                continue
            if gap < 8:
                return False
            file.seek(one.position + one.size_bytes + 4)
            if not file.read(4).isalpha():
                return False
    return True
