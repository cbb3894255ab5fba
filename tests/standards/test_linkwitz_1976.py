"""S. H. Linkwitz, Active Crossover Networks for Noncoincident Drivers, JAES 24(1), 1976: the slopes of the low cut.

A crossover of fourth order is two Butterworth filters of order 2 in a row: 20·log10(1 + (f/fc)⁴), with −6.02 dB at the
corner on both sides, and the two sides add up to a flat whole. The formula is from memory, the table computed from it.
It is met at frequencies bent by the bilinear transform. The tolerance, 0.001 dB, is what float32 leaves of −48 dB.
"""

import numpy as np
import numpy.typing as npt
import pytest
from scipy import signal

from render.sound.low_cut import low_band, low_cut
from tests.standards.filters import FRAMES, attenuation_db, bent_hz, impulse

LINKWITZ_RILEY_4_DB = [
    (0.25, 0.03386316, 48.198662467),
    (0.5, 0.526578774, 24.608978428),
    (1.0, 6.020599913, 6.020599913),
    (2.0, 24.608978428, 0.526578774),
    (4.0, 48.198662467, 0.03386316),
]
"""f/fc, attenuation of the low-pass, attenuation of the high-pass."""

CAUSAL_PEAK_DB = 4.258
"""How far a signal less its causal fourth-order low-pass rises above it: what a wrong low cut does. Computed."""

CORNERS = [(100.0, 44_100), (150.0, 44_100), (200.0, 44_100), (150.0, 48_000)]


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


def test_neither_part_rises_above_the_signal() -> None:
    spectra: list[npt.NDArray[np.float64]] = []
    for response in (low_band(impulse(), 44_100, 200.0), low_cut(impulse(), 44_100, 200.0, [(0, FRAMES)])):
        spectra.append(np.abs(np.fft.rfft(response[:, 0])))
        assert 20 * np.log10(spectra[-1].max()) < 1e-4  # float32
    # Both have the phase zero, so their magnitudes add up to one at every frequency: 1/(1 + x⁴) + x⁴/(1 + x⁴).
    np.testing.assert_allclose(spectra[0] + spectra[1], 1.0, atol=1e-5)


def test_a_causal_low_cut_would_be_noticed() -> None:
    """The same filter run forwards twice has the same slope, but taken from the signal it leaves a bump and no cut."""
    sections = np.tile(signal.butter(2, 200.0, fs=44_100, output="sos"), (2, 1))
    low = signal.sosfilt(sections, impulse(), axis=0)
    assert attenuation_db(low, 200.0, 44_100) == pytest.approx(LINKWITZ_RILEY_4_DB[2][1], abs=0.001)
    rest = np.abs(np.fft.rfft((impulse() - low)[:, 0]))
    assert 20 * np.log10(rest.max()) == pytest.approx(CAUSAL_PEAK_DB, abs=0.01)
    assert (
        attenuation_db(impulse() - low, bent_hz(0.5, 200.0, 44_100), 44_100) < LINKWITZ_RILEY_4_DB[1][2] - 20
    )
