"""Levels: how loud each lane is against the others, and the clip against full scale.

Conventions
-----------
- Lanes are matched by turning the louder ones down to the quietest, as a performer does on a mixer. What their sum
  then needs above full scale is the headroom that has to be left there.
- The mix is float and is never limited: a trim is one gain for the whole clip.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from render.values import Audio


def matched_gains_db(loudness_lufs: Sequence[float | None]) -> list[float]:
    """Gains, in dB and none above 0, that make all lanes as loud as the quietest of them.

    A lane without a loudness (silence, or too short to have one) stays as it is.
    """
    known = [loudness for loudness in loudness_lufs if loudness is not None]
    quietest = min(known, default=0.0)
    return [0.0 if loudness is None else quietest - loudness for loudness in loudness_lufs]


@dataclass(frozen=True)
class ToCeiling:
    """As loud as a ceiling lets a clip be."""

    ceiling_dbtp: float


@dataclass(frozen=True)
class ToLoudness:
    """As loud as other clips that it is compared with, and still below its ceiling."""

    lufs: float
    ceiling_dbtp: float


Level = ToCeiling | ToLoudness


def trim_db(true_peak_dbtp: float | None, ceiling_dbtp: float) -> float:
    """The gain in dB, up or down, that puts a true peak on the ceiling; 0.0 for silence."""
    return 0.0 if true_peak_dbtp is None else ceiling_dbtp - true_peak_dbtp


def mix(lanes: Mapping[str, Audio]) -> Audio:
    """The sum of lanes of one shape (frames, channels), as loud as they come; float32, may exceed full scale.

    Lanes are added in the order of their names, so the order in which a recipe lists them changes not a byte.
    Raises ValueError without lanes, or where shapes differ.
    """
    shapes = {lane.shape for lane in lanes.values()}
    if len(shapes) != 1:
        raise ValueError(f"lanes of the shapes {sorted(shapes)} cannot be mixed; lanes must have one shape")
    first, *others = (lanes[name] for name in sorted(lanes))
    total = first.copy()
    for lane in others:
        total += lane
    return total
