"""Encoding to a level: the trim is found by encoding, decoding and measuring, never assumed.

A lossy codec overshoots: a mix that peaks at −1.00 dBTP comes out of one up to a dB higher, by how much depends on
the music. It may also take a little of the loudness away.
"""

import math
from dataclasses import dataclass, replace
from pathlib import Path

from render.checks.judge import read_levels
from render.checks.model import Readings
from render.files.ffmpeg import decode_clip, encode, pcm_sha256
from render.plan.model import ClipFormat
from render.sound.levels import Level, ToCeiling, ToLoudness, trim_db
from render.values import Audio, db_to_gain

CLOSE_ENOUGH_DB = 0.05
"""An encoded peak this far over its ceiling is taken: half of what the checks allow."""
MAX_ENCODINGS = 6
"""One or two find the trim; a codec that takes more is not converging."""
CLOSE_ENOUGH_LU = 0.05
"""An encoded clip this far from its loudness is taken: two of them differ by 0.1 LU then, half of what is promised."""
EXPECTED_OVERSHOOT_DB: dict[ClipFormat, float] = {"mp3": 0.3, "opus": 0.5, "flac": 0.001, "wav": 0.001}
"""Where the search begins; what the decoded file measures decides."""


@dataclass(frozen=True)
class Encoded:
    """The clip as it went into the encoder, and as the file sounds when it is decoded again.

    `level` is what was reached: the one asked for, or a lower loudness where the ceiling did not let that one.
    """

    level: Level
    trim_db: float
    pcm_sha256: str
    readings: Readings


def likely_lufs(mix: Readings, ceiling_dbtp: float, form: ClipFormat) -> float | None:
    """How loud a clip can become below its ceiling, as far as its mix tells; None where it has no loudness."""
    if mix.integrated_lufs is None:
        return None
    return mix.integrated_lufs + trim_db(mix.true_peak_dbtp, ceiling_dbtp - EXPECTED_OVERSHOOT_DB[form])


def encode_to(
    mixed: Audio, rate_hz: int, mix: Readings, level: Level, form: ClipFormat, path: Path
) -> Encoded:
    """Encode a mix (frames, channels), whose levels are `mix`, so that the file itself has its level.

    Asked for the level that it reached, it makes the same file again. Whether that is right after the last try is
    for the checks to judge. Raises ToolError and OutputError.
    """
    level, trim = _begun(mix, level, form)
    for left in reversed(range(MAX_ENCODINGS)):
        pcm = mixed * db_to_gain(trim)
        encode(pcm, rate_hz, form, path)
        readings = read_levels(*decode_clip(path))
        following = _following(mix, level, trim, readings)
        if following is None or not left:
            break
        level, trim = following
    return Encoded(level, trim, pcm_sha256(pcm), readings)


def _begun(mix: Readings, level: Level, form: ClipFormat) -> tuple[Level, float]:
    """Where the search begins."""
    ceiling_trim_db = trim_db(mix.true_peak_dbtp, level.ceiling_dbtp - EXPECTED_OVERSHOOT_DB[form])
    if isinstance(level, ToCeiling) or mix.integrated_lufs is None:
        return ToCeiling(level.ceiling_dbtp), ceiling_trim_db
    return _at(
        mix.integrated_lufs, replace(level, lufs=min(level.lufs, mix.integrated_lufs + ceiling_trim_db))
    )


def _following(mix: Readings, level: Level, trim: float, encoded: Readings) -> tuple[Level, float] | None:
    """What to try after a file that reads `encoded`; None where it will do.

    Where the ceiling does not let a loudness, a lower one is aimed at from the beginning, so that it is found in the
    same way whoever asks for it.
    """
    peak_dbtp, loud_lufs = encoded.true_peak_dbtp, encoded.integrated_lufs
    over_db = -math.inf if peak_dbtp is None else peak_dbtp - level.ceiling_dbtp
    if isinstance(level, ToCeiling) or mix.integrated_lufs is None or loud_lufs is None:
        return (level, trim - over_db) if over_db > CLOSE_ENOUGH_DB else None
    if over_db > CLOSE_ENOUGH_DB:
        return _at(mix.integrated_lufs, replace(level, lufs=level.lufs - over_db))
    missing_db = level.lufs - loud_lufs
    raised_db = min(missing_db, max(0.0, -over_db))
    if missing_db - raised_db > CLOSE_ENOUGH_LU:
        return _at(mix.integrated_lufs, replace(level, lufs=level.lufs - (missing_db - raised_db)))
    return (level, trim + raised_db) if abs(raised_db) > CLOSE_ENOUGH_LU else None


def _at(mix_lufs: float, level: ToLoudness) -> tuple[ToLoudness, float]:
    return level, level.lufs - mix_lufs
