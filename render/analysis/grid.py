"""The grid of a record: where bar 1 beat 1 is, how fast the beats come, and whether one tempo fits at all.

In order: the tempo and its rivals (`tempo`), the pulse as given or measured (`pulse`), the bar line (`bars`), and the
exact phase from the foot of the attack nearest to it. Whatever is given is taken, and only the rest is measured.

Conventions
-----------
- Bar 1 is the first whole bar of what sounds; a pick-up lies before it, in bar 0. Where it was said where bar 1 is,
  it is there.
- Confidences are shares of likelihood from 0 to 1, 1 for what was given; below `CLOSE_CALL` the finding says so in
  words.
- Bars of other than four beats are not looked for: where nobody said where one begins, bar 1 begins on the first beat
  that sounds.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import uniform_filter1d

from render.analysis.bars import (
    BEATS_PER_BAR,
    STEPS_PER_BEAT,
    BarFinding,
    cut_into_steps,
    find_bars,
    find_phrases,
)
from render.analysis.foot import REACH_S, foot_beats
from render.analysis.local_phase import NOWHERE, lateness
from render.analysis.onsets import Curve, OnsetFeatures, attack_curves
from render.analysis.pulse import Pulse, misfits, pulse_of
from render.analysis.tempo import TempoCall, tempo_call, tempo_candidates
from render.facts import NOTHING_GIVEN, USUAL_PHRASE_BARS, Given, GridFinding
from render.values import Grid

BAND_WEIGHTS = (0.3, 0.6, 1.0, 1.0)
"""The higher a band, the sharper it is in time."""
CLOSE_CALL = 0.8
SOUNDING_DB = -38.0
"""Relative to the loud moments; what is quieter is the run-in."""
PICK_UP_BEATS = 3.0
"""A record that begins less than this before a bar line begins with a pick-up."""


def find_grid(features: OnsetFeatures, given: Given = NOTHING_GIVEN) -> GridFinding | None:
    """The grid of a record; None where it is too short or has no attacks to measure from what was not given."""
    if not len(features.power):
        return None
    rises_db = attack_curves(features)
    curve = np.asarray(rises_db @ np.array(BAND_WEIGHTS))
    candidates = tempo_candidates(features, curve)
    pulse = pulse_of(curve, features.hop_s, candidates, given)
    if pulse is None:
        return None
    clock = pulse.clock
    end_beats = clock.beat_at(features.duration_s)
    begin_beats = clock.beat_at(_first_sound_s(features))
    step_beats = _step_beats(pulse, end_beats)
    steps = cut_into_steps(features, rises_db, clock.time_s(step_beats))
    bars = find_bars(steps, beat_known=pulse.anchor_beats is not None)
    late = lateness(rises_db, features.hop_s, clock) if clock.straight and pulse.fits else NOWHERE
    found_beats = float(step_beats[0]) + bars.step / STEPS_PER_BEAT
    if pulse.anchor_beats is None:
        found_beats = foot_beats(curve, features.hop_s, clock, pulse.fold, late, found_beats)
    line = _bar_line(pulse, bars, found_beats, begin_beats, given)
    phrases = find_phrases(
        steps,
        round((line.at_beats - float(step_beats[0])) * STEPS_PER_BEAT),
        line.beats_per_bar * STEPS_PER_BEAT,
        given.phrase_bars or USUAL_PHRASE_BARS,
    )
    grid = _grid(pulse, line, end_beats, given.nudge_s)
    call = tempo_call(candidates, given.multiple)
    tempo_given = given.tempo_bpm is not None or given.beats is not None
    return GridFinding(
        grid=grid,
        tempo_confidence=1.0 if tempo_given else call.confidence,
        runner_up_bpm=None if tempo_given else call.runner_up_bpm,
        fits=pulse.fits,
        residual_ms=pulse.residual_ms,
        beat_confidence=line.beat_confidence,
        bar_confidence=line.bar_confidence,
        phrase_bars=phrases.bars if phrases else given.phrase_bars,
        phrase_first_bar=phrases.first_bar if phrases else given.phrase_bars and 1,
        reasons=(
            *(() if tempo_given else _close_tempi(grid.tempo_bpm, call)),
            *_close_bars(line),
            *misfits(pulse, given, curve, features.hop_s, candidates),
        ),
        late=tuple(zip((late.at_beats - line.at_beats).tolist(), late.late_s.tolist(), strict=True)),
    )


@dataclass(frozen=True)
class _BarLine:
    """Where bar 1 begins, in beats of the clock, and how sure that is; `unsought` bars were not looked for."""

    at_beats: float
    beats_per_bar: int
    beat_confidence: float
    bar_confidence: float
    unsought: bool = False


def _step_beats(pulse: Pulse, end_beats: float) -> Curve:
    """The places of the clock that are judged: quarters of beats, from where beats are said or look to be."""
    profile = pulse.fold.profile()
    peak = float(np.argmax(profile)) / len(profile)
    first = peak if pulse.anchor_beats is None else pulse.anchor_beats % 1.0
    step = 1 / STEPS_PER_BEAT
    return np.arange(first, max(end_beats - step, first + 2 * step), step)


def _bar_line(
    pulse: Pulse, bars: BarFinding, found_beats: float, begin_beats: float, given: Given
) -> _BarLine:
    """Bar 1 by what was said, or else by any of the bar lines found."""
    marked = given.beats.beats_per_bar if given.beats else None
    beats_per_bar = given.beats_per_bar or marked or BEATS_PER_BAR
    tolerance_beats = REACH_S / pulse.clock.beat_s
    if pulse.bar_said and pulse.anchor_beats is not None:
        return _BarLine(pulse.anchor_beats + given.shift_beats, beats_per_bar, 1.0, 1.0)
    sought = beats_per_bar == BEATS_PER_BAR
    line = found_beats
    lead_in = BEATS_PER_BAR - PICK_UP_BEATS if sought else tolerance_beats
    earliest = max(begin_beats - lead_in, -tolerance_beats)
    if (
        pulse.anchor_beats is not None and not pulse.clock.straight
    ):  # before the first mark nobody followed them
        earliest = max(earliest, pulse.anchor_beats - tolerance_beats)
    each = beats_per_bar if sought else 1
    line += math.ceil((earliest - line) / each) * each + given.shift_beats
    if line < -tolerance_beats:  # it was moved out of the recording: the next bar is the first whole one
        line += math.ceil((-tolerance_beats - line) / beats_per_bar) * beats_per_bar
    confidence = bars.bar_confidence if sought else 1.0 / beats_per_bar
    return _BarLine(line, beats_per_bar, bars.beat_confidence, confidence, not sought)


def _grid(pulse: Pulse, line: _BarLine, end_beats: float, nudge_s: float) -> Grid:
    first_s = pulse.clock.moment_s(line.at_beats) + nudge_s
    beats_s = pulse.clock.time_s(np.arange(line.at_beats, end_beats, 1.0)) + nudge_s
    if pulse.clock.straight or len(beats_s) < 2:
        return Grid(first_s, 60.0 / pulse.clock.beat_s, line.beats_per_bar)
    tempo_bpm = 60.0 / float(np.median(np.diff(beats_s)))
    return Grid(first_s, tempo_bpm, line.beats_per_bar, tuple(map(float, beats_s)))


def _first_sound_s(features: OnsetFeatures) -> float:
    """When the record begins to sound."""
    loud = np.percentile(features.power, 99, axis=0) * 10 ** (SOUNDING_DB / 10)
    smooth = uniform_filter1d(features.power.astype(np.float64), 20, axis=0)
    sounds = np.any(smooth > np.maximum(loud, 1e-12), axis=1)
    return float(np.argmax(sounds)) * features.hop_s


def _close_tempi(tempo_bpm: float, call: TempoCall) -> Iterator[str]:
    if call.confidence < CLOSE_CALL:
        yield f"{tempo_bpm:.2f} BPM is a close call against {call.runner_up_bpm:.2f}"


def _close_bars(line: _BarLine) -> Iterator[str]:
    if line.beat_confidence < CLOSE_CALL:
        yield "which part of the beat counts is a close call"
    if line.unsought:
        yield f"bars of {line.beats_per_bar} beats are not looked for: bar 1 begins on the first beat that sounds"
    elif line.bar_confidence < CLOSE_CALL:
        yield "which beat begins the bar is a close call"
