"""The ears under test, and a well-known library's beside them: one record in, everything heard out.

What is not there yet is left out: a part whose module or name cannot be imported is None in `Heard`, and the
scoreboard shows a dash. Where no grid is measured, the per-bar parts are given the true one.
"""

import importlib
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

import librosa
import numpy as np

from render.values import Audio, Grid
from tests.ground_truth.truth import Times

BLOCK_FRAMES = 65_536
LIBROSA_RATE_HZ = 22_050
"""What librosa's defaults are tuned for."""


@dataclass
class Heard:
    """What was heard of one record; None is what nobody listened for."""

    grid: Grid | None = None
    no_grid: bool = False
    """It was listened for and none was found."""
    runner_up_bpm: float | None = None
    tempo_confidence: float | None = None
    beat_confidence: float | None = None
    bar_confidence: float | None = None
    fits: bool | None = None
    beats_s: Times | None = None
    """Tracked beats, where one grid does not fit."""
    drops_s: tuple[float, ...] | None = None
    key: str | None = None
    keys: tuple[str, ...] = ()
    tonal_weight: float | None = None
    voice_per_bar: tuple[bool, ...] | None = None
    bar_edges_s: Times | None = None
    """Where the bars that `voice_per_bar` counts begin, and where the last one ends."""
    phrases: dict[str, int] = field(default_factory=dict)
    """The length of a phrase and a bar that begins one, in bars, where they were heard."""
    cpu_s: dict[str, float] = field(default_factory=dict)
    library_tempo_bpm: float | None = None
    library_beats_s: Times | None = None


def _part(module: str, name: str) -> Any:
    """A part of the ears, or None while it is not there."""
    try:
        return getattr(importlib.import_module(f"render.analysis.{module}"), name, None)
    except ModuleNotFoundError:
        return None


@contextmanager
def _clocked(heard: Heard, part: str) -> Iterator[None]:
    start_s = time.process_time()
    yield
    heard.cpu_s[part] = heard.cpu_s.get(part, 0.0) + time.process_time() - start_s


def hear(sound: Audio, rate_hz: int, true_grid: Grid, *, library: bool, grid_given: bool = False) -> Heard:
    """Listen to a record in blocks, as the program does.

    With `grid_given` the per-bar parts get the true grid, so that they are scored apart from the tempo's errors.
    """
    heard = Heard()
    onsets = _listened(heard, "tempo and grid", "onsets", "OnsetListener", sound, rate_hz)
    find_grid = _part("grid", "find_grid")
    if onsets is not None and find_grid is not None:
        with _clocked(heard, "tempo and grid"):
            finding = find_grid(onsets)
        heard.no_grid = finding is None
        if finding is not None:
            _take_grid(heard, finding)
    duration_s = len(sound) / rate_hz
    bars = _bars(heard, true_grid, duration_s, grid_given=grid_given or heard.grid is None)
    frames = _listened(heard, "bands and drops", "bands", "BandListener", sound, rate_hz)
    bar_features, drop_candidates = _part("per_bar", "bar_features"), _part("drops", "drop_candidates")
    if None not in (frames, bars, bar_features, drop_candidates):
        with _clocked(heard, "bands and drops"):
            heard.drops_s = tuple(
                drop.at_s for drop in drop_candidates(bar_features(frames, bars), **heard.phrases)
            )
    pitches = _listened(heard, "key", "tonal", "TonalListener", sound, rate_hz)
    key_candidates, tonal_weight = _part("key", "key_candidates"), _part("key", "tonal_weight")
    if None not in (pitches, bars, key_candidates, tonal_weight):
        with _clocked(heard, "key"):
            heard.keys = tuple(candidate.name for candidate in key_candidates(pitches, bars, **heard.phrases))
            heard.key = heard.keys[0] if heard.keys else None
            heard.tonal_weight = tonal_weight(pitches)
    voice = _listened(heard, "voice", "voice", "VoiceListener", sound, rate_hz)
    voice_bars = _part("voice", "voice_bars")
    if None not in (voice, bars, voice_bars):
        with _clocked(heard, "voice"):
            heard.voice_per_bar = tuple(bool(voiced) for voiced in voice_bars(voice, bars).voiced)
        heard.bar_edges_s = np.asarray(bars.beat_edges_s[:: bars.beats_per_bar])
    _listened(heard, "levels", "levels", "LevelListener", sound, rate_hz)
    if library:
        _library(heard, sound, rate_hz)
    return heard


def _listened(heard: Heard, part: str, module: str, name: str, sound: Audio, rate_hz: int) -> Any:
    """The features of a listener that was fed the whole record, or None while it is not there."""
    listener_type: Callable[[int], Any] | None = _part(module, name)
    if listener_type is None:
        return None
    with _clocked(heard, part):
        listener = listener_type(rate_hz)
        for first in range(0, len(sound), BLOCK_FRAMES):
            listener.feed(sound[first : first + BLOCK_FRAMES])
        return listener.heard()


def _bars(heard: Heard, true_grid: Grid, duration_s: float, *, grid_given: bool) -> Any:
    """The bars that the per-bar parts are given: on a grid, or by tracked beats where no one grid fits."""
    bars_of, bars_type = _part("per_bar", "bars_of"), _part("per_bar", "Bars")
    if bars_of is None:
        return None
    if grid_given:
        return bars_of(true_grid, duration_s)
    assert heard.grid is not None
    if heard.beats_s is None:
        return bars_of(heard.grid, duration_s)
    beats_s = heard.beats_s[heard.beats_s > heard.grid.first_beat_s - heard.grid.beat_s / 2]
    whole = (len(beats_s) - 1) // heard.grid.beats_per_bar * heard.grid.beats_per_bar
    return bars_type(beats_s[: whole + 1], heard.grid.beats_per_bar)


def _take_grid(heard: Heard, finding: Any) -> None:
    heard.grid = finding.grid
    heard.runner_up_bpm = finding.runner_up_bpm
    heard.tempo_confidence = finding.tempo_confidence
    heard.beat_confidence = finding.beat_confidence
    heard.bar_confidence = finding.bar_confidence
    heard.fits = finding.fits
    if finding.phrase_bars is not None and finding.phrase_first_bar is not None:
        heard.phrases = {"phrase_bars": finding.phrase_bars, "phrase_first_bar": finding.phrase_first_bar}
    heard.beats_s = np.asarray(finding.grid.beats_s) if finding.grid.beats_s else None


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
