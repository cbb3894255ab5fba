"""What can be wrong with a recording before anything is done to it.

Conventions
-----------
- Samples are float with full scale at 1.0, as a decoder hands them over; a lossy one may go beyond.
"""

import numpy as np

from render.values import Audio

FULL_SCALE = 0.9999
"""From here on a sample counts as full scale. The largest 16-bit sample is 32767/32768 = 0.99997."""

CLIPPED_SAMPLES = 3
"""Samples in a row at full scale that make a clipped run (common practice): a single peak may well just touch it,
and a wave that stays there has lost its top."""

SILENT_PEAK = 1e-4
"""−80 dBFS: dither of 16-bit silence, one or two steps of −90 dBFS, lies below, any music above."""


def clipped_runs(audio: Audio) -> int:
    """How many runs of three or more samples at full scale `audio` (frames, channels) has, channel by channel."""
    full = (audio >= FULL_SCALE) | (audio <= -FULL_SCALE)
    if np.count_nonzero(full) < CLIPPED_SAMPLES:
        return 0
    apart = np.pad(
        full.T, ((0, 0), (1, 1))
    ).ravel()  # channel after channel, and no run reaches into the next
    edges = np.flatnonzero(apart[1:] != apart[:-1])
    return int(np.count_nonzero(edges[1::2] - edges[::2] >= CLIPPED_SAMPLES))


def is_silent(audio: Audio) -> bool:
    """Whether no sample of `audio` (frames, channels) rises above −80 dBFS."""
    return not audio.size or bool(audio.max() < SILENT_PEAK and audio.min() > -SILENT_PEAK)
