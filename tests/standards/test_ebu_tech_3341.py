"""EBU Tech 3341 V4 (November 2023), clause 2.9, Table 1: the minimum requirements test signals.

Signals, expected readings and tolerances are published: ±0.1 LU for loudness, +0.2/−0.4 dB for true peak. What wrong
meters read was computed with meters written for that purpose, and is computed again here.

Left out: cases 7 and 8 are recordings of programmes that cannot be synthesised; 9 to 14 are for momentary and
short-term loudness, which the program does not tell (but 9 stands in test_ebu_tech_3342). Case 6 is surround and
concerns only the measuring of clips, which takes up to five channels; records are mono or stereo.
"""

import numpy as np
import pytest
from scipy import signal

from render.checks.loudness import integrated_lufs
from render.checks.true_peak import sample_peak_dbfs
from render.values import Audio
from tests.standards.meters import (
    LOUDNESS_METERS,
    PEAK_METERS,
    WRONG_GAUGES,
    annex_2_dbtp,
    sample_peak_as_true_peak_dbtp,
)
from tests.standards.signals import Parts, faded, periodic, stereo, tone, tone_in_parts

INTEGRATED: dict[int, tuple[float, Parts]] = {
    1: (-23.0, ((20.0, -23.0),)),
    2: (-33.0, ((20.0, -33.0),)),
    3: (-23.0, ((10.0, -36.0), (60.0, -23.0), (10.0, -36.0))),
    4: (-23.0, ((10.0, -72.0), (10.0, -36.0), (60.0, -23.0), (10.0, -36.0), (10.0, -72.0))),
    5: (-23.0, ((20.0, -26.0), (20.1, -20.0), (20.0, -26.0))),
}
"""Expected LUFS of a stereo 1 kHz sine in phase. Published."""

WITHIN_LU = 0.1

WRONG_LOUDNESS = [
    (1, "no -0.691 dB", -22.3023),
    (1, "no weighting", -23.6910),
    (1, "channels averaged, not summed", -26.0036),
    (2, "channels averaged, not summed", -36.0036),
    (3, "no relative gate", -24.1555),
    (3, "relative gate of -20 LU", -24.1555),
    (4, "no gate at all", -25.1268),
    (5, "no weighting", -23.6764),
    (6, "surrounds of weight 1", -23.3890),
]
"""What wrong meters read. No case notices a missing absolute gate (test_itu_r_bs_1770)."""

TONES = {
    15: (4, 0.50, 0.0, -6.0),
    16: (4, 0.50, 45.0, -6.0),
    17: (6, 0.50, 60.0, -6.0),
    18: (8, 0.50, 67.5, -6.0),
    19: (4, 1.41, 45.0, 3.0),
}
"""Frames in a period, amplitude, phase in degrees, expected dBTP. Published; all have 10 ms fades."""

TONES_READ_BY_OTHERS = {
    15: (-6.0206, -6.2171),
    16: (-9.0309, -5.9759),
    17: (-7.2700, -6.3133),
    18: (-6.7083, -6.0265),
    19: (-0.0259, 3.0291),
}
"""What the largest sample reads, and what the filter printed in BS.1770-5 reads: computed, with meters made for it."""

SINGLE_PERIODS = [20, 21, 22, 23]
SINGLE_PERIODS_BY_SAMPLES = {20: -0.1422, 21: -0.5169, 22: -2.5905, 23: -0.5169}
"""What the largest sample of them reads; 0 dBTP is expected."""

BELOW_DB, ABOVE_DB = 0.4, 0.2


def five_channels() -> Audio:
    """Case 6: left and right −28, centre −24, surrounds −30 dBFS."""
    channels = [tone(1000.0, 20.0, 48_000, level_db) for level_db in (-28.0, -28.0, -24.0, -30.0, -30.0)]
    return np.concatenate(channels, axis=1)


def single_period(case: int) -> Audio:
    """Cases 20 to 23: a tone of rate/6 at half scale with one period of rate/4 at full scale in it.

    Made at four times the rate, joined at zero crossings, low-passed, then every fourth sample is taken, from the
    first to the fourth. The table leaves the low-pass open.
    """
    steady = 0.5 * np.sin(2 * np.pi * np.arange(24 * 1000) / 24)
    single = np.sin(2 * np.pi * np.arange(16) / 16)
    finer = faded(np.concatenate([steady, single, steady]), 4 * 48_000)
    low_pass = signal.firwin(961, 22_000, fs=4 * 48_000, window=("kaiser", 9.0))
    return stereo(signal.convolve(finer, low_pass, mode="same")[case - 20 :: 4])


def is_true_peak(reading_dbtp: float | None, expected_dbtp: float) -> bool:
    return reading_dbtp is not None and -BELOW_DB <= reading_dbtp - expected_dbtp <= ABOVE_DB


@pytest.mark.parametrize("meter", LOUDNESS_METERS)
@pytest.mark.parametrize(("case", "rate_hz"), [*((case, 48_000) for case in INTEGRATED), (1, 44_100)])
def test_integrated_loudness(case: int, rate_hz: int, meter: str) -> None:
    expected_lufs, parts = INTEGRATED[case]
    reading = LOUDNESS_METERS[meter](tone_in_parts(parts, rate_hz), rate_hz)
    assert reading == pytest.approx(expected_lufs, abs=WITHIN_LU)


def test_integrated_loudness_of_five_channels() -> None:
    assert integrated_lufs(five_channels(), 48_000) == pytest.approx(-23.0, abs=WITHIN_LU)


@pytest.mark.parametrize(("case", "wrong", "reading_lufs"), WRONG_LOUDNESS)
def test_the_cases_notice_a_wrong_loudness_meter(case: int, wrong: str, reading_lufs: float) -> None:
    expected_lufs, audio = (
        (-23.0, five_channels()) if case == 6 else (INTEGRATED[case][0], tone_in_parts(INTEGRATED[case][1]))
    )
    reading = WRONG_GAUGES[wrong].lufs(audio)
    assert reading == pytest.approx(reading_lufs, abs=0.0005)  # of the digits written down
    assert abs(reading - expected_lufs) > WITHIN_LU


@pytest.mark.parametrize("meter", PEAK_METERS)
@pytest.mark.parametrize("case", TONES)
def test_true_peak_of_a_tone(case: int, meter: str) -> None:
    period, amplitude, phase_degrees, expected_dbtp = TONES[case]
    assert is_true_peak(PEAK_METERS[meter](periodic(period, amplitude, phase_degrees), 48_000), expected_dbtp)


@pytest.mark.parametrize("meter", PEAK_METERS)
@pytest.mark.parametrize("case", SINGLE_PERIODS)
def test_true_peak_of_a_single_period(case: int, meter: str) -> None:
    assert is_true_peak(PEAK_METERS[meter](single_period(case), 48_000), 0.0)


@pytest.mark.parametrize("case", TONES)
def test_the_tones_notice_a_meter_of_samples(case: int) -> None:
    """All but case 15, where the samples are the peaks. The published filter passes: the tones are made right."""
    period, amplitude, phase_degrees, expected_dbtp = TONES[case]
    audio = periodic(period, amplitude, phase_degrees)
    of_samples, published = TONES_READ_BY_OTHERS[case]
    assert sample_peak_dbfs(audio) == pytest.approx(of_samples, abs=0.0005)
    assert is_true_peak(sample_peak_as_true_peak_dbtp(audio), expected_dbtp) == (case == 15)
    assert annex_2_dbtp(audio) == pytest.approx(published, abs=0.0005)
    assert is_true_peak(annex_2_dbtp(audio), expected_dbtp)


@pytest.mark.parametrize("case", SINGLE_PERIODS)
def test_the_single_periods_notice_a_meter_of_samples(case: int) -> None:
    """All but case 20, where a sample lies on the crest."""
    audio = single_period(case)
    assert sample_peak_dbfs(audio) == pytest.approx(SINGLE_PERIODS_BY_SAMPLES[case], abs=0.0005)
    assert is_true_peak(sample_peak_as_true_peak_dbtp(audio), 0.0) == (case == 20)
    assert is_true_peak(annex_2_dbtp(audio), 0.0)
