"""The grid of a record: where bar 1 beat 1 is, how fast the beats come, and whether one tempo fits at all.

In order: the tempo and its rivals (`tempo`), the exact period by folding (`folding`), the bar line (`bars`), the exact
phase from the foot of the attack nearest to it, and a look at every stretch of the record apart: where the stretches
do not lie over each other, no single grid fits, and the beats are counted one by one instead (`drifting`).

Conventions
-----------
- Bar 1 is the first whole bar of what sounds; a pick-up lies before it, in bar 0.
- Confidences are shares of likelihood from 0 to 1; below `CLOSE_CALL` the finding says so in words.
- `residual_ms` is how far the beats of single stretches lie from the grid: the 80th percentile.
"""

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import uniform_filter1d

from render.analysis.bars import (
    BEATS_PER_BAR,
    STEPS,
    STEPS_PER_BEAT,
    BarFinding,
    cut_into_steps,
    find_bars,
    find_phrases,
)
from render.analysis.drifting import counted_beats
from render.analysis.folding import Fold, folded, folded_by_beats, lags_cycles, sharpest_period_s
from render.analysis.onsets import Curve, OnsetFeatures, attack_curves
from render.analysis.tempo import TempoCandidate, tempo_candidates, tempo_confidence
from render.facts import GridFinding
from render.values import Grid

BAND_WEIGHTS = (0.3, 0.6, 1.0, 1.0)
"""The higher a band, the sharper it is in time."""
CLOSE_CALL = 0.8
FOOT = 0.35
"""An attack begins where the folded profile has risen to this share of its peak: halfway between the first frame
and the steepest one for hits with a hard edge, nearer the edge for soft ones."""
REACH_S = 0.012
"""The attack that belongs to a step is looked for this far from it."""
FIT_MS = 10.0
"""Stretches of a record with one tempo scatter by less; the hand of a drummer or a worn tape by more."""
SOUNDING_DB = -38.0
"""Relative to the loud moments; what is quieter is the run-in."""
PICK_UP_BEATS = 3.0
"""A record that begins less than this before a bar line begins with a pick-up."""


@dataclass(frozen=True)
class _Clock:
    """Beats and seconds of one recording: by one period, or hop by hop where the beats had to be counted.

    Beats of a clock count from the start of the recording, not from bar 1.
    """

    beat_s: float
    hop_s: float
    counted: Curve | None = None

    def time_s(self, beats: Curve) -> Curve:
        if self.counted is None:
            return np.asarray(beats * self.beat_s)
        middles_s = (np.arange(len(self.counted)) + 0.5) * self.hop_s
        return np.asarray(np.interp(beats, self.counted, middles_s))

    def beats_at(self, time_s: float) -> float:
        if self.counted is None:
            return time_s / self.beat_s
        return float(np.interp(time_s / self.hop_s - 0.5, np.arange(len(self.counted)), self.counted))


def find_grid(features: OnsetFeatures) -> GridFinding | None:
    """The grid of a record; None where it is too short or has no attacks to measure one from."""
    rises_db = attack_curves(features)
    curve = np.asarray(rises_db @ np.array(BAND_WEIGHTS))
    candidates = tempo_candidates(features, curve)
    if not candidates:
        return None
    fold = _exact(curve, features.hop_s, 60.0 / candidates[0].tempo_bpm)
    residual_ms = _residual_ms(fold)
    clock = _Clock(fold.period_s, features.hop_s)
    if residual_ms > FIT_MS:
        counted = counted_beats(curve, features.hop_s, fold.period_s)
        clock = _Clock(fold.period_s, features.hop_s, counted)
        fold = folded_by_beats(curve, counted, fold.period_s)
    end_beats = clock.beats_at(features.duration_s)
    peak_beats = float(np.argmax(fold.profile())) / len(fold.profile())
    step_beats = np.arange(peak_beats, end_beats - 1 / STEPS_PER_BEAT, 1 / STEPS_PER_BEAT)
    steps = cut_into_steps(features, rises_db, clock.time_s(step_beats))
    bars = find_bars(steps)
    bar_beats = _foot_beats(fold, peak_beats + bars.step / STEPS_PER_BEAT)
    first_beats = _first_bar_beats(
        bar_beats, clock.beats_at(_first_sound_s(features)), REACH_S / clock.beat_s
    )
    first_s = float(clock.time_s(np.array([first_beats]))[0])
    beats_s = clock.time_s(np.arange(first_beats, end_beats, 1.0))
    fits = clock.counted is None
    beat_s = clock.beat_s if fits else float(np.median(np.diff(beats_s)))
    phrases = find_phrases(steps, bars.step + STEPS * round((first_beats - bar_beats) / BEATS_PER_BAR))
    return GridFinding(
        grid=Grid(first_s, 60.0 / beat_s, BEATS_PER_BAR, () if fits else tuple(map(float, beats_s))),
        tempo_confidence=tempo_confidence(candidates),
        runner_up_bpm=candidates[1].tempo_bpm if len(candidates) > 1 else None,
        fits=fits,
        residual_ms=residual_ms,
        beat_confidence=bars.beat_confidence,
        bar_confidence=bars.bar_confidence,
        phrase_bars=phrases.bars if phrases else None,
        phrase_first_bar=phrases.first_bar if phrases else None,
        reasons=_reasons(60.0 / beat_s, candidates, bars, fits, residual_ms),
    )


def _exact(curve: Curve, hop_s: float, about_s: float) -> Fold:
    """The fold at the exact period: a wide search, and a narrow one where the wide one ended."""
    wide = sharpest_period_s(folded(curve, hop_s, about_s))
    fold = folded(curve, hop_s, wide)
    return fold.at(sharpest_period_s(fold, 0.03))


def _residual_ms(fold: Fold) -> float:
    lags = lags_cycles(fold)
    return float(np.percentile(np.abs(lags), 80)) * fold.period_s * 1000.0 if lags.size else 0.0


def _foot_beats(fold: Fold, about_beats: float) -> float:
    """Where the attack nearest to a place begins, by the folded profile; the place itself where there is none."""
    profile = fold.profile()
    bins = len(profile)
    about = round(about_beats * bins)
    reach = round(REACH_S / fold.period_s * bins)
    near = np.arange(about - reach, about + reach + 1)
    peak = int(near[np.argmax(profile[near % bins])])
    floor = float(np.median(profile))
    height = float(profile[peak % bins]) - floor
    if height < 0.1 * (float(profile.max()) - floor):
        return about_beats
    foot = peak
    while foot > peak - 2 * reach and profile[foot % bins] - floor > FOOT * height:
        foot -= 1
    below, above = (float(profile[index % bins]) - floor for index in (foot, foot + 1))
    part = (FOOT * height - below) / (above - below) if above > below else 0.0
    return (foot + min(max(part, 0.0), 1.0)) / bins


def _first_sound_s(features: OnsetFeatures) -> float:
    """When the record begins to sound."""
    loud = np.percentile(features.power, 99, axis=0) * 10 ** (SOUNDING_DB / 10)
    smooth = uniform_filter1d(features.power.astype(np.float64), 20, axis=0)
    sounds = np.any(smooth > np.maximum(loud, 1e-12), axis=1)
    return float(np.argmax(sounds)) * features.hop_s


def _first_bar_beats(bar_beats: float, begin_beats: float, tolerance_beats: float) -> float:
    """The first bar line at which, or less than a beat before which, something sounds."""
    earliest = max(begin_beats - (BEATS_PER_BAR - PICK_UP_BEATS), -tolerance_beats)
    return bar_beats + float(np.ceil((earliest - bar_beats) / BEATS_PER_BAR)) * BEATS_PER_BAR


def _reasons(
    tempo_bpm: float,
    candidates: tuple[TempoCandidate, ...],
    bars: BarFinding,
    fits: bool,
    residual_ms: float,
) -> tuple[str, ...]:
    """What a performer should know before trusting the grid."""
    reasons = []
    if tempo_confidence(candidates) < CLOSE_CALL:
        reasons.append(f"{tempo_bpm:.2f} BPM is a close call against {candidates[1].tempo_bpm:.2f}")
    if bars.beat_confidence < CLOSE_CALL:
        reasons.append("which part of the beat counts is a close call")
    if bars.bar_confidence < CLOSE_CALL:
        reasons.append("which beat begins the bar is a close call")
    if not fits:
        reasons.append(
            f"one tempo does not fit: stretches lie {residual_ms:.0f} ms off, so beats are counted one by one"
        )
    return tuple(reasons)
