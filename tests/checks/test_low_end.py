"""Two low ends at once are seen, and so is a low end that would vanish in mono."""

import numpy as np
import numpy.typing as npt
import pytest

from render.checks.judge import judge_low_end, judge_mono
from render.checks.low_end import COMPARED_BELOW, MONO_LOSS_LIMIT_DB, low_end_overlap, low_mono_loss_db
from render.sound.low_cut import low_band, low_cut
from render.values import Audio

RATE_HZ = 44_100
CORNER_HZ = 150.0
BEAT = 15_207  # frames, at 174 BPM
BEATS = [beat * BEAT for beat in range(17)]
HALF = 8 * BEAT


def bass_line(root_hz: float, level: float = 0.5) -> Audio:
    """A bass with overtones and a click on each beat, 16 beats of it."""
    time_s = np.arange(BEATS[-1]) / RATE_HZ
    wave = sum(np.sin(2 * np.pi * root_hz * n * time_s + n) / n for n in range(1, 9))
    hats = np.random.default_rng(1).standard_normal(len(time_s)) * np.exp(-60 * (time_s % (BEAT / RATE_HZ)))
    return np.repeat((level * wave + 0.3 * hats)[:, None], 2, axis=1).astype(np.float32)


def overlap(one: Audio, other: Audio, rate_hz: int = RATE_HZ) -> float | None:
    return low_end_overlap({"lanterns": one, "ironworks": other}, rate_hz, CORNER_HZ, BEATS)


@pytest.mark.parametrize("root_hz", [41.2, 55.0, 87.3, 110.0])
def test_two_uncut_bass_lines_overlap_on_every_beat_and_are_flagged(root_hz: float) -> None:
    share = overlap(bass_line(46.2), bass_line(root_hz))
    assert share == 1.0
    assert [finding.level for finding in judge_low_end(share, low_cut_stated=False)] == ["warning"]


@pytest.mark.parametrize("root_hz", [41.2, 55.0, 87.3, 110.0])
def test_a_hand_over_leaves_no_beat_with_two(root_hz: float) -> None:
    before = low_cut(bass_line(46.2), RATE_HZ, CORNER_HZ, [(HALF, BEATS[-1])])
    after = low_cut(bass_line(root_hz), RATE_HZ, CORNER_HZ, [(0, HALF)])
    assert overlap(before, after) == 0.0


def test_the_share_is_that_of_the_beats_with_two() -> None:
    cut_for_a_quarter = low_cut(bass_line(55.0), RATE_HZ, CORNER_HZ, [(0, 4 * BEAT)])
    assert overlap(bass_line(46.2), cut_for_a_quarter) == 12 / 16


def test_a_low_end_far_below_the_other_does_not_compete() -> None:
    assert overlap(bass_line(46.2), bass_line(46.2, level=0.5 * 10 ** (-15 / 20))) == 0.0
    assert overlap(bass_line(46.2), bass_line(46.2, level=0.5 * 10 ** (-9 / 20))) == 1.0


def test_a_breakdown_in_which_all_are_faint_is_no_overlap() -> None:
    fading = np.where(np.arange(BEATS[-1]) < HALF, 1.0, 10 ** (-30 / 20)).astype(np.float32)[:, None]
    assert overlap(bass_line(46.2) * fading, bass_line(55.0) * fading) == 8 / 16


def test_treble_is_no_low_end() -> None:
    time_s = np.arange(BEATS[-1]) / RATE_HZ
    treble = np.repeat(np.sin(2 * np.pi * 5000 * time_s)[:, None], 2, axis=1).astype(np.float32)
    assert overlap(bass_line(46.2, level=0.2), treble) == 0.0


def test_no_tone_of_a_cut_lane_is_left_above_what_competes() -> None:
    """The slopes of cut and comparison together, at any frequency: the −20.5 dB that the constants rest on."""
    impulse = np.zeros((1 << 16, 1), np.float32)
    impulse[1 << 15] = 1.0
    cut = low_cut(impulse, RATE_HZ, CORNER_HZ, [(0, len(impulse))])
    left = np.abs(np.fft.rfft(low_band(cut, RATE_HZ, COMPARED_BELOW * CORNER_HZ)[:, 0]))
    assert 20 * np.log10(left.max()) == pytest.approx(-20.5, abs=0.1)


def test_where_nothing_can_overlap_there_is_no_share() -> None:
    silence = np.zeros((BEATS[-1], 2), np.float32)
    assert overlap(silence, silence) is None
    assert low_end_overlap({"lanterns": bass_line(55.0)}, RATE_HZ, CORNER_HZ, BEATS) is None
    assert (
        low_end_overlap({"a": bass_line(55.0), "b": bass_line(55.0)}, RATE_HZ, CORNER_HZ, BEATS[:1]) is None
    )


def stereo(left: npt.NDArray[np.floating], right: npt.NDArray[np.floating]) -> Audio:
    return np.concatenate([left, right], axis=1).astype(np.float32)


def test_a_low_end_in_the_middle_loses_nothing_in_mono() -> None:
    assert low_mono_loss_db(bass_line(55.0), RATE_HZ, CORNER_HZ) == pytest.approx(0.0, abs=1e-6)


def test_a_low_end_against_itself_is_gone_in_mono_and_is_flagged() -> None:
    mono = bass_line(55.0)[:, :1]
    loss_db = low_mono_loss_db(stereo(mono, -mono), RATE_HZ, CORNER_HZ)
    assert loss_db == MONO_LOSS_LIMIT_DB
    assert [finding.level for finding in judge_mono(loss_db)] == ["warning"]


@pytest.mark.parametrize("degrees", [0.0, 30.0, 60.0, 90.0, 120.0])
def test_a_phase_between_the_sides_costs_its_cosine(degrees: float) -> None:
    """Two tones of one level, φ apart, average to cos(φ/2) of their amplitude: the sum of two phasors."""
    angle = 2 * np.pi * 55.0 * np.arange(2 * RATE_HZ)[:, None] / RATE_HZ
    sides = stereo(np.sin(angle), np.sin(angle + np.radians(degrees)))
    expected_db = -20 * np.log10(np.cos(np.radians(degrees) / 2))
    # Whole periods in 2 s, but for the ends where the filter rings: 0.02 s of 2 s.
    assert low_mono_loss_db(sides, RATE_HZ, CORNER_HZ) == pytest.approx(expected_db, abs=0.05)


def test_wide_treble_does_not_count_in_mono() -> None:
    time_s = np.arange(RATE_HZ)[:, None] / RATE_HZ
    bass, treble = 0.3 * np.sin(2 * np.pi * 55 * time_s), 0.3 * np.sin(2 * np.pi * 3000 * time_s)
    sides = stereo(bass + treble, bass - treble)
    assert low_mono_loss_db(sides, RATE_HZ, CORNER_HZ) == pytest.approx(0.0, abs=0.01)


def test_silence_has_no_mono_loss() -> None:
    assert low_mono_loss_db(np.zeros((RATE_HZ, 2), np.float32), RATE_HZ, CORNER_HZ) is None
    assert low_mono_loss_db(np.zeros((0, 2), np.float32), RATE_HZ, CORNER_HZ) is None
