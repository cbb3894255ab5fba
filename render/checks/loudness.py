"""Integrated loudness after ITU-R BS.1770-5, Annex 1: what every level match here is made by.

Conventions
-----------
- LUFS over all channels of one piece of audio; a mono piece therefore reads 3.01 LU below the same sound on two
  channels.
- No loudness is None: silence, everything below the absolute gate (−70 LUFS), less than one 400 ms block.

The measuring is pyloudnorm's. Two things have to be known to get the standard out of it: its default weighting
reads −3.05 LKFS where the standard says −3.01, the one it calls DeMan has the standard's coefficients; and it
rounds the number of blocks, where the standard leaves an incomplete last block out.
"""

import math

import numpy as np
import pyloudnorm

from render.values import Audio

STEPS_PER_S = 10
"""Gating blocks start every 100 ms: 400 ms long, overlapping by 75 % (Annex 1, before equation 3)."""

STEPS_PER_BLOCK = 4


def integrated_lufs(audio: Audio, rate_hz: int) -> float | None:
    """Gated loudness of `audio`, (frames, up to 5 channels); None where there is none.

    Five channels are left, right, centre, left surround, right surround.

    Raises ValueError for samples that are no finite numbers.
    """
    if not np.isfinite(audio).all():
        raise ValueError("the audio holds samples that are no numbers; loudness needs finite ones")
    steps = len(audio) * STEPS_PER_S // rate_hz
    if steps < STEPS_PER_BLOCK:
        return None
    whole_blocks = audio[: math.ceil(steps * rate_hz / STEPS_PER_S)]
    meter = pyloudnorm.Meter(rate_hz, filter_class="DeMan")
    loudness = float(meter.integrated_loudness(whole_blocks))
    return loudness if math.isfinite(loudness) else None
