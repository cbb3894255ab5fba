"""Which beat is the first of its bar, and where the phrases of eight bars begin.

Truth is how the records were written: whole bars of four beats from the first beat on, sections of whole phrases.
"""

import numpy as np
import pytest

from render.analysis.bars import STEPS, Steps, find_phrases
from render.analysis.grid import CLOSE_CALL
from render.facts import GridFinding
from tests.analysis.heard_grids import (
    clicks,
    demo_finding,
    grid_of,
    song_finding,
    song_of,
    song_sound_of,
)
from tests.analysis.heard_records import record, sound_of
from tests.analysis.test_tempo import SONGS
from tests.ground_truth.songs import Style
from tests.ground_truth.truth import Times

NAMES = ["lanterns", "ironworks", "thimbleyard", "quarrybread", "wickergauge"]


def beats_off(finding: GridFinding, first_beat_s: float) -> int:
    """How many beats after the true bar 1 the measured one begins."""
    return round((finding.grid.first_beat_s - first_beat_s) / finding.grid.beat_s)


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.slow
def test_bar_one_of_an_invented_record_is_its_first_bar(name: str) -> None:
    assert beats_off(demo_finding(name), record(name).grid.first_beat_s) == 0


@pytest.mark.parametrize(("seed", "style"), SONGS)
@pytest.mark.slow
def test_bar_one_of_a_song_is_its_first_bar(seed: int, style: Style) -> None:
    """Where chords or a bass say so; bare broken drums may leave it open, and then it is said to be open."""
    song, finding = song_of(seed, style), song_finding(seed, style)
    sure = finding.beat_confidence >= CLOSE_CALL and finding.bar_confidence >= CLOSE_CALL
    assert beats_off(finding, song.first_beat_s) == 0 or (song.drums_only and not sure)


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.slow
def test_phrases_begin_with_the_record(name: str) -> None:
    """Every section of these records is a whole number of eight bars."""
    finding = demo_finding(name)
    assert (finding.phrase_bars, finding.phrase_first_bar) == (8, 1)


@pytest.mark.parametrize("beats_cut", [1, 2, 3, 6.5])
@pytest.mark.slow
def test_a_record_that_is_cut_into_begins_with_its_first_whole_bar(beats_cut: float) -> None:
    song = record("ironworks")
    sound, rate_hz = sound_of("ironworks")
    cut_s = song.grid.time_s(beats_cut)
    finding = grid_of(sound[round(cut_s * rate_hz) :], rate_hz)
    next_bar_s = song.grid.time_s(4 * np.ceil(beats_cut / 4)) - cut_s
    assert beats_off(finding, next_bar_s) == 0


@pytest.mark.slow
def test_phrases_are_counted_from_the_first_whole_bar() -> None:
    """Three bars cut off a record of whole phrases leave a phrase that begins with bar 6."""
    song = record("quarrybread")
    sound, rate_hz = sound_of("quarrybread")
    finding = grid_of(sound[song.frame_at(12.0) - round(0.05 * rate_hz) :], rate_hz)
    assert (finding.phrase_bars, finding.phrase_first_bar) == (8, 6)


@pytest.mark.slow
def test_silence_and_run_in_are_not_bars() -> None:
    seed, style = SONGS[0]
    noise = 2e-4 * np.random.default_rng(3).standard_normal((round(9.7 * 44_100), 2)).astype(np.float32)
    finding = grid_of(np.concatenate((noise, song_sound_of(seed, style))), 44_100)
    assert beats_off(finding, song_of(seed, style).first_beat_s + len(noise) / 44_100) == 0


def test_an_accent_every_fourth_click_makes_the_bar() -> None:
    times_s = 0.25 + 0.5 * np.arange(80)
    strengths = np.where(np.arange(80) % 4 == 1, 1.0, 0.05)
    finding = grid_of(clicks(times_s, 41.0, strengths=strengths), 44_100)
    # The hard click is a snare or a first kick: either way on a beat, never between two.
    beats = (finding.grid.first_beat_s - 0.25) / finding.grid.beat_s
    assert abs(beats - round(beats)) < 0.02


def steps_of(bands: Times) -> Steps:
    """A record of which only the levels of its bands are known, `(steps, 4)`, in decades."""
    count = len(bands)
    return Steps(
        0.125 * np.arange(count),
        np.zeros((count, 4)),
        np.zeros(count),
        np.zeros(count),
        bands,
        np.zeros((count, 12)),
    )


def loop_bands(bars: int) -> Times:
    """A bar over and over, in the levels of which no two are quite alike."""
    rng = np.random.default_rng(3)
    return np.tile(rng.uniform(-1, 0, (STEPS, 4)), (bars, 1)) + 0.02 * rng.standard_normal((bars * STEPS, 4))


def test_a_loop_that_is_broken_off_has_no_phrases() -> None:
    bands = loop_bands(40)
    bands[-STEPS:] -= 3.0  # it rings out for a bar
    assert find_phrases(steps_of(bands), 0) is None


@pytest.mark.parametrize("first_bar", [1, 3, 8])
def test_phrases_begin_where_something_comes_or_goes(first_bar: int) -> None:
    bands = loop_bands(40)
    bands[-STEPS:] -= 3.0
    for bar in range(first_bar + 7, 36, 16):  # bars from 0 here: every other phrase of eight has no low end
        bands[bar * STEPS : (bar + 8) * STEPS, 0] -= 1.0
    found = find_phrases(steps_of(bands), 0)
    assert found is not None
    assert (found.bars, found.first_bar) == (8, first_bar)
