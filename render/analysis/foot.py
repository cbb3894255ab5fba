"""Where in the period the beat is, to the fraction of a millisecond: where its attacks begin.

The folded profile says which attack belongs to a place, but not when it begins: hits that stray to both sides
widen it, and its foot is then that of the earliest of them. So the foot of every single attack is read, and the middle
one of all beats counts.
"""

import numpy as np

from render.analysis.clock import Clock
from render.analysis.folding import Fold
from render.analysis.local_phase import Lateness
from render.analysis.onsets import Curve

FOOT = 0.2
"""An attack begins where its curve has risen to this share of its peak: a hit with a hard edge does so within its
first frames, and of a soft one this is the edge."""
REACH_S = 0.012
"""The attack that belongs to a place is looked for this far from it."""
LEAST_OF_PROFILE = 0.1
"""A peak of the folded profile that is lower than this share of its highest is none."""
LEAST_OF_USUAL = 0.5
"""Attacks weaker than this share of the median one are left out."""
ROUNDS = 2
"""The second one looks around where the first ended."""


def foot_beats(
    curve: Curve, hop_s: float, clock: Clock, fold: Fold, late: Lateness, about_beats: float
) -> float:
    """The place, near `about_beats`, at which attacks begin; the place itself where there are none.

    `curve` is the attack curve, `(hops,)`, and `fold` the same folded.
    """
    place = _peak_beats(fold, about_beats)
    if place is None:
        return about_beats
    for _ in range(ROUNDS):
        first = place - np.floor(place)
        beats = np.arange(first, clock.beat_at(len(curve) * hop_s), 1.0)
        expected_s = clock.time_s(beats) + late.of(beats)
        feet_s = _feet_s(curve, hop_s, expected_s)
        if not len(feet_s):
            return place
        place += float(np.median(feet_s)) / clock.beat_s
    return place


def _peak_beats(fold: Fold, about_beats: float) -> float | None:
    profile = fold.profile()
    bins = len(profile)
    about = round(about_beats * bins)
    reach = round(REACH_S / fold.period_s * bins)
    near = np.arange(about - reach, about + reach + 1)
    peak = int(near[np.argmax(profile[near % bins])])
    floor = float(np.median(profile))
    high_enough = profile[peak % bins] - floor >= LEAST_OF_PROFILE * (profile.max() - floor)
    return peak / bins if high_enough else None


def _feet_s(curve: Curve, hop_s: float, expected_s: Curve) -> Curve:
    """How late the foot of each clear attack is against when it was expected, `(attacks,)`."""
    reach = max(1, round(REACH_S / hop_s))
    middles = np.floor(expected_s / hop_s).astype(np.int64)
    inside = (middles >= 3 * reach) & (middles < len(curve) - reach)
    middles, expected_s = middles[inside], expected_s[inside]
    if not len(middles):
        return np.zeros(0)
    windows = curve[middles[:, np.newaxis] + np.arange(-reach, reach + 1)]
    peaks = middles - reach + np.argmax(windows, axis=1)
    heights = curve[peaks]
    clear = heights > 0.0
    clear &= heights >= LEAST_OF_USUAL * float(np.median(heights[clear])) if clear.any() else False
    feet = [_foot_hops(curve, int(peak), 2 * reach) for peak in peaks[clear]]
    return np.asarray(np.array(feet) * hop_s - expected_s[clear])


def _foot_hops(curve: Curve, peak: int, most: int) -> float:
    """The foot of the attack with this peak, at most so many hops before it.

    Attack curves look back only, so that a hop tells what came until its end.
    """
    level = FOOT * float(curve[peak])
    foot = peak
    while foot > peak - most and curve[foot] > level:
        foot -= 1
    below, above = float(curve[foot]), float(curve[foot + 1])
    part = (level - below) / (above - below) if above > below else 0.0
    return foot + 1.0 + min(max(part, 0.0), 1.0)
