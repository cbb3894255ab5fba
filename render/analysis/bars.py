"""Which beat is the first of its bar, and which half of it is the beat: sixteen hypotheses, judged together.

Once the period is known, every bar falls into sixteen steps (sixteenths). Bars could begin on any of them: four
answers to "where in the bar?" for each of four to "where in the beat?". Every hypothesis is judged by the same
witnesses, in points of log-likelihood:

- hard hits: snares and claps fall on beats rather than between them;
- low attacks: kicks and bass begin on beats; the first kick of a bar is its hardest. A minor hint: broken beats
  place kicks anywhere;
- the backbeat: hard hits fall on beats two and four rather than one and three;
- chords: the pitch classes of the bar from here on differ from those of the bar before here, on bar lines; the same
  from beat to beat;
- structure: what plays, band by band, changes on bar lines, over one bar and over four;
- the first attack of a record tends to begin a bar, where no pick-up precedes it.

A change over whole bars is blind to the pattern inside them, so that its peaks stand out where sections meet
(novelty: Foote, "Automatic Audio Segmentation Using a Measure of Audio Novelty", ICME 2000). The weights are those of
a conditional logistic regression over records whose bars are known, rounded.

Conventions
-----------
- Steps are a quarter of a beat, and their times are handed in; bars have four beats.
- Every witness is an array `(16,)`: its word for the hypothesis that bars begin at that step.
"""

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import maximum_filter1d

from render.analysis.onsets import Curve, OnsetFeatures
from render.analysis.tempo import amplitude_rises
from render.facts import USUAL_PHRASE_BARS

BEATS_PER_BAR = 4
STEPS_PER_BEAT = 4
STEPS = BEATS_PER_BAR * STEPS_PER_BEAT
HALF_STEP_BEATS = 0.1
"""What begins this near to a step belongs to it: swung sixteenths and loose playing included."""

LOUD_PERCENTILE = 97
LOUDEST = 1.2
ATTACK_CAP_DB = 20.0
CLEAR_ATTACK_DB = 15.0
"""Summed over bands: less may be noise."""
STRUCTURE_FLOOR = 3e-4

HARD_ON_BEAT_POINTS = 2.8
LOW_ON_BEAT_POINTS = 2.1
LOUD_LOW_POINTS = 0.6
BACKBEAT_POINTS = 0.6
FIRST_KICK_POINTS = 1.5
CHORD_BAR_POINTS = 1.8
CHORD_BEAT_POINTS = 2.8
SECTION_BAR_POINTS = 2.2
SECTION_POINTS = 1.1
FIRST_ATTACK_POINTS = 1.3

SPAN_BARS = 4
"""Changes are those from so many bars to as many more."""
TAIL_BARS = 4
"""That a record ends says nothing of its phrases: it may ring on."""
CHANGE = 1.0
"""A change of one bel in one band, or half of it in four, counts 0.58 of what an endless one does (tanh, squared): one
huge change must not outweigh several that agree."""
CLEAR_CHANGE = 0.2
"""One decibel in each of four bands; a loop that repeats itself changes by less, and all over the place."""
CLEAR_PHRASE = 0.4
"""Least share of the changes that must fall on one bar of a phrase; of eight, chance gives an eighth."""


@dataclass(frozen=True)
class Steps:
    """A record cut into steps; all arrays `(steps, …)`, the time of each step in the middle of its window."""

    time_s: Curve
    attacks_db: Curve
    hard: Curve
    low: Curve
    bands: Curve
    pitch: Curve


@dataclass(frozen=True)
class BarFinding:
    """Where bars begin: on `step`, and every 16 steps. Confidences are shares of likelihood; nobody can be surer of
    the bar than of the beat."""

    step: int
    beat_confidence: float
    bar_confidence: float


@dataclass(frozen=True)
class PhraseFinding:
    """Phrases of `bars` bars, the first of which begins at `first_bar`; `share` of the changes agrees."""

    bars: int
    first_bar: int
    share: float


def cut_into_steps(features: OnsetFeatures, rises_db: Curve, time_s: Curve) -> Steps:
    """The record step by step, at `time_s`: (steps,), at least two. `rises_db`: the attack curves, `(hops, 4)`."""
    hop_s = features.hop_s
    step_s = np.diff(time_s, append=2 * time_s[-1] - time_s[-2])
    half_s = HALF_STEP_BEATS * STEPS_PER_BEAT * step_s
    first_s, last_s = np.asarray(time_s - half_s), np.asarray(time_s + half_s)
    attacks = np.minimum(_sums(rises_db, first_s, last_s, hop_s), ATTACK_CAP_DB)
    hard = _sums(amplitude_rises(features.power[:, 2], 8, 8), first_s, last_s, hop_s)
    low = _sums(amplitude_rises(features.power[:, 0], 16, 16), first_s, last_s, hop_s)
    sums = _sums(features.power.astype(np.float64), time_s, np.asarray(time_s + step_s), hop_s)
    mean_power = np.maximum(sums * hop_s / step_s[:, np.newaxis], 0.0)
    loudest = features.power.max(axis=0).astype(np.float64)
    bands = np.log10(mean_power + loudest * STRUCTURE_FLOOR + 1e-12)
    pitch = _pitch(features, np.asarray(time_s + step_s / 2))
    return Steps(time_s, attacks, _relative(hard), _relative(low), bands, pitch)


def find_bars(steps: Steps, *, beat_known: bool = False) -> BarFinding:
    """The likeliest of the sixteen places for bars to begin; of four, where the first step is known to be a beat."""
    points = _points(steps)
    share = np.exp(points - points.max())
    share /= share.sum()
    of_beat = share.reshape(BEATS_PER_BAR, STEPS_PER_BEAT).sum(axis=0)
    beat = 0 if beat_known else int(np.argmax(of_beat))
    of_bar = share[beat::STEPS_PER_BEAT]
    beat_confidence = 1.0 if beat_known else float(of_beat[beat])
    return BarFinding(
        step=beat + STEPS_PER_BEAT * int(np.argmax(of_bar)),
        beat_confidence=beat_confidence,
        bar_confidence=beat_confidence * float(of_bar.max() / of_bar.sum()),
    )


def find_phrases(
    steps: Steps, first_step: int, bar_steps: int = STEPS, phrase_bars: int = USUAL_PHRASE_BARS
) -> PhraseFinding | None:
    """The bar, from 1, that begins the first phrase; None where changes do not agree.

    `first_step` is the step on which bar 1 begins, before the first one where it is negative.
    """
    span = SPAN_BARS * bar_steps
    changes = maximum_filter1d(_changes(steps.bands, span) + _changes(steps.pitch, span), 3)
    lost = max(0, -(first_step // bar_steps))
    bars = changes[first_step + lost * bar_steps :: bar_steps]
    bars[-(SPAN_BARS + TAIL_BARS) :] = 0.0
    peaks = np.where(bars == maximum_filter1d(bars, phrase_bars // 2 + 1), np.tanh(bars / CHANGE), 0.0) ** 2
    peaks[bars < CLEAR_CHANGE] = 0.0
    if len(peaks) < 2 * phrase_bars or not peaks.any():
        return None
    share = np.array([peaks[bar::phrase_bars].sum() for bar in range(phrase_bars)]) / peaks.sum()
    best = int(np.argmax(share))
    if share[best] < CLEAR_PHRASE:
        return None
    return PhraseFinding(phrase_bars, (best + lost) % phrase_bars + 1, float(share[best]))


def _points(steps: Steps) -> Curve:
    if len(steps.time_s) < 2 * STEPS:
        return np.zeros(STEPS)
    hard, low, attacks = _bar(steps.hard), _bar(steps.low), _bar(steps.attacks_db[:, 0])
    low_attacks = attacks / (attacks.max() + 1e-9)
    first = int(np.argmax(steps.attacks_db.sum(axis=1) > CLEAR_ATTACK_DB))
    return np.asarray(
        HARD_ON_BEAT_POINTS * (_on_beats(hard) - np.roll(_on_beats(hard), -2))
        + LOUD_LOW_POINTS * (_on_beats(low) - np.roll(_on_beats(low), -2))
        + LOW_ON_BEAT_POINTS * _on_beats(low_attacks)
        + BACKBEAT_POINTS * (_step(hard, 4) + _step(hard, 12) - hard - _step(hard, 8))
        + FIRST_KICK_POINTS * (low - _step(low, 8))
        + CHORD_BAR_POINTS * _bar_lines(_changes(steps.pitch, STEPS), STEPS // 2)
        + CHORD_BEAT_POINTS * _bar_lines(_changes(steps.pitch, STEPS_PER_BEAT), STEPS_PER_BEAT)
        + SECTION_BAR_POINTS * _bar_lines(_changes(steps.bands, STEPS), STEPS // 2)
        + SECTION_POINTS * _bar_lines(_changes(steps.bands, SPAN_BARS * STEPS), STEPS)
        + FIRST_ATTACK_POINTS * (np.arange(STEPS) == first % STEPS)
    )


def _bar(values: Curve) -> Curve:
    """The mean bar of something, `(16,)`."""
    whole = len(values) // STEPS * STEPS
    return np.asarray(values[:whole].reshape(-1, STEPS).mean(axis=0))


def _step(bar: Curve, later: int) -> Curve:
    """What lies so many steps after each hypothesis."""
    return np.roll(bar, -later)


def _on_beats(bar: Curve) -> Curve:
    """The mean over the four beats of the bar that begins at each step."""
    return np.asarray(np.mean([_step(bar, STEPS_PER_BEAT * beat) for beat in range(BEATS_PER_BAR)], axis=0))


def _changes(values: Curve, span: int) -> Curve:
    """How far the mean of the `span` steps from here on lies from that of those before, step by step."""
    changes = np.zeros(len(values))
    if len(values) > 2 * span:
        sums = np.vstack((np.zeros(values.shape[1]), np.cumsum(values, axis=0)))
        means = (sums[span:] - sums[:-span]) / span
        changes[span : len(values) - span + 1] = np.linalg.norm(means[span:] - means[:-span], axis=1)
    return changes


def _bar_lines(changes: Curve, apart: int) -> Curve:
    """The share of the peaks of change, squared, that fall on each of the sixteen steps."""
    peaks = np.flatnonzero((changes == maximum_filter1d(changes, 2 * apart + 1)) & (changes > 0))
    shares = np.bincount(peaks % STEPS, weights=changes[peaks] ** 2, minlength=STEPS)
    return np.asarray(shares / (shares.sum() + 1e-9))


def _sums(curve: Curve, from_s: Curve, until_s: Curve, hop_s: float) -> Curve:
    """The sum of a curve over each window, `(windows, …)`."""
    sums = np.concatenate((np.zeros((1, *curve.shape[1:])), np.cumsum(curve, axis=0)))
    first = np.clip(np.round(from_s / hop_s).astype(np.int64), 0, len(curve))
    last = np.clip(np.round(until_s / hop_s).astype(np.int64), 0, len(curve))
    return np.asarray(sums[last] - sums[first])


def _relative(strength: Curve) -> Curve:
    """Strengths relative to the loud ones, capped, so that one crash does not outweigh a bar."""
    loud = float(np.percentile(strength, LOUD_PERCENTILE)) if strength.size else 0.0
    return np.minimum(strength / loud, LOUDEST) if loud > 0 else np.zeros(len(strength))


def _pitch(features: OnsetFeatures, time_s: Curve) -> Curve:
    """Pitch classes at times, each of length one, so that only the chord counts."""
    if len(features.pitch) == 0:
        return np.zeros((len(time_s), 12))
    amplitude = np.sqrt(features.pitch.astype(np.float64))
    length = np.linalg.norm(amplitude, axis=1, keepdims=True)
    unit = amplitude / (length + 1e-3 * length.max() + 1e-12)
    moments_s = np.arange(len(unit)) * features.pitch_hop_s
    return np.stack([np.interp(time_s, moments_s, unit[:, each]) for each in range(12)], axis=1)
