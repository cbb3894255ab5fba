"""Published clips as two independent programs read them: mutagen and FFmpeg's own `ffprobe` and `ffmpeg`.

What they say of length, rate, channels, titles and chapters is what the receipt says, and what they decode is what this
program decodes: to the bit where the format is lossless.
"""

import json
import shutil
import subprocess
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import mutagen
import numpy as np
import pytest
import soundfile
from desk import RATE_HZ, SLATE, Desk

from render.files.audio_files import open_recording, read_span
from render.files.ffmpeg import decode_clip
from render.values import Audio

FORMS = ["mp3", "opus", "flac", "wav"]
LOSSLESS = ["flac", "wav"]
RATES_HZ = {"mp3": 44_100, "opus": 48_000, "flac": 44_100, "wav": 44_100}
"""The records have 44.1 kHz; Opus is always 48 kHz (RFC 6716, section 2, published)."""

LOSSY_RMS = 1e-4
"""Two decoders of one lossy format may round otherwise: 80 dB below full scale is under any codec's own noise."""

MP3_PADDING_S = 3 * 1152 / 44_100
"""What an encoder may put around the sound to fill its frames: 1,105 samples of run-in, up to two frames behind."""

OGG_PACKET_S = 0.02
"""RFC 7845, section 4: a reader that leaves the end trimming aside is off by up to one packet."""

NEEDS_FFMPEG = pytest.mark.skipif(
    not (shutil.which("ffmpeg") and shutil.which("ffprobe")), reason="needs ffmpeg and ffprobe"
)


@dataclass(frozen=True)
class Made:
    path: Path
    receipt: dict[str, Any]

    @property
    def marks(self) -> list[tuple[float, str]]:
        """Two chapters: before the landing, and from it on."""
        return [(0.0, "Lead"), (self.receipt["landing_s"], "Landing")]


@pytest.fixture(scope="module")
def clips(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Made]:
    desk = Desk(tmp_path_factory.mktemp("desk"))
    made = {}
    for form in FORMS:
        title = ("title: Test", 'title: "Ночь = night; 夜"')
        desk.recipe(f"{form}.yaml", title, ("format: flac", f"format: {form}"))
        assert desk.run("render", f"{form}.yaml").status == 0
        receipt = desk.receipt(form)
        made[form] = Made(desk.folder / "out/clips" / receipt["clip"], receipt)
    return made


def probed(path: Path) -> dict[str, Any]:
    command = [
        "ffprobe",
        "-v",
        "error",
        "-of",
        "json",
        "-show_format",
        "-show_streams",
        "-show_chapters",
        path,
    ]
    done = subprocess.run(command, capture_output=True, check=True)
    said: dict[str, Any] = json.loads(done.stdout)
    return said


def decoded_by_ffmpeg(path: Path, rate_hz: int) -> Audio:
    """As floats of 64 bits, which hold every sample of 24 bits."""
    command = ["ffmpeg", "-v", "error", "-i", path, "-f", "f64le", "-ac", "2", "-ar", str(rate_hz), "-"]
    data = subprocess.run(command, capture_output=True, check=True).stdout
    return np.frombuffer(data, "<f8").reshape(-1, 2)


@pytest.mark.parametrize("form", FORMS)
def test_mutagen_reads_what_the_receipt_says(clips: dict[str, Made], form: str) -> None:
    made = clips[form]
    read = mutagen.File(made.path)
    # mutagen counts an MP3's run-in and padding as sound.
    allowed_s = MP3_PADDING_S if form == "mp3" else 1 / RATES_HZ[form]
    assert read.info.length == pytest.approx(made.receipt["duration_s"], abs=allowed_s)
    assert read.info.channels == 2
    if form != "opus":  # its header tells the rate of what went in, and decoders do not need it
        assert read.info.sample_rate == RATES_HZ[form]
    if form in ("mp3", "wav"):
        assert read.tags["TIT2"].text == [made.receipt["title"]]
        found = sorted(
            (one.start_time / 1000, one.sub_frames["TIT2"].text[0]) for one in read.tags.getall("CHAP")
        )
    else:
        assert read["title"] == [made.receipt["title"]]
        assert read["artist"] == [track["name"] for track in made.receipt["tracks"]]
        assert read["bpm"] == ["140"]
        found = [(_seconds(read[f"chapter00{n}"][0]), read[f"chapter00{n}name"][0]) for n in (1, 2)]
    assert [name for _, name in found] == [name for _, name in made.marks]
    assert [at_s for at_s, _ in found] == pytest.approx([at_s for at_s, _ in made.marks], abs=0.0005)


@NEEDS_FFMPEG
@pytest.mark.parametrize("form", FORMS)
def test_ffprobe_reads_what_the_receipt_says(clips: dict[str, Made], form: str) -> None:
    made = clips[form]
    said = probed(made.path)
    (stream,) = said["streams"]
    assert (stream["codec_type"], int(stream["sample_rate"]), stream["channels"]) == (
        "audio",
        RATES_HZ[form],
        2,
    )
    tags = {name.lower(): text for name, text in (said["format"].get("tags") or stream["tags"]).items()}
    assert tags["title"] == made.receipt["title"]
    # ffprobe counts an MP3's run-in and padding, and an Opus file's first and last packet, as sound.
    allowed_s = {"mp3": MP3_PADDING_S, "opus": OGG_PACKET_S}.get(form, 0.0005)
    assert float(said["format"]["duration"]) == pytest.approx(made.receipt["duration_s"], abs=allowed_s)
    found = sorted((float(one["start_time"]), one["tags"]["title"]) for one in said["chapters"])
    assert [name for _, name in found] == [name for _, name in made.marks]
    assert [at_s for at_s, _ in found] == pytest.approx([at_s for at_s, _ in made.marks], abs=0.0005)


@NEEDS_FFMPEG
@pytest.mark.parametrize("form", FORMS)
def test_ffmpeg_decodes_the_same_sound(clips: dict[str, Made], form: str) -> None:
    made = clips[form]
    ours, rate_hz = decode_clip(made.path)
    theirs = decoded_by_ffmpeg(made.path, rate_hz)
    assert rate_hz == RATES_HZ[form]
    assert len(ours) == round(made.receipt["duration_s"] * rate_hz)
    assert theirs.shape == ours.shape
    if form in LOSSLESS:
        assert np.array_equal(theirs, ours)
    else:
        # The same length and no larger difference: a delay of one sample would leave more (tested below).
        assert np.sqrt(np.mean(np.square(theirs - ours))) <= LOSSY_RMS


@NEEDS_FFMPEG
@pytest.mark.parametrize("form", ["mp3", "opus"])
def test_a_delay_of_one_sample_would_be_noticed(clips: dict[str, Made], form: str) -> None:
    ours, rate_hz = decode_clip(clips[form].path)
    theirs = decoded_by_ffmpeg(clips[form].path, rate_hz)
    assert np.sqrt(np.mean(np.square(theirs[1:] - ours[:-1]))) > 2 * LOSSY_RMS


@NEEDS_FFMPEG
@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_24"])
@pytest.mark.parametrize("form", ["AIFF", "WAV", "FLAC"])
def test_a_lossless_record_is_read_to_the_bit(tmp_path: Path, form: str, subtype: str) -> None:
    path = tmp_path / f"record.{form.lower()}"
    soundfile.write(path, SLATE, RATE_HZ, format=form, subtype=subtype)
    recording = open_recording(path)
    ours = read_span(recording, 0, recording.frames)
    assert np.array_equal(decoded_by_ffmpeg(path, RATE_HZ), ours)


def _seconds(time: str) -> float:
    hours, minutes, seconds = time.split(":")
    return 3600 * int(hours) + 60 * int(minutes) + float(seconds)
