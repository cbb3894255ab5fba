"""The slopes of the low cut against the tables of Butterworth and Linkwitz-Riley filters.

- Butterworth: attenuation 10·log10(1 + (f/fc)^2n); S. Butterworth, On the Theory of Filter Amplifiers, Experimental
  Wireless 7, 1930; tabulated in A. I. Zverev, Handbook of Filter Synthesis, 1967.
- Linkwitz-Riley, fourth order, two Butterworth filters of order 2 in a row: S. H. Linkwitz, Active Crossover Networks
  for Noncoincident Drivers, JAES 24(1), 1976; attenuation 20·log10(1 + (f/fc)⁴).

The tables are of analogue filters. The bilinear transform gives a digital one the same attenuations at slightly
bent frequencies, tan(π·f/rate) in place of f (A. V. Oppenheim, R. W. Schafer, Discrete-Time Signal Processing). So
the tables have to be met there, and a digital table at the frequencies themselves. The tolerance, 0.001 dB, is what
float32 leaves of −48 dB.
"""

import numpy as np
import numpy.typing as npt
import pytest

from render.sound.low_cut import low_band, low_cut
from render.values import Audio

FRAMES = 88_200
"""Two seconds: a hundred times as long as the filter rings."""

LINKWITZ_RILEY_4_DB = [
    (0.25, 0.03386316, 48.198662467),
    (0.5, 0.526578774, 24.608978428),
    (1.0, 6.020599913, 6.020599913),
    (2.0, 24.608978428, 0.526578774),
    (4.0, 48.198662467, 0.03386316),
]
"""f/fc, attenuation of the low-pass, attenuation of the high-pass."""

BUTTERWORTH_2_DB = [
    (0.25, 0.01693158),
    (0.5, 0.263289387),
    (1.0, 3.010299957),
    (2.0, 12.304489214),
    (4.0, 24.099331233),
]
"""f/fc, attenuation of the low-pass of order 2."""

DIGITAL_BUTTERWORTH_2_DB = [
    (100.0, 44_100, [24.099606, 12.304697, 3.0103, 0.263238, 0.016914]),
    (200.0, 44_100, [24.100429, 12.305319, 3.0103, 0.263082, 0.016863]),
]
"""Corner, rate, attenuation of the high-pass at f/fc of 1/4, 1/2, 1, 2 and 4 after the bilinear transform:
10·log10(1 + (tan(π·fc/rate) / tan(π·f/rate))⁴)."""

CORNERS = [(100.0, 44_100), (150.0, 44_100), (200.0, 44_100), (150.0, 48_000)]


def impulse() -> Audio:
    audio = np.zeros((FRAMES, 1), np.float32)
    audio[FRAMES // 2] = 1.0
    return audio


def attenuation_db(response: Audio, frequency_hz: float, rate_hz: int) -> float:
    """Of an impulse response, by the Fourier sum at one frequency."""
    turns = np.exp(-2j * np.pi * frequency_hz / rate_hz * np.arange(FRAMES))
    return -20 * float(np.log10(np.abs(np.sum(response[:, 0] * turns))))


def bent_hz(ratio: float, corner_hz: float, rate_hz: int) -> float:
    """Where the digital filter does what the analogue one does at `ratio` times the corner."""
    return float(rate_hz / np.pi * np.arctan(ratio * np.tan(np.pi * corner_hz / rate_hz)))


@pytest.mark.parametrize(("corner_hz", "rate_hz"), CORNERS)
def test_the_low_band_has_the_linkwitz_riley_slope(corner_hz: float, rate_hz: int) -> None:
    response = low_band(impulse(), rate_hz, corner_hz)
    for ratio, low_pass_db, _ in LINKWITZ_RILEY_4_DB:
        assert attenuation_db(response, bent_hz(ratio, corner_hz, rate_hz), rate_hz) == pytest.approx(
            low_pass_db, abs=0.001
        )


@pytest.mark.parametrize(("corner_hz", "rate_hz"), CORNERS)
def test_what_the_cut_leaves_has_the_linkwitz_riley_slope(corner_hz: float, rate_hz: int) -> None:
    response = low_cut(impulse(), rate_hz, corner_hz, [(0, FRAMES)])
    for ratio, _, high_pass_db in LINKWITZ_RILEY_4_DB:
        assert attenuation_db(response, bent_hz(ratio, corner_hz, rate_hz), rate_hz) == pytest.approx(
            high_pass_db, abs=0.001
        )


def test_the_low_band_is_butterworth_taken_twice() -> None:
    """Forwards and backwards doubles the attenuation: −3.01 dB of design is −6.02 dB at the corner."""
    response = low_band(impulse(), 44_100, 150.0)
    for ratio, once_db in BUTTERWORTH_2_DB:
        assert attenuation_db(response, bent_hz(ratio, 150.0, 44_100), 44_100) == pytest.approx(
            2 * once_db, abs=0.001
        )


@pytest.mark.parametrize(("corner_hz", "rate_hz", "once_db"), DIGITAL_BUTTERWORTH_2_DB)
def test_the_cut_follows_the_digital_butterworth_high_pass(
    corner_hz: float, rate_hz: int, once_db: list[float]
) -> None:
    """With q² the high-pass of order 2, what the cut leaves is exactly q⁴: both are 1 − 1/(1 + x⁴)."""
    response = low_cut(impulse(), rate_hz, corner_hz, [(0, FRAMES)])
    for ratio, db in zip((0.25, 0.5, 1.0, 2.0, 4.0), once_db, strict=True):
        assert attenuation_db(response, ratio * corner_hz, rate_hz) == pytest.approx(2 * db, abs=0.001)


def test_neither_part_rises_above_the_signal() -> None:
    """A causal fourth-order low-pass taken from the signal would peak at +4.26 dB above its corner."""
    spectra: list[npt.NDArray[np.float64]] = []
    for response in (low_band(impulse(), 44_100, 200.0), low_cut(impulse(), 44_100, 200.0, [(0, FRAMES)])):
        spectra.append(np.abs(np.fft.rfft(response[:, 0])))
        assert 20 * np.log10(spectra[-1].max()) < 1e-4  # float32
    # Both have the phase zero, so their magnitudes add up to one at every frequency: 1/(1 + x⁴) + x⁴/(1 + x⁴).
    np.testing.assert_allclose(spectra[0] + spectra[1], 1.0, atol=1e-5)
