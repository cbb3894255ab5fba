"""Where the beat lies in single stretches of a record: on tapes that wander a little, and nowhere else.

Truth is the time at which each beat of a song was laid down (`Song.beats`).
"""

import numpy as np
import pytest

from render.analysis.clock import Clock
from render.analysis.local_phase import lateness
from render.analysis.onsets import attack_curves
from render.analysis.record import RecordListener
from render.facts import GridFinding
from tests.analysis.heard_grids import (
    CLICK_RATE_HZ,
    clicks,
    heard,
    song_finding,
    song_of,
    song_sound_of,
)
from tests.analysis.heard_records import hear
from tests.analysis.test_tempo import SONGS
from tests.ground_truth.songs import Style
from tests.ground_truth.truth import Times

pytestmark = pytest.mark.slow

LANDING_MS = 2.0
TAPES: tuple[tuple[int, Style, float, float], ...] = (
    (921, "four-on-the-floor", 0.0006, 0.0),
    (922, "two-step", 0.001, 0.0),
    (923, "broken beat", 0.0006, 0.004),
)


def off_ms(beats_s: Times, finding: GridFinding, *, local: bool) -> Times:
    """How far each true beat lies from the one that is heard there."""
    beats = [round(finding.grid.beat_at(time_s)) for time_s in beats_s]
    at = finding.local_time_s if local else finding.grid.time_s
    return np.array([1000.0 * abs(at(beat) - time_s) for beat, time_s in zip(beats, beats_s, strict=True)])


@pytest.mark.parametrize(("seed", "style", "wander", "stray_s"), TAPES)
def test_a_tape_that_wanders_a_little_is_followed(
    seed: int, style: Style, wander: float, stray_s: float
) -> None:
    beats_s = song_of(seed, style, wander, stray_s).beats()
    finding = song_finding(seed, style, wander, stray_s)
    assert finding.fits
    local, plain = off_ms(beats_s, finding, local=True), off_ms(beats_s, finding, local=False)
    assert np.mean(local <= LANDING_MS) >= 0.9
    assert np.percentile(local, 95) < np.percentile(plain, 95)


def test_a_drop_on_such_a_tape_is_told_where_it_is_heard() -> None:
    seed, style, wander, stray_s = TAPES[1]
    song = song_of(seed, style, wander, stray_s)
    listener = RecordListener(CLICK_RATE_HZ)
    facts = hear(listener, song_sound_of(seed, style, wander, stray_s))
    assert facts.by_bars is not None
    first = facts.by_bars.drops[0].at_s
    grid = facts.by_bars.grid.grid
    drop_s = float(song.beats()[4 * (song.drop_bars[0] - 1)])
    assert 1000.0 * abs(first - drop_s) <= LANDING_MS
    assert abs(first - drop_s) < abs(grid.time_s(round(grid.beat_at(drop_s))) - drop_s)


@pytest.mark.parametrize(("seed", "style"), SONGS)
def test_a_steady_record_is_late_nowhere(seed: int, style: Style) -> None:
    assert song_finding(seed, style).late == ()


def test_a_stretch_that_was_recorded_late_is_told_by_how_much() -> None:
    """Clicks at 120 BPM, two sounds in turn, that fall behind by 4 ms for a third of the record and come back."""
    beats = np.arange(240)
    late_s = np.where((beats >= 80) & (beats < 160), 0.004, 0.0)
    times_s = 0.5 + 0.5 * beats + late_s
    features = heard(clicks(times_s, 122.0, strengths=np.where(beats % 2, 0.5, 1.0)))
    found = lateness(attack_curves(features), features.hop_s, Clock(0.5))
    moved_s = found.of(np.array([120.0])) - found.of(np.array([30.0]))
    assert moved_s[0] == pytest.approx(0.004, abs=0.0005)  # half a hop


def test_noise_is_late_nowhere() -> None:
    noise = 0.1 * np.random.default_rng(5).standard_normal((60 * 44_100, 1)).astype(np.float32)
    features = heard(noise)
    assert not lateness(attack_curves(features), features.hop_s, Clock(0.5))
