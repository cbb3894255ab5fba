"""What some files say of themselves that their decoder does not pass on, or says twice.

- WAV and AIFF state how much sound follows. libsndfile quietly takes what is there instead, so a copy that
  broke off would pass for a shorter record (RIFF: IBM and Microsoft, Multimedia Programming Interface and Data
  Specifications 1.0, 1991, "Waveform Audio File Format"; AIFF: Apple, Audio Interchange File Format 1.3, 1989,
  "The Common Chunk").
- WAV states its rate and, in bytes a second, again; AIFF its frames and, in bytes, again; FLAC its rate at the
  beginning and again in each frame (RFC 9639, section 9.1). Neither has a checksum over them.
"""

import math
import os
import struct
from collections.abc import Iterator
from pathlib import Path

_UNKNOWN_SIZE = 0xFFFF_FF00
"""Sizes from here on stand for `not known when the header was written`, or for a size kept in RF64's `ds64`."""


def frames_promised(path: Path) -> int | None:
    """How many frames the header of a PCM WAV or AIFF file states; None where it states none."""
    bytes_per_frame = 0
    for name, size, body in _chunks(path, to_its_end=False):
        if name == b"COMM":
            return int(struct.unpack_from(">2xI", body)[0])
        if name == b"fmt ":
            bytes_per_frame = struct.unpack_from("<12xH", body)[0]
        if name == b"data":
            known = bytes_per_frame > 0 and 0 < size < _UNKNOWN_SIZE
            return size // bytes_per_frame if known else None
    return None


USUAL_RATES_HZ = frozenset(
    base * factor
    for base in (8_000, 11_025, 12_000)
    for factor in (1, 2, 4, 8, 16)
    if base * factor <= 192_000
) | {37_800, 44_056, 47_952, 48_048}
"""Common practice; the last four come from discs and from film speed."""

_PLAIN_WAV = frozenset({0x0001, 0x0003, 0xFFFE})
"""WAVE_FORMAT_PCM, WAVE_FORMAT_IEEE_FLOAT and WAVE_FORMAT_EXTENSIBLE, of whose sound every frame is as long."""

_FLAC_RATES_HZ = dict(
    enumerate(
        (88_200, 176_400, 192_000, 8_000, 16_000, 22_050, 24_000, 32_000, 44_100, 48_000, 96_000), start=1
    )
)
"""RFC 9639, section 9.1: the rates that a frame's header states by four bits."""


def doubts(path: Path, kind: str, rate_hz: int) -> list[str]:
    """What is to be said of a header that contradicts itself, or names a rate that no recorder has."""
    found = []
    if kind == "wav":
        found = _doubts_of_wav(path)
    elif kind == "aiff":
        found = _doubts_of_aiff(path)
    elif kind == "flac" and (framed_hz := _rate_of_first_flac_frame(path)) not in (None, rate_hz):
        found = [f"its header says {rate_hz} Hz and its sound {framed_hz} Hz: it may run at the wrong speed"]
    if not found and rate_hz not in USUAL_RATES_HZ:
        found = [f"its sample rate is {rate_hz} Hz: if that is a mistake, it runs at the wrong speed"]
    return found


def _chunks(path: Path, to_its_end: bool = True) -> Iterator[tuple[bytes, int, bytes]]:
    """Name, stated size and first bytes of each chunk of a WAV or AIFF file.

    As far as the file says that it goes, or, as a stream that was recorded says nothing of it, as far as there is any.
    """
    with path.open("rb") as file:
        head = file.read(12)
        order = ">" if head.startswith(b"FORM") else "<"
        end = 8 + struct.unpack(f"{order}4xI4x", head)[0] if to_its_end else math.inf
        while file.tell() < end and len(head := file.read(8)) == 8:
            name, size = struct.unpack(f"{order}4sI", head)
            body_start = file.tell()
            yield name, size, file.read(min(size, 26))
            file.seek(body_start + size + size % 2)


def _doubts_of_wav(path: Path) -> list[str]:
    plain, heard = False, False
    for name, size, body in _chunks(path):
        if name == b"fmt " and len(body) >= 16:
            tag, channels, rate_hz, bytes_a_second, frame_bytes, bits = struct.unpack_from("<HHIIHH", body)
            plain = tag in _PLAIN_WAV
            fits = rate_hz * frame_bytes == bytes_a_second and channels * ((bits + 7) // 8) == frame_bytes
            if plain and not fits:
                return [
                    f"its header contradicts itself ({rate_hz} Hz of {frame_bytes} bytes are not {bytes_a_second} "
                    "bytes a second): it may run at the wrong speed"
                ]
        elif name == b"data":
            heard = size < _UNKNOWN_SIZE
        elif heard and plain and not all(0x20 <= letter <= 0x7E for letter in name):
            return [
                "within this WAV file something follows its sound that is no part of one: it may be cut short"
            ]
    return []


def _doubts_of_aiff(path: Path) -> list[str]:
    frame_bytes, frames = 0, 0
    for name, size, body in _chunks(path):
        if name == b"COMM" and len(body) >= 18:
            channels, frames, bits = struct.unpack_from(">HIH", body)
            frame_bytes = channels * ((bits + 7) // 8)
        elif name == b"SSND" and len(body) >= 8 and frame_bytes:
            (offset,) = struct.unpack_from(">I", body)
            if offset + frames * frame_bytes > size - 8:
                return ["its header contradicts itself about where its sound begins or how much there is"]
    return []


def _rate_of_first_flac_frame(path: Path) -> int | None:
    """RFC 9639, sections 8.1 and 9.1; None where the frame's header states none of the usual rates."""
    with path.open("rb") as file:
        if file.read(4) != b"fLaC":
            return None
        last = False
        while not last:
            head = file.read(4)
            if len(head) < 4:
                return None
            last = bool(head[0] & 0x80)
            file.seek(int.from_bytes(head[1:], "big"), os.SEEK_CUR)
        frame = file.read(4)
    if len(frame) < 4 or frame[0] != 0xFF or frame[1] & 0xFE != 0xF8:
        return None
    return _FLAC_RATES_HZ.get(frame[2] & 0x0F)
