"""Beats one by one, for records that no single tempo fits: live drums, worn tape.

Trackers that decide beat by beat slip onto the off-beat and stay there. So the wandering tempo is followed first, as
a curve, and where in the beat things lie is left open until the whole record has been laid straight:

1. the comb of `tempo`, laid over windows of a few bars, says how well each rate near the usual one serves there; the
   smoothest good path through the windows is found by dynamic programming (Viterbi);
2. the path, summed up, counts beats from the record's start. Stretch by stretch the folded curve is compared with
   what came before and the count is corrected by the lag, so that small errors of the rate do not add up;
3. with the beats counted, the record can be cut into steps like one of fixed tempo, and `bars` judges it.

A drummer's single hits stray by some milliseconds; the count is smooth over stretches and does not follow them.
(Following a tempo path by dynamic programming: Ellis, "Beat Tracking by Dynamic Programming", Journal of New Music
Research 36(1), 2007; local tempo as a path: Grosche and Müller, IEEE TASLP 19(6), 2011.)
"""

import numpy as np

from render.analysis.folding import BINS, HARMONICS, Coefficients, folded_by_beats
from render.analysis.onsets import Curve

WANDER = 0.05
"""How far from its usual tempo a record is followed, relatively."""
RATES = 101
WINDOW_BEATS = 16.0
WINDOW_STEP_BEATS = 4.0
TEETH = 12
THIN_HOPS = 4
STEADINESS = 3_000.0
"""Price of a change from one window to the next, per squared percent of tempo, in shares of a window's power: a
change of 1 % within four beats costs as much as 0.3 of it."""

STRETCH_BEATS = 8
CORRECTIONS = 3
MEMORY = 0.85
"""How much of what a stretch is compared with is older than the stretch before it."""
REACH_BEATS = 0.06
LAG_BLUR_BEATS = 0.012
TRUST = 0.7
"""The share of a lag that is corrected at once."""


def counted_beats(curve: Curve, hop_s: float, usual_beat_s: float) -> Curve:
    """Beats since the start of the record, hop by hop, `(hops,)`, from 0; fractional, always growing.

    Beat 0.0 is the start of the recording, not a beat that is heard: what lies on the beat is not decided here.
    """
    path = _rate_path(curve, hop_s, usual_beat_s)
    beats = np.cumsum(path) * hop_s
    for _ in range(CORRECTIONS):
        beats = _corrected(curve, beats, usual_beat_s)
    return beats


def _rate_path(curve: Curve, hop_s: float, usual_beat_s: float) -> Curve:
    """Beats per second at every hop."""
    thin_s = THIN_HOPS * hop_s
    thin = curve[: len(curve) // THIN_HOPS * THIN_HOPS].reshape(-1, THIN_HOPS).sum(axis=1)
    size = min(round(WINDOW_BEATS * usual_beat_s / thin_s), len(thin))
    step = max(1, round(WINDOW_STEP_BEATS * usual_beat_s / thin_s))
    starts = np.arange(0, len(thin) - size + 1, step)
    windows = np.stack([thin[start : start + size] for start in starts]) * np.hanning(size)
    windows -= windows.mean(axis=1, keepdims=True)
    rates = np.linspace(1.0 - WANDER, 1.0 + WANDER, RATES) / usual_beat_s
    time_s = np.arange(size) * thin_s
    power = np.zeros((len(starts), RATES))
    for tooth in range(1, TEETH + 1):
        power += np.abs(windows @ np.exp(-2j * np.pi * tooth * np.outer(time_s, rates))) ** 2
    best = _smoothest(power / (power.max(axis=1, keepdims=True) + 1e-12))
    middles = starts * THIN_HOPS + size * THIN_HOPS / 2
    return np.interp(np.arange(len(curve)), middles, rates[best])


def _smoothest(share: Curve) -> list[int]:
    """The path through `share`, `(windows, rates)`, that gathers most and changes least (Viterbi)."""
    places = np.linspace(-WANDER, WANDER, share.shape[1])
    price = STEADINESS * (places[:, np.newaxis] - places[np.newaxis, :]) ** 2
    gained = share[0]
    came_from = []
    for window in share[1:]:
        total = gained[np.newaxis, :] - price
        came_from.append(np.argmax(total, axis=1))
        gained = window + total.max(axis=1)
    path = [int(np.argmax(gained))]
    for origin in reversed(came_from):
        path.append(int(origin[path[-1]]))
    return path[::-1]


def _corrected(curve: Curve, beats: Curve, usual_beat_s: float) -> Curve:
    """The count, moved by how far each stretch lies from those before it."""
    fold = folded_by_beats(curve, beats, usual_beat_s, STRETCH_BEATS)
    number = np.arange(1, HARMONICS + 1)
    blur = np.exp(-0.5 * (2 * np.pi * number * LAG_BLUR_BEATS) ** 2)
    before: Coefficients = fold.coefficients[: max(2, 64 // STRETCH_BEATS)].sum(axis=0) * blur
    lag, lags = 0.0, []
    for stretch in fold.coefficients * blur:
        straight = stretch * np.exp(2j * np.pi * number * lag)
        lag += TRUST * _lag_beats(straight, before)
        lags.append(lag)
        before = MEMORY * before + stretch * np.exp(2j * np.pi * number * lag)
    middles = (np.arange(fold.blocks) + 0.5) * STRETCH_BEATS
    smooth = np.convolve(np.pad(lags, 1, mode="edge"), [0.25, 0.5, 0.25], mode="valid")
    corrected = beats - np.interp(beats, middles, smooth)
    return np.maximum.accumulate(corrected - min(0.0, float(corrected[0])))


def _lag_beats(stretch: Coefficients, before: Coefficients) -> float:
    """How late a stretch is against what came before, in beats, within `REACH_BEATS`; 0 where it is silent."""
    size = float(np.linalg.norm(stretch) * np.linalg.norm(before))
    if size <= 0.0:
        return 0.0
    spectrum = np.zeros(BINS // 2 + 1, dtype=np.complex128)
    spectrum[1 : HARMONICS + 1] = stretch * np.conj(before)
    match = np.fft.irfft(spectrum, BINS) * BINS / 2 / size
    reach = round(REACH_BEATS * BINS)
    near = np.arange(-reach, reach + 1)
    best = int(near[np.argmax(match[near])])
    return best / BINS if match[best] > 0.2 else 0.0
