"""Seams are not heard, and what lies on the beat is not touched."""

import numpy as np
import pytest

from render.sound.seams import EDGE_S, ONSET_S, SEAM_S, Placed, crossfade_gains, join, lane_of
from render.values import Audio

RATE_HZ = 44_100
SEAM = round(SEAM_S * RATE_HZ)
EDGE = round(EDGE_S * RATE_HZ)
ONSET = round(ONSET_S * RATE_HZ)
PAD = 11_025


def tone(frequency_hz: float, frames: int, phase: float = 0.0) -> Audio:
    wave = 0.5 * np.sin(2 * np.pi * frequency_hz * np.arange(frames) / RATE_HZ + phase)
    return np.repeat(wave[:, None], 2, axis=1).astype(np.float32)


def noise(frames: int, seed: int) -> Audio:
    return (0.2 * np.random.default_rng(seed).standard_normal((frames, 2))).astype(np.float32)


def passage(audio: Audio, at: int, pad: int = PAD) -> Placed:
    return Placed(audio, pad, len(audio) - pad, at)


def lane(*placed: Placed, fade_in: int = 0, fade_out: int = 0, length: int | None = None) -> Audio:
    return lane_of(placed, length or placed[-1].end, RATE_HZ, fade_in, fade_out)


def bend(audio: Audio) -> float:
    """The largest second difference: what a click is made of."""
    return float(np.abs(np.diff(audio.astype(np.float64), n=2, axis=0)).max())


def power_db(audio: Audio) -> float:
    return 10 * float(np.log10(np.mean(np.square(audio, dtype=np.float64))))


def test_from_the_seam_on_only_the_new_passage_sounds() -> None:
    old, new = passage(noise(60_000, 1), 0), passage(noise(60_000, 2), 60_000 - 2 * PAD)
    joined = lane(old, new)
    np.testing.assert_array_equal(joined[new.at : -EDGE], new.body[:-EDGE])


def test_before_the_crossfade_only_the_old_passage_sounds() -> None:
    old, new = passage(noise(60_000, 1), 0), passage(noise(60_000, 2), 60_000 - 2 * PAD)
    joined = lane(old, new)
    np.testing.assert_array_equal(joined[ONSET : new.at - SEAM], old.body[ONSET:-SEAM])


def test_a_seam_does_not_click() -> None:
    old, new = passage(tone(220.0, 60_000), 0), passage(tone(330.0, 60_000, 2.0), 60_000 - 2 * PAD)
    joined = lane(old, new)
    butted = np.concatenate([old.body, new.body])
    around = slice(new.at - 2 * SEAM, new.at + SEAM)
    music = max(bend(old.body), bend(new.body))
    # Both tones sound at once inside the seam and their gains move: up to twice the bend of the louder one.
    assert bend(joined[around]) < 2.0 * music
    assert bend(butted[around]) > 20.0 * music


def test_a_loop_of_a_steady_tone_goes_on_as_if_uncut() -> None:
    period = 441  # 100 Hz
    source = tone(100.0, 100 * period)
    first = Placed(source, 20 * period, 60 * period, 0)
    again = Placed(source, 20 * period, 60 * period, 40 * period)
    looped = lane(first, again)
    np.testing.assert_allclose(looped[ONSET:-EDGE], tone(100.0, 80 * period)[ONSET:-EDGE], atol=1e-4)


def test_passages_with_nothing_in_common_keep_their_power() -> None:
    old, new = noise(400_000, 1), noise(400_000, 2)
    joined = join(old, new)
    for part in np.array_split(joined, 10):
        # 40,000 frames of two channels: the power of noise is known to 4.34 * sqrt(2/80,000) = 0.02 dB, and the
        # correlation of the two to 1/sqrt(800,000): 0.1 dB is four times of both.
        assert power_db(part) == pytest.approx(power_db(old), abs=0.1)


@pytest.mark.parametrize("correlation", [0.0, 0.3, 0.7, 1.0])
def test_power_stays_even_whatever_the_passages_have_in_common(correlation: float) -> None:
    gain_old, gain_new = crossfade_gains(np.linspace(0.0, 1.0, 101), correlation)
    power = gain_old**2 + gain_new**2 + 2.0 * correlation * gain_old * gain_new
    np.testing.assert_allclose(power, 1.0, atol=1e-12)


def test_the_correlation_is_measured_over_the_seam() -> None:
    common, own = noise(400_000, 1), noise(400_000, 2)
    half_alike = (0.5 * common + np.sqrt(0.75) * own).astype(np.float32)
    middle = join(common, half_alike)[180_000:220_000]
    assert power_db(middle) == pytest.approx(
        power_db(common), abs=0.1
    )  # equal power alone would give +1.76 dB


def test_opposite_passages_are_not_lifted_against_each_other() -> None:
    gain_old, gain_new = crossfade_gains(np.array([0.5]), -1.0)
    assert [gain_old[0], gain_new[0]] == pytest.approx([np.sqrt(0.5), np.sqrt(0.5)])


def test_an_attack_on_the_seam_keeps_every_sample() -> None:
    source = np.zeros((60_000, 2), np.float32)
    source[PAD : PAD + 500] = noise(500, 3) * np.linspace(4.0, 0.0, 500, dtype=np.float32)[:, None]
    drum = passage(source, 60_000 - 2 * PAD)
    joined = lane(passage(tone(110.0, 60_000), 0), drum)
    np.testing.assert_array_equal(joined[drum.at : drum.at + 500], drum.body[:500])


def test_an_attack_a_millisecond_early_is_heard_at_its_level() -> None:
    source = np.zeros((60_000, 2), np.float32)
    source[PAD - 44] = 0.9
    drum = passage(source, 60_000 - 2 * PAD)
    joined = lane(passage(np.zeros((60_000, 2), np.float32), 0), drum)
    # Progress there is sin²(pi/2 * 7/8) = 0.962, the gain sin(pi/2 * 0.962) = 0.998: within 0.02 dB.
    assert joined[drum.at - 44, 0] == pytest.approx(0.9, rel=0.003)


def test_the_attack_that_follows_the_old_passage_is_not_heard() -> None:
    source = noise(60_000, 1)
    source[-PAD:] = 1.0  # the beat the old passage would go on to
    joined = lane(passage(source, 0), passage(np.zeros((60_000, 2), np.float32), 60_000 - 2 * PAD))
    assert not joined[60_000 - 2 * PAD :].any()


def test_a_passage_that_opens_its_recording_is_joined_without_a_click() -> None:
    old = passage(tone(110.0, 60_000), 0)
    opening = Placed(tone(110.0, 30_000, 1.5), 0, 30_000, old.end)  # starts at its crest
    joined = lane(old, opening)
    # The new passage has to rise from nothing in 1.5 ms: 66 frames of a raised cosine of height 0.5 bend by
    # 0.5 * (pi/66)² / 2 = 0.0006 at most, and the tone adds 0.0001.
    assert bend(joined[old.end - 2 * SEAM : old.end + SEAM]) < 0.001
    np.testing.assert_array_equal(joined[old.end + ONSET : -EDGE], opening.body[ONSET:-EDGE])


def test_a_lane_that_enters_later_has_its_edge_before_the_beat() -> None:
    entering = passage(tone(110.0, 60_000, 1.5), 20_000)
    joined = lane(entering)
    assert not joined[: 20_000 - EDGE].any()
    assert 0 < np.abs(joined[20_000 - EDGE : 20_000]).max() <= 0.5
    np.testing.assert_array_equal(joined[20_000:-EDGE], entering.body[:-EDGE])
    assert bend(joined[20_000 - 2 * EDGE : 20_000 + EDGE]) < 0.001


def test_a_lane_at_the_clips_start_loses_only_a_moment() -> None:
    starting = passage(tone(110.0, 60_000, 1.5), 0)
    joined = lane(starting)
    assert joined[0, 0] == 0.0
    np.testing.assert_array_equal(joined[ONSET:-EDGE], starting.body[ONSET:-EDGE])


def test_a_lane_ends_in_silence_on_its_last_beat() -> None:
    ending = passage(tone(110.0, 60_000), 0)
    joined = lane(ending, length=80_000)
    assert not joined[ending.end :].any()
    assert bend(joined[ending.end - 2 * EDGE : ending.end + EDGE]) < 0.001
    np.testing.assert_array_equal(joined[ONSET : ending.end - EDGE], ending.body[ONSET:-EDGE])


def test_fades_reach_half_in_their_middle_and_the_whole_at_their_end() -> None:
    steady = Placed(np.full((60_000, 2), 0.8, np.float32), PAD, 60_000 - PAD, 5_000)
    joined = lane(steady, fade_in=10_000, fade_out=8_000)
    assert not joined[:5_001].any()
    assert joined[10_000, 0] == pytest.approx(0.4, abs=1e-6)
    assert joined[15_000, 0] == joined[steady.end - 8_000, 0] == np.float32(0.8)
    assert joined[steady.end - 4_000, 0] == pytest.approx(0.4, abs=1e-6)
    assert 0.0 < joined[steady.end - 1, 0] < 1e-6
    assert (np.diff(joined[5_000:15_001, 0]) >= 0).all()


def test_a_fade_in_goes_on_through_a_seam() -> None:
    steady = np.full((40_000, 2), 0.8, np.float32)
    first = Placed(steady, PAD, 40_000 - PAD, 0)
    second = Placed(steady, PAD, 40_000 - PAD, first.end)
    joined = lane(first, second, fade_in=2 * first.end - 2_000, fade_out=1_000)
    assert joined[first.end - 1_000, 0] == pytest.approx(0.4, abs=0.01)
    assert np.abs(np.diff(joined[: second.end - 1_000, 0])).max() < 1e-3
    assert joined[second.end - 1_500, 0] == np.float32(0.8)


def test_a_mono_passage_is_heard_on_both_sides() -> None:
    mono = noise(60_000, 1)[:, :1]
    joined = lane(passage(mono, 0), passage(mono, 60_000 - 2 * PAD))
    np.testing.assert_array_equal(joined[:, 0], joined[:, 1])
    np.testing.assert_array_equal(
        joined[ONSET : 60_000 - 2 * PAD - SEAM, 1], mono[PAD + ONSET : -PAD - SEAM, 0]
    )


def test_a_lane_is_float32_stereo_of_the_clips_length() -> None:
    joined = lane(passage(noise(60_000, 1), 1_000), length=100_000)
    assert joined.shape == (100_000, 2)
    assert joined.dtype == np.float32


SOUND = noise(1_000, 1)


@pytest.mark.parametrize(
    ("placed", "why"),
    [
        ([], "no passage"),
        ([Placed(SOUND, 0, 500, -1)], "the clip has"),
        ([Placed(SOUND, 0, 1_000, 1_500)], "the clip has"),
        ([Placed(SOUND, 0, 500, 0), Placed(SOUND, 0, 500, 501)], "must touch"),
        ([Placed(SOUND, 500, 500, 0)], "a part of its"),
        ([Placed(SOUND, 500, 1_001, 0)], "a part of its"),
        ([Placed(np.zeros((1_000, 3), np.float32), 0, 500, 0)], "1 or 2"),
    ],
)
def test_passages_that_make_no_lane_are_refused(placed: list[Placed], why: str) -> None:
    with pytest.raises(ValueError, match=why):
        lane_of(placed, 2_000, RATE_HZ, 0, 0)
