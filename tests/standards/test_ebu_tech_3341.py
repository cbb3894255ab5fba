"""The minimum requirements test signals of EBU Tech 3341 V4 (November 2023), clause 2.9, Table 1.

Signals are synthesised as the table describes them. Tolerances are the table's: ±0.1 LU for integrated loudness,
+0.2/−0.4 dB for true peak.
"""

import numpy as np
import numpy.typing as npt
import pytest
from scipy import signal

from render.checks.loudness import integrated_lufs
from render.checks.true_peak import sample_peak_dbfs, true_peak_dbtp
from render.values import Audio

INTEGRATED_CASES = {
    1: [(20.0, -23.0)],
    2: [(20.0, -33.0)],
    3: [(10.0, -36.0), (60.0, -23.0), (10.0, -36.0)],
    4: [(10.0, -72.0), (10.0, -36.0), (60.0, -23.0), (10.0, -36.0), (10.0, -72.0)],
    5: [(20.0, -26.0), (20.1, -20.0), (20.0, -26.0)],
}
"""Cases 1 to 5: a stereo 1 kHz sine in phase, (seconds, dBFS peak of each channel) after (seconds, dBFS peak)."""

TRUE_PEAK_CASES = {
    15: (4, 0.50, 0.0, -6.0),
    16: (4, 0.50, 45.0, -6.0),
    17: (6, 0.50, 60.0, -6.0),
    18: (8, 0.50, 67.5, -6.0),
    19: (4, 1.41, 45.0, 3.0),
}
"""Cases 15 to 19: frames in a period, amplitude, phase in degrees, expected dBTP. All have 10 ms fades."""


def faded(wave: npt.NDArray[np.float64], rate_hz: int) -> npt.NDArray[np.float64]:
    """10 ms of fade at either end: a tone that starts abruptly rings above its own peak."""
    position = np.arange(len(wave))
    return wave * np.minimum(1.0, np.minimum(position, position[::-1]) / (0.010 * rate_hz))


def stereo(wave: npt.NDArray[np.float64]) -> Audio:
    return np.repeat(wave[:, None], 2, axis=1).astype(np.float32)


def sine_in_parts(parts: list[tuple[float, float]], rate_hz: int) -> npt.NDArray[np.float64]:
    gain = np.concatenate([np.full(round(s * rate_hz), 10 ** (db / 20)) for s, db in parts])
    wave: npt.NDArray[np.float64] = gain * np.sin(2 * np.pi * 1000 * np.arange(len(gain)) / rate_hz)
    return wave


@pytest.mark.parametrize("rate_hz", [44_100, 48_000])
@pytest.mark.parametrize("case", INTEGRATED_CASES)
def test_integrated_loudness(case: int, rate_hz: int) -> None:
    expected_lufs = -33.0 if case == 2 else -23.0
    audio = stereo(sine_in_parts(INTEGRATED_CASES[case], rate_hz))
    assert integrated_lufs(audio, rate_hz) == pytest.approx(expected_lufs, abs=0.1)


def test_integrated_loudness_of_five_channels() -> None:
    """Case 6: left and right −28, centre −24, surrounds −30 dBFS; surrounds weigh 1.41 (BS.1770-5, Table 3)."""
    tone = sine_in_parts([(20.0, 0.0)], 48_000)
    audio = np.stack([tone * 10 ** (db / 20) for db in (-28, -28, -24, -30, -30)], axis=1).astype(np.float32)
    assert integrated_lufs(audio, 48_000) == pytest.approx(-23.0, abs=0.1)


@pytest.mark.parametrize("rate_hz", [44_100, 48_000])
@pytest.mark.parametrize("case", TRUE_PEAK_CASES)
def test_true_peak_of_a_tone(case: int, rate_hz: int) -> None:
    period, amplitude, phase_degrees, expected_dbtp = TRUE_PEAK_CASES[case]
    wave = amplitude * np.sin(2 * np.pi * np.arange(rate_hz) / period + np.radians(phase_degrees))
    audio = stereo(faded(wave, rate_hz))
    reading = true_peak_dbtp(audio)
    assert reading is not None
    assert expected_dbtp - 0.4 <= reading <= expected_dbtp + 0.2
    sample_peak = sample_peak_dbfs(audio)
    assert sample_peak is not None
    if case != 15:  # in case 15 the samples are the peaks
        assert sample_peak < expected_dbtp - 0.4


@pytest.mark.parametrize("case", [20, 21, 22, 23])
def test_true_peak_of_a_single_period(case: int) -> None:
    """Cases 20 to 23: a tone of rate/6 at half scale with one period of rate/4 at full scale in it.

    Made at four times the rate, joined at zero crossings, low-passed, then every fourth sample is taken, from the
    first to the fourth; 0 dBTP is expected of each. The low-pass is left open by the table.
    """
    steady = 0.5 * np.sin(2 * np.pi * np.arange(24 * 1000) / 24)
    single = np.sin(2 * np.pi * np.arange(16) / 16)
    finer = faded(np.concatenate([steady, single, steady]), 4 * 48_000)
    low_pass = signal.firwin(961, 22_000, fs=4 * 48_000, window=("kaiser", 9.0))
    wave = signal.convolve(finer, low_pass, mode="same")[case - 20 :: 4]
    reading = true_peak_dbtp(stereo(wave))
    assert reading is not None
    assert -0.4 <= reading <= 0.2


def test_four_times_oversampling_reads_no_lower_than_tabulated() -> None:
    """ITU-R BS.1770-5 (11/2023), Annex 2, attachment 1: at most 0.554 dB too low up to 0.45 of the rate.

    Each tone is tried in 16 phases; the fades keep it from ringing.
    """
    frames = 24_000
    for frequency_of_rate in (0.05, 0.125, 0.25, 0.3, 0.35, 0.4, 0.45):
        for phase in np.linspace(0.0, np.pi / 2, 16):
            wave = np.sin(2 * np.pi * frequency_of_rate * np.arange(frames) + phase)
            reading = true_peak_dbtp(faded(wave, 48_000)[:, None].astype(np.float32))
            assert reading is not None
            assert -0.554 <= reading <= 0.2
