"""Where the beats are: first beats to the millisecond, and records that wander.

Beats are scored by mir_eval's F-measure at its ±70 ms, the first five seconds left out, as is usual (C. Raffel and
others, ISMIR 2014; the window: S. Dixon, Evaluation of the audio beat tracking system BeatRoot, Journal of New Music
Research 36(1), 2007).
"""

from dataclasses import replace

import mir_eval
import numpy as np
import pytest

from render.analysis.grid import CLOSE_CALL
from tests.analysis.heard_grids import (
    clicks,
    demo_finding,
    grid_of,
    song_finding,
    song_of,
    song_sound_of,
)
from tests.analysis.heard_records import record
from tests.analysis.test_tempo import SONGS
from tests.cases import first_of
from tests.ground_truth.songs import Style
from tests.ground_truth.truth import Times

NEAR_MS = 1.0
"""One hop of the attack curve."""
DRIFTING: tuple[tuple[int, Style, float, float], ...] = (
    (911, "four-on-the-floor", 0.02, 0.008),
    (912, "broken beat", 0.01, 0.0),
    (913, "two-step", 0.02, 0.0),
)
GOOD_F = 0.85
TAPE_MS = 10.0


def off_ms(finding_s: float, true_s: float, beat_s: float) -> float:
    """From the nearest true beat, in milliseconds; half a beat where the off-beat was taken for it."""
    beats = (finding_s - true_s) / beat_s
    return abs(beats - round(beats)) * beat_s * 1000.0


def f_measure(true_s: Times, heard_s: tuple[float, ...]) -> float:
    true, heard = mir_eval.beat.trim_beats(true_s), mir_eval.beat.trim_beats(np.array(heard_s))
    return float(mir_eval.beat.f_measure(true, heard))


@pytest.mark.parametrize(
    "name",
    first_of(
        ["lanterns", "thimbleyard"], ["lanterns", "ironworks", "thimbleyard", "quarrybread", "wickergauge"]
    ),
)
def test_the_grid_of_an_invented_record_lies_on_its_beats(name: str) -> None:
    true, finding = record(name).grid, demo_finding(name)
    assert off_ms(finding.grid.first_beat_s, true.first_beat_s, true.beat_s) < NEAR_MS
    last_beat = record(name).bars * 4
    assert off_ms(finding.grid.time_s(last_beat), true.time_s(last_beat), true.beat_s) < NEAR_MS


@pytest.mark.parametrize(("seed", "style"), SONGS)
def test_the_grid_of_a_song_lies_on_its_attacks(seed: int, style: Style) -> None:
    """To the millisecond on a beat, or half a beat from one: which of them is asked below."""
    song, finding = song_of(seed, style), song_finding(seed, style)
    assert off_ms(finding.grid.first_beat_s, song.first_beat_s, 30.0 / song.tempo_bpm) < NEAR_MS


@pytest.mark.parametrize(("seed", "style"), SONGS)
def test_the_off_beat_is_never_taken_without_a_warning(seed: int, style: Style) -> None:
    """Bare broken drums after a pick-up may leave it open where the beat is; then the finding has to say so."""
    song, finding = song_of(seed, style), song_finding(seed, style)
    on_beat = off_ms(finding.grid.first_beat_s, song.first_beat_s, 60.0 / song.tempo_bpm) < NEAR_MS
    warned = finding.beat_confidence < CLOSE_CALL and any(
        "part of the beat" in why for why in finding.reasons
    )
    assert on_beat or (song.drums_only and warned)


@pytest.mark.parametrize(("seed", "style", "wander", "stray_s"), DRIFTING)
def test_a_wandering_record_is_told_and_followed(
    seed: int, style: Style, wander: float, stray_s: float
) -> None:
    song, finding = song_of(seed, style, wander, stray_s), song_finding(seed, style, wander, stray_s)
    assert not finding.fits
    assert finding.residual_ms > TAPE_MS
    assert f_measure(song.beats(), finding.grid.beats_s) >= GOOD_F
    assert np.all(np.diff(finding.grid.beats_s) > 0)
    assert any("one tempo does not fit" in reason for reason in finding.reasons)


def test_one_straight_grid_would_not_do_for_a_wandering_record() -> None:
    """What the counted beats are worth: the best single tempo loses most beats of the same record."""
    seed, style, wander, stray_s = DRIFTING[0]
    grid = replace(song_finding(seed, style, wander, stray_s).grid, beats_s=())
    beats_s = song_of(seed, style, wander, stray_s).beats()
    straight = tuple(grid.time_s(beat) for beat in range(len(beats_s)))
    assert f_measure(beats_s, straight) < GOOD_F


def test_a_drummer_who_strays_but_keeps_time_has_one_grid() -> None:
    """Hits that lie up to 8 ms off a steady beat are no drift."""
    finding = song_finding(914, "two-step", 0.0, 0.008)
    assert finding.fits
    assert not finding.grid.beats_s


def test_silence_before_a_record_moves_its_grid_and_nothing_else() -> None:
    seed, style = SONGS[1]
    silence_s = 3.217
    lead = np.zeros((round(silence_s * 44_100), 2), np.float32)
    sound = np.concatenate((lead, song_sound_of(seed, style)))
    later, plain = grid_of(sound, 44_100), song_finding(seed, style)
    moved_s = later.grid.first_beat_s - plain.grid.first_beat_s
    assert moved_s == pytest.approx(silence_s, abs=0.001)  # one hop
    assert later.grid.tempo_bpm == pytest.approx(plain.grid.tempo_bpm, rel=2e-5)


def test_a_long_tape_that_slows_down_is_followed_to_its_end() -> None:
    """Clicks whose tempo falls steadily by 3 %: two per beat, the first louder, so that the beat is no question."""
    rates = np.linspace(2.1, 2.037, 4 * 130)
    times_s = 0.5 + np.concatenate(([0.0], np.cumsum(0.5 / rates)))
    strengths = np.where(np.arange(len(times_s)) % 2 == 0, 1.0, 0.1)
    finding = grid_of(clicks(times_s, float(times_s[-1]) + 1.0, strengths=strengths), 44_100)
    eighths = np.array(finding.grid.beats_s)
    nearest_ms = [1000.0 * np.min(np.abs(times_s - beat_s)) for beat_s in eighths[4:-4]]
    assert (
        np.percentile(nearest_ms, 90) < 10.0
    )  # a count that is smooth over eight beats, of a beat that changes
