"""S. Butterworth, On the Theory of Filter Amplifiers, Experimental Wireless 7, 1930: the filters that are run twice.

The attenuation of order n is 10·log10(1 + (f/fc)^2n); tables stand in A. I. Zverev, Handbook of Filter Synthesis, 1967.
The formula is from memory, the tables are computed from it. Run forwards and backwards, a filter attenuates twice as
much: −3.01 dB of design is −6.02 dB at the corner.
"""

import numpy as np
import pytest
from scipy import signal

from render.sound.low_cut import low_band, low_cut
from render.sound.signalsmith import CROSSOVER_HZ, CROSSOVER_ORDER, _low_part
from tests.standards.filters import FRAMES, attenuation_db, bent_hz, impulse

LOW_PASS_DB = {
    2: {0.25: 0.01693158, 0.5: 0.263289387, 1.0: 3.010299957, 2.0: 12.304489214, 4.0: 24.099331233},
    8: {0.5: 6.6e-05, 1.0: 3.0103, 2.0: 48.164866},
}
"""By order and f/fc, of the analogue low-pass."""

DIGITAL_HIGH_PASS_DB = [
    (100.0, 44_100, [24.099606, 12.304697, 3.0103, 0.263238, 0.016914]),
    (200.0, 44_100, [24.100429, 12.305319, 3.0103, 0.263082, 0.016863]),
]
"""Corner, rate, attenuation of order 2 at f/fc of 1/4, 1/2, 1, 2 and 4 after the bilinear transform:
10·log10(1 + (tan(π·fc/rate) / tan(π·f/rate))⁴)."""

FLOAT32_DB = 0.001
"""What float32 leaves of −48 dB."""


@pytest.mark.parametrize("ratio", LOW_PASS_DB[2])
def test_the_low_band_is_butterworth_of_order_2_taken_twice(ratio: float) -> None:
    response = low_band(impulse(), 44_100, 150.0)
    reading_db = attenuation_db(response, bent_hz(ratio, 150.0, 44_100), 44_100)
    assert reading_db == pytest.approx(2 * LOW_PASS_DB[2][ratio], abs=FLOAT32_DB)


@pytest.mark.parametrize(("corner_hz", "rate_hz", "once_db"), DIGITAL_HIGH_PASS_DB)
def test_what_the_cut_leaves_is_the_digital_high_pass_taken_twice(
    corner_hz: float, rate_hz: int, once_db: list[float]
) -> None:
    """With q² the high-pass of order 2, what the cut leaves is exactly q⁴: both are 1 − 1/(1 + x⁴)."""
    response = low_cut(impulse(), rate_hz, corner_hz, [(0, FRAMES)])
    for ratio, db in zip((0.25, 0.5, 1.0, 2.0, 4.0), once_db, strict=True):
        assert attenuation_db(response, ratio * corner_hz, rate_hz) == pytest.approx(2 * db, abs=FLOAT32_DB)


@pytest.mark.parametrize("ratio", LOW_PASS_DB[8])
def test_the_engine_parts_bass_from_treble_by_order_8_taken_twice(ratio: float) -> None:
    assert CROSSOVER_ORDER == 8
    reading_db = attenuation_db(_low_part(impulse(), 44_100), bent_hz(ratio, CROSSOVER_HZ, 44_100), 44_100)
    # Float32 leaves 0.05 dB of −96 dB.
    assert reading_db == pytest.approx(2 * LOW_PASS_DB[8][ratio], abs=0.05 if ratio > 1 else FLOAT32_DB)


@pytest.mark.parametrize("order", LOW_PASS_DB)
def test_a_filter_of_another_order_or_run_once_would_be_noticed(order: int) -> None:
    table = LOW_PASS_DB[order]
    for wrong_order, passes in ((order, 1), (order - 1, 2), (order + 1, 2)):
        sections = signal.butter(wrong_order, 150.0, fs=44_100, output="sos")
        response = impulse().astype(np.float64)
        for _ in range(passes):
            response = signal.sosfilt(sections, response[::-1], axis=0)
        readings_db = {r: attenuation_db(response, bent_hz(r, 150.0, 44_100), 44_100) for r in table}
        assert any(abs(readings_db[ratio] - 2 * db) > 0.05 for ratio, db in table.items())
