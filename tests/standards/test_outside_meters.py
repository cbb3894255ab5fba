"""FFmpeg's meter, which is somebody else's, reads the standards' signals as the standards say: they are made right.

And it reads music-like material as the program does. What it reads of recordings and of clips stands in
tests/recorded/test_recorded_levels.py.
"""

from pathlib import Path

import numpy as np
import pytest
import soundfile

from render.values import Audio
from tests.recorded.outside_meter import Levels, levels_of
from tests.standards.meters import (
    LOUDNESS_METERS,
    PEAK_METERS,
    sample_peak_as_true_peak_dbtp,
)
from tests.standards.signals import noise_in_steps, periodic, tone_in_parts
from tests.standards.test_ebu_tech_3341 import (
    INTEGRATED,
    SINGLE_PERIODS,
    TONES,
    WITHIN_LU,
    five_channels,
    is_true_peak,
    single_period,
)
from tests.standards.test_itu_r_bs_1770 import MADE_SIGNALS

LOUDNESS_APART_LU = 0.2
PEAK_APART_DB = 0.3
"""Two meters, of which EBU Tech 3341 allows each 0.1 LU, and +0.2 to −0.4 dB of true peak."""


def read_outside(folder: Path, audio: Audio, rate_hz: int = 48_000) -> Levels:
    file = folder / "signal.wav"
    soundfile.write(file, audio, rate_hz, subtype="FLOAT")
    return levels_of(file)


@pytest.mark.parametrize("case", [1, *(pytest.param(case, marks=pytest.mark.slow) for case in (3, 4, 5))])
def test_the_published_signals_are_made_right(tmp_path: Path, case: int) -> None:
    expected_lufs, parts = INTEGRATED[case]
    reading = read_outside(tmp_path, tone_in_parts(parts))
    assert reading.integrated_lufs == pytest.approx(expected_lufs, abs=WITHIN_LU)


def test_the_published_signal_in_five_channels_is_made_right(tmp_path: Path) -> None:
    reading = read_outside(tmp_path, five_channels())
    assert reading.integrated_lufs == pytest.approx(-23.0, abs=WITHIN_LU)


@pytest.mark.parametrize(
    "name",
    [
        pytest.param(name, marks=pytest.mark.slow)
        if name.endswith(("gate", "LU"))
        else name  # minutes of sound
        for name in MADE_SIGNALS
    ],
)
def test_the_signals_made_for_gating_are_made_right(tmp_path: Path, name: str) -> None:
    expected_lufs, parts = MADE_SIGNALS[name]
    reading = read_outside(tmp_path, tone_in_parts(parts))
    assert reading.integrated_lufs == pytest.approx(expected_lufs, abs=WITHIN_LU)


@pytest.mark.parametrize("case", [*TONES, *SINGLE_PERIODS])
def test_the_published_peaks_are_made_right(tmp_path: Path, case: int) -> None:
    if case in TONES:
        period, amplitude, phase_degrees, expected_dbtp = TONES[case]
        audio = periodic(period, amplitude, phase_degrees)
    else:
        audio, expected_dbtp = single_period(case), 0.0
    assert is_true_peak(read_outside(tmp_path, audio).true_peak_dbtp, expected_dbtp)


@pytest.mark.parametrize("rate_hz", [22_050, 44_100, 48_000, 96_000])
@pytest.mark.parametrize("channels", [1, 2])
def test_music_like_material_reads_alike(tmp_path: Path, rate_hz: int, channels: int) -> None:
    """Cut off at a level, as loud masters are, so that it rises between its samples."""
    levels_db = np.random.default_rng(rate_hz).uniform(-50, -5, 12)
    audio = np.clip(noise_in_steps(rate_hz, levels_db, rate_hz=rate_hz)[:, :channels], -0.2, 0.2)
    outside = read_outside(tmp_path, audio, rate_hz)
    for read in LOUDNESS_METERS.values():
        assert read(audio, rate_hz) == pytest.approx(outside.integrated_lufs, abs=LOUDNESS_APART_LU)
    for read in PEAK_METERS.values():
        assert read(audio, rate_hz) == pytest.approx(outside.true_peak_dbtp, abs=PEAK_APART_DB)
    assert sample_peak_as_true_peak_dbtp(audio) < outside.true_peak_dbtp - PEAK_APART_DB
