"""Levels are matched downwards, trimmed linearly, and summed without regard to order."""

from itertools import permutations

import numpy as np
import pytest

from render.sound.levels import matched_gains_db, mix, trim_db
from render.values import Audio


def noise(seed: int, frames: int = 20_000) -> Audio:
    return (0.2 * np.random.default_rng(seed).standard_normal((frames, 2))).astype(np.float32)


def test_matched_lanes_are_all_as_loud_as_the_quietest() -> None:
    loudness_lufs = [-8.5, -14.0, -11.25]
    gains_db = matched_gains_db(loudness_lufs)
    assert [loud + gain for loud, gain in zip(loudness_lufs, gains_db, strict=True)] == [-14.0] * 3


def test_no_lane_is_turned_up() -> None:
    assert max(matched_gains_db([-8.0, -20.0, -6.0])) == 0.0


def test_a_lane_without_loudness_is_left_alone_and_sets_no_level() -> None:
    assert matched_gains_db([None, -9.0, -12.0]) == [0.0, -3.0, 0.0]
    assert matched_gains_db([None, None]) == [0.0, 0.0]


def test_the_trim_goes_to_the_ceiling_from_either_side() -> None:
    assert trim_db(3.5, -1.0) == -4.5
    assert trim_db(-7.0, -1.0) == 6.0
    assert trim_db(None, -1.0) == 0.0


def test_a_mix_is_the_sum_of_its_lanes_at_their_gains() -> None:
    lanes = [noise(1), noise(2)]
    expected = lanes[0].astype(np.float64) * 10 ** (-1.5 / 20) + lanes[1].astype(np.float64) * 10 ** (-6 / 20)
    mixed = mix(lanes, [-1.5, -6.0])
    assert mixed.dtype == np.float32
    np.testing.assert_allclose(
        mixed, expected, rtol=1e-7, atol=1e-11
    )  # one rounding to float32, and the grid


def test_the_order_of_lanes_does_not_change_a_byte() -> None:
    lanes = [noise(seed) for seed in range(4)]
    gains_db = [-0.1, -3.3, -1.7, -7.9]
    mixes = {
        mix([lanes[i] for i in order], [gains_db[i] for i in order]).tobytes()
        for order in permutations(range(4))
    }
    assert len(mixes) == 1
    naive = {
        sum((lanes[i] * np.float32(10 ** (gains_db[i] / 20)) for i in order), np.float32(0)).tobytes()
        for order in permutations(range(4))
    }
    assert len(naive) > 1, "lanes too simple to tell one order of summing from another"


def test_the_order_does_not_matter_even_where_float64_would_tell() -> None:
    levels = [
        1.0,
        2.0**-24,
        2.0**-53,
        2.0**-53,
    ]  # the small ones count only if they are added to each other first
    assert ((levels[0] + levels[1]) + levels[2]) + levels[3] != levels[0] + (
        levels[1] + (levels[2] + levels[3])
    )
    mixes = {
        mix([np.full((1, 2), level, np.float32) for level in order], [0.0] * 4).tobytes()
        for order in permutations(levels)
    }
    assert len(mixes) == 1


def test_a_mix_above_full_scale_is_not_limited() -> None:
    loud = np.full((10, 2), 0.9, np.float32)
    np.testing.assert_allclose(mix([loud, loud, loud], [0.0, 0.0, 0.0]), 2.7, rtol=1e-6)


def test_lanes_that_do_not_fit_are_refused() -> None:
    for lanes, gains_db in [
        ([], []),
        ([noise(1, 100), noise(1, 101)], [0.0, 0.0]),
        ([noise(1, 100)], [0.0, 0.0]),
    ]:
        with pytest.raises(ValueError, match="cannot be mixed"):
            mix(lanes, gains_db)
