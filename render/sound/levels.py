"""Levels: how loud each lane is against the others, and the clip against full scale.

Conventions
-----------
- Lanes are matched by turning the louder ones down to the quietest, as a performer does on a mixer. What their sum
  then needs above full scale is the headroom that has to be left there.
- The mix is float and is never limited: a trim is one gain for the whole clip.
"""

from collections.abc import Sequence

import numpy as np

from render.values import Audio, db_to_gain

STEPS_PER_FULL_SCALE = 2.0**40
"""Lanes are summed on a grid of this many steps, −241 dB: far below a float32 sample (−138 dB at half of full
scale), and coarse enough that whole numbers of steps are exact in float64 up to 2¹³ × full scale."""


def matched_gains_db(loudness_lufs: Sequence[float | None]) -> list[float]:
    """Gains, in dB and none above 0, that make all lanes as loud as the quietest of them.

    A lane without a loudness (silence, or too short to have one) stays as it is.
    """
    known = [loudness for loudness in loudness_lufs if loudness is not None]
    quietest = min(known, default=0.0)
    return [0.0 if loudness is None else quietest - loudness for loudness in loudness_lufs]


def trim_db(true_peak_dbtp: float | None, ceiling_dbtp: float) -> float:
    """The gain in dB, up or down, that puts a true peak on the ceiling; 0.0 for silence."""
    return 0.0 if true_peak_dbtp is None else ceiling_dbtp - true_peak_dbtp


def mix(lanes: Sequence[Audio], gains_db: Sequence[float]) -> Audio:
    """The sum of lanes of one shape (frames, channels), each at its gain; float32, may exceed full scale.

    The order of the lanes does not matter, to the byte: each lane is rounded once to whole steps of a grid, and
    sums of whole numbers are exact in float64, whatever their order.

    Raises ValueError without lanes, or where shapes or counts differ.
    """
    shapes = {lane.shape for lane in lanes}
    if len(shapes) != 1 or len(lanes) != len(gains_db):
        raise ValueError(
            f"{len(lanes)} lanes of the shapes {sorted(shapes)} and {len(gains_db)} gains cannot be mixed"
            "; lanes must have one shape, and a gain each"
        )
    total = np.zeros(lanes[0].shape, np.float64)
    for lane, gain_db in zip(lanes, gains_db, strict=True):
        steps = np.multiply(lane, db_to_gain(gain_db) * STEPS_PER_FULL_SCALE, dtype=np.float64)
        total += np.rint(steps, out=steps)
    total /= STEPS_PER_FULL_SCALE
    return total.astype(np.float32)
