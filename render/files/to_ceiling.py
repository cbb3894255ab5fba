"""Encoding to a ceiling: the trim is found by encoding, decoding and measuring, never assumed.

A lossy codec overshoots: a mix that peaks at −1.00 dBTP comes out of one up to a dB higher, by how much depends on
the music.
"""

from dataclasses import dataclass
from pathlib import Path

from render.checks.judge import read_levels
from render.checks.model import Readings
from render.files.ffmpeg import decode_clip, encode, pcm_sha256
from render.plan.model import ClipFormat
from render.sound.levels import trim_db
from render.values import Audio, db_to_gain

MAX_ENCODINGS = 5
"""One or two find the trim; a codec that takes more is not converging."""
CLOSE_ENOUGH_DB = 0.05
"""An encoded peak this far over its ceiling is taken: half of what the checks allow."""
EXPECTED_OVERSHOOT_DB: dict[ClipFormat, float] = {"mp3": 0.3, "opus": 0.5, "flac": 0.001, "wav": 0.001}
"""Where the search begins; what the decoded file measures decides."""


@dataclass(frozen=True)
class Encoded:
    """The clip as it went into the encoder, and as the file sounds when it is decoded again."""

    trim_db: float
    pcm_sha256: str
    readings: Readings


def encode_to_ceiling(
    mixed: Audio,
    rate_hz: int,
    true_peak_dbtp: float | None,
    ceiling_dbtp: float,
    form: ClipFormat,
    path: Path,
) -> Encoded:
    """Encode a mix (frames, channels) so that the file's own true peak stays at its ceiling.

    Whether it does after the last try is for the checks to judge. Raises ToolError and OutputError.
    """
    trim = trim_db(true_peak_dbtp, ceiling_dbtp - EXPECTED_OVERSHOOT_DB[form])
    for _ in range(MAX_ENCODINGS):
        pcm = mixed * db_to_gain(trim)
        encode(pcm, rate_hz, form, path)
        readings = read_levels(*decode_clip(path))
        peak = readings.true_peak_dbtp
        if peak is None or peak - ceiling_dbtp <= CLOSE_ENOUGH_DB:
            break
        trim -= peak - ceiling_dbtp
    return Encoded(trim, pcm_sha256(pcm), readings)
