"""A lane that is moved by a known time is read as moved by it, and each reading means what it should.

Truth is arithmetic: bursts on a grid, and the same ones some milliseconds later.
"""

import numpy as np
import pytest

from render.checks.landing import landing_findings, read_landing
from render.checks.model import LaneReadings

RATE_HZ = 48_000
BEATS = [(1 + beat) * 0.35 * RATE_HZ for beat in range(16)]
LANDING = BEATS[8]
EXACT_MS = 0.1
"""A tenth of what a landing may be off by."""


ON_TIME = [0.0] * len(BEATS)


def lane(late_ms=ON_TIME):
    """A burst on every beat, each late by its own time; (frames, 2)."""
    rng = np.random.default_rng(5)
    sound = 1e-6 * rng.standard_normal(round(BEATS[-1]) + RATE_HZ)
    burst = 0.5 * rng.uniform(-1, 1, 2000) * np.exp(-np.arange(2000) / 300)
    for beat, late in zip(BEATS, late_ms, strict=True):
        at = round(beat + late * RATE_HZ / 1000)
        sound[at : at + len(burst)] += burst
    return np.stack([sound, sound], axis=1).astype(np.float32)


def moved(landing_ms=0.0, others_ms=0.0):
    return lane([landing_ms if beat == LANDING else others_ms for beat in BEATS])


@pytest.mark.parametrize("late_ms", [-6.5, -1.5, 0.0, 0.5, 3.0, 12.0])
def test_the_landing_error_is_read_with_its_sign(late_ms):
    readings = read_landing("lanterns", moved(landing_ms=late_ms), lane(), RATE_HZ, LANDING, BEATS)
    assert readings.track == "lanterns"
    assert readings.landing_error_ms == pytest.approx(late_ms, abs=EXACT_MS)
    assert readings.worst_beat_ms == pytest.approx(abs(late_ms), abs=EXACT_MS)
    assert readings.beats_measured == len(BEATS)


def test_the_worst_beat_may_be_another():
    late_ms = list(ON_TIME)
    late_ms[3] = -2.5
    readings = read_landing("lanterns", lane(late_ms), lane(), RATE_HZ, LANDING, BEATS)
    assert readings.landing_error_ms == pytest.approx(0.0, abs=EXACT_MS)
    assert readings.worst_beat_ms == pytest.approx(2.5, abs=EXACT_MS)


def test_a_lane_without_a_landing_still_has_beats():
    readings = read_landing("lanterns", moved(others_ms=0.7), lane(), RATE_HZ, None, BEATS[:5])
    assert readings.landing_error_ms is None
    assert readings.worst_beat_ms == pytest.approx(0.7, abs=EXACT_MS)
    assert readings.beats_measured == 5


def test_a_pad_has_no_readings_and_one_note():
    time_s = np.arange(len(lane())) / RATE_HZ
    pad = 0.3 * np.sin(2 * np.pi * 220 * time_s)[:, None].astype(np.float32)
    readings = read_landing("lanterns", pad, np.roll(pad, 50), RATE_HZ, LANDING, BEATS)
    assert readings == LaneReadings("lanterns", None, None, None, 0)
    assert [(finding.level, finding.code) for finding in landing_findings(readings)] == [
        ("note", "landing-not-measured")
    ]


def test_what_all_beats_have_in_common_is_their_median():
    readings = read_landing(
        "lanterns", moved(landing_ms=9.0, others_ms=-0.6), lane(), RATE_HZ, LANDING, BEATS
    )
    assert readings.common_error_ms == pytest.approx(-0.6, abs=EXACT_MS)


def test_a_few_beats_have_nothing_in_common_yet():
    few = read_landing("lanterns", moved(others_ms=-0.6), lane(), RATE_HZ, None, BEATS[:7])
    enough = read_landing("lanterns", moved(others_ms=-0.6), lane(), RATE_HZ, None, BEATS[:8])
    assert (few.common_error_ms, few.beats_measured) == (None, 7)
    assert enough.common_error_ms == pytest.approx(-0.6, abs=EXACT_MS)


@pytest.mark.parametrize(
    ("landing_ms", "common_ms", "worst_ms", "wanted"),
    [
        (0.3, 0.0, 0.8, []),
        (-1.0, 0.0, 2.0, []),
        (1.2, 0.1, 1.5, [("warning", "landing-off", 1.2)]),
        (-1.2, 0.1, 1.5, [("warning", "landing-off", -1.2)]),
        (0.2, 0.1, 2.1, [("warning", "beat-off", 2.1)]),
        (-5.1, 0.0, 5.1, [("warning", "landing-off", -5.1), ("warning", "beat-off", 5.1)]),
        (None, 0.0, 0.5, []),
        (None, 0.0, 7.0, [("warning", "beat-off", 7.0)]),
        (None, 5.1, 5.5, [("failure", "lane-off", 5.1), ("warning", "beat-off", 5.5)]),
        (-5.2, None, 5.2, [("warning", "landing-off", -5.2), ("warning", "beat-off", 5.2)]),
    ],
)
def test_what_the_readings_mean(landing_ms, common_ms, worst_ms, wanted):
    findings = landing_findings(LaneReadings("ironworks", landing_ms, common_ms, worst_ms, 30))
    assert [(finding.level, finding.code, finding.value) for finding in findings] == wanted
    assert {finding.track for finding in findings} <= {"ironworks"}


def test_a_lane_that_lies_wrong_throughout_is_refused():
    readings = read_landing("ironworks", moved(6.0, 6.0), lane(), RATE_HZ, LANDING, BEATS)
    failures = [finding for finding in landing_findings(readings) if finding.level == "failure"]
    assert [finding.code for finding in failures] == ["lane-off"]
    assert "6.0 ms late throughout; that is heard as two hits" in failures[0].text


def test_a_finding_says_which_way():
    early, late = (
        landing_findings(LaneReadings("ironworks", ms, 0.0, 1.0, 30))[0].text for ms in (-1.5, 6.0)
    )
    assert "1.5 ms early" in early
    assert "6.0 ms late" in late
