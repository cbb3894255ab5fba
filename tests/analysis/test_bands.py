"""Power in bands, low end and loudness by frames and bars.

Midbands are the nominal ones of IEC 61260-1:2014, Annex E (octave bands); a sine of amplitude a has the mean square
a²/2. The K-weighting reads −3.01 LKFS for a 997 Hz sine at full scale in one channel (ITU-R BS.1770-5, Annex 1).
"""

import numpy as np
import pytest

from render.analysis.bands import MIDBANDS_HZ, BandListener, FrameFeatures
from render.analysis.per_bar import bar_features, bars_of
from render.values import Audio, Grid
from tests.analysis.heard_records import bar_features_of, bars_heard, hear, record

RATE_HZ = 44_100
GRID = Grid(0.1, 120.0)


def sine(hz: float, seconds: float = 2.0, rate_hz: int = RATE_HZ, amplitude: float = 0.1) -> Audio:
    wave = amplitude * np.sin(2 * np.pi * hz * np.arange(round(seconds * rate_hz)) / rate_hz)
    return np.repeat(wave[:, None], 2, axis=1).astype(np.float32)


def middle(features: FrameFeatures) -> slice:
    """The frames that lie wholly inside the sound."""
    return slice(4, len(features.low_power) - 4)


@pytest.mark.parametrize("band", range(2, 10))
def test_a_sine_at_a_midband_has_its_mean_square_in_that_band(band: int) -> None:
    features = hear(BandListener(RATE_HZ), sine(MIDBANDS_HZ[band]))
    power = features.band_power[middle(features)].mean(axis=0)
    # Two channels of a²/2. The window spreads a sine over four bins of 21.5 Hz: at 125 Hz some of it leaves the band.
    assert 10 * np.log10(power[band] / 0.01) == pytest.approx(0.0, abs=0.3)
    assert power.sum() == pytest.approx(0.01, rel=0.01)


@pytest.mark.parametrize("rate_hz", [8_000, 22_050, 48_000, 96_000, 192_000])
def test_power_and_time_are_the_same_at_any_rate(rate_hz: int) -> None:
    features = hear(BandListener(rate_hz), sine(500.0, rate_hz=rate_hz))
    assert features.band_power[middle(features), 4].mean() == pytest.approx(0.01, rel=0.03)
    assert features.duration_s == pytest.approx(2.0)
    assert features.time_s()[-1] == pytest.approx(2.0, abs=features.period_s)


def test_loudness_of_a_997_hz_sine_at_full_scale_is_what_the_standard_says() -> None:
    sound = sine(997.0, amplitude=1.0)
    sound[:, 1] = 0.0
    features = hear(BandListener(RATE_HZ), sound)
    # 0.02 dB: the window spreads the sine over bins whose weights differ a little.
    level = 10 * np.log10(features.loudness_power[middle(features)].mean())
    assert level == pytest.approx(-3.01, abs=0.02)


def test_a_pair_of_channels_that_cancel_in_mono_is_heard() -> None:
    sound = sine(250.0)
    sound[:, 1] *= -1
    features = hear(BandListener(RATE_HZ), sound)
    assert features.band_power[middle(features), 3].mean() == pytest.approx(0.01, rel=0.03)


def test_one_channel_has_half_the_power_of_the_same_two() -> None:
    one = hear(BandListener(RATE_HZ), sine(500.0)[:, :1])
    assert one.band_power[middle(one)].sum(axis=1).mean() == pytest.approx(0.005, rel=0.01)


def test_what_is_heard_does_not_depend_on_the_blocks() -> None:
    rng = np.random.default_rng(3)
    sound = rng.standard_normal((30_000, 2), dtype=np.float32) * np.float32(0.1)
    whole, cut = (hear(BandListener(RATE_HZ), sound, block) for block in (65_536, 777))
    np.testing.assert_allclose(cut.band_power, whole.band_power, rtol=1e-4)
    np.testing.assert_allclose(cut.flux, whole.flux, atol=1e-3)


def test_silence_has_no_power_and_no_attacks() -> None:
    features = bars_heard(np.zeros((5 * RATE_HZ, 2), np.float32), RATE_HZ, GRID)
    assert not features.band_power.any()
    assert not features.flux.any()
    assert not features.low_share.any()


def test_an_empty_recording_has_no_bars() -> None:
    features = bars_heard(np.zeros((0, 2), np.float32), RATE_HZ, GRID)
    assert features.bars.count == 0


def test_the_low_end_is_what_lies_below_120_hz() -> None:
    assert bars_heard(sine(55.0, 4.0), RATE_HZ, GRID).low_share[0] > 0.95
    assert bars_heard(sine(300.0, 4.0), RATE_HZ, GRID).low_share[0] < 0.01


def test_a_sound_counts_in_its_own_bar_only() -> None:
    sound = np.zeros((9 * RATE_HZ, 2), np.float32)
    third_bar = round(GRID.time_s(8) * RATE_HZ)
    sound[third_bar : third_bar + 2 * RATE_HZ] = sine(200.0, 2.0)
    power = bars_heard(sound, RATE_HZ, GRID).band_power.sum(axis=1)
    # Frames of 46 ms reach over the bar lines: less than 1 % of a two-second bar.
    assert power[2] > 0.95 * power.sum()
    assert power[0] == 0.0


def test_a_recording_has_the_whole_bars_that_fit_into_it() -> None:
    assert bars_of(GRID, 8.1).count == 4
    assert bars_of(GRID, 8.1 - 0.04).count == 4
    assert bars_of(GRID, 8.0).count == 3
    assert bars_of(Grid(0.0, 90.0, 3), 6.0).count == 3


def test_attacks_are_counted_where_they_are() -> None:
    rng = np.random.default_rng(5)
    sound = np.zeros((round(8.2 * RATE_HZ), 2), np.float32)
    for beat in range(4, 8):  # bar 2: a short noise on each beat
        start = round(GRID.time_s(beat) * RATE_HZ)
        burst = rng.standard_normal((4_000, 2)) * np.exp(-np.arange(4_000) / 800)[:, None]
        sound[start : start + 4_000] = 0.2 * burst
    flux = bars_heard(sound, RATE_HZ, GRID).flux.mean(axis=1)
    assert flux[1] > 20 * max(flux[0], flux[2], flux[3])


def test_every_bar_of_a_demo_record_is_there_and_its_drop_has_low_end() -> None:
    features, lanterns = bar_features_of("lanterns"), record("lanterns")
    drop = lanterns.bar_of("drop") - 1
    assert lanterns.bars <= features.bars.count <= lanterns.bars + 1  # and what rings after it
    assert features.low_share[drop : drop + 32].min() > 0.3
    assert features.low_share[drop - 16 : drop].max() < 0.05


def test_bars_follow_the_beats_they_are_given() -> None:
    frames = hear(BandListener(RATE_HZ), sine(500.0, 9.0))
    features = bar_features(frames, bars_of(GRID, 8.2))
    assert features.low_power.shape == (4, 4)
    assert features.bars.starts_s[3] == pytest.approx(GRID.time_s(12))
