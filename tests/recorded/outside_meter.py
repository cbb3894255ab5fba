"""FFmpeg as it comes with the wheel imageio-ffmpeg: a meter, a decoder and an encoder that are not the program's."""

import math
import re
import subprocess
from dataclasses import dataclass
from pathlib import Path

import imageio_ffmpeg
import numpy as np
import soundfile

from tests.recorded.recorded_material import Sound


@dataclass(frozen=True)
class Levels:
    integrated_lufs: float
    true_peak_dbtp: float
    loudness_range_lu: float


def ffmpeg(*arguments: str | Path) -> str:
    """What FFmpeg says; fails where it does."""
    command = [imageio_ffmpeg.get_ffmpeg_exe(), "-hide_banner", "-nostats", "-y", *map(str, arguments)]
    ended = subprocess.run(command, capture_output=True, text=True, check=False, stdin=subprocess.DEVNULL)
    assert ended.returncode == 0, ended.stderr
    return ended.stdout + ended.stderr


def levels_of(file: Path) -> Levels:
    """FFmpeg's own EBU R 128 meter over the whole file, to a thousandth: it tells the peak as an amplitude."""
    meter = "ebur128=peak=true:metadata=1:framelog=quiet,ametadata=print:file=-"
    said = ffmpeg("-v", "error", "-i", file, "-af", meter, "-f", "null", "-")
    loudness = re.findall(r"^lavfi\.r128\.I=(\S+)$", said, re.MULTILINE)
    peak = re.findall(r"^lavfi\.r128\.true_peak=(\S+)$", said, re.MULTILINE)
    loudness_range = re.findall(r"^lavfi\.r128\.LRA=(\S+)$", said, re.MULTILINE)
    return Levels(float(loudness[-1]), 20 * math.log10(float(peak[-1])), float(loudness_range[-1]))


def reads_modules() -> bool:
    """Whether this FFmpeg was built with libopenmpt."""
    return "libopenmpt" in ffmpeg("-demuxers")


def rendered(module: Path, folder: Path) -> Path:
    """A module as libopenmpt plays it, in floats, which may go beyond full scale."""
    wav = folder / f"{module.stem}.wav"
    ffmpeg("-v", "error", "-i", module, "-c:a", "pcm_f32le", wav)
    return wav


def decoded(file: Path, folder: Path) -> tuple[Sound, int]:
    """A file's sound (frames, channels) and rate as FFmpeg decodes it, from its first frame on."""
    wav = folder / f"{file.stem}.decoded.wav"
    ffmpeg("-v", "error", "-i", file, "-c:a", "pcm_f32le", wav)
    audio, rate_hz = soundfile.read(wav, always_2d=True)
    wav.unlink()
    return audio.astype(np.float64), rate_hz
