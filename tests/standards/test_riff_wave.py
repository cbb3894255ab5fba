"""WAV clips against RIFF, `published` (IBM and Microsoft, Multimedia Programming Interface and Data Specifications 1.0,
August 1991). They hold no cue points: chapters lie in the ID3 chunk."""

import struct
from pathlib import Path

import pytest
from tagged_clips import RATE_HZ, sound, tagged_clip

from render.files.ffmpeg import pcm24


@pytest.fixture(scope="module")
def clip(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    folder: Path = tmp_path_factory.mktemp("clips")
    return tagged_clip(folder, "wav").read_bytes()


def chunks(data: bytes) -> dict[bytes, bytes]:
    at, found = 12, {}
    while at < len(data):
        name, size = struct.unpack_from("<4sI", data, at)
        found[name] = data[at + 8 : at + 8 + size]
        assert len(found[name]) == size
        at += 8 + size
        if size % 2:  # "Chunks": padded to an even length, which the size does not count
            assert data[at] == 0
            at += 1
    assert at == len(data)
    return found


def test_a_clip_is_a_riff_form_of_its_own_length(clip: bytes) -> None:
    name, size, form = struct.unpack_from("<4sI4s", clip)
    assert (name, size, form) == (b"RIFF", len(clip) - 8, b"WAVE")


def test_what_the_sound_is_comes_before_it(clip: bytes) -> None:
    names = list(chunks(clip))
    assert names.index(b"fmt ") < names.index(b"data")
    assert b"cue " not in names


def test_the_format_chunk_agrees_with_itself(clip: bytes) -> None:
    """ "WAVE Format Chunk": channels, rate, bytes a second, bytes a frame, bits a sample."""
    _, channels, rate_hz, bytes_a_second, frame_bytes, bits = struct.unpack_from(
        "<HHIIHH", chunks(clip)[b"fmt "]
    )
    assert (channels, rate_hz, frame_bytes, bits) == (2, RATE_HZ, 6, 24)
    assert bytes_a_second == rate_hz * frame_bytes


def test_the_data_chunk_is_the_mix_and_nothing_else(clip: bytes) -> None:
    assert chunks(clip)[b"data"] == pcm24(sound())
