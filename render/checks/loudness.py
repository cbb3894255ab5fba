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
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pyloudnorm
from scipy import signal

from render.sound.k_weighting import k_weighting_filters
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
    meter = _meter(rate_hz)
    loudness = float(meter.integrated_loudness(whole_blocks))
    return loudness if math.isfinite(loudness) else None


def _meter(rate_hz: int) -> pyloudnorm.Meter:
    """A meter whose two stages of weighting run in one go, which halves the time of the filter.

    Replacing a meter's filters is what the library's documentation offers for weightings of one's own.
    """
    meter = pyloudnorm.Meter(rate_hz)
    meter._filters = {"both": _InOneGo(k_weighting_filters(rate_hz))}
    return meter


@dataclass(frozen=True)
class _InOneGo:
    sections: npt.NDArray[np.float64]

    def apply_filter(self, channel: npt.NDArray[np.float32]) -> npt.NDArray[np.float64]:
        weighted: npt.NDArray[np.float64] = signal.sosfilt(self.sections, channel)
        return weighted
