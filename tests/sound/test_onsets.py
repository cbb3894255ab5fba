"""Lags that are known by construction are measured, and none is made up where nothing begins."""

import numpy as np
import pytest
from exact_passages import CHORD_HZ, RATE_HZ, beats_of, hits, passage

from render.sound.onsets import constant_lag_ms, onset_lags_ms
from render.sound.stretch import resampled
from tests.cases import first_of

CLICKS = ("click",)
DRUMS = ("kick+hat", "snare+hat", "kick", "snare+hat")
NOISY = 0.005
"""-46 dBFS, 34 dB below the hits."""
DELAYS_MS = (-11.0, -3.21, -100 / 44.1, -0.4, 0.0, 0.127, 1.0, 7.77)
"""Fractional and whole frames; 100 frames at 44.1 kHz are 100/44.1 ms."""
EXACT_MS = 0.05
"""A twentieth of what a landing may be off by, and two frames."""


def lags(heard, reference, speed=1.0):
    return onset_lags_ms(heard, reference, RATE_HZ, beats_of(speed))


@pytest.mark.parametrize("late_ms", first_of([-11.0, 0.127, 7.77], DELAYS_MS))
@pytest.mark.parametrize(
    ("pattern", "chord_hz", "noise"),
    [(CLICKS, (), 1e-6), (DRUMS, CHORD_HZ, 1e-6), (DRUMS, (), NOISY)],
    ids=["clicks", "drums under a chord", "drums in noise"],
)
def test_a_known_delay_is_measured_on_every_beat(pattern, chord_hz, noise, late_ms):
    reference = passage(*pattern, chord_hz=chord_hz, noise=noise)
    measured = lags(passage(*pattern, chord_hz=chord_hz, noise=noise, late_ms=late_ms), reference)
    assert None not in measured
    assert measured == pytest.approx([late_ms] * len(measured), abs=EXACT_MS)


@pytest.mark.parametrize("speed", [0.9, 0.976, 1.024, 1.1])
def test_a_change_of_pitch_is_not_taken_for_a_lag(speed):
    """A plainly resampled record is sharper or flatter, and its attacks quicker or slower, but they begin there.

    The tolerance: at 10 % the middle of a kick's rise, about 2 ms in, moves by 0.2 ms. A kick without a hat, each
    fourth hit, may be too deep in the chord to be told.
    """
    plain = resampled(passage(*DRUMS, chord_hz=CHORD_HZ), RATE_HZ * speed, RATE_HZ)
    told = lags(passage(*DRUMS, speed=speed, chord_hz=CHORD_HZ), plain, speed)
    measured = [lag_ms for lag_ms in told if lag_ms is not None]
    assert len(measured) >= 0.75 * len(told)
    assert measured == pytest.approx([0.0] * len(measured), abs=0.2)


def test_one_late_beat_is_found_among_many():
    reference = passage(*DRUMS)
    heard = reference.copy()
    at = round(beats_of(1.0)[9])
    window = slice(at - 2000, at + 8000)  # from silence to silence
    heard[window] = np.roll(reference[window], 265, axis=0)
    measured = lags(heard, reference)
    assert measured[9] == pytest.approx(265 / 44.1, abs=EXACT_MS)
    assert measured[:9] + measured[10:] == pytest.approx([0.0] * (len(measured) - 1), abs=EXACT_MS)


@pytest.mark.parametrize("gain", [0.01, 4.0])
def test_level_and_channels_do_not_matter(gain):
    reference = passage(*DRUMS, chord_hz=CHORD_HZ)
    heard = gain * np.repeat(passage(*DRUMS, chord_hz=CHORD_HZ, late_ms=1.5), 2, axis=1)
    measured = lags(heard.astype(np.float32), reference)
    assert measured == pytest.approx([1.5] * len(measured), abs=EXACT_MS)


def tremolo():
    time_s = np.arange(8 * RATE_HZ) / RATE_HZ
    pulse = 0.5 + 0.5 * np.sin(2 * np.pi * 5.7 * time_s)
    return (passage(chord_hz=CHORD_HZ)[:, 0] * pulse).astype(np.float32)[:, None]


@pytest.mark.parametrize(
    "held",
    [
        passage(chord_hz=CHORD_HZ),
        passage(chord_hz=(220.0, 226.0, 330.0, 338.0, 440.0, 449.0)),
        passage(noise=0.1),
        passage(chord_hz=(55.0,), noise=0.02),
        tremolo(),
        np.zeros((8 * RATE_HZ, 1), dtype=np.float32),
    ],
    ids=["chord", "beating strings", "noise", "bass in noise", "tremolo", "silence"],
)
def test_where_nothing_begins_nothing_is_measured(held):
    late = np.roll(held, 40, axis=0)
    assert lags(late, held) == [None] * len(beats_of(1.0))
    assert constant_lag_ms(late, held, RATE_HZ) is None


def test_a_hit_that_is_not_there_has_no_lag():
    assert lags(passage(chord_hz=CHORD_HZ), passage(*DRUMS, chord_hz=CHORD_HZ)) == [None] * len(beats_of(1.0))


def test_a_hit_that_became_two_is_not_guessed_at():
    click = hits(RATE_HZ)["click"].astype(np.float32)
    one, two = (np.zeros((RATE_HZ, 1), dtype=np.float32) for _ in range(2))
    one[20_000 : 20_000 + len(click), 0] = click
    for at in (19_400, 20_600):  # 14 ms before and after
        two[at : at + len(click), 0] = click
    assert onset_lags_ms(two, one, RATE_HZ, [20_000.0]) == [None]


def test_the_ends_are_not_taken_for_attacks():
    noise = (0.1 * np.random.default_rng(3).standard_normal((RATE_HZ, 1))).astype(np.float32)
    ends = [-500.0, 0.0, 1000.0, len(noise) - 1000.0, len(noise) + 1.0, 1e9]
    assert onset_lags_ms(noise, noise, RATE_HZ, ends) == [None] * len(ends)
    empty = np.zeros((0, 2), dtype=np.float32)
    assert onset_lags_ms(empty, empty, RATE_HZ, [0.0]) == [None]
    assert onset_lags_ms(noise, noise, RATE_HZ, []) == []
    assert constant_lag_ms(empty, empty, RATE_HZ) is None


@pytest.mark.parametrize("late_ms", first_of([-11.0, 0.127, 7.77], DELAYS_MS))
def test_what_all_attacks_have_in_common_is_found_without_a_grid(late_ms):
    reference = passage(*DRUMS, chord_hz=CHORD_HZ)
    heard = passage(*DRUMS, chord_hz=CHORD_HZ, late_ms=late_ms)
    assert constant_lag_ms(heard, reference, RATE_HZ) == pytest.approx(late_ms, abs=EXACT_MS)


@pytest.mark.parametrize("rate_hz", [22_050, 48_000, 96_000])
def test_other_rates_are_measured_alike(rate_hz):
    reference = passage(*DRUMS, chord_hz=CHORD_HZ, rate_hz=rate_hz)
    heard = passage(*DRUMS, chord_hz=CHORD_HZ, rate_hz=rate_hz, late_ms=-1.3)
    measured = onset_lags_ms(heard, reference, rate_hz, beats_of(1.0, rate_hz))
    assert measured == pytest.approx([-1.3] * len(measured), abs=EXACT_MS)
