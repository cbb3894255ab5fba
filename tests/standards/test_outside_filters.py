"""The low cut against the high-pass and low-pass filters of SoX and of FFmpeg.

Theirs are the digital Butterworth filters of order 2 of R. Bristow-Johnson, Cookbook formulae for audio equalizer
biquad filter coefficients (W3C Note, 2021; from memory), with Q = 1/√2. Run once, turned round, run again and turned
back, a high-pass has no delay and the magnitude x⁴/(1 + x⁴) with x = tan(π·f/rate)/tan(π·fc/rate), a low-pass has
1/(1 + x⁴). That is what the low cut reaches by subtraction, so the waveforms themselves have to agree.
"""

import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile

from render.sound.low_cut import low_band, low_cut
from render.values import Audio
from tests.recorded.outside_meter import ffmpeg
from tests.standards.signals import noise_in_steps

Filter = Callable[[Path, Path, str, float, bool], None]
"""From one file to another: `highpass` or `lowpass`, at a corner, once or there and back."""

BUTTERWORTH_Q = 0.7071067811865476
FLOAT32 = 2e-6
"""A few roundings of float32 at levels up to about 1."""

CORNERS = [(100.0, 44_100), (150.0, 44_100), (200.0, 48_000)]


def by_sox(source: Path, target: Path, kind: str, corner_hz: float, there_and_back: bool) -> None:
    once = [kind, f"{corner_hz}", f"{BUTTERWORTH_Q}q"]
    effects = [*once, "reverse", *once, "reverse"] if there_and_back else once
    command = ["sox", "-D", source, "-e", "floating-point", "-b", "32", target, *effects]
    subprocess.run(command, check=True, capture_output=True, timeout=60)


def by_ffmpeg(source: Path, target: Path, kind: str, corner_hz: float, there_and_back: bool) -> None:
    once = f"{kind}=f={corner_hz}:t=q:w={BUTTERWORTH_Q}:precision=f64"
    effects = f"{once},areverse,{once},areverse" if there_and_back else once
    ffmpeg("-v", "error", "-i", source, "-af", effects, "-c:a", "pcm_f32le", target)


PROGRAMS = [
    pytest.param(
        by_sox, id="sox", marks=pytest.mark.skipif(not shutil.which("sox"), reason="needs the program sox")
    ),
    pytest.param(by_ffmpeg, id="ffmpeg"),
]


def quiet_around(audio: Audio) -> Audio:
    """With half a second of silence at both ends, in which filters ring out; below full scale."""
    return np.pad(0.5 * audio / np.abs(audio).max(), ((24_000, 24_000), (0, 0))).astype(np.float32)


MATERIAL = quiet_around(noise_in_steps(1, [-20.0, -6.0, -12.0]))


def filtered(
    by: Filter, folder: Path, kind: str, corner_hz: float, rate_hz: int, there_and_back: bool = True
) -> Audio:
    source, target = folder / "source.wav", folder / "target.wav"
    soundfile.write(source, MATERIAL, rate_hz, subtype="FLOAT")
    by(source, target, kind, corner_hz, there_and_back)
    audio: Audio = soundfile.read(target, dtype="float32", always_2d=True)[0]
    return audio


@pytest.mark.parametrize(("corner_hz", "rate_hz"), CORNERS)
@pytest.mark.parametrize("by", PROGRAMS)
def test_what_the_cut_leaves_is_their_high_pass(
    tmp_path: Path, by: Filter, corner_hz: float, rate_hz: int
) -> None:
    rest = low_cut(MATERIAL, rate_hz, corner_hz, [(0, len(MATERIAL))])
    theirs = filtered(by, tmp_path, "highpass", corner_hz, rate_hz)
    np.testing.assert_allclose(rest, theirs, rtol=0, atol=FLOAT32)


@pytest.mark.parametrize(("corner_hz", "rate_hz"), CORNERS)
@pytest.mark.parametrize("by", PROGRAMS)
def test_the_low_band_is_their_low_pass(tmp_path: Path, by: Filter, corner_hz: float, rate_hz: int) -> None:
    low = low_band(MATERIAL, rate_hz, corner_hz)
    theirs = filtered(by, tmp_path, "lowpass", corner_hz, rate_hz)
    np.testing.assert_allclose(low, theirs, rtol=0, atol=FLOAT32)


@pytest.mark.parametrize(("corner_hz", "there_and_back"), [(151.0, True), (150.0, False)])
@pytest.mark.parametrize("by", PROGRAMS)
def test_another_corner_or_a_filter_that_delays_would_be_noticed(
    tmp_path: Path, by: Filter, corner_hz: float, there_and_back: bool
) -> None:
    rest = low_cut(MATERIAL, 44_100, 150.0, [(0, len(MATERIAL))])
    theirs = filtered(by, tmp_path, "highpass", corner_hz, 44_100, there_and_back)
    assert np.abs(rest - theirs).max() > 100 * FLOAT32
