"""What is given of a record wins, and the rest is measured.

Truth is how the songs were written (`draw_song`) or where the clicks were put. A drum machine's marks are the beats
themselves; a person who taps strays by 10 ms and more (B. Repp, Sensorimotor synchronization: a review of the tapping
literature, Psychonomic Bulletin & Review 12(6), 2005).
"""

from dataclasses import replace

import numpy as np
import pytest

from render.analysis.grid import CLOSE_CALL, find_grid
from render.analysis.onsets import OnsetListener
from render.analysis.record import RecordListener
from render.facts import Given, GivenBeats, GridFinding
from render.values import Audio
from tests.analysis.heard_grids import CLICK_RATE_HZ, clicks, heard, song_finding, song_of, song_sound_of
from tests.analysis.heard_records import hear
from tests.ground_truth.truth import Times, steady_beats

pytestmark = pytest.mark.slow

NEAR_S = 0.003
SONG = (902, "two-step")
WANDERING = (913, "two-step", 0.02, 0.0)


def finding_of(sound: Audio, given: Given) -> GridFinding:
    finding = find_grid(hear(OnsetListener(CLICK_RATE_HZ), sound), given)
    assert finding is not None
    return finding


def song_given(given: Given) -> GridFinding:
    return finding_of(song_sound_of(*SONG), given)


def marked(times_s: Times, bar_index: int | None = None, beats_per_bar: int | None = None) -> Given:
    return Given(beats=GivenBeats(tuple(map(float, times_s)), bar_index, beats_per_bar))


def beats_from(finding: GridFinding, time_s: float) -> float:
    """How many beats after a time bar 1 begins."""
    return (finding.grid.first_beat_s - time_s) / finding.grid.beat_s


def test_nothing_given_changes_nothing() -> None:
    assert song_given(Given()) == song_finding(*SONG)


def test_a_given_tempo_is_taken_to_the_last_digit_and_its_phase_is_found() -> None:
    song = song_of(*SONG)
    finding = song_given(Given(tempo_bpm=song.tempo_bpm))
    assert finding.grid.tempo_bpm == pytest.approx(song.tempo_bpm, rel=1e-12)
    assert finding.grid.first_beat_s == pytest.approx(song.first_beat_s, abs=NEAR_S)
    assert finding.tempo_confidence == 1.0
    assert finding.runner_up_bpm is None
    assert not any("BPM" in reason for reason in finding.reasons)


def test_half_of_the_tempo_may_be_given_without_a_word_against_it() -> None:
    song = song_of(*SONG)
    finding = song_given(Given(tempo_bpm=song.tempo_bpm / 2))
    assert finding.grid.tempo_bpm == pytest.approx(song.tempo_bpm / 2, rel=1e-12)
    assert not any("was measured" in reason for reason in finding.reasons)


def test_a_given_tempo_that_nothing_supports_is_told() -> None:
    song = song_of(*SONG)
    finding = song_given(Given(tempo_bpm=1.07 * song.tempo_bpm))
    assert finding.grid.tempo_bpm == pytest.approx(1.07 * song.tempo_bpm, rel=1e-12)
    assert any(f"{song.tempo_bpm:.2f} BPM was measured" in reason for reason in finding.reasons)


def test_a_given_tempo_that_runs_away_is_told_with_what_would_hold() -> None:
    """0.2 % are 140 ms in 70 s: nearer than what counts as another tempo, and of no use for a whole record."""
    song = song_of(*SONG)
    finding = song_given(Given(tempo_bpm=1.002 * song.tempo_bpm))
    assert not finding.fits
    assert not finding.grid.beats_s
    assert any(f"{song.tempo_bpm:.3f} BPM was measured" in reason for reason in finding.reasons)


@pytest.mark.parametrize("multiple", [0.5, 2.0])
def test_the_measured_tempo_counts_in_half_or_double_time(multiple: float) -> None:
    plain = song_finding(*SONG)
    finding = song_given(Given(multiple=multiple))
    assert finding.grid.tempo_bpm == pytest.approx(multiple * plain.grid.tempo_bpm, rel=2e-6)
    assert finding.runner_up_bpm is None or finding.runner_up_bpm != pytest.approx(
        plain.grid.tempo_bpm, rel=0.01
    )
    assert finding.tempo_confidence >= plain.tempo_confidence  # its octave is no rival any more
    beats = beats_from(finding, song_of(*SONG).first_beat_s) * (2 if multiple < 1 else 1)
    assert abs(beats - round(beats)) * finding.grid.beat_s < 2 * NEAR_S


def test_bar_one_is_where_it_is_said_to_be() -> None:
    song = song_of(*SONG)
    for moved_s in (0.0, 0.0123, 2 * song.beat_s):
        finding = song_given(Given(first_beat_s=song.first_beat_s + moved_s))
        assert finding.grid.first_beat_s == pytest.approx(song.first_beat_s + moved_s, abs=1e-9)
        assert (finding.beat_confidence, finding.bar_confidence) == (1.0, 1.0)
        assert not any("beat" in reason for reason in finding.reasons)


def test_tempo_and_first_beat_are_enough_where_nothing_is_heard() -> None:
    silence = np.zeros((30 * CLICK_RATE_HZ, 2), np.float32)
    assert find_grid(hear(OnsetListener(CLICK_RATE_HZ), silence), Given(tempo_bpm=120.0)) is None
    grid = finding_of(silence, Given(tempo_bpm=120.0, first_beat_s=0.25)).grid
    assert (grid.first_beat_s, grid.tempo_bpm) == (pytest.approx(0.25), pytest.approx(120.0))


def test_a_nudge_moves_every_beat_and_nothing_else() -> None:
    plain, nudged = song_finding(*SONG), song_given(Given(nudge_s=-0.004))
    assert nudged.grid == replace(plain.grid, first_beat_s=plain.grid.first_beat_s - 0.004)


@pytest.mark.parametrize("beats", [1.0, 0.5, 4.0])
def test_a_shift_moves_bar_one(beats: float) -> None:
    plain, shifted = song_finding(*SONG), song_given(Given(shift_beats=beats))
    assert beats_from(shifted, plain.grid.first_beat_s) == pytest.approx(beats, abs=1e-6)


def test_a_bar_that_is_shifted_out_of_the_recording_leaves_bar_one_to_the_next() -> None:
    shifted = song_given(Given(shift_beats=-400.0))
    plain = song_finding(*SONG)
    assert 0 <= shifted.grid.first_beat_s < 4 * plain.grid.beat_s
    assert beats_from(shifted, plain.grid.first_beat_s) == pytest.approx(
        round(beats_from(shifted, plain.grid.first_beat_s) / 4) * 4, abs=1e-6
    )


def test_bars_of_three_begin_on_the_first_beat_that_sounds_and_nobody_is_sure_of_it() -> None:
    times_s = steady_beats(0.7, 150.0, 40.0)
    strengths = np.where(np.arange(len(times_s)) % 3 == 0, 1.0, 0.4)
    finding = find_grid(heard(clicks(times_s, 40.0, strengths=strengths)), Given(beats_per_bar=3))
    assert finding is not None
    assert finding.grid.beats_per_bar == 3
    assert beats_from(finding, 0.7) == pytest.approx(0.0, abs=NEAR_S / 0.4)
    assert finding.bar_confidence < CLOSE_CALL
    assert any("bars of 3 beats are not looked for" in reason for reason in finding.reasons)
    assert not any("begins the bar is a close call" in reason for reason in finding.reasons)


@pytest.mark.parametrize("phrase_bars", [4, 8, 16])
def test_phrases_have_the_length_they_are_said_to_have(phrase_bars: int) -> None:
    finding = song_given(Given(phrase_bars=phrase_bars))
    assert finding.phrase_bars == phrase_bars
    assert finding.phrase_first_bar is not None
    assert 1 <= finding.phrase_first_bar <= phrase_bars


def test_phrases_of_a_given_length_are_found_where_the_music_changes() -> None:
    """Sections of this record begin on bars 1, 9, 17 and so on; four bars were cut off its start."""
    song = song_of(*SONG)
    cut = round((song.first_beat_s + 15.9 * song.beat_s) * CLICK_RATE_HZ)
    finding = finding_of(song_sound_of(*SONG)[cut:], Given(phrase_bars=8))
    assert finding.phrase_first_bar == 5


def test_marked_beats_on_a_line_are_one_tempo() -> None:
    """Marks in hundredths of a second; the line through 150 of them is far better than each."""
    song = song_of(*SONG)
    finding = song_given(marked(np.round(song.beats(), 2), bar_index=0))
    assert finding.fits
    assert not finding.grid.beats_s
    assert finding.grid.tempo_bpm == pytest.approx(song.tempo_bpm, rel=5e-5)
    assert finding.grid.first_beat_s == pytest.approx(song.first_beat_s, abs=0.002)
    assert (finding.tempo_confidence, finding.beat_confidence, finding.bar_confidence) == (1.0, 1.0, 1.0)


def test_marked_beats_that_wander_are_followed_one_by_one() -> None:
    song = song_of(*WANDERING)
    finding = finding_of(song_sound_of(*WANDERING), marked(song.beats()[2:], bar_index=2))
    assert not finding.fits
    at = 4 + np.arange(100)
    heard_s = [finding.grid.time_s(beat) for beat in range(100)]
    np.testing.assert_allclose(heard_s, song.beats()[at], atol=1e-6)
    assert any("followed one by one" in reason for reason in finding.reasons)


@pytest.mark.parametrize("from_beat", [0, 1, 3])
def test_bars_of_marked_beats_are_found_where_they_are_not_said(from_beat: int) -> None:
    song = song_of(*WANDERING)
    finding = finding_of(song_sound_of(*WANDERING), marked(song.beats()[from_beat:]))
    nearest = int(np.argmin(np.abs(song.beats() - finding.grid.first_beat_s)))
    assert finding.grid.first_beat_s == pytest.approx(float(song.beats()[nearest]), abs=0.001)
    assert nearest % 4 == 0
    assert finding.beat_confidence == 1.0
    assert finding.bar_confidence < 1.0


def test_marked_bars_of_three_are_bars_of_three() -> None:
    times_s = steady_beats(0.7, 150.0, 40.0)
    finding = find_grid(heard(clicks(times_s, 40.0)), marked(times_s, bar_index=2, beats_per_bar=3))
    assert finding is not None
    assert finding.grid.beats_per_bar == 3
    assert finding.grid.first_beat_s == pytest.approx(0.7 + 2 * 0.4, abs=1e-6)


def test_marked_beats_may_be_nudged_shifted_and_halved() -> None:
    song = song_of(*WANDERING)
    given = replace(marked(song.beats(), bar_index=0), nudge_s=0.01, shift_beats=1.0)
    grid = finding_of(song_sound_of(*WANDERING), given).grid
    assert grid.first_beat_s == pytest.approx(float(song.beats()[1]) + 0.01, abs=1e-6)
    half = finding_of(song_sound_of(*WANDERING), replace(marked(song.beats(), bar_index=3), multiple=0.5))
    assert [half.grid.time_s(beat) for beat in range(3)] == pytest.approx(list(song.beats()[3:9:2]), abs=1e-6)


def test_marked_beats_stay_where_they_are_when_bar_one_is_said_to_be_near_one() -> None:
    song = song_of(*WANDERING)
    given = replace(marked(song.beats()), first_beat_s=float(song.beats()[5]) + 0.02)
    assert finding_of(song_sound_of(*WANDERING), given).grid.first_beat_s == pytest.approx(
        float(song.beats()[5]), abs=1e-6
    )


def test_every_bar_of_a_record_follows_what_was_given() -> None:
    song = song_of(*SONG)
    sound = song_sound_of(*SONG)
    listener = RecordListener(CLICK_RATE_HZ, Given(first_beat_s=song.first_beat_s + song.beat_s))
    for first in range(0, len(sound), 65_536):
        listener.feed(sound[first : first + 65_536])
    by_bars = listener.heard().by_bars
    assert by_bars is not None
    assert by_bars.bars.starts_s[0] == pytest.approx(song.first_beat_s + song.beat_s)
    assert by_bars.bars.starts_s[8] == pytest.approx(song.first_beat_s + 33 * song.beat_s, abs=NEAR_S)
    bars = (np.array([drop.at_s for drop in by_bars.drops]) - by_bars.bars.starts_s[0]) / (4 * song.beat_s)
    np.testing.assert_allclose(bars, np.round(bars), atol=0.02)
