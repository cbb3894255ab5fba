"""What is true of a record because it was made that way: the yardstick of the ears.

Conventions
-----------
- Times are seconds from the first frame of the recording as it is heard. Bars and phrases count from 1.
- Bar 1 is the first whole bar of the recording; its first beat may come after silence, noise or a pick-up.
- A fact that is not known is None (or empty) and is not scored; what is known with less than sample accuracy
  says so in `caveats`.
- A record whose `held_out` is true serves no one who sets a constant: it is scored and reported apart.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from render.values import Audio

Times = npt.NDArray[np.float64]
"""Ascending times in seconds, shape (n,)."""


@dataclass(frozen=True)
class Truth:
    """What is known of one record.

    `drop_s` is the first drop; `drops_s` are all of them, and a listener who names any of them is right.
    `voice_bars` are the bars in which somebody sings; None where nobody knows.
    `tonal` is False for drums alone, True where chords sound, None where neither is sure.
    `fixed_tempo` is None where one tempo serves nearly, so that neither answer is wrong.
    `phase` is how well its beats are known: to the sample, by a measurement to some 25 ms, or so that the recording
    itself leaves open which half of the beat counts.
    """

    name: str
    set: str
    tempo_bpm: float
    first_beat_s: float
    beats: Times
    beats_per_bar: int | None = 4
    drop_s: float | None = None
    drops_s: tuple[float, ...] = ()
    key: str | None = None
    voice_bars: frozenset[int] | None = None
    bars: int = 0
    tonal: bool | None = None
    held_out: bool = False
    perturbation: str = ""
    fixed_tempo: bool | None = True
    phase: Literal["exact", "measured", "open"] = "exact"
    multiple_exact: bool = True
    caveats: tuple[str, ...] = ()

    @property
    def beat_s(self) -> float:
        return 60.0 / self.tempo_bpm

    def moved(self, by_s: float) -> "Truth":
        """The same record after `by_s` of it were cut off its start (negative) or put before it."""
        return replace(
            self,
            first_beat_s=self.first_beat_s + by_s,
            beats=self.beats + by_s,
            drop_s=None if self.drop_s is None else self.drop_s + by_s,
            drops_s=tuple(drop_s + by_s for drop_s in self.drops_s),
        )

    def cut(self, at_s: float) -> "Truth":
        """The same record begun at `at_s`: bar 1 is then the first bar that is still whole. For one tempo and drops
        that lie later."""
        assert self.beats_per_bar is not None
        bar_s = self.beats_per_bar * self.beat_s
        lost = max(0, math.ceil((at_s - self.first_beat_s) / bar_s))
        moved = self.moved(-at_s)
        return replace(
            moved,
            first_beat_s=moved.first_beat_s + lost * bar_s,
            beats=moved.beats[moved.beats >= 0],
            bars=self.bars - lost,
            voice_bars=self.voice_bars and frozenset(bar - lost for bar in self.voice_bars if bar > lost),
        )


@dataclass(frozen=True)
class Record:
    """A truth and how to come by its sound: `(frames, channels)` float32, and its rate in hertz."""

    truth: Truth
    sound: Callable[[], tuple[Audio, int]]


def steady_beats(first_beat_s: float, tempo_bpm: float, end_s: float) -> Times:
    """Every beat of one tempo from `first_beat_s` until before `end_s`."""
    count = max(0, int(np.ceil((end_s - first_beat_s) * tempo_bpm / 60.0 - 1e-9)))
    return np.asarray(first_beat_s + np.arange(count) * 60.0 / tempo_bpm, dtype=np.float64)
