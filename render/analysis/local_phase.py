"""How late single stretches of a record lie against its one grid: a worn tape, a belt that slips, a drummer who leans.

Every stretch is laid over the rest of the record, band by band, and moved until both agree best. A tape moves all
bands alike; a shaker that replaces a hat, or a pad that swells, moves one of them. So a stretch counts where bands
agree on it, and what they disagree on is taken for the noise of the measure. The lags of the whole record are then
shrunk by the share of them that is noise (the estimator of Wiener), and where they are nothing but noise, or too small
to be heard, there are none: the grid itself, which a whole record has a say in, is better then.

Spreads are read from percentiles, so that a break with other sounds in it, up to a sixth of the record, spoils
nothing.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from render.analysis.clock import Clock, hop_middles_s
from render.analysis.folding import BINS, HARMONICS, Fold, folded_by_beats
from render.analysis.onsets import Curve

BEATS_PER_BLOCK = 8
STRETCH_BLOCKS = 2
"""Of eight beats each; stretches overlap by half."""
FEWEST_STRETCHES = 6
REACH_S = 0.020
"""Further off than this, one tempo does not fit."""
BLUR_CYCLES = 0.004
"""1.6 ms in a beat of 400 ms."""
FINE_BINS = 4 * BINS
CLEAR_MATCH = 0.6
"""Least correlation of a band's stretch with the rest of that band."""
BAND_WEIGHTS = (0.3, 0.6, 1.0, 1.5)
"""The higher a band, the sharper it is in time."""
AGREED_S = 0.001
"""Bands that lie further apart about a stretch do not agree."""
WORTH_S = 0.0004
"""Stretches that scatter by less than this about the grid, without noise, are not worth a word."""
OUTLIER = 5.0
"""In standard deviations: a lag this far from the middle one is a mistake."""
SIGMA = 1.4826
"""Standard deviation of a normal distribution, in medians of absolute deviations."""


@dataclass(frozen=True)
class Lateness:
    """How many seconds late a record is at beats of its clock, `(n,)` each; nothing where it is not late anywhere."""

    at_beats: Curve
    late_s: Curve

    def __bool__(self) -> bool:
        return bool(len(self.at_beats))

    def of(self, beats: Curve) -> Curve:
        return np.interp(beats, self.at_beats, self.late_s) if self else np.zeros(len(beats))


NOWHERE = Lateness(np.zeros(0), np.zeros(0))


def lateness(rises_db: Curve, hop_s: float, clock: Clock) -> Lateness:
    """The lateness of a record with one tempo; `rises_db`: its attack curves, `(hops, 4)`."""
    beats = clock.beats_at(hop_middles_s(len(rises_db), hop_s))
    lags, clear = _lags_s(rises_db, beats, clock.beat_s)
    weights = clear * np.array(BAND_WEIGHTS)
    total = np.maximum(weights.sum(axis=1), 1e-9)
    lag_s = (weights * lags).sum(axis=1) / total
    apart_s = (weights * np.abs(lags - lag_s[:, np.newaxis])).sum(axis=1) / total
    counts = (clear.sum(axis=1) >= 2) & (apart_s <= AGREED_S)
    if np.count_nonzero(counts) < FEWEST_STRETCHES:
        return NOWHERE
    middle_s = float(np.median(lag_s[counts]))
    spread_s = float(np.subtract(*np.percentile(lag_s[counts], (84, 16)))) / 2
    noise_s = SIGMA * float(np.median(apart_s[counts]))
    signal = spread_s**2 - noise_s**2
    if signal <= WORTH_S**2:
        return NOWHERE
    counts &= np.abs(lag_s - middle_s) <= OUTLIER * spread_s
    at_beats = (np.flatnonzero(counts) + STRETCH_BLOCKS / 2) * BEATS_PER_BLOCK
    late_s = np.asarray((lag_s[counts] - middle_s) * signal / spread_s**2, np.float64)
    return Lateness(np.asarray(at_beats, np.float64), late_s)


def _lags_s(rises_db: Curve, beats: Curve, beat_s: float) -> tuple[Curve, npt.NDArray[np.bool_]]:
    """How late each stretch of each band is against the rest of that band, and whether it is like it at all;
    `(stretches, bands)` each."""
    lags, clear = zip(
        *(_band_lags_s(folded_by_beats(band, beats, beat_s, BEATS_PER_BLOCK)) for band in rises_db.T),
        strict=True,
    )
    return np.stack(lags, axis=1), np.stack(clear, axis=1)


def _band_lags_s(fold: Fold) -> tuple[Curve, npt.NDArray[np.bool_]]:
    number = np.arange(1, HARMONICS + 1)
    blocks = fold.coefficients * np.exp(-0.5 * (2 * np.pi * number * BLUR_CYCLES) ** 2)
    parts = sum(blocks[first : len(blocks) - STRETCH_BLOCKS + 1 + first] for first in range(STRETCH_BLOCKS))
    rest = blocks.sum(axis=0) - parts
    size = np.linalg.norm(parts, axis=1) * np.linalg.norm(rest, axis=1)
    spectra = np.zeros((len(parts), FINE_BINS // 2 + 1), np.complex128)
    spectra[:, 1 : HARMONICS + 1] = parts * np.conj(rest)
    match = np.fft.irfft(spectra, FINE_BINS) * (FINE_BINS / 2) / np.maximum(size, 1e-12)[:, np.newaxis]
    reach = round(REACH_S / fold.period_s * FINE_BINS)
    near = match[:, np.arange(-reach, reach + 1)]
    best = np.clip(np.argmax(near, axis=1), 1, 2 * reach - 1)
    each = np.arange(len(near))
    low, high_point, high = (near[each, best + shift] for shift in (-1, 0, 1))
    bend = np.minimum(low - 2 * high_point + high, -1e-12)
    lag_bins = best - reach + np.clip(0.5 * (low - high) / bend, -1.0, 1.0)
    return lag_bins / FINE_BINS * fold.period_s, high_point >= CLEAR_MATCH
