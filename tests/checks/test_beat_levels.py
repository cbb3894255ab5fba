"""Levels of beats against levels that follow from arithmetic."""

import numpy as np
import pytest

from render.checks.beat_levels import beat_levels_db
from render.values import Audio

RATE_HZ = 48_000
BEAT = 24_000
"""Frames of a beat at 120 BPM: half a second, whole cycles of every tone here."""


def sine(amplitude: float, frames: int = BEAT, hz: float = 100.0) -> Audio:
    wave = amplitude * np.sin(2 * np.pi * hz * np.arange(frames) / RATE_HZ)
    return np.stack([wave, wave], axis=1).astype(np.float32)


@pytest.mark.parametrize("down_db", [0.0, 6.0, 20.0, 96.0])
def test_a_sine_reads_3_01_db_below_its_peak(down_db: float) -> None:
    # The mean of sin² over whole cycles is 1/2: 10·log10(1/2) = −3.0103 dB. float32 rounds by less than 1e-5 dB.
    [level] = beat_levels_db(sine(10 ** (-down_db / 20)), [0, BEAT])
    assert level == pytest.approx(-3.0103 - down_db, abs=1e-4)


def test_a_square_wave_at_full_scale_reads_zero() -> None:
    square = np.where(sine(1.0) >= 0, 1.0, -1.0).astype(np.float32)
    assert beat_levels_db(square, [0, BEAT]) == [pytest.approx(0.0, abs=1e-9)]


def test_a_sound_on_one_of_two_channels_reads_half_the_power() -> None:
    one_sided = sine(1.0)
    one_sided[:, 1] = 0.0
    # 10·log10(1/4) = −6.0206 dB
    assert beat_levels_db(one_sided, [0, BEAT]) == [pytest.approx(-6.0206, abs=1e-4)]


def test_each_beat_is_measured_from_its_frame_to_the_next() -> None:
    audio = np.concatenate([sine(1.0, 1_000), sine(0.5), sine(0.25), sine(1.0, 1_000)])
    levels = beat_levels_db(audio, [1_000, 1_000 + BEAT, 1_000 + 2 * BEAT])
    # Half the amplitude is 6.0206 dB less.
    assert levels == [pytest.approx(-3.0103 - 6.0206, abs=1e-4), pytest.approx(-3.0103 - 12.0412, abs=1e-4)]


def test_silence_and_what_a_filter_leaves_of_it_have_no_level() -> None:
    rounding = np.full((BEAT, 2), 1e-9, np.float32)
    audio = np.concatenate([np.zeros((BEAT, 2), np.float32), rounding])
    assert beat_levels_db(audio, [0, BEAT, 2 * BEAT]) == [None, None]


def test_a_beat_without_a_frame_has_no_level() -> None:
    assert beat_levels_db(sine(1.0), [100, 100]) == [None]


def test_no_beats_have_no_levels() -> None:
    assert beat_levels_db(sine(1.0), []) == beat_levels_db(sine(1.0), [0]) == []


@pytest.mark.parametrize("frames", [[0, BEAT + 1], [-1, BEAT], [BEAT, 0]])
def test_beats_that_do_not_rise_within_the_audio_are_refused(frames: list[int]) -> None:
    with pytest.raises(ValueError, match="rise within"):
        beat_levels_db(sine(1.0), frames)


@pytest.mark.parametrize("broken", [np.nan, np.inf])
def test_samples_that_are_no_numbers_are_refused(broken: float) -> None:
    audio = sine(1.0)
    audio[5, 0] = broken
    with pytest.raises(ValueError, match="no numbers"):
        beat_levels_db(audio, [0, BEAT])
