"""How loud a record is as a whole, heard once: integrated loudness, loudness range, true peak, clipped runs.

`render.checks` measures finished clips, which lie in memory; a record is heard in blocks, so each measure here
carries what it needs from one block to the next. Both follow the same clauses and are compared in the tests.

Conventions
-----------
- LUFS after ITU-R BS.1770-5, Annex 1, gated; LU of range after EBU Tech 3342 V4 (November 2023); dBTP after Annex 2,
  interpolated four times; the highest channel counts.
- A value that does not exist is None: silence, or less than one block of 400 ms, or for the range one window of 3 s.
- A clipped run is `CLIPPED_SAMPLES` or more samples of one channel in a row at full scale (common practice).
"""

from functools import cache

import numpy as np
import numpy.typing as npt
import scipy.signal as dsp

from render.facts import RecordLevels
from render.sound.k_weighting import K_OFFSET_DB, k_weighting_filters
from render.values import Audio, gain_to_db

STEP_S = 0.1
STEPS_PER_BLOCK = 4
"""Gating blocks of 400 ms that overlap by 75 % (BS.1770-5, Annex 1, before equation 3)."""
ABSOLUTE_GATE_LUFS = -70.0
RELATIVE_GATE_LU = -10.0

STEPS_PER_WINDOW = 30
"""Short-term loudness: windows of 3 s, a new one every 100 ms (EBU Tech 3342, clause 3.1: at least 10 Hz)."""
SILENT_STEPS = 15
"""A file is measured as if at least 1.5 s of silence followed it (EBU Tech 3342, clause 5)."""
RANGE_GATE_LU = -20.0
PERCENTILES = (10, 95)

OVERSAMPLING = 4
REACH = 10
"""Samples the interpolation filter reaches to either side."""
MARGIN = 2 * REACH
SPAN = 64
"""Frames that are passed over or interpolated together."""
WINDOW = ("kaiser", 5.0)
FILTER = dsp.firwin(2 * REACH * OVERSAMPLING + 1, 1.0 / OVERSAMPLING, window=WINDOW)
MOST_GAIN = float(
    max(np.sum(np.abs(FILTER[phase::OVERSAMPLING])) for phase in range(OVERSAMPLING)) * OVERSAMPLING
)
"""No interpolated value is further from 0 than this times the largest sample within the filter's reach."""

FULL_SCALE = 0.9999
"""From here on a sample counts as full scale. The largest 16-bit sample is 32767/32768 = 0.99997."""
CLIPPED_SAMPLES = 3

Powers = npt.NDArray[np.float64]
"""The mean weighted power of each step of 100 ms, its channels added up, `(steps,)`."""


class LevelListener:
    """Hears a record block by block, `(frames, 1 or 2)` at `rate_hz`."""

    def __init__(self, rate_hz: int) -> None:
        self._rate_hz = rate_hz
        self._sections = k_weighting_filters(rate_hz)
        self._state: npt.NDArray[np.float64] | None = None
        self._heard_frames = 0
        self._steps = [0.0]
        self._kept: Audio | None = None
        self._sample_peak = self._peak = 0.0
        self._full: npt.NDArray[np.int64] = np.zeros(0, np.int64)
        self._runs = 0

    def feed(self, block: Audio) -> None:
        if not len(block):
            return
        self._sample_peak = max(self._sample_peak, float(block.max()), -float(block.min()))
        self._peak = max(self._peak, self._sample_peak)
        self._weigh(block)
        self._interpolate(block)
        self._count_runs(block)
        self._heard_frames += len(block)

    def heard(self) -> RecordLevels:
        """The levels of everything fed. Nothing can be fed after that."""
        if self._kept is not None:
            self._interpolate(np.zeros((MARGIN, self._kept.shape[1]), np.float32))
        runs = self._runs + int(np.count_nonzero(self._full >= CLIPPED_SAMPLES))
        steps = np.array(self._steps) / (STEP_S * self._rate_hz)
        whole = int(self._heard_frames / (STEP_S * self._rate_hz) + 1e-9)
        return RecordLevels(
            _integrated_lufs(steps[:whole]),
            loudness_range_lu(steps) if whole >= STEPS_PER_WINDOW else None,
            gain_to_db(self._peak),
            gain_to_db(self._sample_peak),
            runs,
        )

    def _weigh(self, block: Audio) -> None:
        """Add the weighted energy of a block to the steps it lies in."""
        if self._state is None:
            self._state = np.zeros((len(self._sections), 2, block.shape[1]))
        weighted, self._state = dsp.sosfilt(self._sections, block, axis=0, zi=self._state)
        energy = np.einsum("fc,fc->f", weighted, weighted)
        first_step = len(self._steps) - 1
        last_step = int((self._heard_frames + len(block)) / (STEP_S * self._rate_hz)) + 1
        edges = np.round(np.arange(first_step + 1, last_step + 1) * STEP_S * self._rate_hz).astype(int)
        edges = edges[edges < self._heard_frames + len(block)] - self._heard_frames
        sums = np.add.reduceat(energy, np.concatenate([[0], edges]))
        self._steps[-1] += float(sums[0]) if not len(edges) or edges[0] > 0 else 0.0
        self._steps += [float(value) for value in sums[1:]]

    def _interpolate(self, block: Audio) -> None:
        """Raise the true peak by what lies between the samples up to `MARGIN` before the block's end."""
        if self._kept is None:
            self._kept = np.zeros((MARGIN, block.shape[1]), np.float32)
        signal = np.concatenate([self._kept, block])
        self._kept = signal[-MARGIN:]
        for channel in signal.T:
            self._peak = max(self._peak, _peak_between(channel, self._peak))

    def _count_runs(self, block: Audio) -> None:
        """Count the runs that end within a block; `_full` is how long each channel's open one is."""
        full = np.abs(block) >= FULL_SCALE
        if not len(self._full):
            self._full = np.zeros(block.shape[1], np.int64)
        for number, channel in enumerate(full.T):
            opened = np.concatenate([np.ones(min(int(self._full[number]), CLIPPED_SAMPLES), bool), channel])
            edges = np.flatnonzero(np.diff(opened, prepend=False, append=False))
            lengths = edges[1::2] - edges[::2]
            is_open = len(edges) > 0 and edges[-1] == len(opened)
            self._runs += int(np.count_nonzero(lengths[: len(lengths) - is_open] >= CLIPPED_SAMPLES))
            self._full[number] = lengths[-1] if is_open else 0


def _integrated_lufs(steps: Powers) -> float | None:
    """Integrated loudness of whole blocks: BS.1770-5, Annex 1, equations 2 to 7."""
    if len(steps) < STEPS_PER_BLOCK:
        return None
    blocks = _means(steps, STEPS_PER_BLOCK)
    loud = blocks[blocks > _power(ABSOLUTE_GATE_LUFS)]
    if not len(loud):
        return None
    kept = loud[loud > float(np.mean(loud)) * 10.0 ** (RELATIVE_GATE_LU / 10)]
    return _lufs(float(np.mean(kept)))


def loudness_range_lu(steps: Powers) -> float | None:
    """How far the 10th and the 95th percentile of the gated short-term loudness lie apart: EBU Tech 3342 V4 (2023).

    The percentile p of n values is the one at place round((n - 1) * p / 100 + 1) of the sorted ones, counted from 1
    (clause 5). Not pyloudnorm's, which needs the whole record in memory, and steps by 90 ms.
    """
    windows = _means(np.concatenate([steps, np.zeros(SILENT_STEPS)]), STEPS_PER_WINDOW)
    loud = windows[windows >= _power(ABSOLUTE_GATE_LUFS)]
    if not len(loud):
        return None
    kept = np.sort(loud[loud >= float(np.mean(loud)) * 10.0 ** (RANGE_GATE_LU / 10)])
    lowest, highest = (float(kept[((len(kept) - 1) * percent + 50) // 100]) for percent in PERCENTILES)
    return _lufs(highest) - _lufs(lowest)


def _means(steps: Powers, count: int) -> Powers:
    """The mean power of every `count` steps in a row."""
    return np.convolve(steps, np.full(count, 1.0 / count), "valid")


def _lufs(power: float) -> float:
    return float(10.0 * np.log10(power) + K_OFFSET_DB)


def _power(lufs: float) -> float:
    return float(10.0 ** ((lufs - K_OFFSET_DB) / 10))


def _peak_between(channel: npt.NDArray[np.float32], highest: float) -> float:
    """The largest interpolated magnitude of a channel, its first and last `REACH` samples being context only.

    Spans in which `MOST_GAIN` proves that nothing exceeds `highest` are passed over.
    """
    inner = len(channel) - MARGIN
    width = min(SPAN, inner)
    starts = np.minimum(
        np.arange(0, inner, SPAN), inner - width
    )  # the last span reaches back, not beyond the end
    rows = np.lib.stride_tricks.sliding_window_view(channel, width + MARGIN)[starts]
    near = np.flatnonzero(np.abs(rows).max(axis=1) * MOST_GAIN > highest)
    if not len(near):
        return highest
    finer = rows[near] @ _interpolation(width)
    return max(float(finer.max()), -float(finer.min()))


@cache
def _interpolation(width: int) -> npt.NDArray[np.float32]:
    """What interpolates `width` samples with `REACH` to either side, as a matrix: one product is far quicker than the
    filter run over thousands of short rows."""
    samples = np.eye(width + MARGIN)
    finer = dsp.resample_poly(samples, OVERSAMPLING, 1, axis=1, window=WINDOW)
    return np.asarray(finer[:, REACH * OVERSAMPLING : -REACH * OVERSAMPLING], np.float32)
