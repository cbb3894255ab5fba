"""The quantities everything else is made of: frames, the grid of beats, decibels.

Conventions
-----------
- Audio is `(frames, channels)` float32, full scale at 1.0.
- A *frame* is one sample of every channel at a stated rate.
- A *beat* is counted from bar 1 beat 1, which is beat 0.0; bars and the beats in them count from 1.
- Positions are computed from an origin and rounded once, by `nearest_frame`; they are never summed up from
  rounded parts (rounding every beat of 64 at 174 BPM and 44.1 kHz drifts by 7 frames).
"""

import bisect
import math
from dataclasses import dataclass
from typing import NewType

import numpy as np
import numpy.typing as npt

Frames = NewType("Frames", int)
Audio = npt.NDArray[np.float32]
"""Shape (frames, channels), float32."""


def nearest_frame(position_frames: float) -> Frames:
    """The whole frame nearest to a fractional position; halves go up."""
    return Frames(math.floor(position_frames + 0.5))


def db_to_gain(level_db: float) -> float:
    """Amplitude factor of a level in decibels: 10^(dB/20)."""
    return float(10.0 ** (level_db / 20.0))


def gain_to_db(gain: float) -> float | None:
    """Level in decibels of an amplitude factor: 20·log10; None for zero, which has no level."""
    return 20.0 * math.log10(gain) if gain > 0 else None


def semitones_of(speed: float) -> float:
    """Pitch change of a record played `speed` times as fast without keeping pitch: 12·log2(speed)."""
    return 12.0 * math.log2(speed)


@dataclass(frozen=True)
class Grid:
    """Where the beats of one record are: one tempo from one origin, or beat by beat where the tempo drifts.

    `beats_s` holds the times of beats 0, 1, 2 …, at least two of them and growing; before and after them
    `tempo_bpm` goes on. Empty, there is one tempo.
    """

    first_beat_s: float
    tempo_bpm: float
    beats_per_bar: int = 4
    beats_s: tuple[float, ...] = ()

    @property
    def beat_s(self) -> float:
        return 60.0 / self.tempo_bpm

    def time_s(self, beat: float) -> float:
        """Seconds from the start of the recording to a beat."""
        last = len(self.beats_s) - 1
        if last < 1 or beat <= 0:
            return self.first_beat_s + beat * 60.0 / self.tempo_bpm
        if beat >= last:
            return self.beats_s[last] + (beat - last) * 60.0 / self.tempo_bpm
        whole = math.floor(beat)
        before, after = self.beats_s[whole : whole + 2]
        return before + (beat - whole) * (after - before)

    def beat_at(self, time_s: float) -> float:
        """The beat, fractional, that is heard at a time of the recording."""
        last = len(self.beats_s) - 1
        if last < 1 or time_s <= self.first_beat_s:
            return (time_s - self.first_beat_s) * self.tempo_bpm / 60.0
        if time_s >= self.beats_s[last]:
            return last + (time_s - self.beats_s[last]) * self.tempo_bpm / 60.0
        whole = bisect.bisect_right(self.beats_s, time_s) - 1
        before, after = self.beats_s[whole : whole + 2]
        return whole + (time_s - before) / (after - before)

    def off_beat_s(self, time_s: float) -> float:
        """How long after the nearest beat a time lies, in seconds; negative before it."""
        return time_s - self.time_s(round(self.beat_at(time_s)))

    def beat_of_bar(self, bar: int, beat: float = 1.0) -> float:
        """The beat that `bar 65.3` names: bars and their beats count from 1."""
        return (bar - 1) * self.beats_per_bar + (beat - 1.0)

    def bar_and_beat(self, beat: float) -> tuple[int, float]:
        """The bar and the beat in it, both from 1, of a beat counted from 0."""
        bar = math.floor(beat / self.beats_per_bar)
        return bar + 1, beat - bar * self.beats_per_bar + 1.0


def counted(beats: float) -> str:
    """A number of beats in words, as short as it can be."""
    return f"{beats:g} beat" if beats == 1 else f"{beats:g} beats"


def clock(time_s: float) -> str:
    """A time as a performer reads it: `m:ss.mmm`."""
    sign = "-" if time_s < 0 else ""
    milliseconds = math.floor(abs(time_s) * 1000 + 0.5)
    minutes, rest = divmod(milliseconds, 60_000)
    return f"{sign}{minutes}:{rest // 1000:02d}.{rest % 1000:03d}"
