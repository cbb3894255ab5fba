"""What a record's own checksums, numbers and lengths say against it is told, and is no reason to doubt a whole one.

Yardsticks: files of independent encoders (libogg, LAME, FFmpeg), whose checksums are their own; the check value of
CRC-16/ARC, of which `123456789` makes BB3D (catalogues of CRCs, common practice).
"""

import struct
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile
from made_records import FFMPEG_ARGUMENTS, encode_with_ffmpeg, record, write_in_blocks

from render.facts import Recording
from render.faults import SourceError
from render.files import mp3_frames, mp4_index
from render.files.audio_files import open_recording, read_span
from render.values import Audio

RATE_HZ = 44_100
RECORD = record(RATE_HZ, seconds=5)


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], bytes]:
    """The bytes of the record in a format."""
    folder, made = tmp_path_factory.mktemp("whole"), dict[str, bytes]()

    def encoded(name: str) -> bytes:
        if name not in made:
            path = encode_with_ffmpeg(RECORD, RATE_HZ, FFMPEG_ARGUMENTS[name], folder / "record")
            made[name] = path.read_bytes()
        return made[name]

    return encoded


def opened(folder: Path, data: bytes) -> Recording:
    path = folder / "record"
    path.write_bytes(data)
    return open_recording(path)


def ogg_pages(data: bytes) -> list[bytes]:
    return [b"OggS" + page for page in data.split(b"OggS")[1:]]


def read_to(recording: Recording, end_s: float) -> Audio:
    return read_span(recording, 0, round(end_s * recording.rate_hz))


@pytest.mark.parametrize("name", FFMPEG_ARGUMENTS)
def test_nothing_is_said_against_a_whole_record(
    whole: Callable[[str], bytes], tmp_path: Path, name: str
) -> None:
    recording = opened(tmp_path, whole(name))
    assert recording.sound_frames is None
    assert (recording.note == "") == (recording.delay_frames == 0)  # but that its run-in is not stated


@pytest.mark.parametrize("mode", ["CONSTANT", "AVERAGE", "VARIABLE"])
@pytest.mark.parametrize(("rate_hz", "channels"), [(44_100, 2), (44_100, 1), (22_050, 2), (22_050, 1)])
def test_nothing_is_said_against_what_lame_wrote(
    tmp_path: Path, mode: str, rate_hz: int, channels: int
) -> None:
    """By libsndfile, whose MP3 encoder is LAME itself: its tag lies elsewhere in each of these."""
    path = tmp_path / "record.mp3"
    with soundfile.SoundFile(
        path, "w", rate_hz, channels, format="MP3", bitrate_mode=mode, compression_level=0.3
    ) as file:
        file.write(RECORD[:RATE_HZ, :channels])
    assert open_recording(path).note == ""


@pytest.mark.parametrize("subtype", ["VORBIS", "OPUS"])
def test_nothing_is_said_against_what_libogg_wrote(tmp_path: Path, subtype: str) -> None:
    path = write_in_blocks(tmp_path / "record.ogg", RECORD, 48_000, "OGG", subtype)
    assert (open_recording(path).note, open_recording(path).sound_frames) == ("", None)


@pytest.mark.parametrize("name", ["vorbis", "opus"])
@pytest.mark.parametrize("offset", [0, 5, 8, 14, 18, 22, 26, 40, 400])
def test_a_damaged_ogg_page_ends_what_can_be_used(
    whole: Callable[[str], bytes], tmp_path: Path, name: str, offset: int
) -> None:
    """Capture pattern, mark, position, stream, number, checksum, segments, their table, and sound."""
    pages = ogg_pages(whole(name))
    third = sum(map(len, pages[:-2]))
    changed = bytearray(whole(name))
    changed[third + offset] ^= 0x01
    recording = opened(tmp_path, bytes(changed))
    assert recording.sound_frames is not None
    reached_s = recording.sound_frames / recording.rate_hz
    assert recording.note.startswith("it is damaged from 0:0")
    undamaged = opened(tmp_path, whole(name))
    right = read_to(undamaged, reached_s)
    assert np.array_equal(read_to(opened(tmp_path, bytes(changed)), reached_s), right)
    with pytest.raises(SourceError, match="it is damaged near 0:0"):
        read_to(recording, reached_s + 0.1)


@pytest.mark.parametrize("name", ["vorbis", "opus"])
def test_a_missing_ogg_page_is_noticed_by_the_numbers(
    whole: Callable[[str], bytes], tmp_path: Path, name: str
) -> None:
    pages = ogg_pages(whole(name))
    recording = opened(tmp_path, b"".join(pages[:-3] + pages[-2:]))
    assert recording.sound_frames is not None
    assert 0 < recording.sound_frames < recording.frames
    reached_s = recording.sound_frames / recording.rate_hz
    heard = read_to(recording, reached_s)
    assert np.array_equal(heard, read_to(opened(tmp_path, whole(name)), reached_s))
    with pytest.raises(SourceError, match="it is damaged near 0:0"):
        read_to(opened(tmp_path, b"".join(pages[:-3] + pages[-2:])), reached_s + 0.1)


@pytest.mark.parametrize("name", ["vorbis", "opus"])
def test_a_damaged_ogg_header_is_refused(whole: Callable[[str], bytes], tmp_path: Path, name: str) -> None:
    changed = bytearray(whole(name))
    changed[len(ogg_pages(whole(name))[0]) + 60] ^= 0x01  # in the comments, on the second page
    with pytest.raises(SourceError):
        opened(tmp_path, bytes(changed))


def test_what_hangs_behind_an_ogg_stream_is_no_damage(whole: Callable[[str], bytes], tmp_path: Path) -> None:
    assert opened(tmp_path, whole("vorbis") + b"TAG" + bytes(125)).sound_frames is None


def test_the_checksum_of_mp3_tags_has_its_check_value() -> None:
    assert mp3_frames._crc16(b"123456789") == 0xBB3D


@pytest.mark.parametrize("length", [0, 1, 511, 512, 513, 100_001])
def test_the_checksum_of_a_long_file_is_that_of_its_bytes_one_by_one(length: int) -> None:
    data, crc = np.random.default_rng(length).bytes(length), 0
    for at in range(length):
        crc = mp3_frames._crc16(data[at : at + 1], crc)
    assert mp3_frames._crc16(data) == crc


def mp3_frame_starts(data: bytes) -> list[int]:
    """Of a file with 160 kbit/s at 44.1 kHz: 522 bytes a frame, and one more where it is padded."""
    at, starts = data.index(b"\xff\xfb"), []
    while at + 4 <= len(data):
        starts.append(at)
        assert data[at : at + 2] == b"\xff\xfb"
        at += (
            144 * 160_000 // 44_100 + (data[at + 2] >> 1 & 1) if starts[1:] else _first_frame_bytes(data, at)
        )
    return starts


def _first_frame_bytes(data: bytes, at: int) -> int:
    return data.index(b"\xff\xfb", at + 2) - at


@pytest.mark.parametrize("name", ["mp3 cbr", "mp3 cbr without header"])
def test_an_mp3_frame_that_a_decoder_would_pass_over_ends_what_can_be_used(
    whole: Callable[[str], bytes], tmp_path: Path, name: str
) -> None:
    data = bytearray(whole(name))
    starts = mp3_frame_starts(bytes(data))
    data[starts[100]] = 0
    recording = opened(tmp_path, bytes(data))
    assert recording.sound_frames is not None
    assert 95 * 1152 <= recording.sound_frames <= 99 * 1152
    with pytest.raises(SourceError, match="it is damaged near 0:02"):
        read_to(recording, 3.0)


@pytest.mark.parametrize("name", ["mp3 cbr", "mp3 cbr without header"])
def test_an_mp3_file_that_lost_1000_bytes_is_refused_from_there_on(
    whole: Callable[[str], bytes], tmp_path: Path, name: str
) -> None:
    """One frame and a part of the next: what follows would come 26 ms too early and more."""
    data = whole(name)
    cut = mp3_frame_starts(data)[100] + 100
    recording = opened(tmp_path, data[:cut] + data[cut + 1000 :])
    assert recording.sound_frames is not None
    reached_s = recording.sound_frames / recording.rate_hz
    assert 95 * 1152 <= recording.sound_frames <= 100 * 1152
    heard = read_to(recording, reached_s)
    with pytest.raises(SourceError, match="it is damaged near 0:02"):
        read_to(recording, 3.0)
    assert np.array_equal(heard, read_to(opened(tmp_path, data), reached_s))


def test_an_mp3_file_that_lost_whole_frames_is_told_by_its_tag(
    whole: Callable[[str], bytes], tmp_path: Path
) -> None:
    data = whole("mp3 cbr")
    starts = mp3_frame_starts(data)
    note = opened(tmp_path, data[: starts[100]] + data[starts[102] :]).note
    assert f"has {starts[102] - starts[100]} bytes less than its encoder wrote" in note


def test_changed_music_of_an_mp3_file_is_told(whole: Callable[[str], bytes], tmp_path: Path) -> None:
    data = bytearray(whole("mp3 cbr"))
    data[mp3_frame_starts(bytes(data))[100] + 300] ^= 0x10
    assert "not what its encoder wrote" in opened(tmp_path, bytes(data)).note


def test_a_changed_run_in_of_an_mp3_file_is_told(whole: Callable[[str], bytes], tmp_path: Path) -> None:
    """The run-in's length lies 141 bytes behind the tag's first letter: it would move all of the sound."""
    data = bytearray(whole("mp3 cbr"))
    data[data.index(b"Info") + 141] ^= 0x08
    assert "some milliseconds off" in opened(tmp_path, bytes(data)).note


def test_an_mp3_file_that_ends_within_a_frame_is_told(whole: Callable[[str], bytes], tmp_path: Path) -> None:
    data = whole("mp3 cbr without header")
    assert "ends within a frame" in opened(tmp_path, data[: len(data) // 2]).note


@pytest.mark.parametrize("behind", [b"TAG" + bytes(125), b"APETAGEX" + bytes(200), bytes(2_000)])
def test_tags_around_an_mp3_file_are_no_damage(
    whole: Callable[[str], bytes], tmp_path: Path, behind: bytes
) -> None:
    before = b"ID3\x04\0\0\0\0\x07\x76" + bytes(1_014)
    recording = opened(tmp_path, before + whole("mp3 cbr") + behind)
    assert (recording.note, recording.sound_frames) == ("", None)


def changed_box(data: bytes, name: bytes, offset: int, by: int) -> bytes:
    """With a number of 32 bits changed, `offset` bytes behind a box's name."""
    at = data.index(name) + 4 + offset
    (number,) = struct.unpack_from(">I", data, at)
    return data[:at] + struct.pack(">I", number + by) + data[at + 4 :]


@pytest.mark.parametrize(
    ("name", "offset", "by"),
    [
        (b"elst", 12, 441),  # where in the track the record begins
        (b"elst", 12, -441),
        (b"mdhd", 12, 1),  # units a second
        (b"stts", 12, 3),  # how long a packet is
    ],
)
def test_an_m4a_index_that_would_move_the_sound_is_told(
    whole: Callable[[str], bytes], tmp_path: Path, name: bytes, offset: int, by: int
) -> None:
    try:
        recording = opened(tmp_path, changed_box(whole("m4a"), name, offset, by))
    except SourceError:
        return
    assert mp4_index.MISPLACED in recording.note


@pytest.mark.parametrize("by", [5, -5])
def test_an_m4a_index_that_does_not_fit_its_packets_is_told(
    whole: Callable[[str], bytes], tmp_path: Path, by: int
) -> None:
    """`stsz`: the size of the second packet."""
    recording = opened(tmp_path, changed_box(whole("m4a lossless"), b"stsz", 16, by))
    assert mp4_index.MISINDEXED in recording.note


def test_a_wav_header_that_contradicts_itself_is_told(whole: Callable[[str], bytes], tmp_path: Path) -> None:
    data = bytearray(whole("wav"))
    data[data.index(b"fmt ") + 12] ^= 0x05
    assert "its header contradicts itself (44097 Hz" in opened(tmp_path, bytes(data)).note


def test_a_wav_file_whose_sound_goes_on_behind_its_stated_end_is_told(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "made.wav", RECORD, RATE_HZ, subtype="PCM_24")
    data = bytearray((tmp_path / "made.wav").read_bytes())
    data[data.index(b"data") + 6] ^= 0x04  # 262,144 bytes less
    assert "it may be cut short" in opened(tmp_path, bytes(data)).note


def test_an_aiff_file_that_begins_its_sound_late_is_told(
    whole: Callable[[str], bytes], tmp_path: Path
) -> None:
    changed = changed_box(whole("aiff"), b"SSND", 4, 1)
    assert "contradicts itself about where" in opened(tmp_path, changed).note


def test_a_flac_header_that_contradicts_its_frames_is_told(
    whole: Callable[[str], bytes], tmp_path: Path
) -> None:
    """The rate is the first 20 bits of byte 10 of STREAMINFO (RFC 9639, section 8.2)."""
    data = bytearray(whole("flac"))
    data[8 + 11] ^= 0x08
    assert "its sound 44100 Hz" in opened(tmp_path, bytes(data)).note


def test_a_rate_that_no_recorder_has_is_told(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "record.wav", RECORD, 44_228)
    assert "its sample rate is 44228 Hz" in open_recording(tmp_path / "record.wav").note


def test_a_wav_file_of_a_codec_that_nobody_knows_is_refused(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "made.wav", RECORD, RATE_HZ)
    data = bytearray((tmp_path / "made.wav").read_bytes())
    data[data.index(b"fmt ") + 8] = 0xEE
    with pytest.raises(SourceError, match="cannot be placed exactly"):
        opened(tmp_path, bytes(data))


def test_a_tag_in_no_writing_is_no_reason_to_stop(whole: Callable[[str], bytes], tmp_path: Path) -> None:
    """An ID3v2.4 frame that says it is UTF-8 and is not."""
    frame = b"TIT2\0\0\0\x05\0\0\x03\xef\x99\xff\x80"
    tag = b"ID3\x04\0\0\0\0\0" + bytes([len(frame)]) + frame
    assert opened(tmp_path, tag + whole("mp3 cbr")).note == ""
