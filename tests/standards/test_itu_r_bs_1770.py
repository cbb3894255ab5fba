"""ITU-R BS.1770-5 (11/2023): loudness (Annex 1) and true peak (Annex 2).

The standard's coefficients are tabulated for 48 kHz. They serve three times: the program's have to be the same, its
readings at single frequencies have to follow from them, and a meter written straight from the equations has to agree
with it on music-like material.

Each value says whether it is published, or computed from what is. Signals for what no published set of signals
notices are made here, with what they have to read worked out from the equations.
"""

import math
from collections.abc import Callable

import numpy as np
import numpy.typing as npt
import pytest
from scipy import signal

from render.analysis.levels import ABSOLUTE_GATE_LUFS, RELATIVE_GATE_LU, STEP_S, STEPS_PER_BLOCK
from render.checks.loudness import integrated_lufs
from render.sound.k_weighting import K_OFFSET_DB, k_weighting_filters
from render.values import Audio
from tests.standards.meters import (
    CHANNEL_WEIGHTS,
    HIGH_PASS,
    LOUDNESS_METERS,
    PEAK_METERS,
    SHELF,
    WRONG_GAUGES,
    Gauge,
    sample_peak_as_true_peak_dbtp,
    twofold_dbtp,
)
from tests.standards.signals import (
    Parts,
    faded,
    in_one_channel,
    noise_in_steps,
    stereo,
    tone,
    tone_in_parts,
)
from tests.standards.test_ebu_tech_3341 import WRONG_LOUDNESS

COEFFICIENTS = {
    48_000: [[*SHELF[0], *SHELF[1]], [*HIGH_PASS[0], *HIGH_PASS[1]]],
    44_100: [
        [
            1.5308412300503478,
            -2.6509799951547297,
            1.169079079921587,
            1.0,
            -1.6636551132560204,
            0.7125954280732254,
        ],
        [1.0, -2.0, 1.0, 1.0, -1.989169673629796, 0.9891990357870393],
    ],
}
"""48 kHz: Tables 1 and 2, published. 44.1 kHz: computed by the bilinear transform from the same analogue filters."""

WRONG_SHELF_DIGITS = (1.19839281392814, 0.73245863656304)
"""The last coefficient of numerator and denominator as some copies of Table 1 have them."""

WEIGHTING_DB = {
    20.0: -13.275368, 30.0: -8.303806, 38.0: -6.0026, 40.0: -5.56693, 50.0: -3.934054, 63.0: -2.663916,
    100.0: -1.133498, 200.0: -0.264897, 500.0: 0.042462, 997.0: 0.691014, 1000.0: 0.697704,
    2000.0: 3.071257, 4000.0: 3.967997, 10000.0: 4.041882, 16000.0: 4.043055,
}  # fmt: skip
"""Tables 1 and 2 evaluated at single frequencies: computed from published values."""

FULL_SCALE_DB = 10 * math.log10(0.5)
"""The mean square of a sine whose peak is 1."""

MADE_SIGNALS: dict[str, tuple[float, Parts]] = {
    # One part of ten lies above the gate of −70 LUFS.
    "absolute gate": (-65.0, ((20.0, -65.0), (180.0, -75.0))),
    # 11.7 LU apart: the mean lies 2.7 LU below the louder half, so the gate, 10 below it, lets the fainter half in.
    "relative gate no tighter than 10 LU": (-25.72, ((60.0, -23.0), (60.0, -34.7))),
    # 13.5 LU apart: now the fainter half is left out.
    "relative gate no looser than 10 LU": (-23.0, ((60.0, -23.0), (60.0, -36.5))),
    # Of eight blocks in a period, one lies in silence; the others hold 4, 3, 3, 2, 2, 1 and 1 quarters of a tone.
    "overlap": (-23.0 + 10 * math.log10(16 / 28), ((0.2, -300.0), *((0.4, -23.0), (0.4, -300.0)) * 25)),
    # The burst fills no block.
    "whole blocks": (-30.0, ((1.0, -30.0), (0.06, 0.0))),
}
"""Expected LUFS, computed from equations 3 to 7, of a stereo 1 kHz sine in phase, which reads its dBFS peak."""

WRONG_LOUDNESS_OF_MADE_SIGNALS = [
    ("absolute gate", "no absolute gate", -72.2181),
    ("relative gate no tighter than 10 LU", "relative gate of -8 LU", -23.0034),
    ("relative gate no looser than 10 LU", "relative gate of -12 LU", -25.8138),
    # Every block holds as much tone as silence.
    ("overlap", "blocks that do not overlap", -23.0 + 10 * math.log10(1 / 2)),
    # The last block holds 60 ms of the burst among 300 ms of the rest, and gates all others away.
    ("whole blocks", "an incomplete block counts", 10 * math.log10(0.15 + 0.75 * 0.001)),
]
"""What wrong meters read: the first three computed with other programs too, the last two worked out."""

WITHIN_LU = 0.1
"""EBU Tech 3341's tolerance; BS.1770 itself gives none."""

ATTACHMENT_1 = {
    4: (0.554, 0.688), 8: (0.136, 0.169), 10: (0.087, 0.108), 12: (0.060, 0.075),
    14: (0.044, 0.055), 16: (0.034, 0.042), 32: (0.008, 0.010),
}  # fmt: skip
"""Annex 2, attachment 1: by how many dB a meter that interpolates n times may read too low, at 0.45 and at 0.5 of the
rate. Published."""

AWKWARD_TONES = [1 / 4, 1 / 3, 2 / 5, 0.45, 0.495]
"""Of the rate. Of the first three only a few different phases are ever sampled, so that the worst case lasts."""


@pytest.mark.parametrize("rate_hz", COEFFICIENTS)
def test_the_weighting_has_the_standards_coefficients(rate_hz: int) -> None:
    np.testing.assert_allclose(k_weighting_filters(rate_hz), COEFFICIENTS[rate_hz], rtol=0, atol=1e-12)


def test_digits_of_a_bad_copy_would_be_noticed() -> None:
    right = np.array(COEFFICIENTS[48_000])[0, [2, 5]]
    assert (np.abs(right - WRONG_SHELF_DIGITS) > 1e-12).all()


@pytest.mark.parametrize("channel", range(5))
def test_a_full_scale_997_hz_tone_in_one_channel(channel: int) -> None:
    """Annex 1, after equation 7: 0 dBFS in left, right or centre reads −3.01 LKFS. Published, as are the weights."""
    audio = in_one_channel(tone(997.0, 20.0, 48_000), channel, 5)
    expected = -3.01 + 10 * math.log10(CHANNEL_WEIGHTS[channel])
    assert integrated_lufs(audio, 48_000) == pytest.approx(
        expected, abs=0.01
    )  # the digits the standard gives


@pytest.mark.parametrize("meter", LOUDNESS_METERS)
@pytest.mark.parametrize("rate_hz", [44_100, 48_000])
@pytest.mark.parametrize("channel", range(2))
def test_either_side_of_a_stereo_record_counts_alike(channel: int, rate_hz: int, meter: str) -> None:
    audio = in_one_channel(tone(997.0, 5.0, rate_hz), channel, 2)
    assert LOUDNESS_METERS[meter](audio, rate_hz) == pytest.approx(-3.01, abs=0.01)


@pytest.mark.parametrize("meter", LOUDNESS_METERS)
@pytest.mark.parametrize("rate_hz", [44_100, 48_000])
@pytest.mark.parametrize("frequency_hz", WEIGHTING_DB)
def test_a_tone_reads_its_weight(frequency_hz: float, rate_hz: int, meter: str) -> None:
    """Equation 2 adds −0.691 dB to the mean square. The standard asks for the same response at other rates."""
    reading = LOUDNESS_METERS[meter](tone(frequency_hz, 5.0, rate_hz), rate_hz)
    # At 20 Hz the high-pass settles within the first of 47 blocks; 0.01 dB is a tenth of a meter's tolerance.
    assert reading == pytest.approx(-0.691 + FULL_SCALE_DB + WEIGHTING_DB[frequency_hz], abs=0.015)


def response_db(rate_hz: int, frequency_hz: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    _, response = signal.freqz_sos(k_weighting_filters(rate_hz), worN=frequency_hz, fs=rate_hz)
    return 20 * np.log10(np.abs(response))


@pytest.mark.parametrize(
    ("rate_hz", "within_db"),
    [(44_100, 0.006), (32_000, 0.05), (88_200, 0.05), (96_000, 0.05), (192_000, 0.05)],
)
def test_the_weighting_is_the_same_at_other_rates(rate_hz: int, within_db: float) -> None:
    """Up to 16 kHz, or 0.4 of the rate. 48 kHz itself differs from the analogue filter by as much as 192 kHz does from
    48: the bilinear transform bends frequencies."""
    frequency_hz = np.geomspace(20.0, min(16_000.0, 0.4 * rate_hz), 300)
    apart_db = np.abs(response_db(rate_hz, frequency_hz) - response_db(48_000, frequency_hz))
    assert apart_db.max() <= within_db
    # The coefficients of 48 kHz run at another rate would be noticed.
    _, moved = signal.freqz_sos(k_weighting_filters(48_000), worN=frequency_hz, fs=rate_hz)
    assert np.abs(20 * np.log10(np.abs(moved)) - response_db(48_000, frequency_hz)).max() > within_db


def test_the_gates_and_blocks_are_the_standards() -> None:
    """Annex 1, equations 2 to 7. Published. What the library does by itself is told by the signals below."""
    assert (ABSOLUTE_GATE_LUFS, RELATIVE_GATE_LU, K_OFFSET_DB) == (-70.0, -10.0, -0.691)
    assert (STEP_S * STEPS_PER_BLOCK, 1 - 1 / STEPS_PER_BLOCK) == (0.4, 0.75)


@pytest.mark.parametrize("meter", LOUDNESS_METERS)
@pytest.mark.parametrize(
    ("name", "rate_hz"),
    [*((name, 48_000) for name in MADE_SIGNALS), ("overlap", 44_100), ("whole blocks", 44_100)],
)
def test_gating(name: str, rate_hz: int, meter: str) -> None:
    expected_lufs, parts = MADE_SIGNALS[name]
    reading = LOUDNESS_METERS[meter](tone_in_parts(parts, rate_hz), rate_hz)
    assert reading == pytest.approx(expected_lufs, abs=WITHIN_LU)


@pytest.mark.parametrize(("name", "wrong", "reading_lufs"), WRONG_LOUDNESS_OF_MADE_SIGNALS)
def test_the_made_signals_notice_a_wrong_meter(name: str, wrong: str, reading_lufs: float) -> None:
    expected_lufs, parts = MADE_SIGNALS[name]
    reading = WRONG_GAUGES[wrong].lufs(tone_in_parts(parts))
    assert reading == pytest.approx(reading_lufs, abs=0.01)  # at 1 kHz weighting and offset leave 0.0067 dB
    assert abs(reading - expected_lufs) > WITHIN_LU


def test_every_wrong_meter_is_noticed_by_some_signal() -> None:
    assert {
        wrong for _, wrong, _ in [*WRONG_LOUDNESS, *WRONG_LOUDNESS_OF_MADE_SIGNALS]
    } == WRONG_GAUGES.keys()


@pytest.mark.parametrize("meter", LOUDNESS_METERS)
@pytest.mark.parametrize("seed", range(4))
def test_music_like_material_reads_as_the_equations_say(seed: int, meter: str) -> None:
    levels_db = np.random.default_rng(seed).uniform(-60, -5, 25)
    audio = noise_in_steps(seed, levels_db)[: -1_234 * (seed + 1)]
    # What float32 inside the library and digits 13 and later of the coefficients leave.
    assert LOUDNESS_METERS[meter](audio, 48_000) == pytest.approx(Gauge().lufs(audio), abs=0.001)


@pytest.mark.parametrize("meter", LOUDNESS_METERS)
def test_one_channel_reads_3_01_below_the_same_on_two(meter: str) -> None:
    """Equation 4 sums the channels; Table 3 gives left and right the weight 1. Computed from EBU Tech 3341, case 1."""
    mono, dual = (
        LOUDNESS_METERS[meter](tone(1000.0, 20.0, 48_000, -23.0, channels), 48_000) for channels in (1, 2)
    )
    assert mono is not None
    assert dual is not None
    assert mono == pytest.approx(-26.0036, abs=WITHIN_LU)
    assert dual - mono == pytest.approx(10 * math.log10(2), abs=1e-6)


def under_read_db(frequency_of_rate: float, times: int) -> float:
    """Annex 2, attachment 1: a crest half way between two interpolated values."""
    return -20 * math.log10(math.cos(math.pi * frequency_of_rate / times))


@pytest.mark.parametrize("times", ATTACHMENT_1)
def test_the_formula_of_attachment_1_gives_its_table(times: int) -> None:
    assert (under_read_db(0.45, times), under_read_db(0.5, times)) == pytest.approx(
        ATTACHMENT_1[times], abs=0.0006
    )


def in_all_phases_dbtp(frequency_of_rate: float, read: Callable[[Audio], float | None]) -> list[float]:
    """Readings of a full-scale tone. The fades keep it from ringing."""
    cycles = 2 * np.pi * frequency_of_rate * np.arange(4_800)
    phases = np.linspace(0.0, np.pi / 2, 17)
    readings = [read(stereo(faded(np.sin(cycles + phase), 48_000))) for phase in phases]
    return [reading for reading in readings if reading is not None]


@pytest.mark.parametrize("meter", PEAK_METERS)
@pytest.mark.parametrize("frequency_of_rate", AWKWARD_TONES)
def test_a_tone_reads_no_lower_than_tabulated(frequency_of_rate: float, meter: str) -> None:
    """Annex 2, attachment 1, for four times; and no higher than EBU Tech 3341 allows."""
    readings = in_all_phases_dbtp(frequency_of_rate, lambda audio: PEAK_METERS[meter](audio, 48_000))
    assert len(readings) == 17
    assert min(readings) >= -under_read_db(frequency_of_rate, 4)
    assert max(readings) <= 0.2


@pytest.mark.parametrize(
    ("read", "times", "frequency_of_rate"),
    [(sample_peak_as_true_peak_dbtp, 1, 1 / 4), (twofold_dbtp, 2, 1 / 4), (twofold_dbtp, 2, 1 / 3)],
)
def test_the_tones_notice_a_meter_that_looks_less_often(
    read: Callable[[Audio], float], times: int, frequency_of_rate: float
) -> None:
    lowest = min(in_all_phases_dbtp(frequency_of_rate, read))
    # Of the ripple of the interpolation.
    assert lowest == pytest.approx(-under_read_db(frequency_of_rate, times), abs=0.05)
    assert lowest < -under_read_db(frequency_of_rate, 4)
