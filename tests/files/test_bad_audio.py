"""A file that is not what it should be is refused in one line that names it, says what is wrong and what helps.

Each case is a file that people do have: the wrong thing under a sound file's name, a download that broke off,
an export that went wrong.
"""

import os
from pathlib import Path

import numpy as np
import pytest
import soundfile
from made_records import FFMPEG_ARGUMENTS, encode_with_ffmpeg, record, write_in_blocks

from render.faults import SourceError
from render.files.audio_files import open_recording, read_span
from render.files.sound_file import sha256_of

RATE_HZ = 44_100
RECORD = record(RATE_HZ, seconds=6)


def refusal(path: Path) -> str:
    with pytest.raises(SourceError) as told:
        open_recording(path)
    assert told.value.subject == str(path)
    assert "\n" not in str(told.value)
    return told.value.wrong


def span_refusal(path: Path, start_frame: int, frames: int) -> str:
    recording = open_recording(path)
    with pytest.raises(SourceError) as told:
        read_span(recording, start_frame, frames)
    assert told.value.subject == str(path)
    assert "\n" not in str(told.value)
    return told.value.wrong


def cut(path: Path, share: float) -> Path:
    data = path.read_bytes()
    path.write_bytes(data[: round(len(data) * share)])
    return path


def test_a_missing_file(tmp_path: Path) -> None:
    assert refusal(tmp_path / "gone.wav") == "there is no such file"
    assert refusal(tmp_path / "gone" / "record.wav") == "there is no such file"
    with pytest.raises(SourceError, match="no such file"):
        sha256_of(tmp_path / "gone.wav")


def test_a_file_that_vanished_since_it_was_opened(tmp_path: Path) -> None:
    path = tmp_path / "record.wav"
    soundfile.write(path, RECORD, RATE_HZ)
    recording = open_recording(path)
    path.unlink()
    with pytest.raises(SourceError, match="no such file"):
        read_span(recording, 0, 10)


def test_a_folder(tmp_path: Path) -> None:
    (tmp_path / "album.flac").mkdir()
    assert refusal(tmp_path / "album.flac") == "it is a folder"


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "record.wav")
    assert refusal(tmp_path / "record.wav") == "it is a device or a pipe"


def test_a_file_that_may_not_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "record.wav"
    soundfile.write(path, RECORD, RATE_HZ)
    path.chmod(0)
    if os.access(path, os.R_OK):  # the superuser may read everything

        def denied(*_: object, **__: object) -> None:
            raise PermissionError(13, "Permission denied", str(path))

        monkeypatch.setattr(Path, "open", denied)
    assert refusal(path) == "it may not be read"


@pytest.mark.skipif(os.name != "posix", reason="only POSIX allows such names")
def test_a_name_that_is_not_utf8(tmp_path: Path) -> None:
    path = Path(os.fsdecode(os.fsencode(tmp_path) + b"/na\xefve.wav"))
    soundfile.write(tmp_path / "record.wav", RECORD, RATE_HZ)
    (tmp_path / "record.wav").rename(path)
    with pytest.raises(SourceError, match="its name is not UTF-8") as told:
        open_recording(path)
    str(told.value).encode()  # can be printed


NOT_SOUND = {
    "text": b"A list of records to be layered this summer.\n" * 200,
    "a web page": b"<!doctype html><html><title>404</title><body>not here</body></html>",
    "an archive": b"PK\x03\x04" + np.random.default_rng(1).bytes(20_000),
    "noise": np.random.default_rng(2).bytes(300_000),
    "zeros": bytes(50_000),
    "a playlist": b"#EXTM3U\n#EXT-X-TARGETDURATION:9\n#EXTINF:9,\nfile:///etc/hostname\n#EXT-X-ENDLIST\n",
    "a concatenation script": b"ffconcat version 1.0\nfile other.wav\n",
    "a picture": b"\x89PNG\r\n\x1a\n" + bytes(1_000),
}


@pytest.mark.parametrize("suffix", [".mp3", ".wav", ".flac", ".ogg", ".m4a", ".aac", ""])
@pytest.mark.parametrize("content", NOT_SOUND)
def test_anything_else_under_the_name_of_a_sound_file(
    tmp_path: Path, capfd: pytest.CaptureFixture[str], content: str, suffix: str
) -> None:
    path = tmp_path / f"record{suffix}"
    path.write_bytes(NOT_SOUND[content])
    refusal(path)
    assert capfd.readouterr() == ("", "")  # the decoders keep quiet


def test_a_script_that_names_another_file_is_not_followed(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "other.wav", RECORD, RATE_HZ)
    (tmp_path / "record.mp3").write_text("ffconcat version 1.0\nfile other.wav\n")
    assert refusal(tmp_path / "record.mp3") == "it is not a sound file that can be read"


def test_an_empty_file(tmp_path: Path) -> None:
    (tmp_path / "record.mp3").touch()
    assert refusal(tmp_path / "record.mp3") == "it is empty"


def test_a_recording_without_a_sample(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "record.wav", np.zeros((0, 2)), RATE_HZ)
    assert refusal(tmp_path / "record.wav") == "it holds no sound"


def test_more_than_two_channels(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "record.wav", np.zeros((1_000, 6)), RATE_HZ)
    assert refusal(tmp_path / "record.wav") == "it has 6 channels"


@pytest.mark.parametrize("rate_hz", [4_000, 384_000])
def test_a_sample_rate_out_of_range(tmp_path: Path, rate_hz: int) -> None:
    soundfile.write(tmp_path / "record.wav", np.zeros((1_000, 2)), rate_hz)
    assert f"{rate_hz} Hz" in refusal(tmp_path / "record.wav")


@pytest.mark.parametrize("arguments", [["-c:a", "wmav2", "-f", "asf"], ["-c:a", "mp2", "-f", "mp2"]])
def test_sound_that_cannot_be_placed_exactly(tmp_path: Path, arguments: list[str]) -> None:
    assert refusal(encode_with_ffmpeg(RECORD, RATE_HZ, arguments, tmp_path / "record"))


def test_a_film_without_sound(tmp_path: Path) -> None:
    path = tmp_path / "film.mp4"
    arguments = ["-f", "lavfi", "-i", "color=s=16x16:d=0.2", "-map", "1:v", "-f", "mp4"]
    assert refusal(encode_with_ffmpeg(RECORD, RATE_HZ, arguments, path)) == "it holds no sound"


@pytest.mark.parametrize("name", ["wav", "aiff", "flac", "mp3 cbr", "mp3 vbr", "m4a"])
def test_a_span_that_a_broken_off_file_promises_but_does_not_hold(tmp_path: Path, name: str) -> None:
    path = encode_with_ffmpeg(
        RECORD, RATE_HZ, [*FFMPEG_ARGUMENTS[name], "-movflags", "faststart"], tmp_path / "record"
    )
    cut(path, 0.6)
    assert open_recording(path).frames == len(RECORD)
    wrong = span_refusal(path, 0, len(RECORD))
    assert "it promises 0:06.000" in wrong or "damaged or cut short" in wrong
    span_refusal(path, 5 * RATE_HZ, 1_000)  # all of it lies after the break


@pytest.mark.parametrize("subtype", ["VORBIS", "OPUS"])
def test_a_broken_off_ogg_file_promises_nothing_but_lacks_its_end(tmp_path: Path, subtype: str) -> None:
    """RFC 3533, section 6: the last page of a stream is marked."""
    path = write_in_blocks(tmp_path / "record.ogg", record(48_000, seconds=6), 48_000, "OGG", subtype)
    assert open_recording(path).note == ""
    assert "no end mark" in open_recording(cut(path, 0.6)).note


def test_a_flac_file_with_a_scratch(tmp_path: Path) -> None:
    path = encode_with_ffmpeg(RECORD, RATE_HZ, FFMPEG_ARGUMENTS["flac"], tmp_path / "record.flac")
    data = bytearray(path.read_bytes())
    middle = len(data) // 2
    data[middle : middle + 300] = np.random.default_rng(3).bytes(300)
    path.write_bytes(data)
    assert "damaged" in span_refusal(path, 0, len(RECORD))
    assert read_span(open_recording(path), 0, RATE_HZ).shape == (RATE_HZ, 2)  # before the scratch


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
def test_a_sample_that_is_no_number_inside_the_span(tmp_path: Path, bad: float) -> None:
    audio = RECORD.copy()
    audio[3 * RATE_HZ, 1] = bad
    path = tmp_path / "record.wav"
    soundfile.write(path, audio, RATE_HZ, subtype="FLOAT")
    assert "at 0:03.000" in span_refusal(path, 0, len(audio))
    assert np.isfinite(read_span(open_recording(path), 0, 3 * RATE_HZ)).all()
