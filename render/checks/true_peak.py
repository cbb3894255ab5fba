"""True peak: how far the sound rises between its samples, after ITU-R BS.1770-5, Annex 2.

Conventions
-----------
- dBTP and dBFS are decibels over full scale, 1.0; the highest channel counts.
- No peak is None: digital silence.

The signal is interpolated four times (`scipy.signal.resample_poly`, its usual filter) and the largest magnitude is
taken. At four times a tone just below half the rate may still read 0.69 dB too low, as the Annex's attachment 1
tabulates.

Only a small part of a recording comes near its peak, so only that is interpolated. What is left out is proven to
lie below, not assumed. Between the samples x[n] and x[n+1] the interpolated value is Σ w[k]·x[n+k]. Split the
filter w into straight interpolation between the two samples and a remainder. The straight part lies between
the samples. The remainder nearly annihilates constants and slopes: with its sum s and its slope m taken out, it
is a weighted sum, Σ c[k], of second differences of the signal, c being the twofold running sum of what is left.
So

    |value| ≤ (1 + |s| + 2|m|) · max|x| + Σ|c| · max|second difference of x|

over the samples the filter reaches. A block in which this is no more than a peak already found is passed over.
Outside the recording there is silence.
"""

import numpy as np
import numpy.typing as npt
from scipy import signal

from render.values import Audio, gain_to_db

OVERSAMPLING = 4

REACH = 10
"""Samples the interpolation filter reaches to either side."""

BLOCK = 64
"""Frames that are passed over or interpolated together: a few times the reach, which is read on both sides."""

CHUNK = 512 * BLOCK
"""Frames worked on at a time: they stay in the processor's cache, and memory stays flat for whole records."""

WHOLE_SHARE = 0.3
"""Share of a chunk's blocks from which on interpolating all of it is faster than picking."""

ROUNDING = 1e-5
"""Relative slack for float32 sums of about twenty products: 21 roundings of 6·10⁻⁸, and some more."""

WINDOW = ("kaiser", 5.0)
FILTER: npt.NDArray[np.float64] = signal.firwin(
    2 * REACH * OVERSAMPLING + 1, 1.0 / OVERSAMPLING, window=WINDOW
)
"""The filter `resample_poly` designs for this window, but for its gain of four."""


def true_peak_dbtp(audio: Audio) -> float | None:
    """The true peak of `audio` (frames, channels); None for digital silence.

    Raises ValueError for samples that are no finite numbers.
    """
    highest = _sample_peak(audio)
    for channel in audio.T:
        for start in range(0, len(channel), CHUNK):
            highest = _peak_in_chunk(channel, start, highest)
    return gain_to_db(highest)


def sample_peak_dbfs(audio: Audio) -> float | None:
    """The largest sample of `audio` (frames, channels); None for digital silence.

    Raises ValueError for samples that are no finite numbers.
    """
    return gain_to_db(_sample_peak(audio))


def _sample_peak(audio: Audio) -> float:
    peak = max(float(audio.max()), -float(audio.min())) if audio.size else 0.0
    if not np.isfinite(peak):
        raise ValueError("the audio holds samples that are no numbers; a peak needs finite ones")
    return peak


def _bound_factors() -> tuple[float, float]:
    """The two factors of the bound above, each the largest of the filter's phases."""
    offsets = np.arange(-REACH, REACH + 2)
    levels, bends = [], []
    for phase in range(OVERSAMPLING):
        taps = REACH * OVERSAMPLING + phase - OVERSAMPLING * offsets
        inside = (taps >= 0) & (taps < len(FILTER))
        weights = np.where(inside, OVERSAMPLING * FILTER[np.where(inside, taps, 0)], 0.0)
        between = phase / OVERSAMPLING
        straight = np.where(offsets == 0, 1.0 - between, 0.0) + np.where(offsets == 1, between, 0.0)
        total = float(np.sum(weights - straight))
        rest = weights - (1.0 + total) * straight
        slope = float(np.sum(rest * offsets))
        rest += np.where(offsets == 0, slope, 0.0) - np.where(offsets == 1, slope, 0.0)
        levels.append(1.0 + abs(total) + 2.0 * abs(slope))
        bends.append(float(np.sum(np.abs(np.cumsum(np.cumsum(rest))))))
    return max(levels) * (1.0 + ROUNDING), max(bends) * (1.0 + ROUNDING)


LEVEL_FACTOR, BEND_FACTOR = _bound_factors()


def _peak_in_chunk(channel: npt.NDArray[np.float32], start: int, highest: float) -> float:
    """The larger of `highest` and the true peak of one chunk of a channel."""
    length = min(CHUNK, len(channel) - start)
    blocks = -(-length // BLOCK)
    # One block of what lies around the chunk stands before and after it; silence around the recording.
    around = np.zeros((blocks + 2) * BLOCK, np.float32)
    first, last = max(0, start - BLOCK), min(len(channel), start + (blocks + 1) * BLOCK)
    around[first - start + BLOCK : last - start + BLOCK] = channel[first:last]

    bends = np.zeros_like(around)
    np.subtract(around[2:] + around[:-2], 2.0 * around[1:-1], out=bends[1:-1])
    bound = LEVEL_FACTOR * _block_peaks(around) + BEND_FACTOR * _block_peaks(bends)
    near = np.flatnonzero(bound > highest)
    if not len(near):
        return highest
    if len(near) > WHOLE_SHARE * blocks:
        return max(highest, _interpolated_peak(around[None, :], BLOCK))
    margin = REACH + 1  # the value after the last sample reaches one sample further
    windows = around[(near[:, None] + 1) * BLOCK + np.arange(-margin, BLOCK + margin)]
    return max(highest, _interpolated_peak(windows, margin))


def _interpolated_peak(rows: npt.NDArray[np.float32], margin: int) -> float:
    """The largest magnitude of rows of samples, interpolated; `margin` samples at both ends are context only."""
    finer = signal.resample_poly(rows, OVERSAMPLING, 1, axis=1, window=WINDOW)
    finer = finer[:, margin * OVERSAMPLING : -margin * OVERSAMPLING]
    return max(float(finer.max()), -float(finer.min()))


def _block_peaks(values: npt.NDArray[np.float32]) -> npt.NDArray[np.float64]:
    """The largest magnitude in each block and its two neighbours; the outermost blocks are neighbours only."""
    blocks = values.reshape(-1, BLOCK)
    peaks = np.maximum(blocks.max(axis=1), -blocks.min(axis=1)).astype(np.float64)
    nearby: npt.NDArray[np.float64] = np.maximum(np.maximum(peaks[:-2], peaks[1:-1]), peaks[2:])
    return nearby
