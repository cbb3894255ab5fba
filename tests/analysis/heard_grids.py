"""Records as the grid's listener hears them; each is made and heard once for a test run."""

from functools import cache

import numpy as np

from render.analysis.grid import find_grid
from render.analysis.onsets import OnsetFeatures, OnsetListener
from render.facts import GridFinding
from render.values import Audio
from tests.analysis.heard_records import hear, sound_of
from tests.ground_truth.songs import Song, Style, draw_song
from tests.ground_truth.sounding import sound_of as song_sound
from tests.ground_truth.truth import Times

CLICK_RATE_HZ = 44_100


def grid_of(sound: Audio, rate_hz: int) -> GridFinding:
    finding = find_grid(hear(OnsetListener(rate_hz), sound))
    assert finding is not None
    return finding


@cache
def demo_finding(name: str) -> GridFinding:
    return grid_of(*sound_of(name))


@cache
def song_of(seed: int, style: Style, wander: float = 0.0, stray_s: float = 0.0) -> Song:
    return draw_song(seed, style, length_s=60.0, warp=(wander, stray_s))


@cache
def song_sound_of(seed: int, style: Style, wander: float = 0.0, stray_s: float = 0.0) -> Audio:
    return song_sound(song_of(seed, style, wander, stray_s))


@cache
def song_finding(seed: int, style: Style, wander: float = 0.0, stray_s: float = 0.0) -> GridFinding:
    return grid_of(song_sound_of(seed, style, wander, stray_s), 44_100)


def clicks(
    times_s: Times, length_s: float, rate_hz: int = CLICK_RATE_HZ, strengths: Times | None = None
) -> Audio:
    """Short bursts of noise that begin at `times_s`, over a faint floor, `(frames, 1)`."""
    chance = np.random.default_rng(7)
    sound = 1e-4 * chance.standard_normal(round(length_s * rate_hz))
    burst_s = 0.02
    burst = chance.standard_normal(round(burst_s * rate_hz))
    burst *= 0.3 * np.exp(-np.arange(len(burst)) / (0.004 * rate_hz))
    for number, time_s in enumerate(times_s):
        first = round(time_s * rate_hz)
        strength = 1.0 if strengths is None else strengths[number]
        sound[first : first + len(burst)] += strength * burst[: len(sound) - first]
    return sound[:, None].astype(np.float32)


def heard(sound: Audio, rate_hz: int = CLICK_RATE_HZ, block: int = 65_536) -> OnsetFeatures:
    return hear(OnsetListener(rate_hz), sound, block)
