"""Which key a record is in: the three likeliest, with how sure that is, and how much the key matters.

The pitches of the whole record are compared with a profile of each of the 24 keys, turned so that its tonic falls on
each semitone in turn, by their correlation (Krumhansl, Cognitive Foundations of Musical Pitch, 1990, chapter 4). A
profile is made of three things: how well each pitch was heard to fit the key by the listeners of Krumhansl and
Kessler (1982); the key's scale; and its triad. A key and its relative have the same pitches; what tells them apart is
what the music returns to. So the bass is compared apart, with the triads alone, and so are the bars that open a phrase,
above and in the bass: a loop of chords mostly starts on its tonic (common practice). A minor key is given a small
start, most records of the kind being in one (common practice).

Conventions
-----------
- Pitch classes count in semitones from C.
- Keys are named, and minor is understood, as in `render.plan.keys`.
"""

import numpy as np
import numpy.typing as npt

from render.analysis.per_bar import Bars, Values
from render.analysis.tonal import STEPS, STEPS_PER_SEMITONE, TonalFeatures
from render.facts import KeyCandidate
from render.plan.keys import key_name

MAJOR_PROFILE = (6.35, 2.23, 3.48, 2.33, 4.38, 4.09, 2.52, 5.19, 2.39, 3.66, 2.29, 2.88)
MINOR_PROFILE = (6.33, 2.68, 3.52, 5.38, 2.60, 3.53, 2.54, 4.75, 3.98, 2.69, 3.34, 3.17)
"""Mean ratings of each pitch class from the tonic on: Krumhansl and Kessler, Tracing the dynamic changes in perceived
tonal organization in a spatial representation of musical keys, Psychological Review 89 (1982), 334-368."""

MAJOR_SCALE = (0, 2, 4, 5, 7, 9, 11)
MINOR_SCALE = (0, 2, 3, 5, 7, 8, 10)
MAJOR_TRIAD = (0, 4, 7)
MINOR_TRIAD = (0, 3, 7)


SCALE_WEIGHT = 1.0
TRIAD_WEIGHT = 0.5
"""Beside the listeners' profile at weight 1, each scaled to a variance of 1."""
BASS_WEIGHT = 0.4
OPENING_WEIGHT = 0.3
OPENING_BASS_WEIGHT = 0.3
"""Beside the comparison of all pitches above the bass, at weight 1."""
MINOR_START = 0.05
CANDIDATES = 3
SHARPNESS = 17.0
"""Turns differences of scores into odds: 0.1 ahead is five to one."""
TONAL_ENOUGH = 0.4
"""With less tonal weight than this, a key is a guess and its confidence shrinks in proportion."""


def key_candidates(
    features: TonalFeatures, bars: Bars | None = None, phrase_bars: int = 8, phrase_first_bar: int = 1
) -> tuple[KeyCandidate, ...]:
    """The three likeliest keys, the likeliest first; none for a record in which nothing is tonal.

    `phrase_first_bar` is any bar that starts a phrase. Without bars, phrases say nothing; a relative key is then
    taken for the key more often.
    """
    weight = _tonal_shares(features)
    off_tune = _tuning_steps(weight @ _evened(features.upper))
    upper, bass = _pitch_classes(features, weight, off_tune)
    if not upper.any():
        return ()
    starts_s = np.zeros(0) if bars is None else bars.starts_s
    bar = np.searchsorted(starts_s, features.time_s(), side="right")
    opens = (bar > 0) & ((bar - phrase_first_bar) % phrase_bars == 0)
    scores = key_scores(upper, bass, *_pitch_classes(features, weight * opens, off_tune))
    odds = np.exp(SHARPNESS * (scores - scores.max()))
    sure = odds / odds.sum() * min(1.0, tonal_weight(features) / TONAL_ENOUGH)
    best = np.argsort(-scores, kind="stable")[:CANDIDATES]
    return tuple(KeyCandidate(key_name(int(key)), float(scores[key]), float(sure[key])) for key in best)


def key_scores(upper: Values, bass: Values, opening: Values, opening_bass: Values) -> Values:
    """How well pitch classes, `(12,)` each, fit each key, `(24,)` as `key_name` counts.

    `opening` and `opening_bass` are those of the bars that open a phrase. What is all zero says nothing.
    """
    tonic = _members((0,))
    triads = _members(MAJOR_TRIAD), _members(MINOR_TRIAD)
    scores = _correlations(
        upper,
        _profile(MAJOR_PROFILE, MAJOR_SCALE, MAJOR_TRIAD),
        _profile(MINOR_PROFILE, MINOR_SCALE, MINOR_TRIAD),
    )
    scores += BASS_WEIGHT * _correlations(bass, *triads)
    scores += OPENING_WEIGHT * _correlations(opening, *triads)
    scores += OPENING_BASS_WEIGHT * _correlations(opening_bass, tonic, tonic)
    scores /= 1.0 + BASS_WEIGHT + OPENING_WEIGHT + OPENING_BASS_WEIGHT
    scores[12:] += MINOR_START
    return scores


def tonal_weight(features: TonalFeatures) -> float:
    """How much of a record above 100 Hz is tone, 0 (drums alone) to 1: the mean over what is not silent."""
    return float(np.mean(_tonal_shares(features)[_sounding(features)])) if _sounding(features).any() else 0.0


def tonal_weight_per_bar(features: TonalFeatures, bars: Bars) -> Values:
    """The same for each bar, `(bars,)`."""
    return bars.mean_per_bar(features.time_s(), _tonal_shares(features))


def _sounding(features: TonalFeatures) -> npt.NDArray[np.bool_]:
    """The frames within 50 dB of the loudest."""
    power = features.whole_power
    return np.asarray(power > power.max(initial=0.0) * 1e-5)


def _tonal_shares(features: TonalFeatures) -> Values:
    """The share of tone in each frame; 0 in silence."""
    whole = features.whole_power.astype(np.float64)
    shares = np.divide(features.tonal_power, whole, out=np.zeros_like(whole), where=_sounding(features))
    return np.clip(shares, 0.0, 1.0)


def _pitch_classes(features: TonalFeatures, weight: Values, off_tune: int) -> tuple[Values, Values]:
    """The pitch classes above and in the bass, `(12,)` each, of frames that count by `weight`, `(frames,)`."""
    upper, bass = weight @ _evened(features.upper), weight @ _evened(features.bass)
    return _by_semitone(upper, off_tune), _by_semitone(bass, off_tune)


def _evened(pitches: npt.NDArray[np.float32]) -> Values:
    """Each frame's pitches divided by the root of their sum, so that loud parts do not rule."""
    total = pitches.sum(axis=1, keepdims=True, dtype=np.float64)
    evened: Values = pitches / np.maximum(total, 1e-12) * np.sqrt(np.maximum(total, 0.0))
    return evened


def _tuning_steps(pitches: Values) -> int:
    """By how many fine steps the record lies above equal temperament at 440 Hz: the circular mean of all peaks."""
    turns = np.exp(2j * np.pi * np.arange(STEPS) / STEPS_PER_SEMITONE)
    return round(float(np.angle(np.sum(pitches * turns))) / (2 * np.pi) * STEPS_PER_SEMITONE)


def _by_semitone(pitches: Values, off_tune: int) -> Values:
    centred = np.roll(pitches, STEPS_PER_SEMITONE // 2 - off_tune)
    semitones: Values = centred.reshape(12, STEPS_PER_SEMITONE).sum(axis=1)
    return semitones


def _members(pitch_classes: tuple[int, ...]) -> Values:
    members = np.zeros(12)
    members[list(pitch_classes)] = 1.0
    return members


def _scaled(profile: Values) -> Values:
    scaled: Values = (profile - profile.mean()) / profile.std()
    return scaled


def _profile(ratings: tuple[float, ...], scale: tuple[int, ...], triad: tuple[int, ...]) -> Values:
    return (
        _scaled(np.array(ratings))
        + SCALE_WEIGHT * _scaled(_members(scale))
        + TRIAD_WEIGHT * _scaled(_members(triad))
    )


def _correlations(pitch_classes: Values, major: Values, minor: Values) -> Values:
    """Pearson's correlation of pitch classes with both profiles at every tonic, `(24,)`."""
    heard = pitch_classes - pitch_classes.mean()
    heard = heard / max(float(np.linalg.norm(heard)), 1e-12)
    found = []
    for profile in (major, minor):
        centred = profile - profile.mean()
        centred = centred / np.linalg.norm(centred)
        found += [float(heard @ np.roll(centred, tonic)) for tonic in range(12)]
    return np.array(found)
