"""Integrated loudness against ITU-R BS.1770-5 (11/2023), Annex 1.

The standard's coefficients are tabulated for 48 kHz. They serve here twice: for the response at single frequencies,
and for a second meter, written straight from the equations, that has to agree with the one in use on music-like
material.
"""

import math

import numpy as np
import numpy.typing as npt
import pytest
from scipy import signal

from render.checks.loudness import integrated_lufs
from render.values import Audio

SHELF = ([1.53512485958697, -2.69169618940638, 1.19839281085285], [1.0, -1.69065929318241, 0.73248077421585])
"""Annex 1, Table 1: stage 1 of the weighting at 48 kHz, numerator and denominator."""

HIGH_PASS = ([1.0, -2.0, 1.0], [1.0, -1.99004745483398, 0.99007225036621])
"""Annex 1, Table 2: stage 2."""

WEIGHTING_DB = [
    (20.0, -13.275368), (30.0, -8.303806), (40.0, -5.56693), (50.0, -3.934054), (63.0, -2.663916),
    (100.0, -1.133498), (200.0, -0.264897), (500.0, 0.042462), (997.0, 0.691014), (1000.0, 0.697704),
    (2000.0, 3.071257), (4000.0, 3.967997), (10000.0, 4.041882), (16000.0, 4.043055),
]  # fmt: skip
"""Tables 1 and 2 evaluated at single frequencies, dB."""


def tone(
    frequency_hz: float, duration_s: float, rate_hz: int, level_db: float = 0.0, channels: int = 1
) -> Audio:
    time_s = np.arange(round(duration_s * rate_hz)) / rate_hz
    wave = 10 ** (level_db / 20) * np.sin(2 * np.pi * frequency_hz * time_s)
    return np.repeat(wave[:, None], channels, axis=1).astype(np.float32)


def in_parts(parts: list[tuple[float, float]], rate_hz: int) -> Audio:
    """One 1 kHz tone on two channels that changes its level: (seconds, dBFS peak) after (seconds, dBFS peak)."""
    gain = np.concatenate([np.full(round(s * rate_hz), 10 ** (db / 20)) for s, db in parts])
    wave = gain * np.sin(2 * np.pi * 1000 * np.arange(len(gain)) / rate_hz)
    return np.repeat(wave[:, None], 2, axis=1).astype(np.float32)


@pytest.mark.parametrize("rate_hz", [44_100, 48_000])
def test_a_full_scale_997_hz_tone_in_one_channel_reads_minus_3_01(rate_hz: int) -> None:
    """Annex 1, after equation 7: a 0 dBFS 997 Hz sine in left, right or centre reads −3.01 LKFS."""
    for channel in range(2):
        audio = np.zeros((20 * rate_hz, 2), np.float32)
        audio[:, channel] = tone(997.0, 20.0, rate_hz)[:, 0]
        assert integrated_lufs(audio, rate_hz) == pytest.approx(
            -3.01, abs=0.01
        )  # the digits the standard gives


@pytest.mark.parametrize(("frequency_hz", "gain_db"), WEIGHTING_DB)
def test_the_weighting_is_that_of_tables_1_and_2(frequency_hz: float, gain_db: float) -> None:
    """A full-scale sine has a mean square of 1/2; equation 2 adds −0.691 dB and the weighting its gain."""
    expected = -0.691 + 10 * math.log10(0.5) + gain_db
    reading = integrated_lufs(tone(frequency_hz, 20.0, 48_000), 48_000)
    # At 20 Hz the high-pass settles within the first of 197 blocks; 0.01 dB is a tenth of a meter's tolerance.
    assert reading == pytest.approx(expected, abs=0.01)


@pytest.mark.parametrize(("frequency_hz", "gain_db"), WEIGHTING_DB)
def test_the_weighting_is_the_same_at_44_1_khz(frequency_hz: float, gain_db: float) -> None:
    """The standard asks for the same response at other rates; near half the rate the bilinear transform bends it."""
    expected = -0.691 + 10 * math.log10(0.5) + gain_db
    reading = integrated_lufs(tone(frequency_hz, 20.0, 44_100), 44_100)
    assert reading == pytest.approx(expected, abs=0.02)


def as_the_equations_say(audio: Audio) -> float:
    """Annex 1, equations 1 to 7, for one or two channels at 48 kHz."""
    weighted = signal.lfilter(*HIGH_PASS, signal.lfilter(*SHELF, audio.astype(np.float64), axis=0), axis=0)
    starts = range(0, len(weighted) - 19_200 + 1, 4_800)
    powers = np.array([np.sum(np.mean(weighted[start : start + 19_200] ** 2, axis=0)) for start in starts])

    def loudness(power: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        return -0.691 + 10 * np.log10(power)

    above_absolute = powers[loudness(powers) > -70.0]
    relative_gate = loudness(np.mean(above_absolute)) - 10.0
    return float(loudness(np.mean(above_absolute[loudness(above_absolute) > relative_gate])))


@pytest.mark.parametrize("seed", range(4))
def test_music_like_material_reads_as_the_equations_say(seed: int) -> None:
    random = np.random.default_rng(seed)
    frames = 12 * 48_000 + int(random.integers(0, 4_800))
    level = np.repeat(10 ** (random.uniform(-60, -5, 25) / 20), 24_000)[:frames]  # changes twice a second
    tilted = signal.lfilter([1.0], [1.0, -0.9], random.standard_normal((frames, 2)), axis=0)
    audio = (0.3 * level[:, None] * tilted).astype(np.float32)
    # What float32 inside the meter and digits 13 and later of the coefficients leave.
    assert integrated_lufs(audio, 48_000) == pytest.approx(as_the_equations_say(audio), abs=0.001)


def test_one_channel_reads_3_01_below_the_same_on_two() -> None:
    """Equation 4 sums the channels; Table 3 gives left and right the weight 1."""
    mono = integrated_lufs(tone(1000.0, 20.0, 48_000, -23.0), 48_000)
    assert mono == pytest.approx(-26.0036, abs=0.01)


@pytest.mark.parametrize("rate_hz", [44_100, 48_000])
@pytest.mark.parametrize(
    ("parts", "expected_lufs"),
    [
        # Without the absolute gate (−70) it would read −72.2.
        pytest.param([(20.0, -65.0), (180.0, -75.0)], -65.0, id="absolute gate"),
        # 11.7 LU apart: the mean lies 2.7 LU below the louder half, so the gate (−10) lets the fainter half in.
        pytest.param([(60.0, -23.0), (60.0, -34.7)], -25.72, id="relative gate no tighter than 10 LU"),
        # 13.5 LU apart: now the fainter half is left out.
        pytest.param([(60.0, -23.0), (60.0, -36.5)], -23.0, id="relative gate no looser than 10 LU"),
    ],
)
def test_gating(parts: list[tuple[float, float]], expected_lufs: float, rate_hz: int) -> None:
    """Annex 1, equations 5 to 7. The signals are made for this purpose; the tolerance is EBU Tech 3341's."""
    assert integrated_lufs(in_parts(parts, rate_hz), rate_hz) == pytest.approx(expected_lufs, abs=0.1)
