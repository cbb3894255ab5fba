"""One record, many formats: the same moment is at the same time in each of them.

Yardsticks: the samples that were encoded; libsndfile's MP3 decoder (mpg123) for the MP3 decoder used here
(FFmpeg's); FIPS 180-4 for hashes; RFC 9639, appendix D for a FLAC file written out by hand.
"""

import hashlib
import itertools
import struct
from pathlib import Path

import mutagen.mp4
import numpy as np
import pytest
import soundfile
import soxr
from made_records import (
    FFMPEG_ARGUMENTS,
    SECONDS,
    encode_with_ffmpeg,
    lag_frames,
    record,
    write_in_blocks,
)
from mutagen.id3 import APIC, ID3

from render.files.audio_files import open_recording, read_span
from render.files.sound_file import sha256_of
from render.values import Audio

RATE_HZ = 44_100
RECORD = record(RATE_HZ)

LANDING_TOLERANCE_MS = 1.0
"""What a landing may be off as a whole; a format that ate all of it would already be too much."""

STATED = [name for name in FFMPEG_ARGUMENTS if "without" not in name and name != "bare aac"]
UNSTATED = [name for name in FFMPEG_ARGUMENTS if name not in STATED]
REPEATABLE = [name for name in FFMPEG_ARGUMENTS if name != "bare aac" and "m4a" not in name] + [
    "m4a lossless"
]
"""Not AAC: it has its decoder make up noise (ISO/IEC 14496-3, perceptual noise substitution)."""

SPANS_S = [(2.05, 1.0), (5.0, 1.5), (7.77, 1.2), (10.9, 0.9)]
"""After the silence; in the middle; and in the last page of the Ogg files."""


@pytest.fixture(scope="module")
def records(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("records")
    return {
        name: encode_with_ffmpeg(RECORD, RATE_HZ, arguments, folder / name.replace(" ", "-"))
        for name, arguments in FFMPEG_ARGUMENTS.items()
    }


def lag_ms(
    path: Path, start_s: float, length_s: float, original: Audio = RECORD, rate_hz: int = RATE_HZ
) -> float:
    """How late the span of the record that starts at `start_s` is read."""
    recording = open_recording(path)
    reach_s = 0.05
    start, length = start_s - reach_s, length_s + 2 * reach_s
    heard = read_span(recording, round(start * recording.rate_hz), round(length * recording.rate_hz))
    heard = soxr.resample(heard, recording.rate_hz, rate_hz)
    first, last = round(start_s * rate_hz), round((start_s + length_s) * rate_hz)
    return 1000 * lag_frames(heard, original[first:last], round(reach_s * rate_hz)) / rate_hz


@pytest.mark.parametrize("name", FFMPEG_ARGUMENTS)
def test_a_moment_of_the_record_is_at_the_same_time_in_every_format(
    records: dict[str, Path], name: str
) -> None:
    for start_s, length_s in SPANS_S:
        assert abs(lag_ms(records[name], start_s, length_s)) <= LANDING_TOLERANCE_MS


@pytest.mark.parametrize("name", FFMPEG_ARGUMENTS)
@pytest.mark.parametrize(
    ("rate_hz", "channels"), [(48_000, 1), pytest.param(22_050, 2, marks=pytest.mark.slow)]
)
def test_the_same_holds_at_other_rates_and_in_mono(
    tmp_path: Path, name: str, rate_hz: int, channels: int
) -> None:
    original = record(rate_hz, channels)
    path = encode_with_ffmpeg(original, rate_hz, FFMPEG_ARGUMENTS[name], tmp_path / "record")
    assert open_recording(path).channels == channels
    assert abs(lag_ms(path, 7.77, 1.2, original, rate_hz)) <= LANDING_TOLERANCE_MS


@pytest.mark.parametrize("name", STATED)
def test_a_file_that_states_its_length_is_as_long_as_the_record(records: dict[str, Path], name: str) -> None:
    recording = open_recording(records[name])
    assert recording.frames == SECONDS * recording.rate_hz
    assert (recording.delay_frames, recording.note) == (0, "")
    assert recording.size_bytes == records[name].stat().st_size


@pytest.mark.parametrize("name", UNSTATED)
def test_a_file_that_does_not_state_its_run_in_gets_the_usual_one_taken_off_and_a_note(
    records: dict[str, Path], name: str
) -> None:
    recording = open_recording(records[name])
    frames, told = (1105, "25.06 ms") if "mp3" in name else (1024, "23.22 ms")
    assert recording.delay_frames == frames
    assert told in recording.note
    last_packet_frames = 2 * 1152  # the padding that fills the last packet cannot be known either
    assert 0 <= recording.frames - SECONDS * RATE_HZ < last_packet_frames


@pytest.mark.parametrize("name", REPEATABLE)
def test_a_span_is_the_same_samples_that_reading_everything_gives(
    records: dict[str, Path], name: str
) -> None:
    recording = open_recording(records[name])
    everything = read_span(recording, 0, recording.frames)
    rng = np.random.default_rng(1)
    starts = [
        *rng.integers(0, recording.frames - 5_000, 25),
        *range(recording.frames - 30_000, recording.frames, 4_999),
    ]
    for start in map(int, starts):
        expected = everything[start : start + 3_000]
        assert np.array_equal(read_span(recording, start, 3_000)[: len(expected)], expected)


@pytest.mark.parametrize("name", FFMPEG_ARGUMENTS)
def test_before_the_record_and_after_it_there_is_silence(records: dict[str, Path], name: str) -> None:
    recording = open_recording(records[name])
    audio = read_span(recording, -500, recording.frames + 1_000)
    assert audio.shape == (recording.frames + 1_000, 2)
    assert audio.dtype == np.float32
    assert not audio[:500].any()
    assert not audio[-500:].any()
    assert not read_span(recording, -2_000, 1_000).any()
    assert not read_span(recording, recording.frames, 1_000).any()
    assert read_span(recording, 0, 0).shape == (0, 2)


@pytest.mark.parametrize(
    ("kind", "subtype"),
    [
        *itertools.product(["WAV", "AIFF"], ["PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE"]),
        ("FLAC", "PCM_16"),
        ("FLAC", "PCM_24"),
    ],
)
@pytest.mark.parametrize(("rate_hz", "channels"), [(8_000, 1), (44_100, 2), (192_000, 2)])
def test_samples_come_back_as_they_were_written(
    tmp_path: Path, kind: str, subtype: str, rate_hz: int, channels: int
) -> None:
    original = np.rint(record(rate_hz, channels, 3.0) * 2**15).astype(np.int32)  # 16 bits fit in all of them
    path = tmp_path / "record"
    with soundfile.SoundFile(path, "w", rate_hz, channels, subtype=subtype, format=kind) as file:
        file.write(original << 16 if subtype.startswith("PCM") else original / 2**15)
    recording = open_recording(path)
    assert (recording.rate_hz, recording.channels, recording.frames) == (rate_hz, channels, len(original))
    assert np.array_equal(read_span(recording, 0, len(original)), original.astype(np.float32) / 2**15)


def test_a_float_record_over_full_scale_is_not_clipped(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "hot.wav", np.full((1_000, 2), 1.5, np.float32), RATE_HZ, subtype="FLOAT")
    recording = open_recording(tmp_path / "hot.wav")
    assert read_span(recording, 10, 10).max() == 1.5


def test_a_flac_file_written_out_byte_by_byte_in_its_standard_has_the_md5_that_it_states(
    tmp_path: Path,
) -> None:
    """RFC 9639, appendix D.1 (bytes from memory, borne out by the MD5 of the samples in them, section 8.2)."""
    example = bytes.fromhex(
        "664c6143 80000022 10001000 00000f00 000f0ac4 42f00000 00013e84 b41807dc 69030758 6a3dad1a 2e0ffff8"
        "69180000 bf0358fd 03128baa 9a"
    )
    path = tmp_path / "example.flac"
    path.write_bytes(example)
    recording = open_recording(path)
    assert (recording.rate_hz, recording.channels, recording.frames) == (44_100, 2, 1)
    samples = (read_span(recording, 0, 1) * 2**15).astype("<i2")
    assert hashlib.md5(samples.tobytes()).digest() == example[26:42]


@pytest.mark.parametrize("name", ["mp3 cbr", "mp3 vbr"])
def test_mp3_decodes_as_another_decoder_does(records: dict[str, Path], name: str) -> None:
    other, _ = soundfile.read(records[name], dtype="float32", always_2d=True)
    recording = open_recording(records[name])
    mine = read_span(recording, 0, recording.frames)
    # ISO/IEC 11172-4 calls a decoder fully accurate within 2^-14 of full scale
    assert np.abs(mine - other).max() <= 2**-14


@pytest.mark.parametrize("name", ["mp3 cbr", "mp3 vbr", "mp3 vbr without header"])
def test_a_cover_picture_and_tags_at_the_end_move_nothing(
    records: dict[str, Path], tmp_path: Path, name: str
) -> None:
    path = tmp_path / "tagged.mp3"
    end_tag = b"TAG" + bytes(125)
    path.write_bytes(records[name].read_bytes() + bytes(40_000) + end_tag)
    tags = ID3()
    tags.add(APIC(mime="image/png", data=bytes(200_000)))
    tags.save(path)
    assert abs(lag_ms(path, 10.0, 1.0)) <= LANDING_TOLERANCE_MS


def test_an_mp3_header_without_delays_counts_as_none(records: dict[str, Path], tmp_path: Path) -> None:
    """Encoders other than LAME write the Xing header but not its extension (LAME, MP3 Info Tag revision 1)."""
    data = bytearray(records["mp3 vbr"].read_bytes())
    extension = data.index(b"Xing") + 120
    data[extension : extension + 36] = bytes(36)
    path = tmp_path / "other.mp3"
    path.write_bytes(data)
    assert open_recording(path).delay_frames == 1105
    assert abs(lag_ms(path, 7.77, 1.2)) <= LANDING_TOLERANCE_MS


def test_an_m4a_may_state_its_run_in_in_a_comment(records: dict[str, Path], tmp_path: Path) -> None:
    """`iTunSMPB`: run-in, padding and length in hexadecimal (from memory; the common practice of encoders)."""
    path = tmp_path / "record.m4a"
    path.write_bytes(records["m4a without edit list"].read_bytes())
    file = mutagen.mp4.MP4(path)
    if file.tags is None:
        file.add_tags()
    stated = f" 00000000 00000400 00000000 {len(RECORD):016X}" + " 00000000" * 8
    file.tags["----:com.apple.iTunes:iTunSMPB"] = [mutagen.mp4.MP4FreeForm(stated.encode())]
    file.save()
    recording = open_recording(path)
    assert (recording.delay_frames, recording.frames) == (0, len(RECORD))
    assert abs(lag_ms(path, 7.77, 1.2)) <= LANDING_TOLERANCE_MS


@pytest.mark.parametrize(("kind", "subtype"), [("OGG", "VORBIS"), ("MP3", "MPEG_LAYER_III"), ("OGG", "OPUS")])
def test_files_of_another_encoder_are_in_place_too(tmp_path: Path, kind: str, subtype: str) -> None:
    original = record(48_000)
    path = write_in_blocks(tmp_path / "record", original, 48_000, kind, subtype)
    for start_s, length_s in SPANS_S:
        assert abs(lag_ms(path, start_s, length_s, original, 48_000)) <= LANDING_TOLERANCE_MS


@pytest.mark.parametrize("kind", ["WAV", "FLAC"])
def test_an_early_span_needs_nothing_of_the_rest(tmp_path: Path, kind: str) -> None:
    path = tmp_path / "record"
    soundfile.write(path, RECORD, RATE_HZ, subtype="PCM_24", format=kind)
    data = path.read_bytes()
    path.write_bytes(data[: len(data) // 2])
    audio = read_span(open_recording(path), round(2.0 * RATE_HZ), RATE_HZ)
    expected = np.rint(RECORD[2 * RATE_HZ : 3 * RATE_HZ].astype(float) * 2**23) / 2**23
    assert np.abs(audio - expected).max() <= 2**-23  # libsndfile's own rounding as the file was written


def test_an_early_span_of_a_broken_off_mp3_is_read(records: dict[str, Path], tmp_path: Path) -> None:
    path = tmp_path / "part.mp3"
    data = records["mp3 cbr"].read_bytes()
    path.write_bytes(data[: len(data) // 2])
    assert abs(lag_ms(path, 2.05, 1.0)) <= LANDING_TOLERANCE_MS


def test_a_wav_of_unknown_length_is_read_to_its_end(tmp_path: Path) -> None:
    """A program that writes into a pipe leaves the greatest size in the header."""
    path = tmp_path / "piped.wav"
    soundfile.write(path, RECORD, RATE_HZ, subtype="PCM_16")
    data = bytearray(path.read_bytes())
    size_at = data.index(b"data") + 4
    data[4:8] = data[size_at : size_at + 4] = struct.pack("<I", 0xFFFF_FFFF)
    path.write_bytes(data)
    recording = open_recording(path)
    assert recording.frames == len(RECORD)
    assert (
        np.abs(read_span(recording, 0, recording.frames) - RECORD).max() <= 2**-15
    )  # its rounding to 16 bits


def test_reading_leaves_a_file_as_it_was(records: dict[str, Path]) -> None:
    for path in records.values():
        path.chmod(0o444)
        before = path.stat(), path.read_bytes()
        recording = open_recording(path)
        read_span(recording, 1_000, 1_000)
        sha256_of(path)
        after = path.stat()
        assert (after.st_mtime_ns, after.st_size, after.st_mode) == (
            before[0].st_mtime_ns,
            before[0].st_size,
            before[0].st_mode,
        )
        assert path.read_bytes() == before[1]


def test_a_hash_is_the_one_of_the_standard(tmp_path: Path) -> None:
    """FIPS 180-4; the example of NIST's `SHA256.pdf`: the message `abc`."""
    path = tmp_path / "abc"
    path.write_bytes(b"abc")
    assert sha256_of(path) == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
