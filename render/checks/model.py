"""What a check returns: readings (numbers, None where there is nothing to read) and findings (what they mean)."""

from dataclasses import dataclass
from typing import Literal

Level = Literal["note", "warning", "failure"]

UNEQUAL_LU = 0.1
"""Two variants may each be this far from their common loudness: 0.2 LU from one another."""


@dataclass(frozen=True)
class Readings:
    """Levels of one piece of audio. A missing value is None, never a number that stands for it."""

    integrated_lufs: float | None
    true_peak_dbtp: float | None
    sample_peak_dbfs: float | None


@dataclass(frozen=True)
class LaneReadings:
    """How one lane landed, against the plainly resampled passage; None where no attack could be measured."""

    track: str
    landing_error_ms: float | None
    common_error_ms: float | None
    """What all beats have in common, the median of their lags; None where too few were measured."""
    worst_beat_ms: float | None
    beats_measured: int


@dataclass(frozen=True)
class Finding:
    """One sentence of the checks. A failure keeps the clip from being published."""

    level: Level
    code: str
    text: str
    value: float | None = None
    track: str = ""
