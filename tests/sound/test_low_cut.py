"""The low cut changes only what it must, only when it must, and hands over on the beat."""

import numpy as np
import pytest

from render.sound.low_cut import RAMP_S, low_band, low_cut
from render.values import Audio

RATE_HZ = 44_100
CORNER_HZ = 150.0
FLOAT32 = 1e-6
"""A few roundings of float32 (6e-8) at levels up to about 1."""


def noise(frames: int, seed: int = 1) -> Audio:
    return (0.2 * np.random.default_rng(seed).standard_normal((frames, 2))).astype(np.float32)


def tone(frequency_hz: float, frames: int, rate_hz: int = RATE_HZ) -> Audio:
    wave = 0.5 * np.sin(2 * np.pi * frequency_hz * np.arange(frames) / rate_hz)
    return np.repeat(wave[:, None], 2, axis=1).astype(np.float32)


def rms_db(audio: Audio) -> float:
    return float(10 * np.log10(np.mean(np.square(audio, dtype=np.float64))))


def test_a_lane_without_cuts_is_the_very_same_array() -> None:
    audio = noise(1000)
    assert low_cut(audio, RATE_HZ, CORNER_HZ, []) is audio


def test_low_and_rest_add_up_to_the_signal() -> None:
    audio = noise(30_000)
    rest = low_cut(audio, RATE_HZ, CORNER_HZ, [(0, len(audio))])
    np.testing.assert_allclose(low_band(audio, RATE_HZ, CORNER_HZ) + rest, audio, atol=FLOAT32)


@pytest.mark.parametrize("rate_hz", [44_100, 48_000])
def test_nothing_is_delayed(rate_hz: int) -> None:
    impulse = np.zeros((20_001, 1), np.float32)
    impulse[10_000] = 1.0
    for response in (low_band(impulse, rate_hz, 150.0), low_cut(impulse, rate_hz, 150.0, [(0, 20_001)])):
        assert int(np.argmax(np.abs(response))) == 10_000
        np.testing.assert_allclose(response, response[::-1], atol=FLOAT32)


def test_the_bass_goes_and_the_treble_stays() -> None:
    span = [(0, RATE_HZ)]
    middle = slice(10_000, 30_000)
    for frequency_hz, left_db in [(50.0, -38.28), (1200.0, 0.0)]:  # 20·log10 of (f/fc)⁴ / (1 + (f/fc)⁴)
        audio = tone(frequency_hz, RATE_HZ)
        cut = low_cut(audio, RATE_HZ, CORNER_HZ, span)
        # The digital filter is warped by (tan x)/x at the corner, a few hundredths of a dB at most.
        assert rms_db(cut[middle]) - rms_db(audio[middle]) == pytest.approx(left_db, abs=0.05)


def test_outside_a_span_and_its_ramp_every_sample_stays() -> None:
    audio = noise(60_000)
    ramp = round(RAMP_S * RATE_HZ)
    cut = low_cut(audio, RATE_HZ, CORNER_HZ, [(20_000, 40_000)])
    np.testing.assert_array_equal(cut[: 20_000 - ramp], audio[: 20_000 - ramp])
    np.testing.assert_array_equal(cut[40_000:], audio[40_000:])
    assert not np.array_equal(cut[20_000:40_000], audio[20_000:40_000])


def test_the_new_owner_has_its_whole_low_end_on_the_beat() -> None:
    kick = np.zeros((40_000, 2), np.float32)
    kick[20_000:] = tone(50.0, 20_000)
    cut = low_cut(kick, RATE_HZ, CORNER_HZ, [(0, 20_000)])
    np.testing.assert_array_equal(cut[20_000:], kick[20_000:])


def test_the_old_owner_has_no_low_end_left_on_the_beat() -> None:
    audio = noise(40_000)
    handed_over = low_cut(audio, RATE_HZ, CORNER_HZ, [(20_000, 40_000)])
    never_had_it = low_cut(audio, RATE_HZ, CORNER_HZ, [(0, 40_000)])
    np.testing.assert_allclose(handed_over[20_000:], never_had_it[20_000:], atol=FLOAT32)


def test_what_one_lane_gives_up_the_other_takes_over() -> None:
    audio = noise(40_000)
    until_the_beat = low_cut(audio, RATE_HZ, CORNER_HZ, [(20_000, 40_000)])
    from_the_beat = low_cut(audio, RATE_HZ, CORNER_HZ, [(0, 20_000)])
    once = 2.0 * audio - low_band(audio, RATE_HZ, CORNER_HZ)
    np.testing.assert_allclose(until_the_beat + from_the_beat, once, atol=2 * FLOAT32)


def test_spans_that_touch_are_one_span() -> None:
    audio = noise(40_000)
    two = low_cut(audio, RATE_HZ, CORNER_HZ, [(10_000, 20_000), (20_000, 30_000)])
    one = low_cut(audio, RATE_HZ, CORNER_HZ, [(10_000, 30_000)])
    np.testing.assert_allclose(two, one, atol=FLOAT32)


def test_a_span_shorter_than_its_ramp_still_ends_on_its_boundaries() -> None:
    audio = noise(20_000)
    cut = low_cut(audio, RATE_HZ, CORNER_HZ, [(10_000, 10_100)])
    np.testing.assert_array_equal(cut[10_100:], audio[10_100:])
    # Of the raised cosine, 100 frames of 882 make a cut of at most sin(pi/2 * 100/882): a part, not the whole.
    removed = np.abs(audio - cut).max() / np.abs(low_band(audio, RATE_HZ, CORNER_HZ)[9_000:10_200]).max()
    assert 0.01 < removed < np.sin(np.pi / 2 * 100 / 882) + 0.01


def test_a_cut_to_the_end_stays_to_the_last_frame() -> None:
    audio = tone(50.0, 40_000)
    cut = low_cut(audio, RATE_HZ, CORNER_HZ, [(20_000, 40_000)])
    whole = low_cut(audio, RATE_HZ, CORNER_HZ, [(0, 40_000)])
    np.testing.assert_allclose(cut[-1000:], whole[-1000:], atol=FLOAT32)


@pytest.mark.parametrize("corner_hz", [30.0, 150.0])
def test_filtering_only_around_a_span_is_filtering_it_all(corner_hz: float) -> None:
    audio = noise(120_000) + tone(31.0, 120_000)
    everywhere = low_cut(audio, RATE_HZ, corner_hz, [(0, 120_000)])
    around = low_cut(audio, RATE_HZ, corner_hz, [(50_000, 70_000)])
    settled = slice(50_000, 70_000 - round(RAMP_S * RATE_HZ))
    np.testing.assert_allclose(around[settled], everywhere[settled], atol=FLOAT32)


def test_a_hand_over_does_not_click() -> None:
    audio = tone(50.0, 44_100)
    quiet = low_cut(audio, RATE_HZ, CORNER_HZ, [(0, 44_100)])
    switched = np.concatenate([audio[:22_100], quiet[22_100:]])  # away from a zero crossing of the tone
    ramped = low_cut(audio, RATE_HZ, CORNER_HZ, [(22_100, 44_100)])

    def above_the_band_db(signal: Audio) -> float:
        treble = low_cut(signal, RATE_HZ, 1000.0, [(0, len(signal))])
        return 20 * float(np.log10(np.abs(treble[20_000:24_000]).max() / 0.5))

    assert above_the_band_db(switched) > -20.0
    # A bass line at 85 dB SPL then leaves less than 5 dB SPL above the band, about the threshold of hearing at 1 kHz
    # (2.4 dB SPL: ISO 226:2003, from memory). The tone alone leaves -104 dB up there.
    assert above_the_band_db(ramped) < -80.0


@pytest.mark.parametrize("corner_hz", [0.0, -150.0, 22_050.0, 30_000.0])
def test_an_impossible_corner_is_refused(corner_hz: float) -> None:
    audio = noise(1000)
    with pytest.raises(ValueError, match="corner"):
        low_band(audio, RATE_HZ, corner_hz)
    with pytest.raises(ValueError, match="corner"):
        low_cut(audio, RATE_HZ, corner_hz, [])


@pytest.mark.parametrize(
    "spans", [[(10, 10)], [(20, 10)], [(-5, 10)], [(0, 20), (10, 30)], [(50, 60), (10, 20)]]
)
def test_spans_out_of_order_are_refused(spans: list[tuple[int, int]]) -> None:
    with pytest.raises(ValueError, match="in order"):
        low_cut(noise(1000), RATE_HZ, CORNER_HZ, spans)
