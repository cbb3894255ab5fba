"""Where a record drops, on invented records whose drop is known, and on the same with one thing done to them.

What a drop is, and what hides it, is common practice.
"""

from collections.abc import Callable
from functools import cache

import numpy as np
import pytest
import scipy.signal as dsp

from render.analysis.drops import MOST_CANDIDATES, SPACING_BARS, drop_candidates
from render.analysis.per_bar import BarFeatures, bars_of
from render.demo.records import RECORDS
from render.facts import DropCandidate
from render.values import Audio, Grid
from tests.analysis.heard_records import bar_features_of, bars_heard, record, sound_of
from tests.cases import first_of

PERTURBED = ("lanterns", "thimbleyard")
DRONE_HZ = 43.0


@cache
def low_end_rms(name: str) -> float:
    """How strong the low end is where the record drops."""
    sound, rate_hz = sound_of(name)
    start = round(record(name).drop_s * rate_hz)
    low = dsp.sosfilt(dsp.butter(4, 120.0, fs=rate_hz, output="sos"), sound[start : start + 5 * rate_hz, 0])
    return float(np.sqrt(np.mean(low**2)))


def tone(name: str, start_s: float, end_s: float) -> tuple[slice, Audio]:
    """A low tone as strong as the drop's low end, and where it goes."""
    rate_hz = sound_of(name)[1]
    where = slice(round(start_s * rate_hz), round(end_s * rate_hz))
    time_s = np.arange(where.stop - where.start) / rate_hz
    wave = np.sqrt(2.0) * low_end_rms(name) * np.sin(2 * np.pi * DRONE_HZ * time_s)
    return where, wave[:, None].astype(np.float32)


def silent_bar(name: str, sound: Audio) -> Audio:
    grid, drop = record(name).grid, record(name).drop_s
    rate_hz = sound_of(name)[1]
    sound[round((drop - 4 * grid.beat_s) * rate_hz) : round(drop * rate_hz)] = 0.0
    return sound


def bass_pick_up(name: str, sound: Audio) -> Audio:
    drop = record(name).drop_s
    where, wave = tone(name, drop - 2 * record(name).grid.beat_s, drop)
    sound[where] += wave
    return sound


def equal_loudness(name: str, sound: Audio) -> Audio:
    """Every two bars at the same level."""
    rate_hz = sound_of(name)[1]
    span = round(8 * record(name).grid.beat_s * rate_hz)
    first = round(record(name).first_beat_s * rate_hz)
    for start in range(first, len(sound), span):
        piece = sound[start : start + span]
        piece *= np.float32(0.2 / max(float(np.sqrt(np.mean(piece**2))), 0.02))
    return sound


def sub_drone(name: str, sound: Audio) -> Audio:
    where, wave = tone(name, 0.0, len(sound) / sound_of(name)[1])
    sound[where] += wave[: len(sound)]
    return sound


def fake_drop(name: str, sound: Audio) -> Audio:
    """Eight bars early, two bars of the drop come and go."""
    rate_hz, beat_s = sound_of(name)[1], record(name).grid.beat_s
    frames = round(8 * beat_s * rate_hz)
    drop = round(record(name).drop_s * rate_hz)
    early = round((record(name).drop_s - 32 * beat_s) * rate_hz)
    sound[early : early + frames] = sound[drop : drop + frames]
    return sound


def no_low_end(name: str, sound: Audio) -> Audio:
    sections = dsp.butter(4, 180.0, "highpass", fs=sound_of(name)[1], output="sos")
    return np.asarray(dsp.sosfilt(sections, sound, axis=0), np.float32)


def is_the_drop(candidate: DropCandidate, name: str) -> bool:
    return abs(candidate.at_s - record(name).drop_s) < record(name).grid.beat_s


@pytest.mark.parametrize("name", first_of(["lanterns", "thimbleyard"], [record.name for record in RECORDS]))
def test_the_first_candidate_is_the_drop(name: str) -> None:
    candidates = drop_candidates(bar_features_of(name))
    assert is_the_drop(candidates[0], name)
    assert candidates[0].bar == record(name).bar_of("drop")
    assert any("the low end comes in" in reason for reason in candidates[0].why)


@pytest.mark.parametrize("name", PERTURBED)
@pytest.mark.parametrize(
    "perturb", [silent_bar, bass_pick_up, equal_loudness, sub_drone, fake_drop, no_low_end]
)
@pytest.mark.slow
def test_a_drop_that_is_hard_to_find_is_among_the_candidates(
    name: str, perturb: Callable[[str, Audio], Audio]
) -> None:
    sound, rate_hz = sound_of(name)
    features = bars_heard(perturb(name, sound.copy()), rate_hz, record(name).grid)
    assert any(is_the_drop(candidate, name) for candidate in drop_candidates(features))


def test_a_record_that_starts_with_its_build_still_has_its_drop_first() -> None:
    sound, rate_hz = sound_of("lanterns")
    lanterns = record("lanterns")
    cut = round((lanterns.markers["build"] - 0.1) * rate_hz)
    grid = Grid(lanterns.markers["build"] - cut / rate_hz, lanterns.tempo_bpm)
    candidates = drop_candidates(bars_heard(sound[cut:], rate_hz, grid))
    assert candidates[0].bar == 9


def test_candidates_are_few_and_a_phrase_apart() -> None:
    candidates = drop_candidates(bar_features_of("ironworks"))
    assert len(candidates) == MOST_CANDIDATES
    bars = sorted(candidate.bar for candidate in candidates)
    assert min(np.diff(bars)) >= SPACING_BARS
    assert [c.score for c in candidates] == sorted((c.score for c in candidates), reverse=True)


def test_a_record_in_which_nothing_happens_gives_no_reason_but_its_phrases() -> None:
    assert drop_candidates(_steady(1)) == ()
    for candidate in drop_candidates(_steady(40)):
        assert set(candidate.why) <= {"starts a phrase", "stands half-way through a phrase"}


def test_silence_has_candidates_without_a_change() -> None:
    features = bars_heard(np.zeros((882_000, 2), np.float32), 44_100, Grid(0.0, 120.0))
    for candidate in drop_candidates(features):
        assert not any("dB" in reason for reason in candidate.why)


def _steady(bars: int) -> BarFeatures:
    beats = np.full((bars, 4), 0.1)
    return BarFeatures(
        bars_of(Grid(0.0, 120.0), 2.0 * bars), np.full((bars, 10), 0.01), beats, beats, beats, beats
    )
