"""A made-up record, written in every format by FFmpeg, and a ruler to find where it lies in what is read.

The record is silent at first, then drums at uneven times: a position cannot be mistaken for another, and a
length that is guessed from the bit rate comes out wrong.
"""

import subprocess
from pathlib import Path

import numpy as np
import soundfile
from scipy import signal

from render.files.ffmpeg import find_ffmpeg
from render.values import Audio

SECONDS = 12
SILENT_S = 2.0

FFMPEG_ARGUMENTS = {
    "wav": ["-c:a", "pcm_s24le", "-f", "wav"],
    "aiff": ["-c:a", "pcm_s24be", "-f", "aiff"],
    "flac": ["-c:a", "flac", "-f", "flac"],
    "vorbis": ["-c:a", "libvorbis", "-q:a", "6", "-f", "ogg"],
    "vorbis in long pages": ["-c:a", "libvorbis", "-q:a", "3", "-page_duration", "4000000", "-f", "ogg"],
    "opus": ["-c:a", "libopus", "-b:a", "160k", "-f", "opus"],
    "mp3 cbr": ["-c:a", "libmp3lame", "-b:a", "160k", "-f", "mp3"],
    "mp3 vbr": ["-c:a", "libmp3lame", "-q:a", "0", "-f", "mp3"],
    "mp3 cbr without header": ["-c:a", "libmp3lame", "-b:a", "160k", "-write_xing", "0", "-f", "mp3"],
    "mp3 vbr without header": ["-c:a", "libmp3lame", "-q:a", "2", "-write_xing", "0", "-f", "mp3"],
    "m4a": ["-c:a", "aac", "-b:a", "256k", "-f", "ipod"],
    "m4a without edit list": ["-c:a", "aac", "-b:a", "256k", "-use_editlist", "0", "-f", "ipod"],
    "m4a lossless": ["-c:a", "alac", "-f", "ipod"],
    "bare aac": ["-c:a", "aac", "-b:a", "256k", "-f", "adts"],
}


def record(rate_hz: int = 44_100, channels: int = 2, seconds: float = SECONDS) -> Audio:
    """(frames, channels) float32 within full scale."""
    rng = np.random.default_rng(20)
    audio = np.zeros((round(rate_hz * seconds), channels))
    time_s = np.arange(round(0.15 * rate_hz)) / rate_hz
    at_s = SILENT_S
    while at_s < seconds - 0.2:
        kick = 0.5 * np.sin(2 * np.pi * 55 * time_s) * np.exp(-time_s * 25)
        stick = 0.3 * rng.standard_normal((len(time_s), channels)) * np.exp(-time_s * 250)[:, None]
        start = round(at_s * rate_hz)
        audio[start : start + len(time_s)] += kick[:, None] + stick
        at_s += rng.uniform(0.17, 0.43)
    audio[round(SILENT_S * rate_hz) :] += 1e-3 * rng.standard_normal((1, channels))
    return np.clip(audio, -0.99, 0.99).astype(np.float32)


def encode_with_ffmpeg(audio: Audio, rate_hz: int, arguments: list[str], path: Path) -> Path:
    wav = path.with_name(path.name + ".source.wav")
    soundfile.write(wav, audio, rate_hz, subtype="PCM_24")
    command = [find_ffmpeg(), "-y", "-v", "error", "-i", wav, *arguments, path]
    subprocess.run(command, check=True)
    wav.unlink()
    return path


def write_in_blocks(path: Path, audio: Audio, rate_hz: int, kind: str, subtype: str) -> Path:
    """By libsndfile, which crashes on long stretches of Vorbis handed over at once."""
    with soundfile.SoundFile(path, "w", rate_hz, audio.shape[1], subtype=subtype, format=kind) as file:
        for start in range(0, len(audio), 65_536):
            file.write(audio[start : start + 65_536])
    return path


def lag_frames(heard: Audio, original: Audio, reach_frames: int) -> int:
    """How much later `original` lies in `heard` than `reach_frames` after its start, by cross-correlation."""
    match = signal.correlate(heard.sum(axis=1, dtype=float), original.sum(axis=1, dtype=float), "valid")
    return int(np.argmax(match)) - reach_frames
