"""True peak: how far the sound rises between its samples, after ITU-R BS.1770-5, Annex 2.

Conventions
-----------
- dBTP and dBFS are decibels over full scale, 1.0; the highest channel counts.
- No peak is None: digital silence.

The signal is interpolated four times (by the filter that `scipy.signal.resample_poly` designs unless told otherwise)
and the largest magnitude is taken. At four times a tone just below half the rate may still read 0.69 dB too low, as
the Annex's attachment 1 tabulates.

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
from numpy.lib.stride_tricks import sliding_window_view
from scipy import signal

from render.values import Audio, gain_to_db

OVERSAMPLING = 4

REACH = 10
"""Samples the interpolation filter reaches to either side."""

BLOCK = 64
"""Frames that are passed over or interpolated together: a few times the reach, which is read on both sides."""

CHUNK = 512 * BLOCK
"""Frames whose bounds are worked out at a time: they stay in the processor's cache."""

MARGIN = REACH + 1
"""Frames that are read on both sides of a block: the value after its last sample reaches one sample further."""

AT_ONCE = 128
"""Blocks that are interpolated at a time, before it is looked how many more could be higher."""

ROUNDING = 1e-5
"""Relative slack for float32 sums of about twenty products: 21 roundings of 6·10⁻⁸, and some more."""

FILTER: npt.NDArray[np.float64] = OVERSAMPLING * signal.firwin(
    2 * REACH * OVERSAMPLING + 1, 1.0 / OVERSAMPLING, window=("kaiser", 5.0)
)
_FILTER_32 = FILTER.astype(np.float32)


def true_peak_dbtp(audio: Audio) -> float | None:
    """The true peak of `audio` (frames, channels); None for digital silence.

    Raises ValueError for samples that are no finite numbers.
    """
    highest = _sample_peak(audio)
    if not highest:
        return None
    for channel in audio.T:
        highest = _peak_of(channel, highest)
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
        weights = np.where(inside, FILTER[np.where(inside, taps, 0)], 0.0)
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


def _peak_of(channel: npt.NDArray[np.float32], highest: float) -> float:
    """The larger of `highest` and the true peak of a channel, looked for first where it may be highest."""
    whole = np.pad(channel, (BLOCK, BLOCK + -len(channel) % BLOCK))
    bounds = np.concatenate(
        [_bounds(whole[at : at + CHUNK + 2 * BLOCK]) for at in range(0, len(channel), CHUNK)]
    )
    near = np.flatnonzero(bounds > highest)
    near = near[np.argsort(-bounds[near])]
    windows = sliding_window_view(whole, BLOCK + 2 * MARGIN)[BLOCK - MARGIN :: BLOCK]
    for first in range(0, len(near), AT_ONCE):
        blocks = near[first : first + AT_ONCE]
        if bounds[blocks[0]] <= highest:
            break
        highest = max(highest, _interpolated_peak(windows[blocks]))
    return highest


def _bounds(samples: npt.NDArray[np.float32]) -> npt.NDArray[np.float64]:
    """What no interpolated value of each block exceeds; the first and the last block are context only."""
    bends = np.zeros_like(samples)
    bends[1:-1] = np.diff(samples, 2)
    return LEVEL_FACTOR * _block_peaks(samples) + BEND_FACTOR * _block_peaks(bends)


def _interpolated_peak(rows: npt.NDArray[np.float32]) -> float:
    """The largest magnitude of rows of samples, interpolated; `MARGIN` samples at both ends are context only."""
    first, last = REACH + MARGIN, REACH + rows.shape[1] - MARGIN  # the filter delays by its reach
    finer = signal.upfirdn(_FILTER_32, rows, OVERSAMPLING, axis=1)
    finer = finer[:, first * OVERSAMPLING : last * OVERSAMPLING]
    return max(float(finer.max()), -float(finer.min()))


def _block_peaks(values: npt.NDArray[np.float32]) -> npt.NDArray[np.float64]:
    """The largest magnitude in each block and its two neighbours; the outermost blocks are neighbours only."""
    peaks = np.abs(values).reshape(-1, BLOCK).max(axis=1).astype(np.float64)
    nearby: npt.NDArray[np.float64] = np.maximum(np.maximum(peaks[:-2], peaks[1:-1]), peaks[2:])
    return nearby
