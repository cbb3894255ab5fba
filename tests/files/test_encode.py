"""A clip holds the mix that was given, in its place, with its peaks, and the same bytes each time.

Yardsticks: the samples that were encoded; the standard library's `wave`; the MD5 that a FLAC file keeps of its
samples (RFC 9639, section 8.2); mutagen's reading of the files' own headers.
"""

import errno
import hashlib
import os
import re
import subprocess
import sys
import tempfile
import wave
from pathlib import Path

import mutagen
import numpy as np
import pytest
import soxr
from made_records import lag_frames, record
from mutagen.flac import FLAC
from mutagen.mp3 import MP3, BitrateMode
from mutagen.oggopus import OggOpus
from scipy import signal

from render.faults import OutputError, ToolError, ToolStopped
from render.files import ffmpeg
from render.files.ffmpeg import decode_clip, encode, find_ffmpeg, pcm24, pcm_sha256
from render.night.outcome import failed
from render.plan.model import ClipFormat
from render.values import Audio, db_to_gain

RATE_HZ = 44_100
MIX = record(RATE_HZ, seconds=7.3)
FORMATS: list[ClipFormat] = ["mp3", "opus", "flac", "wav"]


@pytest.fixture(scope="module")
def clips(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("clips")
    paths = {form: folder / f"clip.{form}" for form in FORMATS}
    for form, path in paths.items():
        encode(MIX, RATE_HZ, form, path)
    return paths


def lag_ms(clip: Audio, clip_rate_hz: int, original: Audio, rate_hz: int, start_s: float) -> float:
    heard = soxr.resample(clip, clip_rate_hz, rate_hz)
    start, reach, length = round(start_s * rate_hz), rate_hz // 20, rate_hz
    match = lag_frames(heard[start - reach : start + length + reach], original[start : start + length], reach)
    return 1000 * match / rate_hz


@pytest.mark.parametrize("form", FORMATS)
def test_a_clip_decodes_to_the_length_and_the_place_of_the_mix(clips: dict[str, Path], form: str) -> None:
    clip, rate_hz = decode_clip(clips[form])
    assert rate_hz == (48_000 if form == "opus" else RATE_HZ)
    assert len(clip) == pytest.approx(len(MIX) * rate_hz / RATE_HZ, abs=0.5)  # the nearest frame at its rate
    for start_s in (2.1, 6.0):
        assert lag_ms(clip, rate_hz, MIX, RATE_HZ, start_s) == 0


@pytest.mark.parametrize(
    ("form", "rate_hz", "clip_rate_hz"),
    [("mp3", 48_000, 48_000), ("mp3", 96_000, 48_000), ("mp3", 88_200, 44_100), ("opus", 96_000, 48_000),
     ("opus", 48_000, 48_000), ("flac", 96_000, 96_000), ("wav", 192_000, 192_000)],
)  # fmt: skip
def test_a_rate_that_the_format_does_not_know_is_converted(
    tmp_path: Path, form: ClipFormat, rate_hz: int, clip_rate_hz: int
) -> None:
    mix = record(rate_hz, 1, 4.0)
    encode(mix, rate_hz, form, tmp_path / "clip")
    clip, heard_rate_hz = decode_clip(tmp_path / "clip")
    assert heard_rate_hz == clip_rate_hz
    assert clip.shape == (4 * clip_rate_hz, 1)
    assert abs(lag_ms(clip, clip_rate_hz, mix, rate_hz, 2.1)) <= 1000 / clip_rate_hz  # one frame of the clip


def test_mp3_has_320_kbit_per_second_throughout(clips: dict[str, Path]) -> None:
    info = MP3(clips["mp3"]).info
    assert (info.bitrate, info.bitrate_mode, info.channels) == (320_000, BitrateMode.CBR, 2)


def test_opus_has_about_160_kbit_per_second_of_music(tmp_path: Path) -> None:
    noise = np.random.default_rng(6).normal(0, 0.1, (10 * RATE_HZ, 2)).astype(np.float32)
    encode(noise, RATE_HZ, "opus", tmp_path / "clip.opus")
    length_s = OggOpus(tmp_path / "clip.opus").info.length
    bitrate = (tmp_path / "clip.opus").stat().st_size * 8 / length_s
    assert bitrate == pytest.approx(160_000, rel=0.15)  # a variable rate: 160 kbit/s is what it aims at


@pytest.mark.parametrize("form", ["flac", "wav"])
def test_flac_and_wav_hold_the_mix_to_the_bit(clips: dict[str, Path], form: str) -> None:
    clip, _ = decode_clip(clips[form])
    assert np.abs(clip - MIX).max() <= 0.5 / 2**23  # half a step of 24 bits
    assert pcm24(clip) == pcm24(MIX)


def test_the_pcm_of_a_clip_is_what_the_standard_library_reads_from_its_wav(clips: dict[str, Path]) -> None:
    with wave.open(str(clips["wav"])) as file:
        assert (file.getsampwidth(), file.getnchannels(), file.getframerate()) == (3, 2, RATE_HZ)
        samples = file.readframes(file.getnframes())
    assert samples == pcm24(MIX)
    assert pcm_sha256(MIX) == hashlib.sha256(samples).hexdigest()


def test_the_pcm_of_a_clip_is_what_flac_keeps_the_md5_of(clips: dict[str, Path]) -> None:
    info = FLAC(clips["flac"]).info
    assert info.bits_per_sample == 24
    assert info.md5_signature == int.from_bytes(hashlib.md5(pcm24(MIX)).digest(), "big")


def test_24_bit_samples_are_little_endian_interleaved_and_rounded() -> None:
    step = 1 / 2**23
    mix = np.array([[0.5, -0.5], [1.0, -1.0], [step, -step], [1.4 * step, 1.6 * step]], np.float32)
    assert pcm24(mix).hex(" ", 3) == "000040 0000c0 ffff7f 000080 010000 ffffff 010000 020000"


@pytest.mark.parametrize("form", FORMATS)
def test_the_same_mix_gives_the_same_bytes(clips: dict[str, Path], tmp_path: Path, form: ClipFormat) -> None:
    program = (
        "import pathlib, sys, numpy\n"
        "from render.files.ffmpeg import encode\n"
        "encode(numpy.load(sys.argv[1]), int(sys.argv[2]), sys.argv[3], pathlib.Path(sys.argv[4]))\n"
    )
    np.save(tmp_path / "mix.npy", MIX)
    again = tmp_path / f"again.{form}"
    subprocess.run(
        [sys.executable, "-c", program, tmp_path / "mix.npy", str(RATE_HZ), form, again], check=True
    )
    assert again.read_bytes() == clips[form].read_bytes()


@pytest.mark.parametrize("form", ["mp3", "opus"])
def test_a_clip_does_not_change_with_the_version_of_ffmpeg_that_its_container_would_name(
    clips: dict[str, Path], form: str
) -> None:
    assert not re.search(rb"Lav[fc]\d", clips[form].read_bytes())


@pytest.mark.parametrize("form", ["mp3", "opus"])
def test_what_lies_under_16_bits_still_reaches_the_encoder(tmp_path: Path, form: ClipFormat) -> None:
    """A tone of a third of a 16-bit step: rounded to 16 bits it would be silence."""
    tone = db_to_gain(-100.0) * np.sin(2 * np.pi * 1_000 * np.arange(3 * 48_000) / 48_000)
    assert not np.rint(tone * 2**15).any()
    encode(np.stack([tone, tone], axis=1).astype(np.float32), 48_000, form, tmp_path / "clip")
    clip, _ = decode_clip(tmp_path / "clip")
    level = np.sqrt(2 * np.mean(signal.sosfilt(signal.butter(2, [900, 1100], "band", fs=48_000, output="sos"),
                                               clip[48_000:96_000, 0]) ** 2))  # fmt: skip
    assert 20 * np.log10(level) == pytest.approx(
        -100.0, abs=3.0
    )  # lossy, and far below its threshold of hearing


@pytest.mark.parametrize("form", ["mp3", "opus"])
def test_peaks_over_full_scale_are_seen_when_a_clip_is_measured(tmp_path: Path, form: ClipFormat) -> None:
    square = 0.999 * np.sign(np.sin(2 * np.pi * 997 * np.arange(2 * 48_000) / 48_000 + 0.1))
    encode(np.stack([square, square], axis=1).astype(np.float32), 48_000, form, tmp_path / "clip")
    clip, _ = decode_clip(tmp_path / "clip")
    assert np.abs(clip).max() > 1.01  # what a lossy codec drops of a square wave, the rest overshoots


@pytest.mark.parametrize("mix", [[[1.1, 0.0]], [[np.nan, 0.0]], [[0.0, -np.inf]], np.zeros((0, 2))])
def test_a_mix_that_would_have_to_be_changed_in_silence_is_refused(
    tmp_path: Path, mix: list[list[float]]
) -> None:
    with pytest.raises(ValueError, match="cannot be encoded"):
        encode(np.array(mix, np.float32), RATE_HZ, "wav", tmp_path / "clip.wav")
    assert not (tmp_path / "clip.wav").exists()


def program(path: Path, script: str) -> Path:
    path.write_text(f"#!/bin/sh\n{script}\n")
    path.chmod(0o755)
    return path


@pytest.mark.skipif(os.name != "posix", reason="the stand-ins are shell scripts")
@pytest.mark.parametrize(
    ("script", "wrong"),
    [
        ("echo 'Unknown encoder libmp3lame' >&2; exit 8", "it failed (Unknown encoder libmp3lame)"),
        ("exit 1", "it failed"),
        ("sleep 60", "it did not end within"),
        (None, "cannot be started"),
    ],
)
def test_an_ffmpeg_that_fails_is_told_in_one_line_and_leaves_nothing_behind(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, script: str | None, wrong: str
) -> None:
    stand_in = tmp_path / "ffmpeg"
    if script is not None:
        program(stand_in, script)
    temporary = tmp_path / "temporary"
    temporary.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(temporary))
    monkeypatch.setattr(ffmpeg, "find_ffmpeg", lambda: stand_in)
    monkeypatch.setattr(ffmpeg, "_TIME_LIMIT_S", 0.3)
    with pytest.raises(ToolError) as told:
        encode(MIX[:RATE_HZ], RATE_HZ, "mp3", tmp_path / "clip.mp3")
    assert told.value.subject == "ffmpeg"
    assert wrong in told.value.wrong
    assert "\n" not in str(told.value)
    assert not (tmp_path / "clip.mp3").exists()
    assert list(temporary.iterdir()) == []


@pytest.mark.skipif(os.name != "posix", reason="the stand-ins are shell scripts")
@pytest.mark.parametrize(
    ("script", "cause"),
    [("kill -9 $$", "passing"), ("kill -15 $$", "passing"), ("exit 1", "lasting"), ("exit 137", "lasting")],
)
def test_an_encoder_that_a_signal_ended_may_do_at_the_next_try_and_one_that_failed_does_not(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, script: str, cause: str
) -> None:
    """`subprocess` documents a status below zero for a signal; a night tries once more what is passing."""
    stand_in = program(tmp_path / "ffmpeg", script)
    monkeypatch.setattr(ffmpeg, "find_ffmpeg", lambda: stand_in)
    with pytest.raises(ToolError) as told:
        encode(MIX[:RATE_HZ], RATE_HZ, "mp3", tmp_path / "clip.mp3")
    assert isinstance(told.value, ToolStopped) == (cause == "passing")
    assert failed("a", told.value).cause == cause
    assert not (tmp_path / "clip.mp3").exists()


def test_a_temporary_folder_without_room_is_told_before_anything_starts(
    small_disk: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(small_disk))
    with pytest.raises(OutputError, match="the disk is full") as told:
        encode(MIX, RATE_HZ, "mp3", tmp_path / "clip.mp3")
    assert told.value.subject == str(small_disk)
    assert list(small_disk.iterdir()) == []


@pytest.mark.skipif(os.name != "posix", reason="the stand-in is a shell script")
def test_a_temporary_folder_that_runs_full_is_told_as_what_it_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """FFmpeg's own wording, which is the C library's for ENOSPC."""
    script = f"echo 'Error submitting a packet to the muxer: {os.strerror(errno.ENOSPC)}' >&2; exit 1"
    stand_in = program(tmp_path / "ffmpeg", script)
    monkeypatch.setattr(ffmpeg, "find_ffmpeg", lambda: stand_in)
    with pytest.raises(OutputError, match="the disk is full") as told:
        encode(MIX[:RATE_HZ], RATE_HZ, "mp3", tmp_path / "clip.mp3")
    assert told.value.subject == tempfile.gettempdir()


def test_encoding_leaves_no_temporary_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    temporary = tmp_path / "temporary"
    temporary.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(temporary))
    encode(MIX[:RATE_HZ], RATE_HZ, "mp3", tmp_path / "clip.mp3")
    assert mutagen.File(tmp_path / "clip.mp3") is not None
    assert list(temporary.iterdir()) == []


def test_without_a_program_on_path_nothing_warns_and_the_wheel_encodes(tmp_path: Path) -> None:
    program = (
        "import pathlib, sys, numpy\n"
        "from render.files.ffmpeg import encode\n"
        "encode(numpy.zeros((4410, 2), numpy.float32), 44100, 'mp3', pathlib.Path(sys.argv[1]))\n"
    )
    done = subprocess.run(
        [sys.executable, "-W", "always", "-c", program, tmp_path / "clip.mp3"],
        env={**os.environ, "PATH": ""},
        capture_output=True,
        text=True,
        check=True,
    )
    assert "ffmpeg" not in done.stderr
    assert "ffprobe" not in done.stderr
    assert len(decode_clip(tmp_path / "clip.mp3")[0]) == 4_410


def test_a_machine_without_any_ffmpeg_is_told_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    def nothing() -> str:
        raise RuntimeError("No ffmpeg exe could be found.")

    find_ffmpeg.cache_clear()
    monkeypatch.setattr(ffmpeg.imageio_ffmpeg, "get_ffmpeg_exe", nothing)
    with pytest.raises(ToolError, match="imageio-ffmpeg"):
        find_ffmpeg()
