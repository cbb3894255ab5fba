"""An encoded clip is judged by what its file sounds like, not by what went into the encoder."""

from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy.signal import resample_poly

from render.checks.judge import read_levels
from render.files.to_ceiling import encode_to
from render.plan.model import ClipFormat
from render.sound.levels import ToCeiling

RATE_HZ = 48_000
CEILING_DBTP = -1.0
ABOVE_DB = 0.1
"""What an encoded clip may be above its ceiling."""
METER_DB = 0.2
"""Interpolating four times reads a peak up to 0.2 dB too high or 0.4 dB too low (EBU Tech 3341, version 4, note to
cases 15 to 23); this one interpolates sixteen times."""


def hot_mix() -> np.ndarray:
    """Two seconds of noise that is cut off at full scale, as a loud master is: lossy codecs overshoot it."""
    noise = np.random.default_rng(5).standard_normal((2 * RATE_HZ, 2))
    return np.clip(noise, -1.0, 1.0).astype(np.float32)


def peak_db(path: Path) -> float:
    """The highest peak of a file, by libsndfile's decoder and a plain interpolation by 16."""
    audio, _ = soundfile.read(path, always_2d=True)
    return 20 * float(np.log10(np.abs(resample_poly(audio, 16, 1, axis=0)).max()))


@pytest.mark.parametrize("form", ["mp3", "opus"])
def test_what_is_told_of_an_encoded_clip_is_read_of_its_file(tmp_path: Path, form: ClipFormat) -> None:
    audio, path = hot_mix(), tmp_path / f"clip.{form}"
    mix = read_levels(audio, RATE_HZ)
    encoded = encode_to(audio, RATE_HZ, mix, ToCeiling(CEILING_DBTP), form, path)
    outside_db = peak_db(path)
    assert encoded.readings.true_peak_dbtp == pytest.approx(outside_db, abs=METER_DB)
    assert outside_db <= CEILING_DBTP + ABOVE_DB + METER_DB
    # The codec raised the peak by more than either meter errs, so what went in does not tell what came out.
    assert mix.true_peak_dbtp is not None
    assert outside_db - (mix.true_peak_dbtp + encoded.trim_db) > 2 * METER_DB
