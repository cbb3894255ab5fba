"""FLAC clips against RFC 9639 (Free Lossless Audio Codec, December 2024), `published`; that
sections 6, 8.1 and 9.1 hold the signature and the two headers, `from memory`."""

import hashlib
from pathlib import Path

import pytest
from tagged_clips import RATE_HZ, SECONDS, sound, tagged_clip

from render.files.ffmpeg import pcm24


@pytest.fixture(scope="module")
def clip(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tagged_clip(tmp_path_factory.mktemp("clips"), "flac")


def blocks(path: Path) -> list[tuple[int, bytes]]:
    """Section 8.1: kind and content of each metadata block."""
    data, at, found, last = path.read_bytes(), 4, [], False
    while not last:
        last, kind = bool(data[at] & 0x80), data[at] & 0x7F
        length = int.from_bytes(data[at + 1 : at + 4], "big")
        found.append((kind, data[at + 4 : at + 4 + length]))
        at += 4 + length
    assert data[at] == 0xFF and data[at + 1] & 0xFE == 0xF8  # section 9.1: the sound begins
    return found


def test_a_clip_begins_with_its_signature_and_streaminfo(clip: Path) -> None:
    """Sections 6 and 8.2: `fLaC`, then the one block of kind 0, 34 bytes long."""
    assert clip.read_bytes()[:4] == b"fLaC"
    kinds = [kind for kind, _ in blocks(clip)]
    assert kinds[0] == 0
    assert kinds.count(0) == 1
    assert kinds.count(4) == 1  # section 8.6: at most one Vorbis comment
    assert len(blocks(clip)[0][1]) == 34


def test_streaminfo_says_what_the_sound_is(clip: Path) -> None:
    """Section 8.2: rate in 20 bits, channels less one in 3, bits a sample less one in 5, samples in 36."""
    packed = int.from_bytes(blocks(clip)[0][1][10:18], "big")
    assert packed >> 44 == RATE_HZ
    assert (packed >> 41 & 0b111) + 1 == 2
    assert (packed >> 36 & 0b11111) + 1 == 24
    assert packed & (1 << 36) - 1 == SECONDS * RATE_HZ


def test_streaminfo_holds_the_md5_of_the_samples(clip: Path) -> None:
    """Section 8.2: of the unencoded samples, interleaved, lowest byte first."""
    assert blocks(clip)[0][1][18:] == hashlib.md5(pcm24(sound())).digest()
