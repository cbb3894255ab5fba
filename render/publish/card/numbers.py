"""The numbers of a stage card, rounded so that they are still right.

A time is written to the millisecond, which is at most half of one off. A tempo is written to as many decimals as keep
what follows from it in place until the clip's end: whoever sets exactly what is written drifts by `DRIFT_MS` at most.
"""

import math

from render.values import Grid

DRIFT_MS = 2.0
"""The most that a rounded tempo change may drift over a clip; it is also what a beat of the clip may be off."""
COUNT_MS = 0.5
"""The most that a rounded tempo in BPM may be off over a clip, when beats are counted by it: as much as a time is."""
USUAL_DECIMALS, MOST_DECIMALS = 2, 6
"""Of a percentage: what a display shows (common practice), and where there is nothing left to round."""


def percent(speed: float, span_s: float) -> str:
    """The tempo change of a record played `speed` times as fast, signed, good for so many seconds of the clip."""
    change = (speed - 1.0) * 100.0
    decimals = USUAL_DECIMALS
    while decimals < MOST_DECIMALS and drift_ms(speed, span_s, decimals) > DRIFT_MS:
        decimals += 1
    return f"{round(change, decimals) + 0.0:+.{decimals}f}"


def drift_ms(speed: float, span_s: float, decimals: int = USUAL_DECIMALS) -> float:
    """How far a record is off after so many seconds when its tempo change is set to so many decimals of a percent."""
    change = (speed - 1.0) * 100.0
    return abs(round(change, decimals) - change) / 100.0 * span_s * 1000.0


def tempo(tempo_bpm: float, span_s: float) -> str:
    """A tempo in BPM by which beats can be counted for so many seconds."""
    decimals = 0
    while (
        decimals < MOST_DECIMALS
        and abs(round(tempo_bpm, decimals) / tempo_bpm - 1.0) * span_s * 1000.0 > COUNT_MS
    ):
        decimals += 1
    return f"{tempo_bpm:.{decimals}f}"


def bar_and_beat(grid: Grid, time_s: float) -> str:
    """A place in a record as `65.3`; what lies between two beats as `65.3 + 0.5`, before bar 1 as `bar 1 - 2`."""
    # Stated times are rounded to a millisecond; a hundredth of a beat is about three.
    beat = round(grid.beat_at(time_s), 2)
    if beat < 0:
        return f"bar 1 - {-beat:g}"
    bar, in_bar = grid.bar_and_beat(beat)
    whole = math.floor(round(in_bar, 2))
    rest = round(in_bar - whole, 2)
    return f"{bar}.{whole} + {rest:g}" if rest else f"{bar}.{whole}"
