"""Sums of levels and crossfades against the arithmetic of acoustics handbooks.

- Level addition: n equal levels add 10·log10(n) dB where they have nothing in common and 20·log10(n) dB where they are
  identical; two that differ by d dB add 10·log10(1 + 10^(−d/10)) to the louder one. D. A. Bies, C. H. Hansen,
  Engineering Noise Control; L. L. Beranek, Acoustics.
- Crossfades: equal power a² + b² = 1 with a cosine and a sine, equal gain a + b = 1 (common practice).

Tones of different whole numbers of periods have nothing in common exactly, so these need no tolerance for chance.
"""

import numpy as np
import pytest

from render.checks.loudness import integrated_lufs
from render.sound.levels import matched_gains_db, mix
from render.sound.seams import crossfade_gains, join
from render.values import Audio, db_to_gain

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

EQUAL_POWER_GAINS = [
    (0.0, 1.0, 0.0),
    (0.25, 0.9238795325112867, 0.3826834323650898),
    (0.5, 0.7071067811865476, 0.7071067811865475),
    (0.75, 0.38268343236508984, 0.9238795325112867),
    (1.0, 0.0, 1.0),
]
"""Progress, cos(π·p/2), sin(π·p/2)."""


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


@pytest.mark.parametrize(("progress", "leaving", "coming"), EQUAL_POWER_GAINS)
def test_signals_with_nothing_in_common_cross_at_equal_power(
    progress: float, leaving: float, coming: float
) -> None:
    old, new = crossfade_gains(np.array([progress]), correlation=0.0)
    assert [old[0], new[0]] == pytest.approx([leaving, coming], abs=1e-12)


@pytest.mark.parametrize("progress", [0.0, 0.1, 0.25, 0.5, 0.8, 1.0])
def test_identical_signals_cross_at_equal_gain(progress: float) -> None:
    old, new = crossfade_gains(np.array([progress]), correlation=1.0)
    assert old[0] + new[0] == pytest.approx(1.0, abs=1e-12)
    if progress == 0.5:
        assert old[0] == pytest.approx(0.5, abs=1e-12)


def test_the_middle_of_a_crossfade_is_as_loud_as_its_ends() -> None:
    """Equal power would make the middle of twins 3.01 dB louder, equal gain that of strangers 3.01 dB fainter."""
    one, other = noise(1, 10 * FRAMES), noise(2, 10 * FRAMES)
    middle = slice(4 * FRAMES, 6 * FRAMES)
    # 176,400 samples: the power of noise is known to 4.34 * sqrt(2/176,400) = 0.015 dB.
    assert level_db(join(one, other)[middle]) == pytest.approx(level_db(one), abs=0.1)
    assert level_db(join(one, one)[middle]) == pytest.approx(level_db(one[middle]), abs=1e-4)
