"""The ears under test, and a well-known library's beside them: one record in, everything heard out."""

import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

import librosa
import numpy as np

from render.analysis.record import RecordListener
from render.facts import Given, GivenBeats, GridFinding, RecordFacts
from render.values import Audio, Grid
from tests.ground_truth.truth import Times, Truth

BLOCK_FRAMES = 65_536
LIBROSA_RATE_HZ = 22_050
"""What librosa's defaults are tuned for."""


@dataclass
class Heard:
    """What was heard of one record; None is what nobody listened for."""

    grid: Grid | None = None
    finding: GridFinding | None = None
    no_grid: bool = False
    """It was listened for and none was found."""
    drops_s: tuple[float, ...] | None = None
    key: str | None = None
    tonal_weight: float | None = None
    voice_per_bar: tuple[bool, ...] | None = None
    bar_edges_s: Times | None = None
    """Where the bars that `voice_per_bar` counts begin, and where the last one ends."""
    cpu_s: dict[str, float] = field(default_factory=dict)
    library_tempo_bpm: float | None = None
    library_beats_s: Times | None = None


@contextmanager
def _clocked(heard: Heard, part: str) -> Iterator[None]:
    start_s = time.process_time()
    yield
    heard.cpu_s[part] = time.process_time() - start_s


def hear(sound: Audio, rate_hz: int, truth: Truth, *, library: bool, grid_given: bool = False) -> Heard:
    """Listen to a record in blocks, as the program does.

    With `grid_given` the true grid is given, so that what is heard by bars is scored apart from the grid's errors.
    """
    heard = Heard()
    with _clocked(heard, "everything"):
        listener = RecordListener(rate_hz, _given(truth) if grid_given else Given())
        for first in range(0, len(sound), BLOCK_FRAMES):
            listener.feed(sound[first : first + BLOCK_FRAMES])
        facts = listener.heard()
    _take(heard, facts, grid_given=grid_given)
    if library:
        _library(heard, sound, rate_hz)
    return heard


def _given(truth: Truth) -> Given:
    beats_per_bar = truth.beats_per_bar or 4
    if truth.fixed_tempo:
        return Given(tempo_bpm=truth.tempo_bpm, first_beat_s=truth.first_beat_s, beats_per_bar=beats_per_bar)
    return Given(beats=GivenBeats(tuple(map(float, truth.beats)), 0, beats_per_bar))


def _take(heard: Heard, facts: RecordFacts, *, grid_given: bool) -> None:
    heard.tonal_weight = facts.tonal_weight
    by_bars = facts.by_bars
    heard.no_grid = by_bars is None
    if by_bars is None:
        heard.drops_s = ()
        return
    if not grid_given:
        heard.finding = by_bars.grid
        heard.grid = by_bars.grid.grid
    heard.drops_s = tuple(drop.at_s for drop in by_bars.drops)
    heard.key = by_bars.keys[0].name if by_bars.keys else None
    heard.voice_per_bar = by_bars.bars.voiced
    heard.bar_edges_s = np.array(by_bars.bars.starts_s)


def _library(heard: Heard, sound: Audio, rate_hz: int) -> None:
    """librosa's beat tracker with its defaults (D. Ellis, Beat tracking by dynamic programming, 2007)."""
    with _clocked(heard, "library"):
        mono = librosa.resample(np.mean(sound, axis=1), orig_sr=rate_hz, target_sr=LIBROSA_RATE_HZ)
        _, beats_s = librosa.beat.beat_track(y=mono, sr=LIBROSA_RATE_HZ, units="time")
    heard.library_beats_s = np.asarray(beats_s, dtype=np.float64)
    if len(beats_s) > 2:
        # A straight line through its beats: its own tempo comes in steps of a few per cent.
        slope_s, _ = np.polyfit(np.arange(len(beats_s)), beats_s, 1)
        heard.library_tempo_bpm = 60.0 / float(slope_s)
