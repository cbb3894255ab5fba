"""Sums of levels against the arithmetic of acoustics handbooks: D. A. Bies, C. H. Hansen, Engineering Noise Control;
L. L. Beranek, Acoustics.

n equal levels add 10·log10(n) dB where they have nothing in common and 20·log10(n) dB where they are identical; two
that differ by d dB add 10·log10(1 + 10^(−d/10)) to the louder one. The rules are from memory, the tables computed from
them. Tones of different whole numbers of periods have nothing in common exactly, so these need no tolerance for chance.
"""

import math

import numpy as np
import pytest

from render.checks.loudness import integrated_lufs
from render.sound.levels import matched_gains_db, mix, trim_db
from render.values import Audio, db_to_gain, gain_to_db

FRAMES = 44_100

EQUAL_LEVELS_DB = [
    (2, 3.010299957, 6.020599913),
    (3, 4.771212547, 9.542425094),
    (4, 6.020599913, 12.041199827),
    (8, 9.03089987, 18.06179974),
]
"""How many, the rise where they have nothing in common, the rise where they are identical."""

TWO_LEVELS_DB = [
    (0, 3.0103), (1, 2.539019), (2, 2.124426), (3, 1.764349), (4, 1.455405),
    (6, 0.973228), (8, 0.63892), (10, 0.413927), (15, 0.135209), (20, 0.043214),
]  # fmt: skip
"""Difference of two levels, rise over the louder of them."""

WORKED_GAINS = [(-6.7, 0.4623810213992603), (-1.0, 0.8912509381337456), (0.0, 1.0), (6.020599913279624, 2.0)]
"""dB, and 10^(dB/20). Computed."""


def tone(periods: int) -> Audio:
    wave = 0.1 * np.sin(2 * np.pi * periods * np.arange(FRAMES) / FRAMES)
    return np.repeat(wave[:, None], 2, axis=1).astype(np.float32)


def noise(seed: int, frames: int) -> Audio:
    return (0.05 * np.random.default_rng(seed).standard_normal((frames, 2))).astype(np.float32)


def level_db(audio: Audio) -> float:
    return 10 * float(np.log10(np.mean(np.square(audio, dtype=np.float64))))


@pytest.mark.parametrize(("count", "different_db", "identical_db"), EQUAL_LEVELS_DB)
def test_equal_lanes_add_up(count: int, different_db: float, identical_db: float) -> None:
    different = mix({str(lane): tone(100 + lane) for lane in range(count)})
    identical = mix({str(lane): tone(100) for lane in range(count)})
    assert level_db(different) - level_db(tone(100)) == pytest.approx(different_db, abs=1e-5)  # float32
    assert level_db(identical) - level_db(tone(100)) == pytest.approx(identical_db, abs=1e-5)


@pytest.mark.parametrize(("difference_db", "rise_db"), TWO_LEVELS_DB)
def test_a_fainter_lane_adds_what_the_chart_says(difference_db: float, rise_db: float) -> None:
    mixed = mix({"a": tone(100), "b": tone(101) * db_to_gain(-difference_db)})
    assert level_db(mixed) - level_db(tone(100)) == pytest.approx(rise_db, abs=1e-5)


def test_loudness_adds_like_power() -> None:
    """BS.1770 measures power: two independent noises of one level together are 3.01 LU louder, twins 6.02 LU."""
    one, other = noise(1, 10 * FRAMES), noise(2, 10 * FRAMES)
    loudness_lufs = [integrated_lufs(one, FRAMES), integrated_lufs(other, FRAMES)]
    gains_db = matched_gains_db(loudness_lufs)
    quietest = min(lufs for lufs in loudness_lufs if lufs is not None)
    independent, twins = (
        integrated_lufs(
            mix({"a": one * db_to_gain(gains_db[0]), "b": other * db_to_gain(gains_db[1])}), FRAMES
        ),
        integrated_lufs(one + one, FRAMES),
    )
    assert independent is not None
    assert twins is not None
    # The correlation of two noises of 882,000 samples is known to 1e-3, their sum to 0.005 dB.
    assert independent - quietest == pytest.approx(3.01, abs=0.02)
    assert twins - (loudness_lufs[0] or 0.0) == pytest.approx(6.02, abs=0.005)


@pytest.mark.parametrize(("level_db", "gain"), WORKED_GAINS)
def test_decibels_are_twenty_times_the_logarithm_of_an_amplitude(level_db: float, gain: float) -> None:
    assert db_to_gain(level_db) == pytest.approx(gain, rel=1e-12)
    assert gain_to_db(gain) == pytest.approx(level_db, abs=1e-12)
    assert gain == 1.0 or not math.isclose(10 ** (level_db / 10), gain, rel_tol=1e-3)  # as for a power


def test_a_record_is_matched_and_trimmed_by_differences() -> None:
    """Computed: from −9.3 to −16 LUFS it is −6.7 dB; from +1.8 dBTP to a ceiling of −1 it is −2.8 dB."""
    assert matched_gains_db([-9.3, -16.0]) == pytest.approx([-6.7, 0.0], abs=1e-9)
    assert trim_db(1.8, -1.0) == pytest.approx(-2.8, abs=1e-9)


def test_two_records_of_different_loudness_add_up() -> None:
    """Computed as a sum of powers: −14 and −16 LUFS with nothing in common are −11.8756 LUFS together."""
    audio = mix({"a": tone(100) * db_to_gain(2.0), "b": tone(101)})
    assert level_db(audio) - level_db(tone(100)) - 16.0 == pytest.approx(-11.875573972056603, abs=1e-5)
