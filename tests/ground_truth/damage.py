"""What happens to records on their way to a listener. None of it moves a beat but silence, which says by how much.

MP3 goes through the encoder of the wheel imageio-ffmpeg and back; its start delay is written in the file's info
header and taken off by the decoder, which `tests/analysis/test_ground_truth_itself.py` checks.
"""

import subprocess
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import imageio_ffmpeg
import numpy as np
import soxr

from render.values import Audio
from tests.ground_truth.instruments import RATE_HZ

MP3_LIMIT_S = 60
STUDIO_RATE_HZ = 48_000


@dataclass(frozen=True)
class Damage:
    """`apply` gives the sound and its rate; `silence_s` is what it puts before the record."""

    name: str
    apply: Callable[[Audio, np.random.Generator], tuple[Audio, int]]
    silence_s: float = 0.0


def _none(sound: Audio, _: np.random.Generator) -> tuple[Audio, int]:
    return sound, RATE_HZ


def _silence(sound: Audio, _: np.random.Generator) -> tuple[Audio, int]:
    lead = np.zeros((round(SILENCE_S * RATE_HZ), sound.shape[1]), dtype=np.float32)
    return np.concatenate([lead, sound]), RATE_HZ


def _fades(sound: Audio, _: np.random.Generator) -> tuple[Audio, int]:
    """12 s in, 10 s out."""
    sound = sound.copy()
    sound[: 12 * RATE_HZ] *= np.linspace(0, 1, 12 * RATE_HZ, dtype=np.float32)[:, None]
    sound[-10 * RATE_HZ :] *= np.linspace(1, 0, 10 * RATE_HZ, dtype=np.float32)[:, None]
    return sound, RATE_HZ


def _vinyl(sound: Audio, rng: np.random.Generator) -> tuple[Audio, int]:
    """Hiss at -52 dB, rumble at -42 dB and about 12 crackles a second, the loudest at -14 dB."""
    frames = len(sound)
    dirt = np.float32(0.0025) * rng.standard_normal((frames, 2), dtype=np.float32)
    rumble_at = np.arange(0, frames + 1024, 1024)
    rumble = np.interp(np.arange(frames), rumble_at, rng.standard_normal(rumble_at.size) * 0.012)
    dirt += rumble.astype(np.float32)[:, None]
    starts = rng.integers(0, frames - 64, int(12 * frames / RATE_HZ))
    shape = np.exp(-np.arange(40) / 8).astype(np.float32)[:, None]
    for start, level in zip(starts, 0.2 * rng.random(starts.size) ** 3, strict=True):
        dirt[start : start + 40] += np.float32(level) * shape * rng.uniform(-1, 1, (40, 2)).astype(np.float32)
    return np.clip(sound * np.float32(0.8) + dirt, -1, 1), RATE_HZ


def _clipped(sound: Audio, _: np.random.Generator) -> tuple[Audio, int]:
    """6 dB over the converter's end."""
    return np.clip(sound * np.float32(2.0), -1, 1), RATE_HZ


def _mono(sound: Audio, _: np.random.Generator) -> tuple[Audio, int]:
    return np.mean(sound, axis=1, keepdims=True, dtype=np.float32), RATE_HZ


def _studio_rate(sound: Audio, _: np.random.Generator) -> tuple[Audio, int]:
    return np.asarray(soxr.resample(sound, RATE_HZ, STUDIO_RATE_HZ), dtype=np.float32), STUDIO_RATE_HZ


def _mp3(sound: Audio, _: np.random.Generator) -> tuple[Audio, int]:
    program = imageio_ffmpeg.get_ffmpeg_exe()
    raw = ["-f", "f32le", "-ar", str(RATE_HZ), "-ac", "2"]
    # Fast search in the encoder: what is tested are the ears, not the codec.
    encoder = ["-c:a", "libmp3lame", "-b:a", "128k", "-compression_level", "9"]
    with tempfile.TemporaryDirectory() as folder:
        # Into a file: through a pipe the info header, which holds the start delay, cannot be completed.
        encoded = Path(folder) / "record.mp3"
        _run([program, "-v", "error", *raw, "-i", "-", *encoder, str(encoded)], sound.tobytes())
        decoded = _run([program, "-v", "error", "-i", str(encoded), *raw, "-"], b"")
    return np.frombuffer(decoded, dtype=np.float32).reshape(-1, 2), RATE_HZ


def _run(command: list[str], data: bytes) -> bytes:
    return subprocess.run(command, input=data, capture_output=True, check=True, timeout=MP3_LIMIT_S).stdout


SILENCE_S = 4.321
DAMAGES = (
    Damage("clean", _none),
    Damage("silence", _silence, SILENCE_S),
    Damage("fades", _fades),
    Damage("vinyl", _vinyl),
    Damage("clipped", _clipped),
    Damage("mono", _mono),
    Damage("mp3", _mp3),
    Damage("48 kHz", _studio_rate),
)
