"""Beats and seconds of one recording: by one period, or by times between which the beats are known.

Conventions
-----------
- Beats of a clock count from the start of the recording, not from bar 1; they are never negative within it.
- A whole beat of a clock lies on a beat that is heard only where somebody marked it; elsewhere the fold tells where
  in the period the beat is.
"""

import math
from dataclasses import dataclass

import numpy as np

from render.analysis.onsets import Curve


@dataclass(frozen=True)
class Clock:
    """Straight where `known_beats` is None; else beats are known at `known_s`, both growing, `(n,)`.

    Before and after what is known, `beat_s` goes on.
    """

    beat_s: float
    known_beats: Curve | None = None
    known_s: Curve | None = None

    @property
    def straight(self) -> bool:
        return self.known_beats is None

    def time_s(self, beats: Curve) -> Curve:
        if self.known_beats is None or self.known_s is None:
            return np.asarray(beats * self.beat_s)
        inside = np.interp(beats, self.known_beats, self.known_s)
        before = np.minimum(beats - self.known_beats[0], 0.0)
        after = np.maximum(beats - self.known_beats[-1], 0.0)
        return np.asarray(inside + (before + after) * self.beat_s)

    def beats_at(self, time_s: Curve) -> Curve:
        if self.known_beats is None or self.known_s is None:
            return np.asarray(time_s / self.beat_s)
        inside = np.interp(time_s, self.known_s, self.known_beats)
        before = np.minimum(time_s - self.known_s[0], 0.0)
        after = np.maximum(time_s - self.known_s[-1], 0.0)
        return np.asarray(inside + (before + after) / self.beat_s)

    def moment_s(self, beat: float) -> float:
        return float(self.time_s(np.array([beat]))[0])

    def beat_at(self, moment_s: float) -> float:
        return float(self.beats_at(np.array([moment_s]))[0])


def hop_middles_s(hops: int, hop_s: float) -> Curve:
    """When the middle of each hop is, `(hops,)`."""
    return np.asarray((np.arange(hops) + 0.5) * hop_s, np.float64)


def counted_clock(counted: Curve, hop_s: float, beat_s: float) -> Clock:
    """The clock of beats that were counted hop by hop, `(hops,)`; see `render.analysis.drifting`."""
    return Clock(beat_s, counted, hop_middles_s(len(counted), hop_s))


def marked_clock(times_s: Curve, multiple: float = 1.0) -> Clock:
    """The clock of beats that somebody marked, `(beats,)`, two or more; `multiple` of them are counted for each.

    Every marked beat is a whole beat of the clock, or, in half time, every other one.
    """
    beat_s = float(np.median(np.diff(times_s))) / multiple
    before = math.ceil(max(0.0, float(times_s[0]) / beat_s))
    return Clock(beat_s, np.asarray(before + np.arange(len(times_s)) * multiple, np.float64), times_s)
