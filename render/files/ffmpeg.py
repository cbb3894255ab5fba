"""Clips on the disk: encoding a mix, and decoding a clip again to measure it.

MP3 and Opus are encoded by FFmpeg, to which pydub hands the finished PCM as 32-bit integers; FLAC and WAV hold
24 bits and are written by libsndfile. A file is made in memory first, so that a full disk is met by one plain
write. The bytes hold no date and no random number: the same mix gives the same file.

`pcm_sha256` names what a listener of a FLAC or WAV clip gets to the bit: little-endian, interleaved, 24 bits a
sample, full scale 2^23, rounded without dither (the rounding lies 150 dB down, under any record's own noise).
"""

import contextlib
import functools
import hashlib
import io
import subprocess
import tempfile
import warnings
from collections.abc import Iterator
from pathlib import Path

import imageio_ffmpeg
import numpy as np
import numpy.typing as npt
import soundfile
import soxr

from render.faults import ToolError, ToolStopped
from render.files.audio_files import open_recording, read_span
from render.files.temporary import TEMPORARY_FOLDER_PREFIX, require_room, temporary_folder_full
from render.files.time_limit import time_limit
from render.files.whole_file import NO_SPACE, write_bytes
from render.plan.model import ClipFormat
from render.values import Audio

with warnings.catch_warnings():  # pydub looks for programs on PATH as it is imported, and says what it misses
    warnings.simplefilter("ignore")
    from pydub import AudioSegment, audio_segment
    from pydub.exceptions import CouldntEncodeError

FULL_SCALE_24 = 2**23

MP3_BITRATE = "320k"
MP3_EFFORT = ["-compression_level", "5"]
"""Takes four fifths of the time of LAME's usual 3, and leaves the same: on the demo's records the noise in 24 bands up
to 15.5 kHz is within 1 dB of what 3 leaves, in the median and in the worst hundredth. At 7, twice as fast, single
moments are 5 to 20 dB worse."""
OPUS_BITRATE = "160k"
OPUS_RATE_HZ = 48_000
"""Opus runs at this rate whatever it is given (RFC 6716, section 2)."""
MP3_RATES_HZ = (32_000, 44_100, 48_000)
"""MPEG-1 layer III (ISO/IEC 11172-3, 2.4.2.3): the rates that 320 kbit/s exists at."""

_PLAIN = ["-map_metadata", "-1", "-fflags", "+bitexact", "-flags:a", "+bitexact", "-v", "error"]
"""No date, no program's version, no random stream number; of messages only what went wrong."""

_TIME_LIMIT_S = 60.0
"""For starting the encoder on a busy machine; encoding itself runs 25 times as fast as the clip or faster."""

_NO_ROOM = "No space left on device"

_KILLED = "error code: -"
"""What pydub says of a program that a signal has ended: a status below zero, as `subprocess` counts them."""


@functools.cache
def find_ffmpeg() -> Path:
    """The FFmpeg that encodes: the one in the wheel imageio-ffmpeg, so that clips are alike on every machine.

    `IMAGEIO_FFMPEG_EXE` overrides it; where the wheel carries none for the platform, the one on PATH serves.
    Raises ToolError.
    """
    try:
        return Path(imageio_ffmpeg.get_ffmpeg_exe())
    except RuntimeError as error:
        raise ToolError(
            "ffmpeg", "it is not installed", "reinstall imageio-ffmpeg, or install FFmpeg"
        ) from error


def encode(audio: Audio, rate_hz: int, form: ClipFormat, path: Path) -> None:
    """Write a mix, (frames, channels) within full scale, as a clip.

    MP3 has 320 kbit/s, Opus 160 kbit/s at 48 kHz; a rate that the format does not know is converted.
    Raises ToolError where FFmpeg fails, OutputError where the file cannot be written, ValueError for a mix
    that is empty, over full scale or not finite: nothing is clipped here in silence.
    """
    peak = max(float(audio.max()), -float(audio.min())) if audio.size else float("nan")
    if not peak <= 1.0:
        raise ValueError(f"a mix of {len(audio)} frames that peaks at {peak} cannot be encoded")
    match form:
        case "flac" | "wav":
            data = _lossless(audio, rate_hz, form)
        case "opus":
            data = _coded(audio, rate_hz, OPUS_RATE_HZ, "libopus", OPUS_BITRATE, "opus")
        case "mp3":
            mp3_rate_hz = _mp3_rate_hz(rate_hz)
            data = _coded(audio, rate_hz, mp3_rate_hz, "libmp3lame", MP3_BITRATE, "mp3", MP3_EFFORT)
    write_bytes(path, data)


def decode_clip(path: Path) -> tuple[Audio, int]:
    """A clip as it sounds, whole, and its rate: as long as what was encoded and in the same place.

    Peaks over full scale stay as they are. Raises SourceError.
    """
    recording = open_recording(path)
    return read_span(recording, 0, recording.frames), recording.rate_hz


def pcm24(audio: Audio) -> bytes:
    """A mix as the 24-bit PCM that FLAC and WAV clips hold."""
    padded = _integers(audio).view(np.uint8).reshape(-1, 4)
    packed = np.empty((len(padded), 3), np.uint8)
    for byte in range(3):  # one after the other, which numpy does much faster than three at a time
        packed[:, byte] = padded[:, byte]
    return packed.tobytes()


def pcm_sha256(audio: Audio) -> str:
    """The SHA-256 of `pcm24`, in hexadecimal."""
    return hashlib.sha256(pcm24(audio)).hexdigest()


def _integers(audio: Audio) -> npt.NDArray[np.int32]:
    """(frames, channels) of 24 bits, little-endian; only +1.0 itself, which integers do not reach, gives way.

    Scaling by a power of two and rounding to 24 bits are exact in float32, whose own precision that is.
    """
    scaled = audio * np.float32(FULL_SCALE_24)
    np.rint(scaled, out=scaled)
    np.minimum(scaled, np.float32(FULL_SCALE_24 - 1), out=scaled)
    return np.ascontiguousarray(scaled.astype("<i4"))


def _lossless(audio: Audio, rate_hz: int, form: str) -> bytes:
    file = io.BytesIO()
    soundfile.write(file, _integers(audio) << 8, rate_hz, subtype="PCM_24", format=form.upper())
    return file.getvalue()


def _coded(
    audio: Audio,
    rate_hz: int,
    coded_rate_hz: int,
    codec: str,
    bitrate: str,
    container: str,
    effort: list[str] | None = None,
) -> bytes:
    if coded_rate_hz != rate_hz:  # what is below its true-peak ceiling stays below it: clipped is only ripple
        audio = np.clip(soxr.resample(audio, rate_hz, coded_rate_hz, quality="VHQ"), -1.0, 1.0)
    pcm = (_integers(audio) << 8).tobytes()
    require_room(round(1.5 * len(pcm)))  # all of it goes in, less comes out
    segment = AudioSegment(pcm, sample_width=4, frame_rate=coded_rate_hz, channels=audio.shape[1])
    segment.converter = str(find_ffmpeg())
    file = io.BytesIO()
    try:
        with time_limit(audio_segment, _TIME_LIMIT_S + len(audio) / coded_rate_hz), _own_temporary_folder():
            segment.export(
                file, format=container, codec=codec, bitrate=bitrate, parameters=[*_PLAIN, *(effort or [])]
            )
    except subprocess.TimeoutExpired as error:
        raise ToolStopped("ffmpeg", f"it did not end within {error.timeout:.0f} s", "try again") from error
    except CouldntEncodeError as error:
        if _NO_ROOM in str(error):
            raise temporary_folder_full() from error
        told = str(error).strip().splitlines()[-1]
        met = ToolStopped if _KILLED in str(error) else ToolError
        raise met("ffmpeg", f"it failed ({told})", "run `dropkiln doctor`") from error
    except OSError as error:
        if error.errno in NO_SPACE:
            raise temporary_folder_full() from error
        if error.filename == str(find_ffmpeg()):
            wrong = f"{error.filename} cannot be started ({error.strerror})"
            raise ToolError("ffmpeg", wrong, "reinstall imageio-ffmpeg") from error
        raise
    return file.getvalue()


@contextlib.contextmanager
def _own_temporary_folder() -> Iterator[None]:
    """Let pydub, which leaves its temporary files behind when it fails, put them where they are swept up.

    To be used within `time_limit`, which lets one thread at a time through.
    """
    made_by_pydub = audio_segment.NamedTemporaryFile
    with tempfile.TemporaryDirectory(prefix=TEMPORARY_FOLDER_PREFIX) as folder:
        audio_segment.NamedTemporaryFile = functools.partial(made_by_pydub, dir=folder)
        try:
            yield
        finally:
            audio_segment.NamedTemporaryFile = made_by_pydub


def _mp3_rate_hz(rate_hz: int) -> int:
    """The MP3 rate for a clip's rate: itself, else of its own family (48 or 44.1 kHz)."""
    if rate_hz in MP3_RATES_HZ:
        return rate_hz
    return 48_000 if rate_hz % 8_000 == 0 else 44_100
