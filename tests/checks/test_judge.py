"""Readings become findings: which clip is refused, which is flagged, and in what words."""

import numpy as np
import pytest

from render.checks.judge import (
    judge_headroom,
    judge_levels,
    judge_low_end,
    judge_mono,
    judge_sources,
    read_levels,
)
from render.checks.model import Finding, Readings
from render.values import Audio

LOUD = Readings(integrated_lufs=-9.0, true_peak_dbtp=-1.0, sample_peak_dbfs=-1.2)


def encoded(true_peak_dbtp: float) -> list[Finding]:
    return judge_levels("encoded", Readings(-9.0, true_peak_dbtp, -1.2), ceiling_dbtp=-1.0)


def tone(level_db: float) -> Audio:
    wave = 10 ** (level_db / 20) * np.sin(2 * np.pi * 997 * np.arange(48_000) / 48_000)
    return np.repeat(wave[:, None], 2, axis=1).astype(np.float32)


def test_a_clip_at_its_ceiling_has_nothing_to_hide() -> None:
    assert encoded(-1.0) == encoded(-0.9) == []


def test_an_encoded_clip_above_its_ceiling_is_refused() -> None:
    (finding,) = encoded(-0.85)
    assert (finding.level, finding.code, finding.value) == ("failure", "true-peak", -0.85)
    assert "-0.85 dBTP" in finding.text
    assert "-1 dBTP" in finding.text


def test_a_mix_may_be_above_the_ceiling_before_its_trim() -> None:
    assert judge_levels("mix", Readings(-6.0, 4.0, 3.8), ceiling_dbtp=-1.0) == []


@pytest.mark.parametrize("stage", ["mix", "encoded"])
def test_a_silent_clip_is_refused(stage) -> None:  # type: ignore[no-untyped-def]
    for audio in (np.zeros((48_000, 2), np.float32), tone(-80.0)):
        (finding,) = judge_levels(stage, read_levels(audio, 48_000), ceiling_dbtp=-1.0)
        assert (finding.level, finding.code) == ("failure", "silence")


@pytest.mark.parametrize("audio", [tone(-10.0)[:10_000], np.ones((10_000, 2), np.float32)])
def test_a_clip_too_short_for_a_loudness_is_not_silent(audio: Audio) -> None:
    readings = read_levels(audio, 48_000)
    assert readings.integrated_lufs is None
    assert judge_levels("mix", readings, ceiling_dbtp=-1.0) == []


def test_levels_are_read_all_three() -> None:
    readings = read_levels(tone(-20.0), 48_000)
    assert readings.integrated_lufs == pytest.approx(
        -20.0, abs=0.1
    )  # two channels, each 3.01 LU down: BS.1770-5
    assert readings.true_peak_dbtp == pytest.approx(-20.0, abs=0.05)
    assert readings.sample_peak_dbfs == pytest.approx(-20.0, abs=0.05)


def test_two_low_ends_are_a_warning_with_advice_that_fits() -> None:
    (cut,) = judge_low_end(0.4, low_cut_stated=True)
    (uncut,) = judge_low_end(0.4, low_cut_stated=False)
    assert cut.level == uncut.level == "warning"
    assert cut.value == uncut.value == 0.4
    assert "40% of the beats" in cut.text
    assert "`keep`" in cut.text
    assert "`low_cut`" in uncut.text


def test_a_beat_or_two_with_two_low_ends_is_a_note() -> None:
    assert [finding.level for finding in judge_low_end(0.05, low_cut_stated=True)] == ["note"]
    assert [finding.text for finding in judge_low_end(0.0, low_cut_stated=True)] == ["One low end at a time."]
    assert judge_low_end(None, low_cut_stated=True) == []


def test_a_low_end_that_cancels_in_mono_is_a_warning() -> None:
    (finding,) = judge_mono(7.5)
    assert (finding.level, finding.code, finding.value) == ("warning", "low-end-mono", 7.5)
    assert "7.5 dB" in finding.text
    assert judge_mono(3.01) == judge_mono(0.0) == judge_mono(None) == []


def test_a_clipped_recording_is_a_warning_about_its_track() -> None:
    (finding,) = judge_sources("ironworks", 12)
    assert (finding.level, finding.track, finding.value) == ("warning", "ironworks", 12.0)
    assert "12 places" in finding.text
    assert "one place" in judge_sources("ironworks", 1)[0].text
    assert judge_sources("ironworks", 0) == []


def test_the_headroom_says_what_to_leave_on_the_mixer() -> None:
    (finding,) = judge_headroom(4.25)
    assert (finding.level, finding.code, finding.value) == ("note", "headroom", 4.25)
    assert (
        "4.3 dB above full scale: leave that much on the mixer" in finding.text
    )  # never less than is needed
    assert "below full scale" in judge_headroom(0.0)[0].text
