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


def test_a_mix_is_the_sum_of_its_lanes() -> None:
    lanes = {"a": noise(1), "b": noise(2)}
    mixed = mix(lanes)
    assert mixed.dtype == np.float32
    exact = lanes["a"].astype(np.float64) + lanes["b"].astype(np.float64)
    np.testing.assert_allclose(mixed, exact, rtol=6e-8)  # one rounding to float32


def test_the_order_of_lanes_does_not_change_a_byte() -> None:
    lanes = {name: noise(seed) for seed, name in enumerate("abcd")}
    assert len({mix({name: lanes[name] for name in order}).tobytes() for order in permutations(lanes)}) == 1
    naive = {sum((lanes[n] for n in order), np.float32(0)).tobytes() for order in permutations(lanes)}
    assert len(naive) > 1, "lanes too simple to tell one order of summing from another"


def test_a_mix_leaves_its_lanes_as_they_were() -> None:
    lanes = {"a": noise(1), "b": noise(2)}
    mix(lanes)
    assert np.array_equal(lanes["a"], noise(1))


def test_a_mix_above_full_scale_is_not_limited() -> None:
    loud = np.full((10, 2), 0.9, np.float32)
    np.testing.assert_allclose(mix({"a": loud, "b": loud, "c": loud}), 2.7, rtol=1e-6)


def test_lanes_that_do_not_fit_are_refused() -> None:
    for lanes in ({}, {"a": noise(1, 100), "b": noise(1, 101)}):
        with pytest.raises(ValueError, match="cannot be mixed"):
            mix(lanes)
