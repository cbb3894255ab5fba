"""The frames of an MP3 file, one after the other, and what its first one says of the others.

- A frame's header states its length (ISO/IEC 11172-3, 2.4.2.3, 2.4.3.1; 13818-3 for the lower rates), so the next one
  must begin where it ends. Where none does, a decoder searches for one further on and forgets what lies between: all
  later sound is heard too early by a frame or more.
- A file's first frame may be no sound but a tag (LAME's documentation, "MP3 Info Tag revision 1"), which holds how
  long the run-in is, a CRC-16 of all the music, and one of itself. Programs that set a file's level in place or write
  a tag without its checksums exist, so one that does not fit is told, and refuses nothing.
"""

import functools
import os
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, NamedTuple

import numpy as np
import numpy.typing as npt

_KBITS = {
    3: (0, 32, 40, 48, 56, 64, 80, 96, 112, 128, 160, 192, 224, 256, 320),
    2: (0, 8, 16, 24, 32, 40, 48, 56, 64, 80, 96, 112, 128, 144, 160),
}
"""By the version's two bits (3: MPEG-1; 2 and 0, which is an extension of it: MPEG-2); 0 is free format."""
_RATES_HZ = {3: (44_100, 48_000, 32_000), 2: (22_050, 24_000, 16_000), 0: (11_025, 12_000, 8_000)}
_LAYER_III = 1

_SEARCHED_BYTES = 65_536
"""How far the next frame is looked for: more than a second at the highest bit rate."""

_CHECKSUM_AT = 154
"""In the tag, from its first letter: its own CRC. Before it, the music's CRC (152) and length in bytes (148)."""

_STEREO_TAG_BYTES = 4 + 32 + _CHECKSUM_AT
"""The checksum is of the 190 bytes before it, says the documentation, which are that many in MPEG-1 stereo only. Some
encoders count 190 everywhere, of a frame filled up with zeros."""

_ENDS = (b"TAG", b"APETAGEX", b"LYRICSBEGIN", b"ID3", b"3DI")
"""What tags at the end of a file begin with."""


@dataclass(frozen=True)
class Examined:
    """What the frames say. `lost_at_frame` is how many frames of sound, run-in included, come before the first gap."""

    lost_at_frame: int | None
    notes: tuple[str, ...]


class _Header(NamedTuple):
    kind: tuple[int, int, int, bool]
    """What is the same in all frames of a file: version, protection, rate, whether it is mono."""
    length_bytes: int
    frames: int
    side_bytes: int


def examined(path: Path) -> Examined:
    """Reads the whole file. In free format, whose frames do not state their length, nothing is found."""
    with path.open("rb") as file:
        at = _first_frame(file)
        if at is None or (header := _header_at(file, at)) is None:
            return Examined(None, ())
        tag = _tag_in(file, at, header)
        notes = () if tag is None else _against_tag(file, at, header, tag)
        begun = at if tag is None else at + header.length_bytes
        frames, end = _run_from(file, begun, header)
        if end > file.seek(0, os.SEEK_END):
            notes = (*notes, "this file ends within a frame: it may be cut short")
        return Examined(frames if _goes_on(file, end, header) else None, notes)


def _run_from(file: BinaryIO, at: int, first: _Header) -> tuple[int, int]:
    """How many frames of sound follow one another from here, and where the last one ends."""
    frames = 0
    while (header := _header_at(file, at)) is not None and header.kind == first.kind:
        frames += header.frames
        at += header.length_bytes
    return frames, at


def _goes_on(file: BinaryIO, at: int, first: _Header) -> bool:
    """Whether there is more of a file's sound behind a place where none of its frames begins."""
    file.seek(at)
    rest = file.read(_SEARCHED_BYTES)
    if rest.startswith(_ENDS):
        return False
    places = (place for place in range(len(rest) - 4) if rest[place] == 0xFF)
    return any(_is_run(file, at + place, first.kind) for place in places)


def _is_run(file: BinaryIO, at: int, kind: tuple[int, int, int, bool]) -> bool:
    """Whether two frames of a kind follow one another from here."""
    one = _header_at(file, at)
    if one is None or one.kind != kind:
        return False
    following = _header_at(file, at + one.length_bytes)
    return following is not None and following.kind == kind


def _first_frame(file: BinaryIO) -> int | None:
    at = 0
    while True:
        file.seek(at)
        head = file.read(10)
        if not head.startswith(b"ID3") or len(head) < 10:
            break
        size = sum((byte & 0x7F) << shift for byte, shift in zip(head[6:], (21, 14, 7, 0), strict=True))
        at += 10 + size + (10 if head[5] & 0x10 else 0)  # ID3v2.4.0, 3.1: with a footer
    file.seek(at)
    data = file.read(_SEARCHED_BYTES)
    for place in range(len(data) - 4):
        if data[place] == 0xFF:
            header = _header_of(data[place : place + 4])
            if header is not None and _is_run(file, at + place, header.kind):
                return at + place
    return None


def _header_at(file: BinaryIO, at: int) -> _Header | None:
    file.seek(at)
    return _header_of(file.read(4))


@functools.lru_cache(4096)
def _header_of(four: bytes) -> _Header | None:
    """What the four bytes of a header say; None where they are none of a frame whose length is stated."""
    if len(four) < 4 or four[0] != 0xFF or four[1] & 0xE0 != 0xE0:
        return None
    version, layer, unprotected = four[1] >> 3 & 3, four[1] >> 1 & 3, four[1] & 1
    kbits_code, rate_code, padding = four[2] >> 4, four[2] >> 2 & 3, four[2] >> 1 & 1
    mono = four[3] >> 6 == 3
    if version == 1 or layer != _LAYER_III or kbits_code in (0, 15) or rate_code == 3:
        return None
    kbits, rate_hz = _KBITS[version or 2][kbits_code], _RATES_HZ[version][rate_code]
    frames = 1152 if version == 3 else 576
    side_bytes = (17 if mono else 32) if version == 3 else (9 if mono else 17)
    length_bytes = frames // 8 * kbits * 1000 // rate_hz + padding
    return _Header((version, unprotected, rate_hz, mono), length_bytes, frames, side_bytes)


def _tag_in(file: BinaryIO, at: int, header: _Header) -> int | None:
    """Where in the file the tag begins, that the first frame may be."""
    tag = at + 4 + header.side_bytes
    file.seek(tag)
    return tag if file.read(4) in (b"Xing", b"Info") else None


def _against_tag(file: BinaryIO, at: int, header: _Header, tag: int) -> tuple[str, ...]:
    file.seek(at)
    frame = file.read(header.length_bytes)
    checksums = tag - at + _CHECKSUM_AT
    stated = int.from_bytes(frame[checksums : checksums + 2], "big")
    if len(frame) < checksums + 2 or not stated:
        return ()  # a tag of the kind that came before
    unsigned = frame[:checksums] + bytes(2) + frame[checksums + 2 :]
    as_in_stereo = unsigned[:_STEREO_TAG_BYTES].ljust(_STEREO_TAG_BYTES, b"\0")
    if stated not in (_crc16(frame[:checksums]), _crc16(as_in_stereo)):
        return (
            "the first frame of this MP3 file, which says how long its encoder's run-in is, is damaged or was changed: "
            "its sound may lie some milliseconds off",
        )
    length_bytes = int.from_bytes(frame[checksums - 6 : checksums - 2], "big")
    music_crc = int.from_bytes(frame[checksums - 2 : checksums], "big")
    music_bytes = length_bytes - header.length_bytes
    if music_bytes <= 0:
        return ()
    missing_bytes = at + length_bytes - file.seek(0, os.SEEK_END)
    if missing_bytes > 0:
        return (
            f"this MP3 file has {missing_bytes} bytes less than its encoder wrote: it is cut short, or frames "
            "within it are missing and all later sound comes too early",
        )
    file.seek(at + header.length_bytes)
    crc = 0
    for start in range(0, music_bytes, _CRC_BLOCK_BYTES):
        crc = _crc16(file.read(min(_CRC_BLOCK_BYTES, music_bytes - start)), crc)
    if crc == music_crc:
        return ()
    return (
        "the sound of this MP3 file is not what its encoder wrote: it is damaged, or its level was set in place",
    )


Words = npt.NDArray[np.uint16]

_CRC_COLUMNS = 256
"""Words of 16 bits in a row: rows are computed side by side and then joined."""
_CRC_BLOCK_BYTES = 4096 * 2 * _CRC_COLUMNS


def _crc16(data: bytes, crc: int = 0) -> int:
    """CRC-16 with the polynomial 8005, lowest bit first, begun at 0, as the tag has it."""
    step = _steps_of_16_bits()
    rows = len(data) // (2 * _CRC_COLUMNS)
    whole = 2 * _CRC_COLUMNS * rows
    if rows:
        words = np.frombuffer(data[:whole], "<u2").reshape(rows, _CRC_COLUMNS)
        each: Words = np.zeros(rows, np.uint16)
        for column in np.ascontiguousarray(words.T):
            each = step[each ^ column]
        low, high = _steps_of_a_row()
        for row in each.tolist():
            crc = int(low[crc & 0xFF] ^ high[crc >> 8]) ^ row
    for byte in data[whole:]:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ 0xA001 if crc & 1 else crc >> 1
    return crc


@functools.cache
def _steps_of_16_bits() -> Words:
    """What becomes of every state within two bytes of zeros."""
    states = np.arange(65_536, dtype=np.uint16)
    for _ in range(16):
        states = np.where(states & 1, (states >> 1) ^ 0xA001, states >> 1).astype(np.uint16)
    return states


@functools.cache
def _steps_of_a_row() -> tuple[Words, Words]:
    """What becomes of every low byte of a state, and of every high one, within a row of zeros."""
    low = np.arange(256, dtype=np.uint16)
    high = (low << 8).astype(np.uint16)
    for _ in range(_CRC_COLUMNS):
        low, high = _steps_of_16_bits()[low], _steps_of_16_bits()[high]
    return low, high
