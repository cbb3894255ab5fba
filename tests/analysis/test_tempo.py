"""The tempo of records that were made at a known one.

Whether a tempo is right is asked of mir_eval (C. Raffel and others, mir_eval: a transparent implementation of common
MIR metrics, ISMIR 2014), with the tolerances that mixing asks for instead of its 8 %: 0.002 % is 6 ms over five
minutes, less than two hits may lie apart and still be heard as one (from memory).
"""

import mir_eval
import numpy as np
import pytest

from render.analysis.grid import CLOSE_CALL, find_grid
from render.analysis.onsets import HOP_S, attack_curves
from render.analysis.tempo import usual_points
from tests.analysis.heard_grids import clicks, demo_finding, grid_of, heard, song_finding, song_of
from tests.analysis.heard_records import record
from tests.ground_truth.songs import Style
from tests.ground_truth.truth import steady_beats

FINE = 2e-5
SONGS: tuple[tuple[int, Style], ...] = (
    (901, "four-on-the-floor"),
    (902, "two-step"),
    (903, "broken beat"),
    (904, "half-time"),
)


def is_tempo(true_bpm: float, heard_bpm: float, tolerance: float) -> bool:
    score, _, _ = mir_eval.tempo.detection(
        np.array([true_bpm, 0.0]), 1.0, np.array([heard_bpm, 0.0]), tol=tolerance
    )
    return bool(score == 1.0)


@pytest.mark.parametrize(("seed", "style"), SONGS)
def test_a_song_has_the_tempo_it_was_made_at(seed: int, style: Style) -> None:
    finding = song_finding(seed, style)
    assert is_tempo(song_of(seed, style).tempo_bpm, finding.grid.tempo_bpm, FINE)


@pytest.mark.parametrize("name", ["lanterns", "ironworks", "thimbleyard", "quarrybread", "wickergauge"])
def test_fast_breaks_stay_fast_and_a_head_nod_stays_slow(name: str) -> None:
    """Two records near 174 BPM and one at half of that are told apart by their drums alone."""
    finding = demo_finding(name)
    assert is_tempo(record(name).tempo_bpm, finding.grid.tempo_bpm, FINE)
    assert finding.fits


def test_the_true_length_of_a_hop_counts() -> None:
    """44 frames at 44.1 kHz are not a millisecond: taken for one, the tempo would be 2,270 ppm off."""
    finding = grid_of(clicks(steady_beats(0.5, 174.0, 60.0), 60.0), 44_100)
    octaves = np.log2(finding.grid.tempo_bpm / 174.0)
    # Frames of 23 µs, the first and the last of 173 beats: 0.4 ppm; the hops of 1 ms are averaged over all beats.
    assert abs(octaves - round(octaves)) * np.log(2) < 2e-6
    assert heard(clicks(np.array([0.5]), 2.0)).hop_s == pytest.approx(44 / 44_100, rel=1e-12)
    assert pytest.approx(2.27e-3, rel=0.01) == 1 - heard(clicks(np.array([0.5]), 2.0)).hop_s / HOP_S


@pytest.mark.parametrize("rate_hz", [8_000, 22_050, 48_000, 96_000, 192_000])
def test_tempo_and_phase_are_the_same_at_any_rate(rate_hz: int) -> None:
    true_bpm, first_s = 133.7, 0.4321
    finding = grid_of(clicks(steady_beats(first_s, true_bpm, 40.0), 40.0, rate_hz), rate_hz)
    assert is_tempo(true_bpm, finding.grid.tempo_bpm, FINE)
    beats = (finding.grid.first_beat_s - first_s) * true_bpm / 60.0
    assert abs(beats - round(beats)) * 60.0 / true_bpm < 0.002  # one hop, and the rise of a band at 8 kHz


def test_blocks_of_any_size_are_heard_alike() -> None:
    sound = clicks(steady_beats(0.3, 140.0, 8.0), 8.0)
    whole, pieces = heard(sound, block=len(sound)), heard(sound, block=1_237)
    np.testing.assert_allclose(pieces.power, whole.power, rtol=1e-3, atol=1e-9)  # float32 filters
    np.testing.assert_allclose(pieces.pitch, whole.pitch, rtol=1e-3, atol=1e-4)


def test_an_attack_shows_in_the_hop_in_which_it_begins() -> None:
    features = heard(clicks(np.array([1.0]), 2.0))
    rises_db = attack_curves(features).sum(axis=1)
    first = int(np.argmax(rises_db > 10.0))
    assert first * features.hop_s <= 1.0 < (first + 1) * features.hop_s + 1e-9


def test_the_prior_leans_to_174_but_leaves_it_to_the_music() -> None:
    """Odds between 1 and 2 to 1, less than any one witness can outweigh; eighths of a slow record are no beat."""
    assert 0.0 < usual_points(174.0) - usual_points(87.0) < np.log(2.0)
    assert usual_points(194.0) < usual_points(97.0) - 1.0


@pytest.mark.parametrize("length_s", [0.0, 1.0, 30.0])
def test_where_nothing_begins_no_grid_is_claimed(length_s: float) -> None:
    assert find_grid(heard(np.zeros((round(44_100 * length_s), 2), np.float32))) is None


def test_a_close_call_says_so() -> None:
    """Equal clicks have no bars and no backbeat: whatever is answered must not be sure of the bar."""
    finding = grid_of(clicks(steady_beats(0.2, 125.0, 40.0), 40.0), 44_100)
    assert finding.bar_confidence < 0.8
    assert any("close call" in reason for reason in finding.reasons)


@pytest.mark.parametrize("length_s", [4.5, 9.0, 20.0])
def test_noise_has_no_tempo_that_anyone_is_sure_of(length_s: float) -> None:
    chance = np.random.default_rng(11)
    noise = 0.1 * chance.standard_normal((round(44_100 * length_s), 2)).astype(np.float32)
    assert grid_of(noise, 44_100).tempo_confidence < CLOSE_CALL


def test_a_few_seconds_of_beats_are_enough_for_a_tempo() -> None:
    finding = grid_of(clicks(steady_beats(0.2, 120.0, 4.5), 4.5), 44_100)
    assert is_tempo(
        120.0, finding.grid.tempo_bpm, 5e-4
    )  # half a hop over eight beats: 0.012 %, and some spare


def test_loudness_does_not_matter() -> None:
    sound = clicks(steady_beats(0.2, 120.0, 20.0), 20.0)
    plain, faint = grid_of(sound, 44_100), grid_of(1e-4 * sound, 44_100)
    assert faint.grid.tempo_bpm == pytest.approx(plain.grid.tempo_bpm, rel=1e-6)
