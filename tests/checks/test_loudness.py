"""The one adapter for loudness: where it gives no number, and which blocks it counts."""

import numpy as np
import pytest

from render.checks.loudness import integrated_lufs
from render.values import Audio


def tone(level_db: float, duration_s: float, rate_hz: int = 44_100) -> Audio:
    wave = 10 ** (level_db / 20) * np.sin(2 * np.pi * 1000 * np.arange(round(duration_s * rate_hz)) / rate_hz)
    return np.repeat(wave[:, None], 2, axis=1).astype(np.float32)


def test_silence_has_no_loudness() -> None:
    assert integrated_lufs(np.zeros((44_100, 2), np.float32), 44_100) is None


def test_what_lies_below_the_absolute_gate_has_no_loudness() -> None:
    assert integrated_lufs(tone(-75.0, 5.0), 44_100) is None


@pytest.mark.parametrize("rate_hz", [44_100, 48_000])
def test_less_than_one_block_has_no_loudness(rate_hz: int) -> None:
    assert integrated_lufs(tone(-20.0, 0.4, rate_hz)[:-1], rate_hz) is None
    assert integrated_lufs(tone(-20.0, 0.4, rate_hz), rate_hz) is not None
    assert integrated_lufs(np.zeros((0, 2), np.float32), rate_hz) is None


@pytest.mark.parametrize("rate_hz", [11_025, 44_100, 48_000])
@pytest.mark.parametrize("left_over_s", [0.03, 0.06, 0.099])
def test_an_incomplete_last_block_is_not_counted(rate_hz: int, left_over_s: float) -> None:
    whole = tone(-30.0, 1.0, rate_hz)
    burst = tone(0.0, left_over_s, rate_hz)
    with_burst = integrated_lufs(np.concatenate([whole, burst]), rate_hz)
    assert with_burst == pytest.approx(integrated_lufs(whole, rate_hz), abs=1e-9)


def test_the_audio_is_left_as_it_was() -> None:
    audio = tone(-20.0, 1.0)
    before = audio.copy()
    integrated_lufs(audio, 44_100)
    np.testing.assert_array_equal(audio, before)


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf])
def test_samples_that_are_no_numbers_are_refused(value: float) -> None:
    audio = tone(-20.0, 1.0)
    audio[1000, 1] = value
    with pytest.raises(ValueError, match="no numbers"):
        integrated_lufs(audio, 44_100)
