"""The K-weighting of ITU-R BS.1770-5, Annex 1, as second-order sections for any rate.

The standard tabulates 48 kHz only; other rates come from the same analogue filters by the bilinear transform. The
coefficients are pyloudnorm's, from the filters it calls DeMan, which are the ones that give the standard's digits.
"""

import numpy as np
import numpy.typing as npt
from pyloudnorm.iirfilter import IIRfilter

K_OFFSET_DB = -0.691
"""Added to the level of the weighted mean square, so that a 997 Hz sine reads as the standard says (equation 2)."""

SHELF = (3.999843853973347, 0.7071752369554196, 1681.9744509555319, "high_shelf_DeMan")
HIGH_PASS = (0.0, 0.5003270373253953, 38.13547087613982, "high_pass_DeMan")
"""Gain in dB, quality, corner in Hz, kind: Tables 1 and 2 of the standard, traced back to the analogue filters."""


def k_weighting_filters(rate_hz: int) -> npt.NDArray[np.float64]:
    """Both stages for sound at `rate_hz`, `(2, 6)`, as `scipy.signal.sosfilt` takes them."""
    stages = []
    for gain_db, quality, corner_hz, kind in (SHELF, HIGH_PASS):
        stage = IIRfilter(gain_db, quality, corner_hz, rate_hz, kind)
        stages.append(np.concatenate([stage.b, stage.a]))
    return np.stack(stages)
