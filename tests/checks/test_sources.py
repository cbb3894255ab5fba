"""A clipped recording is told from a loud one, a silent one from a quiet one."""

import numpy as np

from render.checks.judge import judge_sources
from render.checks.sources import clipped_runs, is_silent
from render.values import Audio


def channel(*samples: float) -> Audio:
    return np.array(samples, np.float32)[:, None]


def test_three_samples_at_full_scale_are_a_run_and_two_are_not() -> None:
    assert clipped_runs(channel(0.2, 1.0, 1.0, 0.2)) == 0
    assert clipped_runs(channel(0.2, 1.0, 1.0, 1.0, 0.2)) == 1
    assert clipped_runs(channel(0.2, -1.0, -1.0, -1.0, -1.0, -1.0, 0.2)) == 1


def test_runs_are_counted_apart_and_at_both_ends() -> None:
    assert clipped_runs(channel(1, 1, 1, 0, 1, 1, 1, 1, 0, 1, 1, 0, -1, -1, -1)) == 3


def test_no_run_reaches_from_one_channel_into_the_other() -> None:
    left, right = channel(0, 0, 0, 1, 1), channel(1, 1, 0, 0, 0)
    assert clipped_runs(np.concatenate([left, right], axis=1)) == 0
    assert clipped_runs(np.ones((3, 2), np.float32)) == 2


def test_full_scale_of_16_bits_counts_and_what_is_just_below_does_not() -> None:
    assert clipped_runs(channel(*[32_767 / 32_768] * 3)) == 1
    assert clipped_runs(channel(*[0.999] * 100)) == 0


def test_what_a_lossy_decoder_lifts_above_full_scale_counts() -> None:
    assert clipped_runs(channel(1.02, 1.1, 1.04)) == 1


def test_a_tone_turned_up_into_clipping_has_two_runs_a_period_and_is_flagged() -> None:
    tone = np.sin(2 * np.pi * 100 * np.arange(44_100) / 44_100 + 1e-3)
    assert clipped_runs((0.99 * tone)[:, None].astype(np.float32)) == 0
    runs = clipped_runs(np.clip(1.5 * tone, -1, 1)[:, None].astype(np.float32))
    assert runs == 200
    assert [(finding.level, finding.track) for finding in judge_sources("lanterns", runs)] == [
        ("warning", "lanterns")
    ]


def test_silence_is_told_from_something_quiet() -> None:
    assert is_silent(np.zeros((100, 2), np.float32))
    assert is_silent(np.zeros((0, 2), np.float32))
    assert is_silent(channel(0, 2 / 32_768, -2 / 32_768))  # dither of 16-bit silence
    assert not is_silent(channel(0, 0, 0.001))
    assert not is_silent(channel(0, 0, -0.001))
