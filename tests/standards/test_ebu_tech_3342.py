"""EBU Tech 3342 V4 (November 2023), "Loudness Range": clause 4, Table 1, cases 1 to 4, and the rule of clauses 3 and 5.

Signals, expected readings and the tolerance of ±1 LU are published. That table is lenient: a meter of other percentiles
or of a window of 0.4 s passes all of it, so two more signals stand beside it, whose readings follow from the rule. What
wrong meters read was computed with meters written for that purpose, and is computed again here.

Left out: cases 5 and 6 are recordings of programmes that cannot be synthesised.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
import pyloudnorm
import pytest

from render.analysis.levels import loudness_range_lu
from render.values import Audio
from tests.standards.meters import STEP_FRAMES, of_a_record, steps_of
from tests.standards.signals import noise_in_steps, stereo, tone, tone_in_parts

RATE_HZ = 48_000

CASES = {
    1: (10.0, ((20.0, -20.0), (20.0, -30.0))),
    2: (5.0, ((20.0, -20.0), (20.0, -15.0))),
    3: (20.0, ((20.0, -40.0), (20.0, -20.0))),
    4: (15.0, ((20.0, -50.0), (20.0, -35.0), (20.0, -20.0), (20.0, -35.0), (20.0, -50.0))),
}
"""Expected LU of a stereo 1 kHz sine in phase. Published."""

WITHIN_LU = 1.0

RISING_LU = 13.27
"""A tone that rises by 16 dB in 120 s: 85 % of what lies between its first and its last window, 0.85 * 16 * 117 / 120
= 13.26, and by two other meters 13.29 and 13.3."""

BURSTS_LU = 2.57
"""0.2 s of tone at -20 and 1.8 s at -38 dBFS, thirty times: 2.566 and 2.6 by two other meters."""

RULE_WITHIN_LU = 0.3
"""Of the two: how far meters that keep to the rule may be apart: step, interpolation, last window."""


@dataclass(frozen=True)
class RangeGauge:
    """Clauses 3 and 5. With every field left alone it is the standard's."""

    window_steps: int = 30
    silent_steps: int = 15
    absolute_gate_lufs: float = -70.0
    relative_gate_lu: float = -20.0
    percentiles: tuple[float, float] = (10.0, 95.0)

    def lu(self, audio: Audio) -> float:
        steps = steps_of(audio)
        silence = np.zeros((self.silent_steps, audio.shape[1]))
        power = np.vstack([steps.whole, silence]).sum(axis=1)
        windows = np.convolve(power, np.ones(self.window_steps), "valid") / (self.window_steps * STEP_FRAMES)
        loudness = -0.691 + 10 * np.log10(np.maximum(windows, 1e-30))
        loud = loudness[loudness >= self.absolute_gate_lufs]
        gate_lufs = 10 * np.log10(np.mean(10 ** (loud / 10))) + self.relative_gate_lu
        kept = sorted(loud[loud >= gate_lufs])
        # place round((n - 1) * p / 100 + 1), counted from 1; halves are rounded up
        low, high = (
            kept[math.floor((len(kept) - 1) * percent / 100 + 1 + 0.5) - 1] for percent in self.percentiles
        )
        return float(high - low)


AS_PUBLISHED = RangeGauge()
WITHOUT_SILENCE = RangeGauge(silent_steps=0)
"""As the wrong meters whose readings are written down: none of them lets the silence follow."""

WRONG_GAUGES = {
    "no relative gate": replace(WITHOUT_SILENCE, relative_gate_lu=-math.inf),
    "relative gate of -10 LU": replace(WITHOUT_SILENCE, relative_gate_lu=-10.0),
    "no absolute gate": replace(WITHOUT_SILENCE, absolute_gate_lufs=-math.inf),
    "from the lowest to the highest": replace(WITHOUT_SILENCE, percentiles=(0.0, 100.0)),
    "5th to 95th percentile": replace(WITHOUT_SILENCE, percentiles=(5.0, 95.0)),
    "10th to 90th percentile": replace(WITHOUT_SILENCE, percentiles=(10.0, 90.0)),
    "25th to 75th percentile": replace(WITHOUT_SILENCE, percentiles=(25.0, 75.0)),
    "window of 0.4 s": replace(WITHOUT_SILENCE, window_steps=4),
}

NOTICED = [
    (3, "relative gate of -10 LU", 1.331),
    (4, "no relative gate", 30.0),
    (4, "from the lowest to the highest", 25.169),
    ("rising", "from the lowest to the highest", 15.6),
    ("rising", "5th to 95th percentile", 14.053),
    ("rising", "10th to 90th percentile", 12.48),
    ("rising", "25th to 75th percentile", 7.813),
    ("bursts", "window of 0.4 s", 15.058),
]
"""What wrong meters read."""

ONE_WINDOW_LU = 16 / 120 * 0.1
"""From one window of the rising tone to the next: as much as a percentile that is interpolated may be off."""

PASSED = [
    (case, wrong)
    for case in CASES
    for wrong in ("25th to 75th percentile", "window of 0.4 s", "no absolute gate")
]


def signal_of(case: int | str) -> Audio:
    match case:
        case "rising":
            level_db = np.linspace(-36.0, -20.0, 120 * RATE_HZ, endpoint=False)
            return stereo(tone(1000.0, 120.0, RATE_HZ)[:, 0] * 10 ** (level_db / 20))
        case "bursts":
            return tone_in_parts(((0.2, -20.0), (1.8, -38.0)) * 30)
        case int():
            return tone_in_parts(CASES[case][1])
    raise ValueError(case)


def expected_of(case: int | str) -> tuple[float, float]:
    """What is to be read, and within what."""
    if isinstance(case, int):
        return CASES[case][0], WITHIN_LU
    return {"rising": RISING_LU, "bursts": BURSTS_LU}[case], RULE_WITHIN_LU


def read_lu(audio: Audio, rate_hz: int = RATE_HZ) -> float | None:
    return of_a_record(audio, rate_hz).loudness_range_lu


@pytest.mark.parametrize("case", [*CASES, "rising", "bursts"])
def test_loudness_range(case: int | str) -> None:
    expected_lu, within_lu = expected_of(case)
    audio = signal_of(case)
    assert read_lu(audio) == pytest.approx(expected_lu, abs=within_lu)
    assert AS_PUBLISHED.lu(audio) == pytest.approx(expected_lu, abs=within_lu)


def test_loudness_range_at_another_rate() -> None:
    expected_lu, parts = CASES[4]
    assert read_lu(tone_in_parts(parts, 44_100), 44_100) == pytest.approx(expected_lu, abs=WITHIN_LU)


@pytest.mark.parametrize(("case", "wrong", "reading_lu"), NOTICED)
def test_the_signals_notice_a_wrong_meter(case: int | str, wrong: str, reading_lu: float) -> None:
    expected_lu, within_lu = expected_of(case)
    reading = WRONG_GAUGES[wrong].lu(signal_of(case))
    assert reading == pytest.approx(reading_lu, abs=ONE_WINDOW_LU if case == "rising" else 0.0005)
    assert abs(reading - expected_lu) > within_lu


@pytest.mark.parametrize(("case", "wrong"), PASSED)
def test_why_the_cases_are_not_enough(case: int, wrong: str) -> None:
    assert WRONG_GAUGES[wrong].lu(signal_of(case)) == pytest.approx(CASES[case][0], abs=WITHIN_LU)


def test_what_lies_below_the_absolute_gate_does_not_count() -> None:
    """60 s at -60 and 60 s at -75 LUFS, which only that gate parts: by arithmetic 0 LU, and without it 15."""
    audio = tone_in_parts(((60.0, -60.0), (60.0, -75.0)))
    assert read_lu(audio) == pytest.approx(0.0, abs=0.01)
    assert WRONG_GAUGES["no absolute gate"].lu(audio) == pytest.approx(15.0, abs=0.01)


def test_a_short_tone_reads_what_the_silence_after_it_makes_of_it() -> None:
    """5 s of tone have 21 full windows and 15 that reach into the silence. The 10th percentile is at place
    round(35 * 0.1 + 1) = 5 of 36, where 11 steps of 30 are silent: 10 lg(30 / 19) = 1.984 LU below the 95th."""
    audio = tone(1000.0, 5.0, RATE_HZ, -20.0, channels=2)
    assert read_lu(audio) == pytest.approx(10 * math.log10(30 / 19), abs=0.005)
    assert WITHOUT_SILENCE.lu(audio) == pytest.approx(0.0, abs=0.005)


def test_the_window_is_that_of_short_term_loudness() -> None:
    """EBU Tech 3341, case 9, published: over 3 s this tone stays at -23.0 LUFS. It is played twenty times, not five, so
    that the windows which reach into the silence lie below the 10th percentile."""
    audio = tone_in_parts(((1.34, -20.0), (1.66, -30.0)) * 20)
    assert read_lu(audio) == pytest.approx(0.0, abs=0.1)
    for steps in (4, 29, 31):
        assert replace(AS_PUBLISHED, window_steps=steps).lu(audio) > 0.2


def test_a_programme_played_twice_has_the_range_of_one() -> None:
    """Clauses 3 to 5: the range does not depend on how long a programme is."""
    audio = signal_of(4)
    assert read_lu(np.concatenate([audio, audio])) == pytest.approx(CASES[4][0], abs=0.01)


@pytest.mark.parametrize("seed", range(3))
def test_on_what_is_like_music_it_reads_as_other_meters_do(seed: int) -> None:
    """As the gauge above, and as pyloudnorm, which steps by 90 ms, and interpolates between windows."""
    levels_db = np.random.default_rng(seed).uniform(-30.0, 0.0, 60).tolist()
    audio = noise_in_steps(seed, levels_db)
    reading = read_lu(audio)
    assert reading == pytest.approx(AS_PUBLISHED.lu(audio), abs=0.001)
    outside = pyloudnorm.Meter(RATE_HZ, filter_class="DeMan").loudness_range(audio.astype(np.float64))
    assert reading == pytest.approx(outside, abs=RULE_WITHIN_LU)


@pytest.mark.parametrize("seconds", [0.0, 0.3, 2.9])
def test_less_than_one_window_has_no_range(seconds: float) -> None:
    assert read_lu(tone(1000.0, seconds, RATE_HZ, -20.0, channels=2)) is None


def test_silence_has_no_range() -> None:
    assert read_lu(np.zeros((10 * RATE_HZ, 2), np.float32)) is None
    assert loudness_range_lu(np.full(100, 1e-9)) is None  # -90.7 LUFS: nothing reaches the absolute gate
